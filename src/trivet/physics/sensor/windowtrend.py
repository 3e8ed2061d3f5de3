"""Whether a window lets less through than it did: a one-sided cumulative sum over cooks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import ndtr

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError, OutOfRangeError

MIN_BASELINE = 3
CELLS = 100
MIN_LIMIT = 0.5
FALSE_FRAC = 0.01
RUN_COOKS = 100


@dataclass(frozen=True)
class WindowTrend:
    """The sum over cooks, and what it says.

    ``lost_at`` is the cook at which the loss was called, None without one; ``since`` the first cook
    after the change, as the sum dates it.
    """

    sums: FloatArray
    limit: float
    allowance: float
    baseline: float
    lost_at: int | None
    since: int
    loss_frac: float
    """Share lost since then; NaN without a call."""


def cusum_run(limit: float, *, allowance: float, shift: float, n: int) -> tuple[float, float]:
    """Return the chance of a call within n steps and the mean number of steps to one.

    limit : sum at which a call is made, in standard deviations of a step
    allowance : what is taken off each step, in standard deviations
    shift : true mean of a step, in standard deviations
    n : steps
    Returns : chance, mean length
    Raises : OutOfRangeError if the limit is not above 0, or n under 1
    Notes : Exact but for 100 cells: mean lengths within 0.5 % of the printed ones.
    Source : D. Brook and D. A. Evans, Biometrika 59 (1972) 539-549: the sum as a Markov chain.
    """
    if limit <= 0 or n < 1:
        raise OutOfRangeError(f"cumulative sum: limit {limit}, {n} steps; allowed: above 0, from 1")
    width = 2.0 * limit / (2 * CELLS - 1)
    to = np.arange(CELLS) * width
    start = to[:, None]
    high = ndtr(to[None, :] + width / 2 - start + allowance - shift)
    low = ndtr(to[None, :] - width / 2 - start + allowance - shift)
    low[:, 0] = 0.0
    step = high - low
    state = np.zeros(CELLS)
    state[0] = 1.0
    for _ in range(n):
        state = state @ step
    mean = np.linalg.solve(np.eye(CELLS) - step, np.ones(CELLS))
    return float(1.0 - state.sum()), float(mean[0])


def cusum_limit(allowance: float, *, false_frac: float, n: int, baseline_u: float = 0.0) -> float:
    """Return the limit that is passed by chance in a share of runs of n steps.

    allowance : what is taken off each step, in standard deviations
    false_frac : allowed share of runs with a false call, 0 to 1
    n : steps of a run
    baseline_u : standard uncertainty of the level that the steps are counted from, in standard
        deviations of a step: a run's steps share its error
    Returns : limit in standard deviations of a step
    Raises : OutOfRangeError if the share is not between 0 and 1
    Notes : For one false call in a hundred runs of 100 cooks: 7.3 at an allowance of 0.5, 3.8 at
        1.0, 2.1 at 1.75.
    Source : As :func:`cusum_run`
    """
    if not 0 < false_frac < 1:
        raise OutOfRangeError(f"share of false calls {false_frac}; allowed: between 0 and 1")

    return _limit(round(allowance, 2), false_frac, n, round(baseline_u, 2))


@lru_cache(maxsize=64)
def _limit(allowance: float, false_frac: float, n: int, baseline_u: float) -> float:
    nodes, weights = np.polynomial.hermite_e.hermegauss(7 if baseline_u > 0 else 1)
    weights = weights / weights.sum()

    def excess(limit: float) -> float:
        chances = [
            cusum_run(limit, allowance=allowance, shift=float(node) * baseline_u, n=n)[0]
            for node in nodes
        ]
        return float(weights @ np.array(chances)) - false_frac

    if excess(MIN_LIMIT) <= 0:
        return MIN_LIMIT
    return float(brentq(excess, MIN_LIMIT, 100.0, xtol=1e-2))


def window_trend(
    transmittance: npt.ArrayLike,
    *,
    u: npt.ArrayLike,
    first: int = 5,
    loss_frac: float = 0.05,
) -> WindowTrend:
    """Return whether the window has lost transmittance over the cooks.

    transmittance : (cook,) as each cook's fixed point shows it, in order of time
    u : (cook,) standard uncertainty of each, without what all cooks share
    first : cooks that stand for the clean window
    loss_frac : share of the transmittance whose loss matters
    Raises : NotEnoughDataError for fewer than three cooks with the clean window; OutOfRangeError if
        an uncertainty or the loss is not positive
    Notes : The limit is set for a false call in 1 % of runs of 100 cooks, the doubt of the baseline
        included; half of the loss is taken off each step. With 1.2 % a cook and five clean ones a
        sudden loss of 5 % is called after 1 to 2 cooks (95 %: 5), one that grows evenly to 5 % over
        20 cooks by the 20th in 96 % of runs; with 1.5 % a cook 98 % and 82 %, with 2 % 81 % and 45
        %. What all cooks share, such as the water's emissivity, cancels.
    Source : E. S. Page, Biometrika 41 (1954) 100-115; Brook and Evans (1972) for the limit
    """
    tau, spread = np.asarray(transmittance, float), np.asarray(u, float)
    first = min(first, tau.size)
    if first < MIN_BASELINE:
        raise NotEnoughDataError(
            f"{first} boils with a clean window; needed: {MIN_BASELINE} before a loss can be told"
        )
    if np.any(~(spread > 0)) or not 0 < loss_frac < 1:
        raise OutOfRangeError("window trend: uncertainties and loss must be above 0")
    scatter = float(np.std(tau[:first], ddof=1))
    # a few cooks cannot show a scatter smaller than stated: the larger one counts
    own = np.hypot(spread, 0.0) if scatter <= float(np.median(spread)) else np.maximum(
        spread, scatter
    )  # fmt: skip
    weight = 1.0 / own[:first] ** 2
    baseline = float((weight * tau[:first]).sum() / weight.sum())
    doubt = 1.0 / math.sqrt(float(weight.sum()))
    typical = float(np.median(own))
    allowance = 0.5 * loss_frac * baseline / typical
    limit = cusum_limit(allowance, false_frac=FALSE_FRAC, n=RUN_COOKS, baseline_u=doubt / typical)
    sums, since, lost_at = np.zeros(tau.size), first, None
    total, begin = 0.0, first
    for k in range(first, tau.size):
        total = total + (baseline - tau[k]) / own[k] - allowance
        if total <= 0:
            total, begin = 0.0, k + 1
        sums[k] = total
        if total > limit and lost_at is None:
            lost_at, since = k, begin
    lost = math.nan
    if lost_at is not None:
        after = 1.0 / own[since:] ** 2
        lost = 1.0 - float((after * tau[since:]).sum() / after.sum()) / baseline
    return WindowTrend(sums, limit, allowance, baseline, lost_at, since, lost)
