"""Compares simulated cooks with recorded ones of the same conditions."""

from trivet.stages.credibility.stage import credibility
from trivet.stages.credibility.twins import bench_twin, conditions_of

__all__ = ["bench_twin", "conditions_of", "credibility"]
