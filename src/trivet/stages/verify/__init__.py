"""Verify: requirement by requirement, met, not met or not proven."""

from trivet.stages.verify.stage import verify

__all__ = ["verify"]
