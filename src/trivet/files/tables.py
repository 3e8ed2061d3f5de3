"""Rows for spreadsheets and scripts: readings and alert changes as CSV."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.files.atomic import write_text
from trivet.physics.economics.shownreading import shown_readings
from trivet.quality import BLOCKING, Quality, is_valid, reason
from trivet.records.alertlog import AlertLog
from trivet.records.design import Display
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.requirement import OF_WORDS
from trivet.units import celsius

ESTIMATE_COLUMNS = (
    "time_s",
    "burner",
    "present",
    "of",
    "reported_c",
    "u95_k",
    "valid",
    "reason",
    "nonuniformity_k",
    "shown_c",
    "nonuniformity_u_k",
    "pan_x_mm",
    "pan_y_mm",
    "pan_diameter_mm",
    "hot_x_mm",
    "hot_y_mm",
    "hot_u_mm",
    "hot_kps",
    "hot_u_kps",
)
ZERO_OF = {"degC": ZERO_C_K, "degF": 459.67 * 5.0 / 9.0}
"""Zero of each unit of the screen. [K]"""
ALERT_COLUMNS = ("time_s", "burner", "alert", "state")


def write_estimate_csv(path: Path, estimate: Estimate, *, display: Display) -> None:
    """Write one row a frame and burner; blank where there is nothing to say, never 0."""
    rows: list[tuple[object, ...]] = [ESTIMATE_COLUMNS]
    shown = {one.burner: _shown_k(one, display) for one in estimate.burners}
    for k, time_s in enumerate(estimate.time_s):
        for one in estimate.burners:
            flags = Quality(int(one.flags[k]))
            of = int(one.of[k])
            rows.append(
                (
                    f"{time_s:.3f}",
                    one.burner,
                    int(one.present[k]),
                    OF_WORDS[of] if of >= 0 else "",
                    _number(celsius(float(one.reported_k[k])), 2),
                    _number(float(one.u95_k[k]), 2),
                    int(is_valid(flags)),
                    reason(flags),
                    _number(float(one.nonuniformity_k[k]), 2),
                    _number(celsius(float(shown[one.burner][k])), 2),
                    *_shape(one, k),
                )
            )
    write_text(path, _csv(rows))


def _shape(one: BurnerEstimate, k: int) -> tuple[str, ...]:
    """Return where the pan stands, how uneven it is and where it is hottest; blank if not said."""
    shape = one.shape
    if shape is None:
        return ("",) * 9
    lengths = (
        shape.x_m,
        shape.y_m,
        shape.diameter_m,
        shape.hot_x_m,
        shape.hot_y_m,
        shape.hot_u_m,
    )
    return (
        _number(float(shape.nonuniformity_u_k[k]), 2),
        *(_number(1000.0 * float(series[k]), 1) for series in lengths),
        _number(float(shape.hot_kps[k]), 3),
        _number(float(shape.hot_u_kps[k]), 3),
    )


def _shown_k(one: BurnerEstimate, display: Display) -> FloatArray:
    """Return what the display shows: whole steps of its own unit, blank where not valid."""
    valid = (one.flags & np.uint32(int(BLOCKING))) == 0
    reading = np.where(valid, one.reported_k, np.nan)
    step = float(display.readout_step_delta_k)
    if step == 0.0:
        return reading
    return shown_readings(
        reading,
        step=step,
        hysteresis=float(display.readout_hysteresis_delta_k),
        origin=ZERO_OF[display.temperature],
    )


def write_alert_csv(path: Path, log: AlertLog) -> None:
    """Write one row for each change of an alert."""
    rows: list[tuple[object, ...]] = [ALERT_COLUMNS]
    rows += [(f"{one.time_s:.3f}", one.burner, one.alert, one.state) for one in log.changes]
    write_text(path, _csv(rows))


def _number(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else ""


def _csv(rows: list[tuple[object, ...]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()
