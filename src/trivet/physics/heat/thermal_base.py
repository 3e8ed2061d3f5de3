"""Compiled step through the thickness of the base: mean of the base against its upper face.

What the bare face loses itself is left out of the step: under 0.2 K for 5 mm of
cast iron at 300 C.
"""

from __future__ import annotations

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_cells import CROSS_R, FACE_R, POWER, compiled


@compiled
def face_row(
    face: FloatArray, mean: FloatArray, shape: FloatArray, below: FloatArray, lane: FloatArray
) -> None:
    """Fill a row with the mean of the base less the step that the flux from below makes.

    ``below`` is the flux from the hob, 0 without; ``lane`` holds the resistance and
    resistance x power.
    """
    cross, driven = lane[0], lane[1]
    for j in range(face.shape[0]):
        for c in range(face.shape[1]):
            face[j, c] = mean[j, c] - driven[c] * shape[j, c]
    for j in range(below.shape[0]):
        for c in range(below.shape[1]):
            face[j, c] -= cross[c] * below[j, c]


@compiled
def resistances(lane: FloatArray, fixed: FloatArray, live: FloatArray) -> None:
    """Fill what ``face_row`` wants of each lane."""
    for c in range(lane.shape[1]):
        lane[0, c] = fixed[CROSS_R, c]
    for c in range(lane.shape[1]):
        lane[1, c] = fixed[CROSS_R, c] * live[POWER, c]


@compiled
def through_base(row: FloatArray, fixed: FloatArray) -> None:
    """Take the flux to the layer through the upper part of the base (a Newton step)."""
    into, slope, share, resist = row[2], row[3], row[8], fixed[FACE_R]
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            share[j, c] = 1.0 / (1.0 + resist[c] * slope[j, c])
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            into[j, c] *= share[j, c]
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            slope[j, c] *= share[j, c]
