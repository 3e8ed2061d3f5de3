"""Matrices of cooks: what they expand to, and what is refused by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from trivet.errors import DesignError
from trivet.files.campaign_table import cook_file
from trivet.files.cooks import read_cook_set
from trivet.files.design import read_design
from trivet.files.matrix import BURNER_KEYS, COOK_KEYS
from trivet.records.campaign import CookSet, SweepCook
from trivet.records.cook import cook_name
from trivet.records.provenance import fingerprint

ROOT = Path(__file__).parents[2]
DESIGN = read_design(ROOT / "examples" / "larkpane")

MATRIX = """
format = 1
[[cooks]]
name = "one"
purpose = "calibration"
duration = "60 s"
burners = [
  { burner = "back-left", pan = "saucepan", base = "dry", schedule = [{ at = "0 s", level = "1" }]},
]
[[matrix]]
name = "oil"
purpose = "proof"
seeds = ["a", "b"]
exclude = [{ base = "water", pan = "small-iron" }]
worst = [{ name = "alone", levels = { base = "deep-oil", power = "full", pan = "iron-skillet" } }]
[matrix.common]
burner = "front-left"
duration = "60 s"
[[matrix.factors]]
name = "pan"
levels = ["nonstick-pan", "iron-skillet", "small-iron"]
[[matrix.factors]]
name = "base"
levels = ["dry", "deep-oil", "water"]
[[matrix.factors]]
name = "power"
levels = [
  { name = "half", set = { schedule = [{ at = "0 s", level = "50 %" }] } },
  { name = "full", set = { schedule = [{ at = "0 s", level = "100 %" }] } },
]
[[matrix.factors]]
name = "attended"
levels = [{ name = "no" }, { name = "yes", set = { hands_at = ["20 s"], ambient = "18 degC" } }]
"""
BESIDE = """
[[matrix.common.beside]]
burner = "back-left"
pan = "saucepan"
base = "dry"
schedule = [{ at = "0 s", level = "1" }]
"""


def read(folder: Path, text: str = MATRIX) -> CookSet:
    path = folder / "cooks.toml"
    path.write_text(text, encoding="utf-8")
    return read_cook_set(path, DESIGN)


def test_all_combinations_but_the_excluded(tmp_path: Path) -> None:
    (matrix,) = read(tmp_path).matrices
    assert (matrix.full, matrix.excluded, matrix.runs) == (36, 4, 32)
    assert len(matrix.cooks) == (32 + 1) * 2
    assert not [
        c for c in matrix.cooks if (c.levels["base"], c.levels["pan"]) == ("water", "small-iron")
    ]
    assert matrix.pairs_possible == matrix.pairs_covered == 9 + 6 + 6 + 6 + 6 + 4 - 1
    names = [cook.plan.name for cook in matrix.cooks]
    assert names[:3] == ["oil-alone-a", "oil-alone-b", "oil-nonstick-pan-dry-half-no-a"]
    assert len(set(names)) == len(names)


def test_levels_set_their_keys_and_nothing_else(tmp_path: Path) -> None:
    (matrix,) = read(tmp_path).matrices
    for cook in matrix.cooks:
        (burner,) = cook.plan.burners
        assert burner.pan == cook.levels["pan"]
        assert burner.base == cook.levels["base"]
        assert burner.burner == "front-left"
        assert (
            float(burner.schedule[0].level_frac) == {"half": 0.5, "full": 1.0}[cook.levels["power"]]
        )
        attended = cook.levels["attended"] == "yes"
        assert [float(one) for one in cook.plan.hands_at_s] == ([20.0] if attended else [])
        assert (cook.plan.ambient_k is not None) is attended


def test_a_worst_case_has_its_own_name_and_first_levels_for_the_rest(tmp_path: Path) -> None:
    worst = read(tmp_path).matrices[0].cooks[0]
    assert worst.worst == "alone"
    assert worst.levels == {
        "pan": "iron-skillet",
        "base": "deep-oil",
        "power": "full",
        "attended": "no",
    }


def test_a_cook_reads_as_if_it_were_written_alone(tmp_path: Path) -> None:
    made = read(tmp_path).matrices[0].cooks[2].plan
    alone = f"""
