"""Estimates to alerts: what the product would say, moment by moment."""

from trivet.records.alertlog import DEVICE
from trivet.stages.alert.stage import alert
from trivet.stages.alert.watching import watching

__all__ = ["DEVICE", "alert", "watching"]
