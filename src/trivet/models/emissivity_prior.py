"""Which emissivities what is seen may have: its physical range, and what calibration taught."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtr, stdtrit

from trivet.arrays import FloatArray
from trivet.models.calibration_views import fitted_surface
from trivet.models.contents import bare_range, emissivity_range, seen_of
from trivet.physics.radiation.planck import Band
from trivet.records.calibration import Calibration, SurfaceCalibration
from trivet.records.design import Base, Pan

PRIOR_NODES = 5  # own estimate: five equal parts trace a range; each costs a hypothesis
SPREAD_SHARE = 0.3
"""Standard deviation of a pan's height over the hob as a share of its mean, where P95 - P5 is as
large as that mean (a quarter to a third of P95 - P5 for even to normal spreads; own estimate)."""
STEP = 5e-4  # own estimate: well under the spread of any fit
MIN_MASS = 0.01
"""Share of what the fit believes that must lie within the physical range; under it both count."""


def emissivity_prior_nodes(
    pan: Pan,
    base: Base,
    *,
    calibration: Calibration,
    window_frac: float,
    band: Band,
    angle_rad: float,
) -> list[tuple[float, float]]:
    """Return equally likely band emissivities of contents in a pan, each with a small spread.

    Parameters
    ----------
    pan, base : Pan, Base
        What is seen.
    calibration : Calibration
        What cooks taught of such a surface, if any did.
    window_frac : float
        Relative standard uncertainty of the window's transmittance at calibration: a fitted
        emissivity stands for the product of both.
    band : Band
        Of the sensor.
    angle_rad : float
        View angle. [rad]

    Returns
    -------
    list of (emissivity, standard deviation)

    Notes
    -----
    A fit is of the mean of a few cooks and has tails that no surface has: seasoned iron fitted
    at 0.87 +- 0.16 is still between 0.80 and 0.96, and a smooth face of oil does not pass what
    Fresnel lets it emit.  The belief is therefore the fit's normal distribution within the
    physical range, whose ends the window's doubt blurs.  Where the two all but exclude one
    another, both count, from the lowest to the highest.  A bare pan keeps its finish's whole
    range: pans of one finish differ by it for life, and an interval that is right for most of
    them would be wrong on some of them every day.

    References
    ----------
    Truncated normal distribution; ranges as in models/contents.py.
    """
    low, high = physical_range(pan, base, band=band, angle_rad=angle_rad)
    fitted = fitted_surface(pan, base, calibration=calibration)
    if fitted is None:
        return range_nodes(low, high)
    mean, u = fitted_emissivity(fitted)
    eps = np.arange(STEP, 1.0 + STEP / 2, STEP)
    blur = max(window_frac * (low + high) / 2, STEP)
    inside = ndtr((eps - low) / blur) - ndtr((eps - high) / blur)
    fit = np.exp(-0.5 * ((eps - mean) / u) ** 2)
    weight = inside * fit
    if weight.sum() < MIN_MASS * u * math.sqrt(2.0 * math.pi) / STEP:
        return range_nodes(max(min(low, mean - 2.0 * u), STEP), min(max(high, mean + 2.0 * u), 1.0))
    if base.contents == "dry":  # a few pans of a finish do not say what the next one has
        return range_nodes(low, high)
    return _equal_parts(eps, weight)


def emissivity_prior_range(
    pan: Pan, base: Base, *, calibration: Calibration, band: Band, angle_rad: float
) -> tuple[float, float]:
    """Return the lowest and highest emissivity that contents in a pan may have.

    What calibration taught counts with twice its standard uncertainty, within the physical
    range; where they do not meet, from the lowest to the highest of both.
    """
    low, high = physical_range(pan, base, band=band, angle_rad=angle_rad)
    fitted = fitted_surface(pan, base, calibration=calibration)
    if fitted is None:
        return low, high
    mean, u = fitted_emissivity(fitted)
    if mean + 2.0 * u < low or mean - 2.0 * u > high:
        return min(low, mean - 2.0 * u), max(high, mean + 2.0 * u)
    if base.contents == "dry":
        return low, high
    return max(low, mean - 2.0 * u), min(high, mean + 2.0 * u)


def fitted_emissivity(fitted: SurfaceCalibration) -> tuple[float, float]:
    """Return a fit's emissivity and standard uncertainty for the next cook.

    Pairs that scatter beyond their uncertainties widen it by the Birge ratio, and few cooks by
    Student's factor: their spread is itself known badly (1.4 for three, 1.1 for ten; the declared
    spread counts as one more degree of freedom).
    """
    birge = math.sqrt(max(float(np.nan_to_num(fitted.reduced_chi2)), 1.0))
    student = float(stdtrit(max(fitted.cooks, 1) + 1.0, 0.975)) / 1.96
    return fitted.emissivity, birge * student * fitted.emissivity_u


def physical_range(pan: Pan, base: Base, *, band: Band, angle_rad: float) -> tuple[float, float]:
    """Return between which band emissivities contents in a pan can lie, as the design says.

    A film leaves the hot parts first, so the pan's mean signal falls short of what mean
    emissivity and mean temperature give, by up to their covariance.
    """
    span = emissivity_range(base, pan=pan, angle_rad=np.array([angle_rad]), band=band)
    _, low, high = span.at(0)
    if base.contents in ("oil", "butter") and seen_of(base, pan=pan) == "pan":
        low -= SPREAD_SHARE * max(low - bare_range(pan)[1], 0.0)
    return low, high


def range_nodes(low: float, high: float) -> list[tuple[float, float]]:
    """Return equal parts of a range, each by its middle and its standard deviation."""
    step = (high - low) / PRIOR_NODES
    return [(low + (k + 0.5) * step, step / math.sqrt(12)) for k in range(PRIOR_NODES)]


def _equal_parts(eps: FloatArray, weight: FloatArray) -> list[tuple[float, float]]:
    """Return mean and standard deviation of equally likely parts of a distribution."""
    level = np.cumsum(weight) / weight.sum()
    part = np.minimum(
        (PRIOR_NODES * (level - 0.5 * weight / weight.sum())).astype(int), PRIOR_NODES - 1
    )
    nodes = []
    for k in range(PRIOR_NODES):
        own = np.where(part == k, weight, 0.0)
        if own.sum() > 0.0:
            mean = float(own @ eps / own.sum())
            nodes.append((mean, math.sqrt(float(own @ (eps - mean) ** 2 / own.sum()) + STEP**2)))
    return nodes
