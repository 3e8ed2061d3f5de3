"""Verify: requirement by requirement, met, not met or not proven; and scores of single cooks."""

from trivet.stages.verify.scores import burner_scores
from trivet.stages.verify.stage import verify

__all__ = ["burner_scores", "verify"]
