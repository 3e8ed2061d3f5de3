"""Area statistics over the cells of a pan: quantiles, and the hottest few square centimetres."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trivet.errors import OutOfRangeError

FloatArray = NDArray[np.float64]


def area_quantiles_k(
    cells_k: FloatArray, *, area_m2: FloatArray, shares: tuple[float, ...]
) -> FloatArray:
    """Return the temperatures below which given shares of the area lie.

    Parameters
    ----------
    cells_k : (time, cell)
        Temperatures. [K]
    area_m2 : (cell,)
        Area of each cell. [m2]
    shares : tuple of float
        Shares of the area, 0 to 1. [-]

    Returns
    -------
    (share, time)
        Quantiles: those of the cell in which the share is reached. [K]

    Raises
    ------
    OutOfRangeError
        If a share lies outside 0 to 1.

    Notes
    -----
    A step function of the cells: exact to the spread between neighbours in rank,
    of the order of 0.1 K for 768 cells spread over 100 K.

    References
    ----------
    Weighted empirical distribution.
    """
    if not all(0.0 <= share <= 1.0 for share in shares):
        raise OutOfRangeError(f"area quantiles {shares}; allowed: 0 to 1")
    order = np.argsort(cells_k, axis=1)
    reached = np.cumsum(area_m2[order], axis=1) / area_m2.sum()
    ranked = np.take_along_axis(cells_k, order, axis=1)
    last = area_m2.size - 1
    out = [
        np.take_along_axis(
            ranked, np.minimum((reached < share).sum(axis=1), last)[:, None], axis=1
        )[:, 0]
        for share in shares
    ]
    return np.stack(out)


def hottest_mean_k(
    cells_k: FloatArray, *, area_m2: FloatArray, hottest_m2: float = 5e-4
) -> FloatArray:
    """Return the mean temperature of the hottest part of a surface.

    Parameters
    ----------
    cells_k : (time, cell)
        Temperatures. [K]
    area_m2 : (cell,)
        Area of each cell. [m2]
    hottest_m2 : float
        Area over which to take the mean; 5 cm2 unless told otherwise. [m2]

    Returns
    -------
    (time,)
        Mean of the hottest cells that make up the area, the last one in part. [K]

    Raises
    ------
    OutOfRangeError
        If the area is not above 0.

    Notes
    -----
    The cells need not touch one another.  On a pan smaller than the area this is
    its mean.

    References
    ----------
    Definition.
    """
    if not hottest_m2 > 0.0:
        raise OutOfRangeError(f"hottest_m2 is {hottest_m2}; allowed: above 0 m2")
    order = np.argsort(-cells_k, axis=1)
    area = area_m2[order]
    before = np.cumsum(area, axis=1) - area
    part = np.clip(min(hottest_m2, float(area_m2.sum())) - before, 0.0, area)
    return np.asarray((np.take_along_axis(cells_k, order, axis=1) * part).sum(1) / part.sum(1))
