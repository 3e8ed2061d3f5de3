"""How well a reference probe knows the temperature of what it touches."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import OutOfRangeError
from trivet.physics.sensor.thermocouple import (
    TOLERANCES,
    ToleranceClass,
    tolerance_k,
)
from trivet.physics.sensor.thermocouple_reference import ThermocoupleKind

# Half-widths of the attachment's error: a floor [K] and a share of (reading - air).
# The order is common practice, no source; the sizes are assumed, in line with the
# fin model of probe_contact.py for 0.25 mm type K wire.
ATTACHMENT_ERROR: dict[str, tuple[float, float]] = {
    "welded": (0.2, 0.005),
    "peened": (0.3, 0.01),
    "cement": (0.5, 0.03),
    "spring": (0.5, 0.08),
    "tape": (1.0, 0.15),
    "immersed": (0.3, 0.002),
    "inserted": (0.5, 0.01),
    "air": (1.0, 0.0),
}
LOGGER_K = 0.2  # half-width of the logger and its cold junction, assumed

# Time constants as attached where none was measured; assumed, in line with beads of
# 0.5 to 1.5 mm and sheaths of 1.5 mm (order common practice, no source). [s]
ATTACHMENT_LAG_S: dict[str, float] = {
    "welded": 0.3,
    "peened": 0.4,
    "cement": 2.0,
    "spring": 3.0,
    "tape": 4.0,
    "immersed": 1.5,
    "inserted": 4.0,
    "air": 10.0,
}
CONDUCTION_SHARE = 0.3  # doubt of a conduction error that was taken out, assumed


def probe_standard_uncertainty_k(
    reading_k: ArrayLike,
    *,
    kind: ThermocoupleKind,
    tolerance_class: ToleranceClass,
    attachment: str,
    air_k: float,
) -> FloatArray:
    """Return the standard uncertainty of a probe as a measure of what it touches.

    reading_k : (...) readings [K]
    kind : "K", "T", "J" or "N": type of the pair
    tolerance_class : as in :func:`trivet.physics.sensor.thermocouple.tolerance_k`
    attachment : "welded", "peened", "cement", "spring", "tape", "immersed", "inserted" or "air"
    air_k : air around the wire [K]
    Returns : (...) standard uncertainty [K]: wire tolerance, logger and attachment as rectangles,
        added in squares. NaN where the reading is NaN.
    Raises : OutOfRangeError if the kind, class or attachment is unknown
    Notes : At 200 C over 25 C, type K class 1: welded 1.0, cement 3.2, spring 8.2 K. The
        attachment's error is one-sided (it reads low); it is stated here as a symmetric half-width
        and not corrected. Outside the range of its class a wire is given the tolerance of the
        nearest end.
    Source : JCGM 100:2008, 4.3.7 (rectangles); IEC 60584-1 through ``tolerance_k``
    """
    if attachment not in ATTACHMENT_ERROR:
        raise OutOfRangeError(f"attachment {attachment!r}; known are {', '.join(ATTACHMENT_ERROR)}")
    reading = np.asarray(reading_k, dtype=np.float64)
    bands = TOLERANCES.get(kind, {}).get(tolerance_class, ())
    inside = reading
    if bands:
        low, high = min(b.low_c for b in bands), max(b.high_c for b in bands)
        inside = np.clip(reading, low + ZERO_C_K, high + ZERO_C_K)
    wire = tolerance_k(inside, kind=kind, tolerance_class=tolerance_class)
    floor, share = ATTACHMENT_ERROR[attachment]
    contact = floor + share * np.abs(reading - air_k)
    return np.asarray(np.sqrt((wire**2 + LOGGER_K**2 + contact**2) / 3.0), dtype=np.float64)


def moving_uncertainty_k(
    rate_kps: ArrayLike, *, attachment: str, lag_u_s: float | None, clock_u_s: float
) -> FloatArray:
    """Return what clock and lag add to a probe's standard uncertainty while it moves.

    rate_kps : (...) rate of the reading [K/s]
    attachment : as in :func:`probe_standard_uncertainty_k`
    lag_u_s : standard uncertainty of the lag that was taken out; None where none was measured, and
        the attachment's usual one then stands as a half-width [s]
    clock_u_s : standard uncertainty of the clock offset [s]
    Returns : (...) standard uncertainty [K]; 0 where the rate is not known
    Raises : OutOfRangeError if the attachment is unknown or an uncertainty negative
    Notes : At 3 K/s half a second of clock is 1.5 K and a spring's unmeasured 3 s are 5.2 K. A
        comparison of two signals shows lag and clock offset only together.
    Source : First-order lag; JCGM 100:2008, 4.3.7
    """
    if attachment not in ATTACHMENT_LAG_S or clock_u_s < 0.0 or (lag_u_s or 0.0) < 0.0:
        raise OutOfRangeError(
            f"attachment {attachment!r}, lag {lag_u_s}, clock {clock_u_s} s; allowed: one of "
            f"{', '.join(ATTACHMENT_LAG_S)}, and no negative uncertainty"
        )
    lag = ATTACHMENT_LAG_S[attachment] / np.sqrt(3.0) if lag_u_s is None else lag_u_s
    rate = np.nan_to_num(np.asarray(rate_kps, dtype=np.float64))
    return np.asarray(np.abs(rate) * np.hypot(lag, clock_u_s), dtype=np.float64)
