"""What must never be predicted: each a fault with file, line, key, value and what is allowed."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from rich.console import Console

from trivet.errors import DesignError, Fault
from trivet.files.design import read_design
from trivet.files.newproject import new_project
from trivet.present import on_terminal
from trivet.present.answers import answer_section
from trivet.stages.predict import predict
from trivet.stages.predict.margins import range_checks
from trivet.stages.predict.views import seen_by

CARD = """
[[sensors]]
name = "own"
technology = "thermopile"
rows = 24
cols = 32
fov_h = "{fov}"
fov_v = "35 deg"
frame_rate = "4 Hz"
netd = "0.3 K"
accuracy = "2 K"
board_price = "65.00 USD"
source = "made up for a test"
{more}
"""
OWN = ('sensor = "thermopile-32x24-55"', 'sensor = "own"')
SKILLET = 'finish = "seasoned-cast-iron"'
EFFICIENCY = r"(converter_efficiency = )\{[^}]*\}"
MOUNT = r'(\[heads\.mount\](?:\n[^\[]*)?\nheight = )"0\.70 m"'


def changed(folder: Path, *changes: tuple[str, str], more: str = "") -> Path:
    """Return a fresh design file with patterns replaced once each."""
    new_project(folder / "p")
    path = folder / "p" / "design.toml"
    text = path.read_text("utf-8")
    for pattern, new in changes:
        text, count = re.subn(pattern, new, text, count=1)
        assert count == 1, pattern
    path.write_text(text + more, "utf-8")
    return path


def faults(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(DesignError) as caught:
        read_design(path)
    assert "design.toml" in str(caught.value)
    return caught.value.faults


@pytest.mark.parametrize(
    ("changes", "more", "key", "found", "allowed"),
    [
        ([OWN], CARD.format(fov="180 deg", more=""), "sensors[0].fov_h", "180 deg", "under 180"),
        ([OWN], CARD.format(fov="200 deg", more=""), "sensors[0].fov_h", "200 deg", "under 180"),
        ([(MOUNT, r'\1"-0.3 m"')], "", "heads[0].mount.height", "-0.3 m", "> 0"),
        ([(MOUNT, r'\1"0.03 m"')], "", "heads[0].mount.height", "0.03 m", "above the cooktop"),
        (
            [(r'(name = "front-right"[^x]*x = )"200 mm"', r'\1"-150 mm"')],
            "",
            "burners[1]",
            "overlaps 'front-left'",
            "at least",
        ),
        (
            [(SKILLET, SKILLET + '\nemissivity = "0"')],
            "",
            "pans[0].emissivity",
            "'0'",
            "> 0 and <= 1",
        ),
        (
            [(SKILLET, SKILLET + '\nemissivity = "1.2"')],
            "",
            "pans[0].emissivity",
            "'1.2'",
            "> 0 and <= 1",
        ),
        (
            [(r'reflectance = \{ value = "0\.086", low = "0\.07", high = "0\.10"',
              'reflectance = { value = "0.30", low = "0.07", high = "0.31"')],
            "", "heads[0].window.reflectance", "over 1 together", "at most 0.14",
        ),
        (
            [(SKILLET, SKILLET + '\nemissivity = { value = "0.9", low = "0.95", high = "0.85" }')],
            "",
            "pans[0].emissivity",
            "0.95 to 0.85",
            "> 0 and <= 1",
        ),
        (
            [(r'thickness = \{ value = "5 mm"[^}]*\}', 'thickness = "-5 mm"')],
            "",
            "pans[0].thickness",
            "-5 mm",
            "> 0",
        ),
        ([('weight = "35 %"', 'weight = "30 %"')], "", "trade.criteria", "0.95", "a sum of 1"),
        (
            [(EFFICIENCY, r'\1"120 %"')],
            "",
            "battery.converter_efficiency",
            "'120 %'",
            "> 0 and <= 1",
        ),
        ([('duty = "100 %"', 'duty = "130 %"')], "", "battery.duty", "'130 %'", "<= 1"),
    ],
)  # fmt: skip
def test_it_is_one_named_fault(tmp_path, changes, more, key, found, allowed) -> None:
    path = changed(tmp_path, *changes, more=more)
    (one,) = faults(path)
    assert one.key == key
    assert found in one.found
    assert allowed in one.allowed
    assert one.line is not None
    assert one.line > 1


def test_a_bad_range_in_a_head_is_one_fault(tmp_path) -> None:
    path = changed(tmp_path, (MOUNT, r'\1{ value = "0.70 m", low = "0.9 m", high = "0.8 m" }'))
    (one,) = faults(path)
    assert one.key == "heads[0].mount.height"
    assert "0.9 m to 0.8 m" in one.found


def test_no_head_at_all_is_still_said(tmp_path) -> None:
    path = changed(tmp_path)
    text = path.read_text("utf-8")
    start, end = text.index("[[heads]]"), text.index("[search]")
    path.write_text("heads = []\n" + text[:start] + text[end:], "utf-8")
    assert "heads" in {fault.key for fault in faults(path)}


def test_a_contribution_that_is_not_positive_never_breaks_even(tmp_path) -> None:
    path = changed(tmp_path, ('price = "149.00 USD"', 'price = "60.00 USD"'))
    money = predict(read_design(path)).economics
    assert money.contribution.startswith("-")
    assert money.break_even_units is None
    assert money.break_even_month is None
    assert any("never" in note for note in money.notes)


def test_a_card_without_range_is_unknown_and_never_zero(tmp_path) -> None:
    path = changed(tmp_path, OWN, more=CARD.format(fov="55 deg", more=""))
    design = read_design(path)
    checks = range_checks(design, eyes=seen_by(design).eyes)
    assert checks
    assert all(one.headroom_k != one.headroom_k for one in checks)  # not a number
    console = Console(width=200, record=True, file=io.StringIO())
    console.print(on_terminal([answer_section(predict(design), display=design.display)]))
    assert "unknown, the card of main states no range" in console.export_text()
