"""Cited tables: no number without a source; names are forgiving, unknown ones are not."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import FormatError, InputError
from trivet.facts.contents import oil
from trivet.facts.pans import burner_figure, material, optical_table, surface
from trivet.facts.tables import GRADES, parse_table, read_table, worst_grade

HEADER = "name,value,low,high,source,grade\n"


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("x,1,0,2,,fair", "source is empty"),
        ("x,1,0,2,book,", "grade is empty"),
        ("x,1,0,2,book,good", "allowed"),
        ("x,3,0,2,book,fair", "low to high"),
        ("x,nan,0,2,book,fair", "low to high"),
        ("x,one,0,2,book,fair", "not a number"),
        ("x,1,0,2,book", "differ"),
        ("x,1,0,2,book,fair,more", "differ"),
    ],
)
def test_rows_that_do_not_load(line, word):
    with pytest.raises(FormatError, match=word) as caught:
        parse_table(f"# note\n{HEADER}{line}\n", "test.csv")
    assert "test.csv:3" in str(caught.value) or "not a number" in word


def test_efficiencies_and_what_is_retained():
    """The relayed figures: induction 84 %, electric 74 to 80 %, gas 40 to 44 %."""
    assert burner_figure("induction", of="efficiency").value == 0.84
    coil, gas = (burner_figure(kind, of="efficiency") for kind in ("coil", "gas"))
    assert (coil.low, coil.high) == (0.74, 0.80)
    assert (gas.low, gas.high) == (0.40, 0.44)
    assert 0.78 <= burner_figure("gas", of="retained").value <= 0.83
    with pytest.raises(InputError, match="unknown burner kind"):
        burner_figure("wood", of="efficiency")


def test_a_good_row_loads():
    rows = parse_table(f"{HEADER}x,1,0,2,book,fair\n", "test.csv")
    assert rows[0]["value"] == "1"


def test_every_library_row_has_source_grade_and_range():
    for file in (
        "surfaces.csv",
        "materials.csv",
        "oils.csv",
        "optical_constants.csv",
        "foods.csv",
        "holdtimes.csv",
    ):
        for row in read_table(file):
            assert row["source"]
            assert row["grade"] in GRADES
    for entry in surface.all.values():
        assert 0.0 < entry.low < entry.high < 1.0, entry.name
        assert entry.kind in ("finish", "contents", "food", "surrounding")


def test_names_are_unique():
    for file in ("surfaces.csv",):
        names = [row["name"] for row in read_table(file)]
        assert len(names) == len(set(names))


def test_the_finishes_of_the_job_are_there():
    for name in (
        "polished stainless", "brushed stainless", "bare aluminium", "anodised aluminium",
        "seasoned cast iron", "seasoned carbon steel", "enamel", "ptfe non-stick",
        "ceramic coating", "polished copper", "deep oil", "water", "butter foam", "meat",
        "vegetables", "egg", "dough", "glass-ceramic", "gas grate", "painted steel hob",
    ):  # fmt: skip
        assert surface(name).low <= surface(name).emissivity <= surface(name).high


def test_unknown_names_offer_the_nearest():
    with pytest.raises(InputError, match="brushed-stainless"):
        surface("brushed steinless")
    with pytest.raises(InputError, match="carbon-steel"):
        material("steel")
    with pytest.raises(InputError, match="canola"):
        oil("canolla")
    with pytest.raises(InputError, match="water"):
        optical_table("watter")


def test_materials_against_the_printed_diffusivity():
    """Incropera et al., Table A.1, 300 K: Al 97.1e-6, Cu 117e-6, iron 23.1e-6, 304 3.95e-6.

    In m2/s; the printed row of iron disagrees with itself by 1.3 %.
    """
    printed = {"aluminium": 97.1e-6, "copper": 117e-6, "iron": 23.1e-6, "stainless-304": 3.95e-6}
    for name, alpha in printed.items():
        m = material(name)
        got = m.conductivity_w_mk / (m.density_kg_m3 * m.specific_heat_j_kgk)
        assert got == pytest.approx(alpha, rel=0.015), name
    assert all(m.density_range_kg_m3[0] <= m.density_kg_m3 for m in material.all.values())


def test_clad_is_its_layers():
    """0.4 mm steel, 1.8 mm aluminium, 0.4 mm steel: mass, heat and sideways conduction add."""
    steel, core, clad = material("stainless-304"), material("aluminium"), material("clad-tri-ply")
    mass = (0.8 * steel.density_kg_m3 + 1.8 * core.density_kg_m3) / 2.6
    heat = (
        0.8 * steel.density_kg_m3 * steel.specific_heat_j_kgk
        + 1.8 * core.density_kg_m3 * core.specific_heat_j_kgk
    ) / 2.6
    along = (0.8 * steel.conductivity_w_mk + 1.8 * core.conductivity_w_mk) / 2.6
    assert clad.density_kg_m3 == pytest.approx(mass, rel=2e-3)
    assert clad.density_kg_m3 * clad.specific_heat_j_kgk == pytest.approx(heat, rel=2e-3)
    assert clad.conductivity_w_mk == pytest.approx(along, rel=3e-3)


def test_oils_are_ordered_ranges():
    for entry in oil.all.values():
        assert entry.smoke_k[0] < entry.smoke_k[1] < entry.fire_k[0]
        assert entry.flash_k[1] < entry.fire_k[0] or entry.flash_k[0] < entry.fire_k[0]
        if entry.autoignition_k:
            assert entry.autoignition_k[0] > entry.fire_k[1]
    assert oil("butter").autoignition_k is None
    assert oil("canola").smoke_k == pytest.approx((204 + 273.15, 230 + 273.15))


def test_optical_constants_are_read_only_and_rise():
    assert set(optical_table.all) == {"water", "oil", "aluminium", "iron"}
    for name in optical_table.all:
        table = optical_table(name)
        assert np.all(np.diff(table.wavelength_m) > 0.0)
        assert not table.n.flags.writeable
        assert not table.k.flags.writeable
    assert optical_table("oil").n.size == 644


def test_worst_grade():
    assert worst_grade(["solid", "shaky", "fair"]) == "shaky"
