"""Window, slab, drops on it, and what pans mirror: limits, quadrature and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.radiation import path
from trivet.physics.radiation.path import (
    disc_view_factor,
    rectangle_view_factor,
    reflected_temperature_k,
    upright_view_factor,
)
from trivet.physics.radiation.planck import band_radiance, flat_band

BAND = flat_band(8e-6, 14e-6)


@pytest.mark.parametrize("transmittance", [0.0, -0.1, 1.2])
def test_transmittance_out_of_range(transmittance):
    with pytest.raises(OutOfRangeError, match="transmittance"):
        path.before_window(100.0, transmittance=transmittance, window_k=300.0, band=BAND)


def test_a_window_at_the_scene_temperature_is_invisible():
    radiance = band_radiance(330.0, band=BAND)
    seen = path.before_window(radiance, transmittance=[0.2, 0.7], window_k=330.0, band=BAND)
    assert seen == pytest.approx(radiance, rel=1e-12)


def test_slab_without_loss_is_the_textbook_form():
    n = np.array([1.0, 1.5, 4.0])
    assert path.slab_transmittance(n) == pytest.approx(2.0 * n / (n**2 + 1.0), rel=1e-12)


def test_slab_refusals():
    with pytest.raises(OutOfRangeError, match="index"):
        path.slab_transmittance(0.9)
    with pytest.raises(OutOfRangeError, match="negative"):
        path.slab_transmittance(1.5, absorption_1_m=-1.0)
    with pytest.raises(OutOfRangeError, match="negative"):
        path.slab_transmittance(1.5, thickness_m=-1.0)


def test_condensed_drops_take_twice_their_area_when_few():
    assert 1.0 - path.condensed_transmittance(1e-4) == pytest.approx(2e-4, rel=1e-3)
    with pytest.raises(OutOfRangeError):
        path.condensed_transmittance(-0.1)


X, W = np.polynomial.legendre.leggauss(80)


def level(points_x, points_y, weight, height):
    """Sum cos cos / (pi r^2) over a level surface above the origin."""
    square = points_x**2 + points_y**2 + height**2
    return float((weight * height**2 / (np.pi * square**2)).sum())


def test_disc_overhead_is_r2_over_r2_plus_h2():
    # Textbook value (from memory): F = r^2 / (r^2 + h^2) for a coaxial disc.
    for r, h in ((0.1, 0.7), (0.7, 0.7), (3.0, 0.2)):
        assert disc_view_factor(r, height_m=h) == pytest.approx(r * r / (r * r + h * h), rel=1e-12)


@pytest.mark.parametrize(("r", "h", "a"), [(0.1, 0.7, 0.3), (0.5, 0.4, 0.6), (0.2, 0.05, 0.1)])
def test_disc_aside_against_quadrature(r, h, a):
    radius = (X + 1) / 2 * r
    phi = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    x = a + radius[:, None] * np.cos(phi)
    y = radius[:, None] * np.sin(phi)
    weight = (W / 2 * r * radius)[:, None] * np.full(phi.size, 2 * np.pi / phi.size)
    tolerance = 1e-6 if h > 0.1 else 5e-3
    got = disc_view_factor(r, height_m=h, offset_m=a)
    assert got == pytest.approx(level(x, y, weight, h), rel=tolerance)


@pytest.mark.parametrize(
    ("x", "y", "h"), [((-0.38, 0.38), (-0.25, 0.25), 0.7), ((0.1, 0.9), (-0.6, -0.2), 0.5)]
)
def test_rectangle_against_quadrature(x, y, h):
    px = x[0] + (X + 1) / 2 * (x[1] - x[0])
    py = y[0] + (X + 1) / 2 * (y[1] - y[0])
    weight = np.outer(W, W) / 4 * (x[1] - x[0]) * (y[1] - y[0])
    expected = level(px[:, None], py[None, :], weight, h)
    assert rectangle_view_factor(x, y_m=y, height_m=h) == pytest.approx(expected, rel=1e-9)


def test_a_corner_of_an_endless_ceiling_is_a_quarter():
    # By symmetry: four endless quadrants fill the whole hemisphere.
    assert rectangle_view_factor((0, 1e6), y_m=(0, 1e6), height_m=1.0) == pytest.approx(0.25, 1e-5)


@pytest.mark.parametrize(("w", "a", "c"), [(0.13, 0.05, 0.2), (1.0, 2.0, 0.3)])
def test_upright_against_quadrature(w, a, c):
    y, z = X * w / 2, (X + 1) / 2 * a
    square = c**2 + y[:, None] ** 2 + z[None, :] ** 2
    weight = np.outer(W, W) / 4 * w * a
    expected = float((weight * z[None, :] * c / (np.pi * square**2)).sum())
    assert upright_view_factor(w, height_m=a, distance_m=c) == pytest.approx(expected, rel=1e-9)


def test_an_endless_wall_fills_half():
    # By symmetry: a wall at the edge of the surface hides half of the hemisphere.
    assert upright_view_factor(1e6, height_m=1e6, distance_m=1e-3) == pytest.approx(0.5, abs=1e-6)


def test_radiances_add_and_temperatures_do_not():
    mixed = reflected_temperature_k([0.5], temperature_k=[373.15], rest_k=293.15, band=BAND)
    mean = (band_radiance(373.15, band=BAND) + band_radiance(293.15, band=BAND)) / 2
    assert band_radiance(mixed, band=BAND) == pytest.approx(mean, rel=1e-9)
    assert mixed > (373.15 + 293.15) / 2 + 5.0


@pytest.mark.parametrize("share", [[-0.1], [0.7, 0.4]])
def test_shares_of_a_hemisphere_are_checked(share):
    with pytest.raises(OutOfRangeError):
        reflected_temperature_k(share, temperature_k=[300.0] * len(share), rest_k=300.0, band=BAND)


def test_impossible_shapes_are_refused():
    with pytest.raises(OutOfRangeError):
        disc_view_factor(-1.0, height_m=1.0)
    with pytest.raises(OutOfRangeError):
        rectangle_view_factor((1.0, 0.0), y_m=(0.0, 1.0), height_m=1.0)
    with pytest.raises(OutOfRangeError):
        upright_view_factor(1.0, height_m=1.0, distance_m=0.0)
