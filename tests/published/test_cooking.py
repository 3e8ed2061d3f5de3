"""Temperatures of cooking and of oils in trouble, against the demo design and the library."""

from __future__ import annotations

import pytest

from trivet.facts.contents import oil
from trivet.files.design import read_design
from trivet.files.newproject import scenarios
from trivet.physics.heat.water import boiling_point_k
from trivet.units import parse_quantity


@pytest.fixture(scope="module")
def rows(published):
    return {row["quantity"]: row for row in published("cooking")}


@pytest.fixture(scope="module")
def larkpane():
    return read_design(scenarios()["larkpane"] / "design.toml")


def kelvin(row) -> float:
    return parse_quantity(f"{row['expected']} {row['unit']}", "temperature")


def test_eggs_poach_in_the_demo_band_below_boiling(rows, larkpane) -> None:
    band = next(one for one in larkpane.bands if one.name == "poach")
    assert band.of == "liquid"
    assert float(band.low_k) == pytest.approx(kelvin(rows["poach_low"]))
    assert float(band.high_k) == pytest.approx(kelvin(rows["poach_high"]))
    assert float(band.high_k) < boiling_point_k(float(larkpane.surroundings.altitude_m))


def test_a_steak_goes_on_inside_its_band_below_any_refined_oils_smoke(rows, larkpane) -> None:
    band = next(one for one in larkpane.bands if one.name == "steak")
    assert float(band.low_k) <= kelvin(rows["steak_on"]) <= float(band.high_k)
    for name in ("canola", "soybean", "sunflower", "corn", "peanut"):
        assert float(band.high_k) < oil(name).smoke_k[0], name


@pytest.mark.parametrize("name", ["canola", "soybean", "olive-refined"])
def test_autoignition_lies_in_the_library_range(rows, name: str) -> None:
    low, high = oil(name).autoignition_k
    assert low <= kelvin(rows[f"{name}_autoignition"]) <= high


def test_a_typical_fat_smokes_flashes_and_burns_in_that_order(rows) -> None:
    fat = oil("fat")
    for kind in ("smoke", "flash", "fire"):
        low, high = getattr(fat, f"{kind}_k")
        assert low <= kelvin(rows[f"fat_{kind}"]) <= high
    assert fat.smoke_k[0] < fat.flash_k[0] < fat.fire_k[0]


def test_the_demo_smoke_limit_is_a_range_not_a_point(larkpane) -> None:
    limit = larkpane.limit("oil-smoke")
    assert limit.value_k.high - limit.value_k.low >= 40.0
