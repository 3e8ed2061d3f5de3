"""Ranks the ways to make one number of a pan, leaving one cook out at a time.

Probes are what each is held against; the truth of a simulated cook is not among the
arguments.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import EvidenceError, NotEnoughDataError
from trivet.models.actual import Actual, hottest_series, interpolated, surface_named
from trivet.physics.sensor.alignment import reading_lag
from trivet.records.calibration import ReporterChoice, ReporterFold, ReporterScore, ReporterTrial
from trivet.records.design import Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.product import Estimation, Reporter
from trivet.records.recording import Recording

REPORTERS: tuple[Reporter, ...] = get_args(Reporter)
FEWEST_PLANS = 3
"""Plans from which a trial chooses: two others have to agree on the one left out."""
GRID_S, MIN_MOMENTS = 1.0, 20  # own estimate: moments that share no noise; 20 s of a cook
NORMAL = 1.4826
"""Standard deviation of a normal variate over its median absolute deviation."""


@dataclass(frozen=True)
class TriedCook:
    """One calibration cook, read once with each reporter."""

    recording: Recording
    plan: str
    readings: Mapping[Reporter, Estimate]


def rank_reporters(cooks: Sequence[TriedCook], *, design: Design) -> ReporterChoice:
    """Return the reporter with the least declared loss over calibration cooks.

    Parameters
    ----------
    cooks : sequence of TriedCook
        Calibration cooks of one grade of evidence.
    design : Design
        What bias, noise, lag and the hot side cost.

    Returns
    -------
    ReporterChoice
        Best first, with every trial and what leaving plans out says of the choice.

    Raises
    ------
    EvidenceError
        For a proof cook, or cooks of several grades.

    Notes
    -----
    A cook counts where every reporter has a reading at 20 moments or more, one a
    second, of a dry or oiled surface that a probe touches. Under three such plans the
    area's mean stays. An unknown lag costs nothing. The cooks also made the
    calibration that reads them, so the biases are smaller than on a new cook; the
    order is what is decided here.

    References
    ----------
    Leave-one-out cross-validation, textbook form.
    """
    grades = {one.recording.evidence for one in cooks}
    if len(grades) > 1:
        raise EvidenceError("simulated and bench cooks cannot rank reporters together")
    for one in cooks:
        if one.recording.purpose != "calibration":
            raise EvidenceError(f"cook {one.recording.name!r} is kept for proof: it ranks nothing")
    trials = [trial for one in cooks for trial in _trials(one, design)]
    plans = sorted({one.plan for one in trials})
    weights = _weights(design.estimation)
    evidence = grades.pop() if grades else "predicted"
    if len(plans) < FEWEST_PLANS:
        reason = (
            f"{len(plans)} calibration plans with a probed pan; at least {FEWEST_PLANS} rank "
            "reporters: the area's mean stays"
        )
        return ReporterChoice(
            evidence, "area-mean", reason, weights, _scores(trials), (), math.nan, tuple(trials)
        )
    scores = _scores(trials)
    folds = tuple(_fold(trials, plan) for plan in plans)
    agree = sum(fold.chosen == scores[0].reporter for fold in folds)
    mean_loss = next(one.loss for one in scores if one.reporter == "area-mean")
    reason = (
        f"least loss ({scores[0].loss:.2f}; the area's mean {mean_loss:.2f}) over {len(plans)} "
        f"{evidence} plans; {agree} of {len(folds)} choices that leave one out agree"
    )
    left_out = float(np.mean([fold.loss for fold in folds]))
    return ReporterChoice(
        evidence, scores[0].reporter, reason, weights, scores, folds, left_out, tuple(trials)
    )


def reporter_as_designed(design: Design) -> Reporter:
    """Return the reporter that holds before any is ranked: the design's, or the area's mean."""
    said = design.estimation.reporter
    return "area-mean" if said == "ranked" else said


def _weights(said: Estimation) -> dict[str, float]:
    return {
        "bias": float(said.bias_weight),
        "noise": float(said.noise_weight),
        "lag": float(said.lag_weight),
        "hot side": float(said.hot_side_weight),
    }


@dataclass(frozen=True)
class _HeldReading:
    """One burner's reading held against its probes, one a second, arrays (moment,)."""

    error_k: FloatArray
    short_of_hottest_k: FloatArray
    """How far it lies under the hottest probe, 0 where above. [K]"""
    lag_s: float
    """NaN where nothing shows it."""


