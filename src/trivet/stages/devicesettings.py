"""The constants that the firmware ships: windows, emissivities, alerts. No stage itself."""

from __future__ import annotations

import math
import re

from trivet.device.alertsettings import AlertSettings, settings_array
from trivet.device.fixedpoint import share_q15
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.requirement import Alert

_COLUMNS = "kind, set_dk, lead_ms, deadband_dk, on_ms, off_ms, gate_dk, window_ms"


def settings_text(design: Design, *, calibration: Calibration) -> str:
    """Return the C header with the constants of a design and its calibration.

    Parameters
    ----------
    design : Design
        Alerts and limits.
    calibration : Calibration
        Windows and surfaces.

    Returns
    -------
    str
        Macros only: words of 1/32768, 0.1 K and ms.

    Raises
    ------
    OutOfRangeError
        If a value does not fit the device's words.

    Notes
    -----
    Alerts are in the order of the design, columns as in
    ``device/alertsettings.py``; kinds are 0 level, 1 time to limit, 2 loss of sight.

    References
    ----------
    ``trivet.device`` for the words.
    """
    lines = ["#ifndef TRIVET_SETTINGS_H", "#define TRIVET_SETTINGS_H", ""]
    lines.append("/* Transmittance of each head's window. [1/32768] */")
    for head in calibration.heads:
        word = share_q15(float(head.transmittance))
        lines.append(f"#define TRIVET_WINDOW_{_macro(head.head)} {word}u")
    lines += ["", "/* Band emissivity of what is seen. [1/32768] */"]
    for surface in calibration.surfaces:
        if math.isfinite(surface.emissivity) and 0.0 < surface.emissivity <= 1.0:
            name = _macro(f"{surface.contents}_{surface.finish or 'any'}")
            word = share_q15(float(surface.emissivity))
            lines.append(f"#define TRIVET_EMISSIVITY_{name} {word}u")
    table = settings_array(tuple(alert_settings(one, design=design) for one in design.alerts))
    lines += ["", f"/* One row an alert: {_COLUMNS}. */", f"#define TRIVET_ALERTS {len(table)}"]
    for index, (one, row) in enumerate(zip(design.alerts, table.tolist(), strict=True)):
        numbers = ", ".join(str(value) for value in row)
        lines.append(f"#define TRIVET_ALERT_{index}_{_macro(one.name)} {{{numbers}}}")
    return "\n".join([*lines, "", "#endif", ""])


def alert_settings(one: Alert, *, design: Design) -> AlertSettings:
    """Return one alert of a design in the device's units.

    Parameters
    ----------
    one : Alert
        The alert.
    design : Design
        Holds the limit that it guards.

    Returns
    -------
    AlertSettings
        Set point, lead, dead band, delays, gate and window. [0.1 K, ms]

    Raises
    ------
    OutOfRangeError
        From the machine, if a value does not fit.

    Notes
    -----
    Set points are rounded down to 0.1 K, so rounding never delays an alert.

    References
    ----------
    The rules of ``trivet.device.alertmachine``.
    """
    limit_k = 0.0
    if one.limit is not None:
        limit_k = float(design.limit(one.limit).value_k)
        if one.kind == "level" and one.set_point_k is not None:
            limit_k = float(one.set_point_k)
    return AlertSettings(
        kind=one.kind,
        set_dk=int(limit_k * 10.0 + 1e-6),
        lead_ms=round(one.lead_s * 1000.0),
        deadband_dk=round(one.deadband_delta_k * 10.0),
        on_ms=round(one.on_delay_s * 1000.0),
        off_ms=round(one.off_delay_s * 1000.0),
        gate_dk=int(one.gate_k * 10.0 + 1e-6),
        window_ms=round(one.slope_window_s * 1000.0),
    )


def _macro(name: str) -> str:
    return re.sub(r"[^A-Z0-9]+", "_", name.upper()).strip("_")
