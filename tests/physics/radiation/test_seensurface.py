"""Hypotheses about a surface: exact inversion, propagated uncertainty, weights and interval."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy import stats

from trivet.physics.radiation.planck import band_radiance, flat_band, radiating_temperature_k
from trivet.physics.radiation.seensurface import (
    Hypothesis,
    mixture_quantiles,
    no_evidence,
    posterior_weights,
    read_surface,
)

BAND = flat_band(8e-6, 14e-6)
DARK = Hypothesis("dark", 0, False, 0.93, 0.02, 1.0, 2.5)
SHINY = Hypothesis("shiny", 0, False, 0.15, 0.03, 1.0, 2.5)
WATER = Hypothesis("water", 2, True, 0.97, 0.01, 1.0, 0.8)
SURROUND_K = 303.15


def apparent_k(temperature_k: np.ndarray, emissivity: float) -> np.ndarray:
    mirrored = (1 - emissivity) * band_radiance(SURROUND_K, band=BAND)
    signal = emissivity * band_radiance(temperature_k, band=BAND) + mirrored
    return radiating_temperature_k(signal, band=BAND)


def read(scene_k, hypotheses, scene_u_k=0.5):
    return read_surface(
        scene_k,
        hypotheses=hypotheses,
        surround_k=SURROUND_K,
        surround_u_k=5.0,
        scene_u_k=np.full(scene_k.shape, scene_u_k),
        band=BAND,
    )


def test_true_hypothesis_returns_the_true_temperature() -> None:
    true_k = np.linspace(330.0, 600.0, 20)
    for one in (DARK, SHINY):
        reading = read(apparent_k(true_k, one.emissivity), (one,))
        np.testing.assert_allclose(reading.temperature_k[:, 0], true_k, atol=0.01)


def test_uncertainty_agrees_with_random_draws() -> None:
    rng = np.random.default_rng(5)
    scene_k = apparent_k(np.array([503.15]), 0.93)
    u = read(scene_k, (DARK,)).u_k[0, 0]
    drawn = []
    for _ in range(4000):
        eps = rng.normal(DARK.emissivity, DARK.emissivity_u)
        mirrored = (1 - eps) * band_radiance(rng.normal(SURROUND_K, 5.0), band=BAND)
        signal = band_radiance(scene_k + rng.normal(0, 0.5), band=BAND)
        drawn.append(radiating_temperature_k((signal - mirrored) / eps, band=BAND)[0])
    assert u == pytest.approx(np.std(drawn), rel=0.06)


def weights(scene_k, rate_kps, hypotheses, held_s=0.0):
    return posterior_weights(
        read(scene_k, hypotheses),
        hypotheses=hypotheses,
        scene_rate_kps=np.full(scene_k.shape, rate_kps),
        boiling_k=373.1,
        plateau_s=np.full(scene_k.shape, held_s),
    )


def test_no_burner_heats_a_shiny_pan_this_fast() -> None:
    scene_k = np.full(5, 400.0)
    assert weights(scene_k, 1.8, (DARK, SHINY))[-1, 1] < 1e-3
    assert weights(scene_k, 0.1, (DARK, SHINY))[-1, 1] > 0.4


def test_water_does_not_pass_its_boiling_point() -> None:
    assert weights(np.full(5, 420.0), 0.0, (DARK, WATER))[-1, 1] < 1e-3


def test_a_hold_at_the_boil_speaks_for_water() -> None:
    scene_k = apparent_k(np.full(5, 373.0), 0.97)
    assert weights(scene_k, 0.0, (DARK, WATER), held_s=60.0)[-1, 1] > 0.95


def quantiles(reading, weight):
    found = mixture_quantiles(
        reading.temperature_k, u_k=reading.u_k, weight=weight, levels=(0.025, 0.5, 0.975)
    )
    return found.T


def test_evidence_outlives_its_block() -> None:
    scene_k, rate_kps = np.full(8, 400.0), np.array([0.1, 1.8, 0, 0, 0, 0, 0, 0])
    rest = {"hypotheses": (DARK, SHINY), "boiling_k": 373.1}
    whole = posterior_weights(
        read(scene_k, (DARK, SHINY)), scene_rate_kps=rate_kps, plateau_s=np.zeros(8), **rest
    )
    evidence = no_evidence(2)
    parts = [
        posterior_weights(
            read(scene_k[part], (DARK, SHINY)),
            scene_rate_kps=rate_kps[part],
            plateau_s=np.zeros(4),
            evidence=evidence,
            **rest,
        )
        for part in (slice(0, 4), slice(4, 8))
    ]
    np.testing.assert_array_equal(np.concatenate(parts), whole)
    assert whole[-1, 1] < 1e-3


def test_quantiles_of_distant_sharp_parts_agree_with_bisection() -> None:
    rng = np.random.default_rng(8)
    centre = rng.uniform(300.0, 900.0, (200, 7))
    u = 10.0 ** rng.uniform(-3.0, 1.5, (200, 7))
    weight = 10.0 ** rng.uniform(-6.0, 0.0, (200, 7))
    levels = (0.025, 0.5, 0.975)
    found = mixture_quantiles(centre, u_k=u, weight=weight, levels=levels)
    share = weight / weight.sum(axis=1, keepdims=True)
    for n, level in enumerate(levels):
        below = (share * stats.norm.cdf(found[:, n, None], centre, u)).sum(axis=1)
        np.testing.assert_allclose(below, level, atol=1e-6)


def test_interval_of_one_hypothesis_is_the_normal_one() -> None:
    reading = read(np.full(3, 450.0), (DARK,))
    low, middle, high = quantiles(reading, np.ones((3, 1)))
    np.testing.assert_allclose(middle, reading.temperature_k[:, 0], atol=0.01)
    half = stats.norm.ppf(0.975) * reading.u_k[:, 0]
    np.testing.assert_allclose(high - middle, half, atol=0.01)
    np.testing.assert_allclose(middle - low, half, atol=0.01)


def test_interval_of_a_mixture_agrees_with_draws() -> None:
    rng = np.random.default_rng(6)
    pair = (DARK, dataclasses.replace(DARK, emissivity=0.7))
    reading = read(np.full(1, 450.0), pair)
    weight = np.array([[0.7, 0.3]])
    low, middle, high = quantiles(reading, weight)
    which = rng.choice(2, size=400_000, p=weight[0])
    drawn = rng.normal(reading.temperature_k[0][which], reading.u_k[0][which])
    np.testing.assert_allclose(
        [low[0], middle[0], high[0]], np.quantile(drawn, [0.025, 0.5, 0.975]), atol=0.15
    )
