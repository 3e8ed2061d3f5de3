"""Sections on the terminal: marks, short form, wide tables, words for what is missing."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.present.cook import alert_log_section, estimate_section, remarks_section
from trivet.present.parts import claim_section
from trivet.quality import Quality
from trivet.records.alertlog import AlertChange, AlertLog
from trivet.records.design import Display
from trivet.records.dossier import Claim, Section, Table
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import Note
from trivet.records.requirement import OF_WORDS

FAHRENHEIT = Display(temperature="degF", length="in")


def test_terminal_draws_the_sections_of_the_page_and_ignores_markup(printed) -> None:
    table = Table("Evidence", ("Id", "Decision"), (("[red]R1[/red]", "not proven"),), "Note.",
                  "simulated")  # fmt: skip
    text = printed(Section("Proof", ("Words.",), (table,)))
    assert "[red]R1[/red]" in text
    assert "◇ not proven" in text
    assert "Evidence (simulated, within the simulator)" in text
    assert "Words." in text
    assert "Note." in text
    claims = (
        Claim("R1", "alerts come", "not proven", "simulation alone", "≤ 5 %", "simulated"),
        Claim("R2", "readings fit", "met", "fits", "≤ 10 K", "simulated"),
        Claim("R3", "rim in view", "not met", "cut", "≥ 100 %", "predicted"),
    )
    first = printed(claim_section("Of 3.", claims))
    for words in ("● met", "✕ not met", "◇ not proven", "simulation alone", "≤ 5 %", "Of 3."):
        assert words in first


def test_the_short_form_holds_only_what_asks_to_be_in_it(printed) -> None:
    rows = tuple((str(number),) for number in range(9))
    section = Section("S", ("Words.",), (Table("Long", ("n",), rows, brief_rows=2),
                                         Table("Left out", ("n",), rows)))  # fmt: skip
    text = printed(section, short=True)
    assert "Rows left out: 7." in text
    assert "Left out\n" not in text
    assert "Words." not in text


@pytest.mark.parametrize("width", [40, 80, 120])
def test_a_wide_table_is_parted_and_loses_no_cell(printed, width: int) -> None:
    columns = tuple(f"column {number}" for number in range(14))
    rows = tuple(tuple(f"{row}{number}.5 K" for number in range(14)) for row in range(3))
    text = printed(Section("S", (), (Table("Wide", columns, rows),)), width=width)
    assert all(cell in text for row in rows for cell in row)
    assert max(len(line) for line in text.splitlines()) <= width


def test_terminal_estimate_says_why_it_has_no_number(printed) -> None:
    flags = np.array([0, int(Quality.SHINY)], dtype=np.uint32)
    one = BurnerEstimate(
        burner="B1",
        head="hood",
        present=np.ones(2, dtype=np.int8),
        of=np.full(2, OF_WORDS.index("oil"), dtype=np.int8),
        reported_k=np.array([453.15, 310.0]),
        u95_k=np.full(2, 5.0),
        hottest_k=np.full(2, np.nan),
        nonuniformity_k=np.full(2, np.nan),
        apparent_k=np.full(2, np.nan),
        flags=flags,
        heat_on=np.ones(2, dtype=np.bool_),
        pixels=np.full(2, 20, dtype=np.int8),
    )
    text = printed(
        estimate_section(Estimate(np.arange(2.0), (one,)), display=FAHRENHEIT), width=160
    )
    assert "no reading: shiny" in text
    assert "356 °F" in text
    assert "37 °C" not in text
    assert "98 °F" not in text


def test_terminal_alerts_and_remarks(printed) -> None:
    log = AlertLog((AlertChange(12.5, "B1", "smoke", "on"),))
    assert "12.5" in printed(alert_log_section(log))
    assert "No alert changed." in printed(alert_log_section(AlertLog(())))
    assert "[b]odd" in printed(remarks_section((Note("[b]odd", "design.toml:3", "mend it"),)))
    assert "Nothing to remark." in printed(remarks_section(()))
