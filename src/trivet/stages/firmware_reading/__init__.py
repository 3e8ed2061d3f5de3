"""The firmware's own reading on the host, and how far its integers lie from the same rules run
without rounding and from the estimate.
"""

from __future__ import annotations

from trivet.stages.firmware_reading.comparison import (
    alert_difference,
    alert_line,
    estimate_difference,
    flips_line,
    twin_difference,
    twin_line,
)
from trivet.stages.firmware_reading.stage import as_words, device_estimate

__all__ = [
    "alert_difference",
    "alert_line",
    "as_words",
    "device_estimate",
    "estimate_difference",
    "flips_line",
    "twin_difference",
    "twin_line",
]
