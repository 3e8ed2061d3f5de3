"""Fog droplets and reference spheres against published and computed values."""

from __future__ import annotations

import numpy as np

from trivet.facts.pans import optical_table
from trivet.physics.radiation.film import OpticalConstants
from trivet.physics.radiation.mie import (
    band_mass_extinction_m2_kg,
    mie_efficiencies,
    steam_transmittance,
)
from trivet.physics.radiation.planck import flat_band


def water():
    table = optical_table("water")
    return OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


def efficiencies(row):
    if row["size"] is not None:
        return mie_efficiencies(row["size"], index=row["index_n"] + 1j * row["index_k"])
    wavelength = np.array([row["wavelength_um"] * 1e-6])
    size = np.pi * row["diameter_um"] * 1e-6 / wavelength
    extinction, scattering = mie_efficiencies(size, index=water().index(wavelength))
    return extinction[0], scattering[0]


def line_band(row):
    return flat_band(row["wavelength_um"] * 1e-6, row["wavelength_um"] * 1.000001e-6)


VALUES = {
    "extinction": lambda row: efficiencies(row)[0],
    "scattering": lambda row: efficiencies(row)[1],
    "mass_extinction_m2_g": lambda row: (
        band_mass_extinction_m2_kg(
            row["diameter_um"] * 1e-6, water=water(), temperature_k=473.15, band=line_band(row)
        )
        / 1000.0
    ),
    "column_transmittance": lambda row: steam_transmittance(
        1e-3 * 0.30,
        diameter_m=row["diameter_um"] * 1e-6,
        water=water(),
        temperature_k=473.15,
        band=line_band(row),
    ),
}


def test_fog_rows(published):
    wrong = []
    for row in published("fog"):
        got = float(VALUES[row["quantity"]](row))
        if not abs(got - row["expected"]) <= row["tolerance"]:
            wrong.append(f"{row['id']}: {got:.7g}, expected {row['expected']:.7g}")
    assert not wrong, "\n".join(wrong)
