"""From surfaces to pixels: against quadrature and sums by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import csr_array

from trivet.errors import InputError
from trivet.physics.radiation.planck import flat_band, quadrature_radiance
from trivet.physics.radiation.render import Cells, disc_cover, mixed_radiance, pixel_radiance

BAND = flat_band(8e-6, 14e-6)


def cells_of(kelvin, *, eps=1.0, share=None, thing=None, first=0):
    n = kelvin.shape[1]
    return Cells(
        kelvin,
        np.broadcast_to(np.float64(eps), (1, n)).copy(),
        np.ones((n, 1)) if share is None else share,
        np.zeros((1, 1)) if thing is None else thing,
        first,
    )


def test_pixels_are_sums_of_surfaces():
    """Against Planck's law by quadrature and the sum by hand."""
    matrix = csr_array(np.array([[0.25, 0.75, 0.0], [0.0, 0.5, 0.5], [0.3, 0.3, 0.4]]))
    kelvin = np.array([[300.0, 500.0], [320.0, 480.0]])
    rest = np.array([[50.0], [60.0]])
    surfaces = np.hstack([quadrature_radiance(kelvin, band=BAND), rest])
    got = pixel_radiance(matrix, cells=(cells_of(kelvin),), rest=rest, band=BAND)
    assert np.allclose(got, surfaces @ matrix.toarray().T, rtol=2e-6)
    with pytest.raises(InputError, match="surfaces given; wanted 3"):
        pixel_radiance(matrix, cells=(cells_of(kelvin),), rest=np.zeros((2, 2)), band=BAND)
    with pytest.raises(InputError, match="wanted"):
        pixel_radiance(matrix, cells=(cells_of(kelvin[:1]),), rest=rest, band=BAND)


def test_cells_mirror_their_own_things():
    """Long enough to cross blocks, lines and chunks; each cell mirrors its own share."""
    rng = np.random.default_rng(4)
    kelvin = rng.uniform(280.0, 600.0, (300, 150))
    share = rng.uniform(0.0, 0.5, (150, 2))
    thing = rng.uniform(20.0, 80.0, (300, 2))
    eps = rng.uniform(0.1, 1.0, (300, 150))
    cells = Cells(kelvin, eps, share, thing, 0)
    got = pixel_radiance(
        csr_array(np.eye(151)), cells=(cells,), rest=np.full((300, 1), 7.0), band=BAND
    )
    wanted = eps * quadrature_radiance(kelvin, band=BAND) + (1 - eps) * (thing @ share.T)
    assert np.allclose(got[:, :150], wanted, rtol=5e-6)
    assert np.all(got[:, 150] == 7.0)
    hot = cells_of(np.array([[900.0, 300.0]]))
    beyond = pixel_radiance(csr_array(np.eye(3)), cells=(hot,), rest=np.ones((1, 1)), band=BAND)
    assert np.array_equal(np.isnan(beyond[0]), [True, False, False])


def test_shiny_surface_mostly_mirrors():
    mirrored = float(quadrature_radiance(300.0, band=BAND))
    got = mixed_radiance(500.0, emissivity=0.1, mirrored=mirrored, band=BAND)
    wanted = 0.1 * quadrature_radiance(500.0, band=BAND) + 0.9 * mirrored
    assert got == pytest.approx(float(wanted), rel=1e-6)


def test_disc_covers_its_area():
    x, y = np.meshgrid(np.arange(200) * 1e-3, np.arange(200) * 1e-3)
    cover = disc_cover(x, y_m=y, centre_m=(0.1, 0.1), radius_m=0.05, soft_m=2e-3)
    assert cover.sum() * 1e-6 == pytest.approx(np.pi * 0.05**2, rel=0.005)