def _trials(cook: TriedCook, design: Design) -> list[ReporterTrial]:
    """Return a trial a reporter, or none where any of them has too little to say."""
    found, weights = [], _weights(design.estimation)
    for reporter, estimate in cook.readings.items():
        held = [_held(cook.recording, estimate.time_s, one) for one in estimate.burners]
        error = np.concatenate([np.empty(0), *(one.error_k for one in held)])
        if error.size < MIN_MOMENTS:
            return []
        steps = np.concatenate([np.diff(one.error_k) for one in held])
        lags = [one.lag_s for one in held if math.isfinite(one.lag_s)]
        bias = float(error.mean())
        noise = NORMAL * float(np.median(np.abs(steps))) / math.sqrt(2.0)
        lag = float(np.mean(lags)) if lags else math.nan
        hot = float(np.concatenate([one.short_of_hottest_k for one in held]).mean())
        parts = (abs(bias), noise, 0.0 if math.isnan(lag) else abs(lag), hot)
        loss = sum(weight * part for weight, part in zip(weights.values(), parts, strict=True))
        about = (reporter, cook.recording.name, cook.plan, error.size)
        found.append(ReporterTrial(*about, bias, noise, lag, hot, loss))
    return found


def _held(recording: Recording, time_s: FloatArray, one: BurnerEstimate) -> _HeldReading:
    """Hold a burner's reading against the probes that touch what it names."""
    reference = recording.reference
    sheet = next((s for s in reference.sheet if s.burner == one.burner), None)
    nothing = _HeldReading(np.empty(0), np.empty(0), math.nan)
    if sheet is None or sheet.contents == "water":
        return nothing
    actual = Actual(one.burner, sheet.contents, time_s, None, reference.probes)
    so, _ = surface_named(actual, np.where(one.valid, one.of, -1).astype(np.int8))
    use = np.flatnonzero(np.isfinite(so))
    if use.size < 2:
        return nothing
    seconds = np.arange(time_s[use][0], time_s[use][-1], GRID_S)
    at = use[np.unique(np.searchsorted(time_s[use], seconds))]
    hottest = hottest_series(actual, "pan")
    hot = interpolated(hottest.time_s, hottest.value_k, time_s)[at]
    hot = np.where(np.isfinite(hot), hot, so[at])
    try:
        lag = reading_lag(one.reported_k[use], reference=so[use], time_s=time_s[use]).lag_s
    except NotEnoughDataError:
        lag = math.nan
    said = one.reported_k[at]
    return _HeldReading(said - so[at], np.maximum(hot - said, 0.0), lag)


def _scores(trials: Sequence[ReporterTrial]) -> tuple[ReporterScore, ...]:
    """Return the reporters, best first; plans weigh alike, however often they are repeated."""
    found = []
    for reporter in REPORTERS:
        mine = [one for one in trials if one.reporter == reporter]
        if not mine:
            continue
        lags = [one.lag_s for one in mine if math.isfinite(one.lag_s)]
        biases = [one.bias_k for one in mine]
        found.append(
            ReporterScore(
                reporter=reporter,
                cooks=len(mine),
                bias_k=float(np.mean(biases)),
                bias_spread_k=float(np.std(biases, ddof=1)) if len(mine) > 1 else math.nan,
                noise_k=float(np.mean([one.noise_k for one in mine])),
                lag_s=float(np.mean(lags)) if lags else math.nan,
                hot_side_k=float(np.mean([one.hot_side_k for one in mine])),
                loss=_loss(mine),
            )
        )
    return tuple(sorted(found, key=lambda one: one.loss))


def _loss(trials: Sequence[ReporterTrial]) -> float:
    plans: dict[str, list[float]] = {}
    for one in trials:
        plans.setdefault(one.plan, []).append(one.loss)
    return float(np.mean([np.mean(losses) for losses in plans.values()]))


def _fold(trials: Sequence[ReporterTrial], plan: str) -> ReporterFold:
    chosen = _scores([one for one in trials if one.plan != plan])[0].reporter
    mine = [one for one in trials if one.plan == plan and one.reporter == chosen]
    return ReporterFold(plan, chosen, _loss(mine))
