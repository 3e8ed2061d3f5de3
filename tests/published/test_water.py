"""Boiling, standard atmosphere and water properties against published values."""

from __future__ import annotations

from trivet.physics.heat import water


def slope_k_per_kpa(row):
    low, high = (
        water.saturation_temperature_k(row["pressure_pa"] + step) for step in (-500.0, 500.0)
    )
    return high - low


VALUES = {
    "saturation_temperature": lambda r: water.saturation_temperature_k(r["pressure_pa"]),
    "saturation_pressure": lambda r: water.saturation_pressure_pa(r["t_k"]),
    "saturation_slope": slope_k_per_kpa,
    "standard_pressure": lambda r: water.standard_pressure_pa(r["altitude_m"]),
    "boiling_point": lambda r: water.boiling_point_k(r["altitude_m"]),
    "latent_heat": lambda r: water.latent_heat_j_kg(r["t_k"]),
    "density": lambda r: water.water_density_kg_m3(r["t_k"]),
    "specific_heat": lambda r: water.water_specific_heat_j_kgk(r["t_k"]),
}


def test_water_rows(published):
    wrong = []
    for row in published("water"):
        got = VALUES[row["quantity"]](row)
        if not abs(got - row["expected"]) <= row["tolerance"]:
            wrong.append(f"{row['id']}: {float(got):.10g}, expected {row['expected']:.10g}")
    assert not wrong, "\n".join(wrong)
