"""The named ways to make one number of a pan, all in scene temperature."""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.image import panreading
from trivet.physics.image.burnerpass import PanTrace
from trivet.physics.radiation.planck import Band, radiating_temperature_k
from trivet.records.estimation import Reporter

RING, CENTRE = 2, 0
"""Of five rings of equal width: from 0.4 to 0.6 of the radius, and the middle fifth."""
COLUMN = {
    "trimmed-mean": panreading.MEAN_K,
    "upper-half-mode": panreading.UPPER_MODE_K,
    "p95": panreading.P95_K,
}


def reported_scene_k(
    trace: PanTrace, reporter: Reporter, *, mean_k: FloatArray, doubt_k: FloatArray, band: Band
) -> tuple[FloatArray, FloatArray]:
    """Return what a reporter makes of a pan, and its doubt as a number for the pan's mean.

    The interval is that of the pan's mean, whichever number is reported: what the
    number differs from the area's mean by is doubt of it.  Where a reporter has
    nothing (a ring under food), the area's mean stands.
    """
    if reporter == "area-mean":
        return mean_k, doubt_k
    if reporter in COLUMN:
        found = trace.read(COLUMN[reporter])
    else:
        place = RING if reporter == "ring" else CENTRE
        found = np.asarray(radiating_temperature_k(trace.ring_radiance(0)[:, place], band=band))
    number = np.where(np.isfinite(found) & np.isfinite(mean_k), found, mean_k)
    return number, np.hypot(doubt_k, np.nan_to_num(number - mean_k))
