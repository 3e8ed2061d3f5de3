"""Faults of radiometry, calibration and options, and response curves beside a design."""

from __future__ import annotations

from pathlib import Path

import pytest

from trivet.errors import DesignError
from trivet.files.design import read_design
from trivet.models.optics import card_band
from trivet.physics.radiation.planck import radiating_temperature_k

ROOT = Path(__file__).parents[2]
LARKPANE = (ROOT / "examples" / "larkpane" / "design.toml").read_text(encoding="utf-8")
LINE = """
[end_of_line]
points = ["60 degC", "250 degC"]
fixture_u95 = "1 K"
time = "4 min"
cost = "1.50 USD"
reject_limit = "10 K"
"""
CARD = """
[[sensors]]
name = "own"
technology = "thermopile"
rows = 24
cols = 32
fov_h = "55 deg"
fov_v = "35 deg"
frame_rate = "4 Hz"
netd = "0.3 K"
response = {curve}
source = "for tests"
"""


def written(folder: Path, text: str) -> Path:
    (folder / "design.toml").write_text(text, encoding="utf-8")
    return folder


def said(folder: Path, text: str) -> str:
    with pytest.raises(DesignError) as caught:
        read_design(written(folder, text))
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('value = "0.086", low = "0.07", high = "0.10"', 'value = "0.2"', "reflectance", "over 1"),
        ('value = "0.86", low', 'value = "1.1", low', "transmittance", "outside"),
        ('grease = { value = "0.2 um", low = "0 um"', 'grease = { value = "-1 um", low = "-2 um"',
         "grease", "outside"),
        ('thickness = "2.6 mm"', 'thickness = "-2.6 mm"', "thickness", "outside"),
        ('width = "0.76 m", depth = "0.50 m"', 'width = "0.76 m"', "mirrored", "without depth"),
        ('bases = ["water"]\n\n# ---', 'bases = ["wine"]\n\n# ---', "steam.bases", "not defined"),
        ('first = "reflected temperature"', 'first = "reflected temp"', "correlations[0].first",
         "did you mean 'reflected temperature'"),
        ('coefficient = "0.5"', 'coefficient = "1.5"', "coefficient", "outside"),
        ('name = "wide lens"', 'name = "mount at 0.90 m"', "options[1].name", "already"),
        ('"heads.main.mount.height" =', '"haeds.main.mount.height" =', "options[0]", "haeds"),
    ],
)  # fmt: skip
def test_each_fault_is_named_with_what_is_allowed(tmp_path, old, new, key, words) -> None:
    assert old in LARKPANE, f"the example no longer holds {old!r}"
    text = said(tmp_path, LARKPANE.replace(old, new, 1))
    assert key in text
    assert words in text


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"250 degC"', '"60 degC"', "twice"),
        ('reject_limit = "10 K"', 'reject_limit = "0.5 K"', "fail by chance"),
        ('cost = "1.50 USD"', 'cost = "1.50 EUR"', "beside a price in USD"),
        ('points = ["60 degC", "250 degC"]', "points = []", "at least 1"),
        ('time = "4 min"', 'time = "-4 min"', "outside"),
    ],
)
def test_nonsense_at_the_end_of_the_line_is_refused(tmp_path, old, new, words) -> None:
    assert words in said(tmp_path, LARKPANE + LINE.replace(old, new, 1))


def test_a_pan_emissivity_outside_0_to_1_is_refused(tmp_path) -> None:
    old = 'finish = "seasoned-cast-iron"\n'
    for bad in ('"0"', '"1.2"', '{ value = "0.9", low = "0.95", high = "0.8" }'):
        text = LARKPANE.replace(old, f"{old}emissivity = {bad}\n", 1)
        assert "emissivity" in said(tmp_path, text)


def test_a_sound_line_is_read(tmp_path) -> None:
    design = read_design(written(tmp_path, LARKPANE + LINE))
    assert design.end_of_line is not None
    assert [round(point - 273.15) for point in design.end_of_line.points_k] == [60, 250]


# ------------------------------------------------------- response curves
CURVE = "# a made-up curve\nwavelength_um,response\n7.5,0\n8.5,0.7\n11,1\n13.5,0.6\n14.5,0\n"


def with_curve(folder: Path, curve: str) -> Path:
    return written(folder, LARKPANE + CARD.replace("{curve}", curve))


def test_a_curve_is_read_beside_the_design_and_becomes_the_band(tmp_path) -> None:
    (tmp_path / "curve.csv").write_text(CURVE, encoding="utf-8")
    design = read_design(with_curve(tmp_path, '"curve.csv"'))
    card = next(one for one in design.sensors if one.name == "own")
    assert card.response[1] == pytest.approx((8.5e-6, 0.7))
    band = card_band(card)
    assert band.wavelength_m[-1] == pytest.approx(14.5e-6)
    wavelength, weight = band.nodes
    peak = wavelength[weight.argmax()]
    assert 8.5e-6 < peak < 13.5e-6
    assert radiating_temperature_k(1e-9, band=band) != radiating_temperature_k(1e-9, band=band)


def test_the_same_curve_inline_gives_the_same_band(tmp_path) -> None:
    (tmp_path / "curve.csv").write_text(CURVE, encoding="utf-8")
    pairs = '[["7.5 um", "0"], ["8.5 um", "0.7"], ["11 um", 1], ["13.5 um", 0.6], ["14.5 um", 0]]'
    bands = []
    for curve in ('"curve.csv"', pairs):
        design = read_design(with_curve(tmp_path, curve))
        bands.append(card_band(next(one for one in design.sensors if one.name == "own")))
    assert bands[0].wavelength_m == pytest.approx(bands[1].wavelength_m)
    assert bands[0].response == pytest.approx(bands[1].response)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "missing.csv"),
        ("wavelength,response\n8,1\n", "wavelength_um"),
        ("wavelength_um,response\n8,1\nnine,1\n", "line 3"),
        ("wavelength_um,response\n9,1\n8,1\n", "do not rise"),
        ("wavelength_um,response\n8,1\n9,-0.1\n", "below zero"),
        ("wavelength_um,response\n8,0\n9,0\n", "zero everywhere"),
        ("wavelength_um,response\n8,1\n", "one pair"),
        ("wavelength_um,response\n8000,1\n9000,1\n", "outside 0.1 um"),
    ],
)
def test_a_bad_curve_is_a_fault_with_its_reason(tmp_path, content, words) -> None:
    name = "missing.csv" if content is None else "curve.csv"
    if content is not None:
        (tmp_path / name).write_text(content, encoding="utf-8")
    with pytest.raises(DesignError) as caught:
        read_design(with_curve(tmp_path, f'"{name}"'))
    assert words in str(caught.value)
    assert "response" in str(caught.value)
