"""Reading cooks.toml against its design."""

from __future__ import annotations

from pathlib import Path

import pytest

from trivet.errors import DesignError
from trivet.files.cooks import read_cooks
from trivet.files.design import read_design

ROOT = Path(__file__).parents[2]
LARKPANE = ROOT / "examples" / "larkpane"

PLAN = """
format = 1
[[cooks]]
name = "one"
purpose = "proof"
duration = "100 s"
hands_at = ["40 s"]
[[cooks.burners]]
burner = "front-left"
pan = "iron-skillet"
base = "thin-oil"
schedule = [{ at = "0 s", level = "90 %" }, { at = "50 s", level = "10 %" }]
[cooks.burners.food]
mass = "150 g"
diameter = "110 mm"
in = "30 s"
turn = "60 s"
out = "90 s"
[[cooks.burners]]
burner = "front-right"
pan = "saucepan"
base = "water"
schedule = [{ at = "0 s", level = "50 %" }]
[[cooks]]
name = "two"
purpose = "calibration"
duration = "60 s"
burners = [
  { burner = "back-left", pan = "saucepan", base = "dry", schedule = [{ at = "0 s", level = "1" }]},
]
"""


def test_the_example_has_both_purposes() -> None:
    plans = read_cooks(LARKPANE, read_design(LARKPANE))
    assert {plan.purpose for plan in plans.cooks} == {"calibration", "proof"}
    assert sum(plan.repeats * plan.duration_s for plan in plans.cooks) < 6000


def test_the_plan_reads(tmp_path: Path) -> None:
    path = tmp_path / "cooks.toml"
    path.write_text(PLAN, encoding="utf-8")
    one, _ = read_cooks(path, read_design(LARKPANE)).cooks
    assert one.burners[0].schedule[1].level_frac == pytest.approx(0.1)
    assert one.burners[0].food is not None
    assert one.burners[0].food.mass_kg == pytest.approx(0.15)


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ('burner = "front-left"', 'burner = "front"', "cooks[0].burners[0].burner", "not defined"),
        ('pan = "saucepan"', 'pan = "sauce"', "cooks[0].burners[1].pan", "did you mean 'saucepan'"),
        ('base = "dry"', 'base = "oil"', "cooks[1].burners[0].base", "not defined"),
        ('at = "50 s"', 'at = "0 s"', "cooks[0].burners[0].schedule[1].at", "rise"),
        ('at = "50 s"', 'at = "150 s"', "cooks[0].burners[0].schedule[1].at", "beyond"),
        ('name = "two"', 'name = "one"', "cooks[1].name", "already"),
        ('name = "two"', 'name = "one-r1"', "cooks[1].name", "repeat"),
        ('name = "two"', 'name = "Two!"', "cooks[1].name", "pattern"),
        ('burner = "front-right"', 'burner = "front-left"', "cooks[0].burners[1].burner", "second"),
        ('turn = "60 s"', 'turn = "20 s"', "cooks[0].burners[0].food.turn", "after"),
        ('out = "90 s"', 'out = "900 s"', "cooks[0].burners[0].food.out", "beyond"),
        (
            'diameter = "110 mm"',
            'diameter = "300 mm"',
            "cooks[0].burners[0].food.diameter",
            "in the",
        ),
        ('hands_at = ["40 s"]', 'hands_at = ["400 s"]', "cooks[0].hands_at[0]", "beyond"),
        ('purpose = "proof"', 'purpose = "both"', "cooks[0].purpose", "'calibration'"),
        ('duration = "60 s"', 'duration = "0 s"', "cooks[1].duration", "> 0 second"),
        (
            'base = "water"',
            'base = "water"\noffset_x = "-250 mm"',
            "cooks[0].burners[1].pan",
            "meets 'iron-skillet'",
        ),
    ],
)
def test_one_fault(tmp_path: Path, old: str, new: str, key: str, says: str) -> None:
    assert old in PLAN
    path = tmp_path / "cooks.toml"
    path.write_text(PLAN.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DesignError) as caught:
        read_cooks(path, read_design(LARKPANE))
    found = {fault.key: str(fault) for fault in caught.value.faults}
    assert key in found, found
    assert says in found[key]


def test_all_at_once(tmp_path: Path) -> None:
    path = tmp_path / "cooks.toml"
    text = (
        PLAN.replace('"front-left"', '"fl"').replace('"100 s"', '"100 m"').replace('"two"', '"one"')
    )
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError) as caught:
        read_cooks(path, read_design(LARKPANE))
    keys = [fault.key for fault in caught.value.faults]
    assert keys == ["cooks[0].duration", "cooks[0].burners[0].burner", "cooks[1].name"]
