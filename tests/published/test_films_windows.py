"""Films, smooth surfaces and windows against published and computed values."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.facts.pans import optical_table
from trivet.physics.radiation import film, path
from trivet.physics.radiation.planck import flat_band


def constants(name):
    table = optical_table(name)
    return film.OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


def band_of(row):
    return flat_band(row["low_um"] * 1e-6, row["high_um"] * 1e-6)


def surface(row):
    return film.surface_band_emissivity(
        constants(row["material"]),
        angle_rad=np.radians(row["angle_deg"]),
        temperature_k=row["t_c"] + 273.15,
        band=band_of(row),
    )


def hemispherical(row):
    x, w = np.polynomial.legendre.leggauss(200)
    sine2 = 0.5 * (x + 1.0)
    spectral = film.surface_band_emissivity(
        constants(row["material"]),
        angle_rad=np.arcsin(np.sqrt(sine2)),
        temperature_k=row["t_c"] + 273.15,
        band=band_of(row),
    )
    return 0.5 * spectral @ w


def film_rows(row):
    return film.film_emissivity(
        row["thickness_um"] * 1e-6,
        film=constants(row["material"]),
        substrate=constants(row["substrate"]),
        angle_rad=np.radians(row["angle_deg"]),
        temperature_k=row["t_c"] + 273.15,
        band=band_of(row),
    )


def transmittance(row, thickness_m):
    return film.film_transmittance(
        thickness_m,
        film=constants(row["material"]),
        temperature_k=row["t_c"] + 273.15,
        band=band_of(row),
    )


VALUES = {
    "surface_emissivity": surface,
    "hemispherical_emissivity": hemispherical,
    "film_emissivity": film_rows,
    "film_transmittance": lambda r: transmittance(r, r["thickness_um"] * 1e-6),
    "absorption_1_cm": lambda r: -np.log(transmittance(r, 1e-9)) / 1e-7,
    "slab_transmittance": lambda r: path.slab_transmittance(
        r["index"], absorption_1_m=100.0 * r["alpha_1_cm"], thickness_m=r["thickness_um"] * 1e-6
    ),
}


def test_film_and_window_rows(published):
    wrong = []
    for row in published("films_windows"):
        got = VALUES[row["quantity"]](row)
        if not abs(got - row["expected"]) <= row["tolerance"]:
            wrong.append(f"{row['id']}: {float(got):.6g}, expected {row['expected']:.6g}")
    assert not wrong, "\n".join(wrong)


def test_film_at_angles_against_tmm():
    """The incoherent layer of the package tmm (dev dependency), node by node."""
    tmm = pytest.importorskip("tmm")
    water, iron = constants("water"), constants("iron")
    band = flat_band(9e-6, 9.000001e-6)
    wavelength = 9e-6
    n, base = water.index(np.array([wavelength]))[0], iron.index(np.array([wavelength]))[0]
    for angle in (0.0, 0.6, 1.1):
        for thickness in (1e-6, 8e-6):
            reflected = [
                tmm.inc_tmm(
                    polarisation,
                    [1.0, n, base],
                    [np.inf, thickness, np.inf],
                    ["i", "i", "i"],
                    angle,
                    wavelength,
                )["R"]
                for polarisation in "sp"
            ]
            got = film.film_emissivity(
                thickness,
                film=water,
                substrate=iron,
                angle_rad=angle,
                temperature_k=373.15,
                band=band,
            )
            assert got == pytest.approx(1.0 - np.mean(reflected), abs=1e-6)