format = 1
[[cooks]]
name = "{made.name}"
purpose = "proof"
duration = "60 s"
[[cooks.burners]]
burner = "front-left"
pan = "nonstick-pan"
base = "dry"
schedule = [{{ at = "0 s", level = "50 %" }}]
"""
    (written,) = read(tmp_path, alone).plans.cooks
    assert fingerprint(made) == fingerprint(written)


def test_reading_again_gives_the_same_cooks(tmp_path: Path) -> None:
    text = MATRIX.replace('seeds = ["a", "b"]', "runs = 9")
    one, two = read(tmp_path, text), read(tmp_path, text)
    assert [c.plan for c in one.matrices[0].cooks] == [c.plan for c in two.matrices[0].cooks]
    assert len(one.matrices[0].cooks) == 10


def test_a_level_more_leaves_the_other_cooks_as_they_were(tmp_path: Path) -> None:
    """So that a campaign that grows keeps what is done."""

    def files(found: CookSet) -> set[Path]:
        return {
            cook_file(
                tmp_path, SweepCook(c.plan, 0, c.combination, "oil", c.levels, c.seed, c.worst)
            )
            for c in found.matrices[0].cooks
        }

    before = files(read(tmp_path))
    grown = MATRIX.replace('"small-iron"]', '"small-iron", "steel-skillet"]')
    assert before < files(read(tmp_path, grown))


def test_seeds_and_repeats_count_as_one_combination(tmp_path: Path) -> None:
    found = read(tmp_path, MATRIX.replace("seeds =", "repeats = 3\nseeds ="))
    combinations = found.combinations
    assert combinations["oil-alone-a"] == combinations["oil-alone-b"] == "oil-alone"
    assert cook_name(found.matrices[0].cooks[0].plan, 2) == "oil-alone-a-r2"


def test_proof_matrices_stay_out_of_the_chain_unless_asked(tmp_path: Path) -> None:
    assert [plan.name for plan in read(tmp_path).chained] == ["one"]
    asked = read(tmp_path, MATRIX.replace("seeds =", "prove = true\nseeds ="))
    assert len(asked.chained) == 1 + 66


def test_neighbours_stand_beside(tmp_path: Path) -> None:
    beside = BESIDE
    found = read(
        tmp_path,
        MATRIX.replace('duration = "60 s"\n[[matrix', f'duration = "60 s"{beside}[[matrix'),
    )
    assert {len(cook.plan.burners) for cook in found.matrices[0].cooks} == {2}


def test_no_key_is_one_of_cook_and_of_burner() -> None:
    assert not set(COOK_KEYS) & set(BURNER_KEYS)


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        (
            '"nonstick-pan", "iron',
            '"nonstick", "iron',
            "factors[0].levels[0].set.pan",
            "not defined",
        ),
        ('burner = "front-left"', 'burner = "front"', "matrix[0].common.burner", "not defined"),
        ('"dry", "deep-oil"', '"dri", "deep-oil"', "factors[1].levels[0].set.base", "not defined"),
        ('"dry", "deep-oil"', '"dry", "dry", "deep-oil"', "factors[1].levels[1]", "stands twice"),
        ('name = "base"', 'name = "pan"', "matrix[0].factors[1]", "stands twice"),
        ('name = "power"', 'name = "base"', "matrix[0].factors[2]", "stands twice"),
        ('["a", "b"]', '["a", "a"]', "matrix[0].seeds[1]", "stands twice"),
        ("set = { hands_at", "set = { hand_at", "levels[1].hand_at", "hands_at"),
        (
            '{ hands_at = ["20 s"], ambient = "18 degC" }',
            "{}",
            "matrix[0].factors[3]",
            "no cook uses the factor 'attended'",
        ),
        ('ambient = "18 degC"', 'burner = "back-left"', "factors[3].levels", "common sets too"),
        ('ambient = "18 degC"', 'pan = "saucepan"', "factors[3].levels", "factor 'pan' sets too"),
        ('ambient = "18 degC"', 'ambient = "18 kg"', "factors[3].levels[1].set.ambient", "18 kg"),
        ('base = "water", pan', 'bases = "water", pan', "exclude[0].bases", "no factor 'bases'"),
        ('base = "water", pan', 'base = "wate", pan', "exclude[0].base", "'water'"),
        (
            'pan = "small-iron" }]\n',
            'pan = "small-iron" }, { base = "water", pan = "small-iron", power = "half" }]\n',
            "matrix[0].exclude[1]",
            "excludes nothing",
        ),
        (
            '{ base = "water", pan = "small-iron" }',
            '{ power = "half" }, { power = "full" }',
            "matrix[0].exclude",
            "exclude every cook",
        ),
        ('base = "water", pan = "small-iron"', 'base = "water"', "factors[1].levels[2]", "'water'"),
        ("exclude = [{", "exclude = [{}, {", "matrix[0].exclude[0]", "empty"),
        ('base = "deep-oil", power', 'base = "oil", power', "worst[0].levels.base", "no level"),
        (
            'base = "deep-oil", power = "full", pan = "iron-skillet"',
            'base = "water", pan = "small-iron"',
            "matrix[0].worst[0]",
            "excludes the worst case",
        ),
        ("seeds =", "runs = 2\nseeds =", "matrix[0].runs", "cannot hold 3 levels"),
        ("seeds =", "repeats = 20000\nseeds =", "matrix[0]", "runs = N takes fewer"),
        ("seeds =", "runs = 0\nseeds =", "matrix[0].runs", "greater than"),
        ('burner = "front-left"\n', "", "matrix[0].common.burner", "missing"),
        ('hands_at = ["20 s"]', 'hands_at = ["90 s"]', "levels[1].set.hands_at[0]", "beyond"),
        ('name = "one"', 'name = "oil-alone-a"', "matrix[0].name", "'oil-alone-a' of cook"),
        ('name = "oil"', 'name = "Oil!"', "matrix[0].name", "pattern"),
    ],
)
def test_faults_name_the_place(tmp_path: Path, old: str, new: str, key: str, says: str) -> None:
    assert MATRIX.count(old) >= 1
    with pytest.raises(DesignError) as raised:
        read(tmp_path, MATRIX.replace(old, new))
    told = [fault for fault in raised.value.faults if key in fault.key]
    assert told, str(raised.value)
    assert any(says in str(fault) for fault in told), str(raised.value)
    assert all(fault.line for fault in raised.value.faults)


def test_pans_that_meet_are_named_once_with_the_first_cook(tmp_path: Path) -> None:
    beside = BESIDE.replace('"saucepan"', '"iron-skillet"').replace(
        "base", 'offset_y = "-20 mm"\nbase'
    )
    text = MATRIX.replace('duration = "60 s"\n[[matrix', f'duration = "60 s"{beside}[[matrix')
    with pytest.raises(DesignError, match="meets") as raised:
        read(tmp_path, text.replace('"nonstick-pan", ', ""))
    pans = [fault for fault in raised.value.faults if "meets" in fault.found]
    assert len(pans) == 1
    assert "oil-alone-a" in pans[0].found
    assert " more)" in pans[0].found


def test_ten_thousand_cooks_are_read_in_seconds(tmp_path: Path) -> None:
    names = ", ".join(f'"s{at}"' for at in range(300))
    (matrix,) = read(tmp_path, MATRIX.replace('"a", "b"', names)).matrices
    assert len(matrix.cooks) == 33 * 300
