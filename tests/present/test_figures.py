"""Charts as pictures: what is drawn is what is so."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np

from trivet.present.figures import chart_file, chart_svg
from trivet.records.design import Display
from trivet.records.dossier import Chart, ChartLine, FrameView, Mark


def texts(svg: str) -> list[str]:
    root = ET.fromstring(svg)
    return ["".join(node.itertext()) for node in root.iter() if node.tag.endswith("}text")]


def test_the_days_are_marked_where_the_curve_says() -> None:
    days = np.arange(1.0, 100.0)
    lasts = 1.0 - np.arange(1, 100) / 100
    chart = Chart(
        "days",
        "Days",
        "",
        x_label="days",
        y_label="users",
        lines=(ChartLine("lasts", days, lasts),),
        marks=(Mark(99.0, "claimed"),),
        evidence="predicted",
    )
    found = texts(chart_file(chart, display=Display()))
    # 90, 50 and 10 % of users get at least 10, 50 and 90 days
    assert {"P10: 10 d", "P50: 50 d", "P90: 90 d", "claimed"} <= set(found)


def test_labels_of_the_cash_curve_stay_inside() -> None:
    months = np.arange(10.0)
    money = np.array([0.0, -5, -9, -7, -5, -4, -3, -2, -1, 1]) * 1000
    chart = Chart(
        "cash",
        "Cash",
        "",
        x_label="month",
        y_label="USD",
        lines=(ChartLine("cash", months, money),),
        marks=(Mark(2.0, "trough"), Mark(9.0, "break-even")),
        evidence="predicted",
    )
    root = ET.fromstring(chart_file(chart, display=Display()))
    ends = {
        "".join(node.itertext()): node.get("style", "")
        for node in root.iter()
        if node.tag.endswith("}text")
    }
    assert "text-anchor: end" in ends["break-even, month 9"]
    assert "text-anchor: middle" in ends["trough, month 2"]


def test_labels_are_told_by_letters_as_well_as_colours() -> None:
    label = np.array([[0, 1, 1], [0, 3, 4]], np.int8)
    frame = FrameView(np.full((2, 3), 400.0), label, label, np.array([[0.0, 0.0], [1.0, 1.0]]))
    chart = Chart("labels", "A frame", "", frame=frame, evidence="simulated")
    found = texts(chart_file(chart, display=Display()))
    assert [found.count(letter) for letter in "pfw"] == [4, 2, 2]
    assert "SIMULATED" in found


def test_the_matrix_shows_every_count() -> None:
    bars = (
        ("dark; all", 7.0, "a number"),
        ("dark; all", 2.0, "shiny"),
        ("shiny; all", 9.0, "shiny"),
    )
    chart = Chart("confusion", "Words", "", bars=bars, evidence="simulated")
    found = texts(chart_file(chart, display=Display()))
    assert {"7", "2", "9", "0", "dark; all", "shiny; all", "a number"} <= set(found)


def test_a_profile_keeps_temperatures_and_differences_apart() -> None:
    ring, turn = np.linspace(0.1, 0.9, 5), np.arange(8) * 45.0
    lines = (
        ChartLine("was so", ring, ring + 400.0),
        ChartLine("said", ring, ring + 400.0),
        ChartLine("was so, round", turn, 0.0 * turn),
        ChartLine("said, round", turn, 0.0 * turn),
    )
    chart = Chart("profile", "A pan", "", y_label="mean of ring", lines=lines, evidence="simulated")
    found = " ".join(texts(chart_file(chart, display=Display(temperature="degF"))))
    assert "mean of ring / °F" in found
    assert "eighth minus mean of all / °F" in found


def frozen(*values: float) -> np.ndarray:
    array = np.array(values)
    array.flags.writeable = False
    return array


def test_error_against_temperature_has_a_line_a_base_and_its_bound() -> None:
    lines = tuple(
        ChartLine(f"{name}: emissivity", frozen(373.15, 473.15), frozen(5.0, 9.0))
        for name in ("dry", "water")
    )
    chart = Chart(
        "widths",
        "Error against temperature",
        "caption",
        x_label="temperature",
        y_label="95 % half-width",
        lines=lines,
        marks=(Mark(25.0, "bound of a reading"),),
        evidence="predicted",
    )
    svg = chart_svg(chart, display=Display(), key="k")
    ET.fromstring(svg.replace("<svg ", '<svg xmlns:x="x" ', 1))
    for words in ("dry: emissivity", "water: emissivity", "bound of a reading", "PREDICTED"):
        assert words in svg
