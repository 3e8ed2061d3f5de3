"""What a shiny patch mirrors, against a plain Planck integral."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.radiation.filmfit import reflected_from_patch
from trivet.physics.radiation.planck import flat_band, quadrature_radiance

BAND = flat_band(8e-6, 14e-6)
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
