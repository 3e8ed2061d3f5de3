"""Compares simulated cooks with recorded ones of the same conditions."""

from trivet.stages.credibility.conditions import conditions_of
from trivet.stages.credibility.quantities import answers, questions
from trivet.stages.credibility.stage import credibility
from trivet.stages.credibility.twins import bench_twin

__all__ = ["answers", "bench_twin", "conditions_of", "credibility", "questions"]
