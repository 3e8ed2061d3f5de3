"""The hob beside the pans: the level from which a pan's contrast counts."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.physics.compiled import family
from trivet.physics.image.ranks import BINS, lay_out, quantile

compiled = family(Path(__file__).parent)

NOTHING_COLD_K = 2000.0
"""Level of a frame without a finite pixel: no pan stands out against it."""


def background_level_k(
    scene_k: FloatArray, *, beside: IntArray, quantile_frac: float
) -> FloatArray:
    """Return the apparent temperature of the hob beside the pans.

    scene_k : (time, pixel) apparent temperature before the window [K]
    beside : (n,) places of the pixels that see the hob and no pan
    quantile_frac : which quantile stands for the hob: the median, or a lower one where pans may be
        among the pixels
    Returns : (time,) [K]; 2,000 K where no pixel is finite
    Notes : Each frame by itself. Half of the pixels may be splashed or hidden before the median
        moves by more than their spread.
    Source : Quantile linear between order statistics, textbook form
    """
    return np.asarray(_levels(scene_k, beside, quantile_frac))


@compiled
def _levels(scene: Any, beside: Any, share: float) -> Any:
    out = np.empty(scene.shape[0])
    values, room = np.empty(beside.size), np.empty(beside.size)
    ends = np.empty(BINS, np.int64)
    for t in range(scene.shape[0]):
        count = 0
        for k in range(beside.size):
            value = scene[t, beside[k]]
            if math.isfinite(value):
                values[count] = value
                count += 1
        out[t] = NOTHING_COLD_K
        if count:
            out[t] = quantile(lay_out(values, count, room, ends), count, ends, share)
    return out
