"""Intervals from whole cooks drawn again, by a generator that nobody can choose."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError
from trivet.physics.statistics.agreement import cluster_bootstrap

RESAMPLES = 500
"""Resamples of whole cooks; own estimate: the ends of a 95 % interval rest on a dozen of them."""


def seeded(*words: str) -> np.random.Generator:
    """Return a generator seeded with words: the condition of a sheet and what is resampled."""
    seed = hashlib.sha256("\n".join(words).encode()).digest()[:8]
    return np.random.default_rng(int.from_bytes(seed, "big"))


def resampled(
    values: FloatArray,
    *,
    cook: Sequence[str],
    generator: np.random.Generator,
    statistic: Callable[[FloatArray], float] | None = None,
) -> tuple[float, float]:
    """Return the 95 % percentile interval over resampled cooks; NaN under 5 of them.

    ``cook`` names the independent cook of each value.  Davison and Hinkley (1997), 3.8.
    """
    try:
        return cluster_bootstrap(
            values,
            cook=np.asarray(cook),
            generator=generator,
            statistic=statistic,
            draws=RESAMPLES,
        )
    except NotEnoughDataError:
        return math.nan, math.nan
