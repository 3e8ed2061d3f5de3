"""The firmware's own reading on the host: its constants, its integers and their exact twin.

``device_readings`` says of a recording what the firmware would; ``device_estimate``
makes an Estimate of it, so that alerts and verdict run on the very numbers that are shipped.
"""

from __future__ import annotations

from trivet.stages.devicereading.comparison import (
    alert_difference,
    alert_line,
    estimate_difference,
    flips_line,
    twin_difference,
    twin_line,
)
from trivet.stages.devicereading.constants import head_readings
from trivet.stages.devicereading.stage import (
    as_words,
    device_estimate,
    device_readings,
    frame_words,
    milliseconds,
    moment_words,
)

__all__ = [
    "alert_difference",
    "alert_line",
    "as_words",
    "device_estimate",
    "device_readings",
    "estimate_difference",
    "flips_line",
    "frame_words",
    "head_readings",
    "milliseconds",
    "moment_words",
    "twin_difference",
    "twin_line",
]
