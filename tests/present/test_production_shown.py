"""Remedies, units and the error chart as people see them."""

from __future__ import annotations

import io
import math
import xml.etree.ElementTree as ET

import numpy as np
from rich.console import Console

from trivet.present import on_terminal
from trivet.present.figures import chart_svg
from trivet.present.population import remedies_section
from trivet.records.design import Display
from trivet.records.dossier import Chart, ChartLine, Mark
from trivet.records.prediction import Remedies, Remedy


def printed(record: Remedies, unit: str = "degC") -> str:
    console = Console(file=io.StringIO(), width=160)
    section = remedies_section(record, display=Display(temperature=unit))
    console.print(on_terminal([section]))
    return console.file.getvalue()


def remedy(option: str, before: float, after: float, *, inside: bool, note: str = "") -> Remedy:
    return Remedy(option, "R4", "predicted_u95", 10.0, before, after, inside, note)


RECORD = Remedies(
    tried=(
        remedy("line", math.inf, 8.0, inside=True),
        remedy("other card", math.inf, math.nan, inside=False, note="unknown: no price"),
        remedy("paint", math.inf, math.inf, inside=False),
    ),
    failing=("R4", "R9"),
    unhelped=("R9",),
)


def test_unknown_and_not_measurable_are_words_and_never_numbers() -> None:
    text = printed(RECORD)
    assert "not measurable" in text
    assert "unknown: no price" in text
    assert "8.0 K" in text
    assert "nan" not in text
    assert "inf" not in text


def test_what_does_not_move_is_left_out_and_counted() -> None:
    text = printed(RECORD)
    assert "paint" not in text
    assert "because nothing moves: 1." in text
    assert "no single declared change brings R9 inside." in text


def test_a_difference_in_fahrenheit_has_no_offset() -> None:
    assert "14.4 °F" in printed(RECORD, "degF")  # 8 K times 1.8


def test_nothing_fails_and_nothing_is_declared_are_told_apart() -> None:
    assert "holds as the design stands" in printed(Remedies((), (), ()))
    assert "declares no [[options]]" in printed(Remedies((), ("R1",), ("R1",)))


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
