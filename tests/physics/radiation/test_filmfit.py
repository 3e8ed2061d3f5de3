"""Emissivity and film from pairs: planted values come back; thin evidence is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.facts.pans import optical_table
from trivet.physics.radiation.film import OpticalConstants, film_emissivity
from trivet.physics.radiation.filmfit import (
    EmissivityFit,
    PairedSamples,
    fit_emissivity,
    fit_film,
    pooled_emissivity,
    reflected_from_patch,
)
from trivet.physics.radiation.planck import band_radiance, flat_band, quadrature_radiance

BAND = flat_band(8e-6, 14e-6)
SURROUND_K = 303.15


def _oil():
    table = optical_table("oil")
    return OpticalConstants(table.wavelength_m, table.n, table.k)


def _pairs(emissivity, rng, *, probe_u=1.0, hottest=480.0, n=40, noise=0.2):
    reference = np.linspace(310.0, hottest, n)
    truth = reference + rng.normal(0, probe_u)
    radiance = emissivity * band_radiance(truth, band=BAND)
    radiance = radiance + (1 - emissivity) * band_radiance(SURROUND_K, band=BAND)
    slope = np.gradient(band_radiance(reference, band=BAND), reference)
    return PairedSamples(
        radiance + rng.normal(0, noise, n) * slope,
        noise * slope,
        reference,
        SURROUND_K,
        (emissivity * slope * probe_u)[:, None],
    )


@pytest.mark.parametrize("planted", [0.95, 0.6, 0.3])
def test_emissivity_comes_back_with_honest_uncertainty(planted):
    rng = np.random.default_rng(6)
    fits = [fit_emissivity(_pairs(planted, rng), band=BAND) for _ in range(60)]
    z = np.array([(fit.emissivity - planted) / fit.emissivity_u for fit in fits])
    assert 0.7 < z.std() < 1.3
    assert abs(z.mean()) < 0.4
    assert fits[0].span_k[0] >= SURROUND_K + 30
    assert fits[0].span_k[1] == 480.0


def test_steam_and_hands_are_left_out():
    rng = np.random.default_rng(7)
    pairs = _pairs(0.95, rng, probe_u=0.01)
    radiance = pairs.radiance.copy()
    radiance[[20, 21, 33]] *= 0.7
    fit = fit_emissivity(replace(pairs, radiance=radiance), band=BAND)
    assert fit.emissivity == pytest.approx(0.95, abs=0.004)
    assert fit.pairs < 35


def test_film_thickness_on_shiny_steel():
    rng = np.random.default_rng(8)
    for planted in (10e-6, 40e-6):
        eps = film_emissivity(planted, film=_oil(), substrate=0.15, temperature_k=420.0, band=BAND)
        fit = fit_film(
            _pairs(float(eps), rng, probe_u=0.5),
            film=_oil(),
            substrate=(0.15, 0.01),
            start_m=60e-6,
            band=BAND,
        )
        u = math.sqrt(fit.covariance[0, 0])
        assert abs(fit.thickness_m - planted) < 3 * u
        assert u < 0.25 * planted
        # measured pairs are reproduced: RMSE under 0.03
        assert abs(fit.emissivity - eps) < 0.03


def test_a_wrong_k_is_in_the_thickness_and_not_in_the_emissivity():
    """Constants 20 % too weak: refitted with the right ones the thickness moves as it was said."""
    rng = np.random.default_rng(9)
    oil = _oil()
    strong = OpticalConstants(oil.wavelength_m, oil.n, 1.2 * oil.k, oil.name)
    eps = film_emissivity(20e-6, film=strong, substrate=0.15, temperature_k=420.0, band=BAND)
    pairs = _pairs(float(eps), rng, probe_u=0.5)
    fits = [
        fit_film(pairs, film=film, substrate=(0.15, 0.01), start_m=40e-6, band=BAND, scale_u=0.2)
        for film in (oil, strong)
    ]
    assert fits[0].thickness_m / fits[1].thickness_m == pytest.approx(1.2, abs=0.05)
    assert fits[0].emissivity == pytest.approx(fits[1].emissivity, abs=0.005)
    whole = fits[0].covariance
    assert whole.shape == (3, 3)
    assert np.linalg.eigvalsh(whole).min() > -1e-15
    assert math.sqrt(whole[0, 0]) / fits[0].thickness_m > 0.2
    assert whole[0, 2] == pytest.approx(-(0.2**2) * fits[0].thickness_m)
    # with the k scale known, what is left is the fit's own
    known = whole[0, 0] - whole[0, 2] ** 2 / whole[2, 2]
    assert math.sqrt(known) < 0.25 * fits[0].thickness_m


def test_film_on_a_dark_pan_does_not_show():
    rng = np.random.default_rng(9)
    with pytest.raises(NotEnoughDataError, match="does not show"):
        fit_film(_pairs(0.95, rng), film=_oil(), substrate=(0.93, 0.0173), start_m=60e-6, band=BAND)


def test_cold_pairs_are_refused():
    rng = np.random.default_rng(10)
    with pytest.raises(NotEnoughDataError, match="heat the pan"):
        fit_emissivity(_pairs(0.9, rng, hottest=330.0), band=BAND)
    with pytest.raises(OutOfRangeError, match="substrate"):
        fit_film(_pairs(0.9, rng), film=_oil(), substrate=(1.0, 0.01), start_m=1e-5, band=BAND)


def _cook(value, u=0.004):
    return EmissivityFit(value, u, (340.0, 480.0), 30, 1.0)


def test_pooling_covers_the_next_cook():
    rng = np.random.default_rng(11)
    z = []
    for _ in range(200):
        mean = rng.normal(0.93, 0.0173 / math.sqrt(2))
        cooks = rng.normal(mean, 0.0173 / math.sqrt(2), 5)
        fits = tuple(_cook(value + rng.normal(0, 0.004)) for value in cooks[:4])
        got = pooled_emissivity(fits, declared=0.93, declared_u=0.0173)
        z.append((got.emissivity - cooks[4]) / got.emissivity_u)
    assert 0.8 < np.std(z) < 1.2


def test_pooling_narrows_with_agreement_and_drops_a_wrong_declaration():
    agreeing = pooled_emissivity((_cook(0.93), _cook(0.931)), declared=0.93, declared_u=0.0173)
    assert 0.010 < agreeing.emissivity_u < 0.0173
    assert not agreeing.conflict
    wrong = pooled_emissivity((_cook(0.80), _cook(0.802)), declared=0.93, declared_u=0.0173)
    assert wrong.conflict
    assert wrong.emissivity == pytest.approx(0.801, abs=0.001)
    with pytest.raises(NotEnoughDataError, match="spread between cooks"):
        pooled_emissivity((_cook(0.9),), declared=0.93, declared_u=0.0173)


GRID_K = np.linspace(270.0, 460.0, 7601)
TABLE = quadrature_radiance(GRID_K, band=BAND)


def _scene_k(mirror_k, patch_k, eps):
    mixed = eps * np.interp(patch_k, GRID_K, TABLE) + (1 - eps) * np.interp(mirror_k, GRID_K, TABLE)
    return np.interp(mixed, TABLE, GRID_K)


@pytest.mark.parametrize("mirror_k", [290.0, 315.0, 350.0])
def test_exact(mirror_k):
    got = reflected_from_patch(
        np.full(9, _scene_k(mirror_k, 305.0, 0.15)),
        scene_u_k=0.0, patch_k=305.0, patch_u_k=0.0, emissivity=0.15, emissivity_u=0.0, band=BAND,
    )  # fmt: skip
    assert got.reflected_k == pytest.approx(mirror_k, abs=0.02)


def test_within_5_k_and_honest_on_drawn_patches():
    rng = np.random.default_rng(0)
    offs, ratios = [], []
    for _ in range(300):
        mirror, patch, eps = rng.uniform(292, 340), rng.uniform(295, 330), 0.12
        seen = _scene_k(mirror, patch + rng.normal(0, 1.0), eps + rng.normal(0, 0.03))
        got = reflected_from_patch(
            seen + rng.normal(0, 1.2) + rng.normal(0, 0.1, 40),
            scene_u_k=1.2, patch_k=patch, patch_u_k=1.0, emissivity=eps, emissivity_u=0.03,
            band=BAND,
        )  # fmt: skip
        offs.append(got.reflected_k - mirror)
        ratios.append(offs[-1] / got.reflected_u_k)
    assert np.quantile(np.abs(offs), 0.95) < 5.0
    assert 0.8 < np.std(ratios) < 1.2


def test_a_patch_that_shows_itself_is_refused():
    good = {"scene_u_k": 1.0, "patch_k": 305.0, "patch_u_k": 1.0, "emissivity_u": 0.02}
    with pytest.raises(OutOfRangeError, match=r"under 0\.5"):
        reflected_from_patch([310.0], emissivity=0.5, band=BAND, **good)
    with pytest.raises(NotEnoughDataError, match="both readings"):
        reflected_from_patch([np.nan], emissivity=0.1, band=BAND, **good)
    with pytest.raises(OutOfRangeError, match="negative"):
        reflected_from_patch([310.0], emissivity=0.1, band=BAND, **(good | {"patch_u_k": -1.0}))
    with pytest.raises(NotEnoughDataError, match="darker"):
        reflected_from_patch([280.0], emissivity=0.45, band=BAND, **(good | {"patch_k": 420.0}))
