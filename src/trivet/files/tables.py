"""Rows for spreadsheets and scripts: readings and alert changes as CSV."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

from trivet.files.atomic import write_text
from trivet.quality import Quality, is_valid, reason
from trivet.records.alertlog import AlertLog
from trivet.records.estimate import Estimate
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
)
ALERT_COLUMNS = ("time_s", "burner", "alert", "state")


def write_estimate_csv(path: Path, estimate: Estimate) -> None:
    """Write one row a frame and burner; blank where there is nothing to say, never 0."""
    rows: list[tuple[object, ...]] = [ESTIMATE_COLUMNS]
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
                )
            )
    write_text(path, _csv(rows))


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
