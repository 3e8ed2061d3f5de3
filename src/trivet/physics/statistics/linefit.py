"""A straight line through points, with the uncertainty of what it says elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.errors import InputError, NotEnoughDataError


@dataclass(frozen=True)
class LineFit:
    """A straight line y = intercept + slope (x - reference) with its covariance."""

    reference: float
    intercept: float
    slope: float
    intercept_u: float
    slope_u: float
    correlation: float
    residual_sd: float

    def at(self, x: float) -> tuple[float, float]:
        """Return the line's value and its standard uncertainty at x."""
        step = x - self.reference
        variance = (
            self.intercept_u**2
            + (step * self.slope_u) ** 2
            + 2.0 * step * self.intercept_u * self.slope_u * self.correlation
        )
        return self.intercept + self.slope * step, math.sqrt(variance)


def line_fit(x: ArrayLike, y: ArrayLike, *, reference: float = 0.0) -> LineFit:
    """Return a least-squares line with the uncertainty of its parameters.

    x, y : (point,) points, equal weights [units of choice]
    reference : the intercept is the line's value at this x [unit of x]
    Returns : parameters, standard uncertainties, correlation, residual sd
    Raises : NotEnoughDataError with fewer than 3 points, or all at one x; InputError if the lengths
        differ
    Notes : x without uncertainty, y with equal and independent ones, taken from the residuals with
        n - 2 degrees of freedom. Far outside the points the uncertainty grows linearly and model
        error is not in it.
    Source : JCGM 100:2008, H.3, equations (H.12) to (H.16)
    """
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if xs.shape != ys.shape or xs.ndim != 1:
        raise InputError(f"x has shape {xs.shape} and y {ys.shape}: allowed one equal axis")
    step = xs - reference
    n = xs.size
    spread = n * float(np.sum(step**2)) - float(np.sum(step)) ** 2
    if n < 3 or spread <= 1e-12 * n * float(np.sum(step**2)):
        raise NotEnoughDataError(f"{n} points at distinct x are too few for a line with errors")
    slope = (n * float(np.sum(step * ys)) - float(step.sum()) * float(ys.sum())) / spread
    intercept = float(ys.mean()) - slope * float(step.mean())
    residual = ys - intercept - slope * step
    sd = math.sqrt(float(np.sum(residual**2)) / (n - 2))
    squares = float(np.sum(step**2))
    return LineFit(
        reference=reference,
        intercept=intercept,
        slope=slope,
        intercept_u=sd * math.sqrt(squares / spread),
        slope_u=sd * math.sqrt(n / spread),
        correlation=-float(step.sum()) / math.sqrt(n * squares),
        residual_sd=sd,
    )
