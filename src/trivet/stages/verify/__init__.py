"""Verify: requirement by requirement, met, not met or not proven; and scores of single cooks."""

from trivet.stages.verify.alertaccount import alert_study
from trivet.stages.verify.alertcases import alert_cases
from trivet.stages.verify.scores import burner_scores
from trivet.stages.verify.stage import verify

__all__ = ["alert_cases", "alert_study", "burner_scores", "verify"]
