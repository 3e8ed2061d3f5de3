"""Drift regression: planted drifts come back, held-out ramps are predicted, gaps are refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.sensor.drift import (
    DriftModel,
    DriftSamples,
    drift_terms,
    fit_drift,
    pooled_units,
)

DECLARED = DriftModel(
    np.array([0.0, 0.1, 0.0, 3.0]), np.diag([1.15, 0.058, 10.0, 1.73]) ** 2, 298.15, 80.0
)
TRUE = np.array([1.1, 0.16, 6.0, 4.2])


def _ramp(k, rng, *, rise=15.0, drift=TRUE, probe=0.0, noise=0.3, span=600.0):
    t = np.arange(2.0, span, 5.0)
    housing = 295.15 + k + rise * (1 - np.exp(-t / 200))
    rate = rise / 200 * np.exp(-t / 200)
    terms = drift_terms(housing, housing_rate_kps=rate, awake_s=t, housing_ref_k=298.15, tau_s=80.0)
    return housing, rate, t, terms @ drift + probe + rng.normal(0, noise, t.size)


def _samples(rng, ramps=3, probe_u=0.5, **kw):
    parts = [_ramp(k, rng, probe=rng.normal(0, probe_u), **kw) for k in range(ramps)]
    housing, rate, awake, offset = (np.concatenate(x) for x in zip(*parts, strict=True))
    ramp = np.concatenate([np.full(p[0].size, k) for k, p in enumerate(parts)])
    nuisance = (ramp[:, None] == np.arange(ramps)).astype(float)
    return DriftSamples(
        offset, np.full(offset.size, 0.3), housing, rate, awake, ramp, nuisance,
        np.zeros(ramps), np.full(ramps, probe_u),
    )  # fmt: skip


def test_held_out_ramps_are_predicted_within_1_k():
    rng = np.random.default_rng(1)
    fit = fit_drift(_samples(rng), declared=DECLARED)
    assert fit.carried == (True, True, True, True)
    housing, rate, awake, offset = _ramp(1.5, rng, rise=20.0)
    terms = drift_terms(
        housing, housing_rate_kps=rate, awake_s=awake, housing_ref_k=298.15, tau_s=80.0
    )
    assert np.sqrt(((terms @ fit.model.value - offset) ** 2).mean()) <= 1.0
    # without a fit the same ramp is off by more: the test can fail
    assert np.sqrt(((terms @ DECLARED.value - offset) ** 2).mean()) > 1.5


def test_covariance_is_honest():
    rng = np.random.default_rng(2)
    distance = []
    for _ in range(60):
        planted = rng.multivariate_normal(DECLARED.value, DECLARED.covariance)
        fit = fit_drift(_samples(rng, drift=planted), declared=DECLARED)
        off = fit.model.value - planted
        distance.append(off @ np.linalg.solve(fit.model.covariance, off))
    # chi2 of 4 degrees: mean of 60 is 4 +- 0.37
    assert 2.6 < np.mean(distance) < 5.2


def test_short_levers_keep_the_declared_terms_and_say_why():
    rng = np.random.default_rng(3)
    flat = replace(_samples(rng, rise=1.0), awake_s=np.full(360, 500.0))
    fit = fit_drift(flat, declared=DECLARED)
    assert fit.carried == (True, False, False, False)
    assert [text.split(":")[0] for text in fit.refused] == [
        "per housing",
        "per housing rate",
        "wake",
    ]
    np.testing.assert_array_equal(fit.model.value[1:], DECLARED.value[1:])
    np.testing.assert_array_equal(fit.model.covariance[1:, 1:], DECLARED.covariance[1:, 1:])
    assert not fit.model.covariance[0, 1:].any()


def test_too_little_is_refused():
    rng = np.random.default_rng(4)
    with pytest.raises(NotEnoughDataError, match="warm-ups"):
        fit_drift(_samples(rng, ramps=1), declared=DECLARED)
    with pytest.raises(NotEnoughDataError, match="samples"):
        fit_drift(_samples(rng, ramps=2, span=20.0), declared=DECLARED)
    with pytest.raises(OutOfRangeError, match="above 0"):
        fit_drift(replace(_samples(rng), u_k=np.zeros(360)), declared=DECLARED)
    with pytest.raises(OutOfRangeError, match="time constant"):
        drift_terms([300.0], housing_rate_kps=[0.0], awake_s=[0.0], housing_ref_k=298.0, tau_s=0.0)


def test_pooled_units_cover_the_next_unit():
    rng = np.random.default_rng(5)
    distance = []
    for _ in range(80):
        truths = rng.multivariate_normal(DECLARED.value, DECLARED.covariance, 6)
        fits = tuple(
            replace(DECLARED, value=one, covariance=DECLARED.covariance / 50) for one in truths[:5]
        )
        pooled = pooled_units(fits, declared=DECLARED)
        off = pooled.value - truths[5]
        distance.append(off @ np.linalg.solve(pooled.covariance, off))
    assert 2.5 < np.mean(distance) < 6.0
    with pytest.raises(NotEnoughDataError, match="at least 3"):
        pooled_units(fits[:2], declared=DECLARED)


def test_what_a_warm_up_errs_by_as_a_whole_widens_the_terms():
    """20 ramps, each off by its own 0.5 K that no cause explains: their mean scatters by 0.11 K."""
    rng = np.random.default_rng(11)
    off, stated = [], []
    for _ in range(20):
        whole = _samples(rng, ramps=20, probe_u=0.5)
        fit = fit_drift(
            replace(whole, nuisance=whole.nuisance[:, :1], nuisance_mean=np.zeros(1),
                    nuisance_u=np.full(1, 1e-3)),
            declared=DECLARED,
        )  # fmt: skip
        at = np.array([1.0, 8.0, 0.02, 0.1])
        off.append(at @ (fit.model.value - TRUE))
        stated.append(at @ fit.model.covariance @ at)
    assert 0.5 < np.mean(np.square(off)) / np.mean(stated) < 2.0
