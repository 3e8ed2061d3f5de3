"""A window from boils and cold water, and its loss over cooks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.radiation.planck import flat_band, quadrature_radiance
from trivet.physics.sensor.window import (
    FixedPointPriors,
    FixedPoints,
    boil_moments,
    cusum_limit,
    cusum_run,
    fit_fixed_points,
    window_trend,
)

BAND = flat_band(8e-6, 14e-6)
GRID_K = np.linspace(280.0, 400.0, 4801)
TABLE = quadrature_radiance(GRID_K, band=BAND)
PRIORS = FixedPointPriors(
    0.96, 0.008, 303.15, 6.0, np.array([0.0, 0.05, 0.0, 3.0]),
    np.diag(np.square([1.15, 0.03, 5.0, 1.7])), 0.0115,
)  # fmt: skip
NONE = (0.0, 0.0, 0.0, 0.0)


def _radiance(temperature_k):
    return np.interp(temperature_k, GRID_K, TABLE)


def _points(rng, *, tau, eps=0.96, off=NONE, gain=0.0, cooks=2, cold=True, steam=0.7):
    """Draw boils, and cold water before them, through the radiometric equation."""
    rows = []
    for cook in range(cooks):
        for true_k, housing, awake, u in ((372.8, 309.0, 300.0, steam), (295.2, 297.0, 20.0, 0.3)):
            if true_k < 300 and not cold:
                continue
            terms = np.array([1.0, housing - 298.15, 0.0, np.exp(-awake / 80)])
            drift = terms @ (PRIORS.drift + np.array(off))
            scene = eps * _radiance(true_k + rng.normal(0, 0.4))
            scene = scene + (1 - eps) * _radiance(303.15)
            signal = tau * scene + (1 - tau) * _radiance(housing)
            seen = np.interp(signal, TABLE, GRID_K)
            seen = seen + gain * (seen - housing) + drift + rng.normal(0, u)
            rows.append((seen, u, true_k, 0.4, housing, housing, terms, cook))
    parts = list(zip(*rows, strict=True))
    columns = [np.array(part) for part in parts]
    return FixedPoints(*columns[:6], drift_terms=columns[6], cook=columns[7])


class _Quiet:
    """Stands for a generator that never errs."""

    def normal(self, mean, spread):
        return mean


def test_exact_points_give_the_exact_window():
    points = _points(_Quiet(), tau=0.8, cooks=1)
    points = replace(points, u_k=np.full(2, 0.01), true_u_k=np.full(2, 0.01))
    sure = replace(PRIORS, drift_covariance=PRIORS.drift_covariance * 1e-4, gain_u=1e-4)
    fit = fit_fixed_points(points, prior=sure, band=BAND)
    assert fit.transmittance == pytest.approx(0.8, abs=5e-4)
    assert fit.offset_k == pytest.approx(0.0, abs=0.01)


def test_uncertainty_covers_what_is_planted():
    """Emissivity, drift, gain, steam and boiling point drawn from their own uncertainties."""
    rng = np.random.default_rng(1)
    offs = []
    for _ in range(150):
        tau = rng.uniform(0.7, 0.95)
        off = np.sqrt(np.diag(PRIORS.drift_covariance)) * rng.normal(size=4)
        gain = rng.normal(0, PRIORS.gain_u)
        points = _points(rng, tau=tau, eps=rng.normal(0.96, 0.008), off=off, gain=gain)
        fit = fit_fixed_points(points, prior=PRIORS, band=BAND)
        offs.append((fit.transmittance - tau) / fit.transmittance_u)
    assert 0.7 < np.std(offs) < 1.25
    assert np.mean(np.abs(offs) < 1.96) > 0.9


def test_cold_water_tells_offset_from_window():
    rng = np.random.default_rng(2)
    with_cold = fit_fixed_points(_points(rng, tau=0.85), prior=PRIORS, band=BAND)
    without = fit_fixed_points(_points(rng, tau=0.85, cold=False), prior=PRIORS, band=BAND)
    assert with_cold.transmittance_u < 0.92 * without.transmittance_u
    assert with_cold.offset_u_k < without.offset_u_k
    assert without.covariance[0, 1] < 0  # more offset, less window


def test_cook_by_cook_shows_a_loss():
    rng = np.random.default_rng(3)
    clean, foul = _points(rng, tau=0.86, cooks=3), _points(rng, tau=0.80, cooks=3)
    both = FixedPoints(
        *(
            np.concatenate([getattr(clean, name), getattr(foul, name)])
            for name in ("apparent_k", "u_k", "true_k", "true_u_k", "window_k", "housing_k")
        ),
        drift_terms=np.concatenate([clean.drift_terms, foul.drift_terms]),
        cook=np.concatenate([clean.cook, foul.cook + 3]),
    )
    fit = fit_fixed_points(both, prior=PRIORS, band=BAND)
    assert fit.each.size == 6
    assert fit.each[:3].mean() - fit.each[3:].mean() == pytest.approx(0.06, abs=0.02)
    assert np.all(fit.each_u < 0.02)


def test_what_is_no_fixed_point_is_refused():
    rng = np.random.default_rng(4)
    points = _points(rng, tau=0.85)
    with pytest.raises(NotEnoughDataError, match="30 K over the window"):
        fit_fixed_points(replace(points, true_k=points.true_k - 60), prior=PRIORS, band=BAND)
    with pytest.raises(OutOfRangeError, match="above 0"):
        fit_fixed_points(replace(points, u_k=0 * points.u_k), prior=PRIORS, band=BAND)
    with pytest.raises(OutOfRangeError, match="ask for a window"):
        fit_fixed_points(
            replace(points, apparent_k=points.apparent_k + np.where(points.true_k > 350, 45, 0)),
            prior=PRIORS, band=BAND,
        )  # fmt: skip


def test_a_simmer_is_no_boil():
    time = np.arange(0.0, 600.0, 2.0)
    rising = 300.0 + 72.0 * np.clip(time / 300, 0, 1)
    with pytest.raises(NotEnoughDataError, match=r"never boiled.*reached 93\.9 C"):
        boil_moments(rising - 5.0, time_s=time, boiling_k=372.8, u_k=0.5)
    found = boil_moments(rising + 0.8, time_s=time, boiling_k=372.8, u_k=0.5)
    assert found[time > 310].all()
    assert not found[time < 280].any()
    short = np.where(time < 580, 320.0, 372.8)
    with pytest.raises(NotEnoughDataError, match="60 s"):
        boil_moments(short, time_s=time, boiling_k=372.8, u_k=0.5)


COOKS = 0.012 * 0.86


def _calls(loss, *, n, runs, spread=COOKS, seed=0):
    rng = np.random.default_rng(seed)
    calls = []
    for _ in range(runs):
        tau = 0.86 * np.ones(n)
        tau[5:] *= 1 - np.asarray(loss)
        found = window_trend(tau + rng.normal(0, spread, n), u=np.full(n, spread))
        calls.append(np.nan if found.lost_at is None else found.lost_at - 5)
    return np.array(calls)


def test_limit_meets_the_chance_it_was_set_for():
    limit = cusum_limit(1.0, false_frac=0.05, n=50)
    assert cusum_run(limit, allowance=1.0, shift=0.0, n=50)[0] == pytest.approx(0.05, abs=0.001)
    rng = np.random.default_rng(0)
    sums = np.zeros(4000)
    called = np.zeros(4000, dtype=bool)
    for _ in range(50):
        sums = np.maximum(sums + rng.normal(size=4000) - 1.0, 0.0)
        called |= sums > limit
    assert called.mean() == pytest.approx(0.05, abs=0.015)
    assert cusum_limit(1.0, false_frac=0.05, n=50, baseline_u=0.5) > limit


def test_a_sudden_loss_is_found_soon_and_dated():
    calls = _calls(0.05, n=25, runs=100)
    assert np.mean(calls < 20) >= 0.97
    assert np.nanmedian(calls) <= 3
    rng = np.random.default_rng(5)
    tau = np.where(np.arange(20) < 9, 0.86, 0.86 * 0.93) + rng.normal(0, 0.004, 20)
    found = window_trend(tau, u=np.full(20, 0.004))
    assert found.since == 9
    assert found.loss_frac == pytest.approx(0.07, abs=0.01)


@pytest.mark.slow
def test_five_per_cent_within_20_cooks_at_under_one_per_cent_false():
    """At 1.2 % a cook, sudden or creeping; the false share over 100 cooks, 95 % bound."""
    from trivet.physics.statistics.intervals import upper_bound_frac

    assert np.mean(_calls(0.05, n=25, runs=600, seed=1) < 20) >= 0.99
    creeping = 0.05 * np.minimum(np.arange(1, 26) / 20, 1.0)
    assert np.mean(_calls(creeping, n=30, runs=600, seed=2) < 20) >= 0.93
    false = int(np.isfinite(_calls(0.0, n=25, runs=2000, seed=3)).sum())
    assert upper_bound_frac(false, 2000, confidence=0.95) < 0.01


def test_too_little_and_nonsense_are_refused():
    with pytest.raises(NotEnoughDataError, match="needed: 3"):
        window_trend([0.86, 0.85], u=[0.01, 0.01])
    with pytest.raises(OutOfRangeError):
        window_trend([0.86] * 6, u=[0.0] * 6)
    with pytest.raises(OutOfRangeError):
        cusum_limit(1.0, false_frac=1.0, n=10)
    with pytest.raises(OutOfRangeError):
        cusum_run(0.0, allowance=1.0, shift=0.0, n=10)
