"""Scores of cooks made by hand: strata, errors, flags and goals are counted as they are."""

from __future__ import annotations

import ast
import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

from trivet.errors import EvidenceError, InputError
from trivet.files.design import read_design
from trivet.files.newproject import scenarios
from trivet.models.shortcooks import MISMATCHES, short_cooks
from trivet.quality import Quality
from trivet.records.alertlog import AlertLog
from trivet.records.benchsheet import SheetBurner, SheetProbe
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import BurnerTruth, Event, ProbeSeries, Reference, Truth
from trivet.records.requirement import OF_WORDS
from trivet.records.scoring import STRATA
from trivet.records.verdict import ProofCook
from trivet.scoring import cook_pieces, score_sheet
from trivet.scoring.strata import placed, stood
from trivet.scoring.table import reported, table

PAN, OIL, LIQUID, FOOD = (OF_WORDS.index(word) for word in ("pan", "oil", "liquid", "food"))
TIME = np.arange(0.0, 240.0, 1.0)
ZERO = 273.15
NONE = Reference((), (), ())


@pytest.fixture(scope="module")
def design():
    return read_design(scenarios()["larkpane"] / "design.toml")


def truth(base="dry", *, seen_of=PAN, emissivity=0.92, oily=0.0, food=False, rim=1.0):
    """A surface that rises by 1 K/s from 20 C."""
    so = 20.0 + TIME + ZERO
    nan = np.full(TIME.size, np.nan)
    one = BurnerTruth(
        burner="front-left",
        pan="iron-skillet",
        base=base,
        time_s=TIME,
        seen_of=np.full(TIME.size, seen_of, np.int8),
        seen_k=so,
        pan_k=so,
        hottest_k=so + 10.0,
        pan_p5_k=so,
        pan_p95_k=so,
        contents_k=nan if base == "dry" else so,
        food_k=so - 80.0 if food else nan,
        core_k=nan,
        contents_kg=nan,
        emissivity=np.full(TIME.size, emissivity),
        heat_w=nan,
        oily_frac=np.full(TIME.size, oily),
        rim_in_view_frac=rim,
    )
    return Truth("cook", (one,))


def reading(error_k=0.0, *, u95_k=5.0, of=PAN, flags=0, withheld_k=None):
    n = TIME.size
    flags = np.broadcast_to(np.asarray(flags, np.uint32), n).copy()
    said = 20.0 + TIME + ZERO + error_k
    return BurnerEstimate(
        burner="front-left",
        head="main",
        present=np.ones(n, np.int8),
        of=np.full(n, of, np.int8),
        reported_k=np.where(flags == 0, said, np.nan),
        u95_k=np.where(flags == 0, u95_k, np.nan),
        hottest_k=said,
        nonuniformity_k=np.full(n, np.nan),
        apparent_k=said,
        flags=flags,
        heat_on=np.ones(n, bool),
        pixels=np.full(n, 50, np.int8),
        withheld_k=np.where(flags == 0, np.nan, said if withheld_k is None else withheld_k),
    )


def cook(name="cook", *, so=None, said=None, reference=NONE, plan=None):
    return ProofCook(
        name=name,
        plan=plan or name,
        unit="u",
        evidence="simulated" if so else "bench",
        alerts=AlertLog(()),
        estimate=Estimate(TIME, (said or reading(),)),
        reference=reference,
        truth=so,
    )


@pytest.mark.parametrize(
    ("stratum", "so", "low_c", "high_c"),
    [
        ("dark-pan", truth(), 120, 230),
        ("seasoned", truth(emissivity=0.5), 120, 230),
        ("shiny", truth(emissivity=0.2), 50, 260),
        ("oil", truth("deep-oil", seen_of=OIL, oily=1.0), 120, 230),
        ("thin-oil", truth("thin-oil", oily=0.5), 120, 230),
        ("liquid", truth("water", seen_of=LIQUID), 60, 101),
        ("food", truth(food=True), 50, 260),
    ],
)
def test_the_truth_alone_says_which_stratum(design, stratum, so, low_c, high_c) -> None:
    (one,) = stood(so, reference=NONE, time_s=TIME, design=design)
    where = placed(one, design=design)
    index = [kind.name for kind in STRATA].index(stratum)
    found = TIME[where.stratum == index] + 20.0
    assert (found.min(), found.max()) == (low_c, min(high_c, 259))
    heated = 20.0 + TIME >= 50.0
    assert np.array_equal(where.stratum >= 0, heated)  # every heated moment is somewhere


@pytest.mark.parametrize("lie", [OIL, LIQUID, FOOD])
def test_a_reading_cannot_choose_its_stratum(design, lie) -> None:
    honest = cook_pieces(cook(so=truth()), design=design)
    lying = cook_pieces(cook(so=truth(), said=reading(30.0, of=lie)), design=design)
    assert [(p.stratum, p.moments) for p in honest] == [(p.stratum, p.moments) for p in lying]
    dark = next(p for p in lying if p.stratum == "dark-pan")
    # What it names is not there: no reading of the pan, and 30 K off what is seen.
    assert (dark.valid, dark.astray, dark.large) == (0, 111, 111)


def test_strata_are_given_no_reading() -> None:
    path = Path(__file__).parents[2] / "src" / "trivet" / "scoring" / "strata.py"
    tree = ast.parse(path.read_text(encoding="utf-8"))
    modules = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert not {name for name in modules if name and "estimate" in name.rsplit(".", 1)[-1]}
    assert "Estimate" not in {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}


def test_what_is_withheld_counts_against_the_share_and_for_the_flags(design) -> None:
    hand = int(Quality.HAND)
    flags = np.where(TIME < 150, 0, hand)  # 120 to 169 C shown, 170 to 230 C withheld
    wrong = 20.0 + TIME + ZERO + np.where(TIME < 180, 20.0, 1.0)
    said = reading(0.0, flags=flags, withheld_k=wrong)
    found = cook_pieces(cook(so=truth(), said=said), design=design)
    dark = next(p for p in found if p.stratum == "dark-pan")
    assert (dark.moments, dark.valid, dark.large) == (111, 50, 0)
    assert (dark.large_any, dark.large_withheld) == (30, 30)
    assert (dark.small_any, dark.small_withheld) == (81, 31)
    assert dark.blind_s == 61.0
    assert dark.drawn == 1


def test_a_bench_cook_is_placed_by_its_sheet(design) -> None:
    so = 20.0 + TIME + ZERO
    probe = ProbeSeries(
        SheetProbe(column="t1", burner="front-left", touches="pan"),
        TIME,
        so,
        np.full(TIME.size, 4.0),
    )
    sheet = SheetBurner.model_validate(
        {
            "burner": "front-left",
            "material": "cast-iron",
            "finish": "enamel",
            "diameter": "120 mm",
            "offset_y": "120 mm",
        }
    )
    events = (Event(170.0, "front-left", "food_in"),)
    found = cook_pieces(
        cook(said=reading(20.0), reference=Reference((probe,), events, (sheet,))), design=design
    )
    assert {p.stratum: p.moments for p in found} == {"dark-pan": 70, "food": 70, "other": 70}
    # 20 K off by a probe that is good to 2 x 4 K: not over 15 K for certain.
    assert all(p.large == 0 and p.labels["rim"] == "whole" for p in found)
    unknown = sheet.model_copy(update={"finish": "never heard of"})
    found = cook_pieces(
        cook(said=reading(), reference=Reference((probe,), (), (unknown,))), design=design
    )
    assert {p.stratum for p in found} == {"seasoned", "other"}


def sheet_of(design, count, error_k, **kinds):
    pieces = [
        piece
        for number in range(count)
        for piece in cook_pieces(
            cook(f"c{number}", so=truth(**kinds), said=reading(error_k(number))), design=design
        )
    ]
    return score_sheet(pieces, condition="by hand", evidence="simulated")


def goals(sheet, stratum):
    return {one.what: one.decision for one in sheet.goals if one.stratum == stratum}


def test_goals_by_hand(design) -> None:
    good = goals(sheet_of(design, 80, lambda n: 1.0 if n % 2 else -1.0), "dark-pan")
    assert set(good.values()) - {"not met"} == {"met"}
    # All of 80 covered: exact 95 % from 95.5 %, so the intervals are too wide, and it says so.
    assert [what for what, said in good.items() if said == "not met"] == [
        "coverage of the 95 % interval"
    ]
    wrong = goals(sheet_of(design, 80, lambda n: 20.0), "dark-pan")
    assert wrong["median error"] == wrong["P95 of valid"] == "not met"
    assert wrong["errors over 15 K withheld"] == "not met"
    few = goals(sheet_of(design, 6, lambda n: 1.0), "dark-pan")
    assert set(few.values()) == {"too few"}
    shiny = goals(sheet_of(design, 3, lambda n: 20.0, emissivity=0.1), "shiny")
    assert shiny["valid readings wrong by over 15 K"] == "not met"  # one is enough


def test_figures_by_hand(design) -> None:
    sheet = sheet_of(design, 10, float)
    dark = next(one for one in sheet.strata if one.whole.name == "dark-pan")
    assert dark.whole["bias"].value == pytest.approx(4.5)
    assert dark.whole["median"].value == pytest.approx(4.5, abs=0.01)
    covered = dark.whole["covered"]
    assert (covered.count, covered.of) == (6, 10)  # 0 to 5 K within U95 of 5 K
    # Width 10 K; 1, 2, 3 and 4 K outside cost 40 a kelvin: (10 x 10 + 400) / 10.
    assert dark.whole["interval_score"].value == pytest.approx(50.0)
    assert dark.whole["valid"].value == 1.0
    assert math.isnan(dark.whole["flagged"].value)


def test_repeats_of_one_plan_are_one_cook(design) -> None:
    pieces = [
        piece
        for number in range(40)
        for piece in cook_pieces(cook(f"p-r{number}", so=truth(), plan="p"), design=design)
    ]
    sheet = score_sheet(pieces, condition="x", evidence="simulated")
    assert sheet.independent == 1
    assert all(one.whole.cooks == 1 and one.whole["covered"].of == 1 for one in sheet.strata)
    assert all(line.decision == "too few" for line in sheet.goals)
    with pytest.raises(EvidenceError, match="more than once"):
        score_sheet([*pieces, pieces[0]], condition="x", evidence="simulated")


def test_a_burner_that_is_not_watched_has_no_reading(design) -> None:
    elsewhere = dataclasses.replace(reading(), burner="back-left")
    found = cook_pieces(cook(so=truth(), said=elsewhere), design=design)
    assert all(p.valid == 0 and p.blind_s > 0 for p in found)


def test_short_cooks_are_named_apart_and_grow_at_their_end(design) -> None:
    some, more = (short_cooks(design, count=n, units=3) for n in (12, 30))
    assert more[:12] == some
    assert len({one.plan.name for one in more}) == 30
    assert {one.plan.unit for one in more} == {f"score-unit-{n}" for n in range(3)}
    assert all(one.plan.purpose == "proof" and not one.plan.mismatch.changes() for one in more)
    other = short_cooks(design, count=12, seed="other")
    assert not {one.plan.burners for one in other} & {one.plan.burners for one in some}
    apart = short_cooks(design, count=80, mismatched=True)
    assert {one.levels["mismatch"] for one in apart} == set(MISMATCHES)
    with pytest.raises(InputError, match="cannot name"):
        short_cooks(design, count=1, seed="A b")
    with pytest.raises(InputError, match="1 or more"):
        short_cooks(design, count=0)


# -- the table ----------------------------------------------------------------------


def test_each_way_of_counting_moments_is_a_column_of_its_own(design) -> None:
    half = TIME < 120
    said = dataclasses.replace(reading(), of=np.where(half, PAN, OIL).astype(np.int8))
    said = dataclasses.replace(said, flags=np.where(TIME < 60, int(Quality.HAND), 0).astype("u4"))
    (rows,) = table(cook(so=truth(), said=said), design=design)
    assert np.array_equal(rows.valid, TIME >= 60)  # a number that no flag blocks
    assert np.array_equal(rows.like, (TIME >= 60) & half)  # no oil is in this pan
    assert np.array_equal(rows.comparable, rows.like)  # a truth has no uncertainty
    assert np.array_equal(rows.named >= 0, np.ones(TIME.size, bool))
    assert np.array_equal(rows.of >= 0, rows.valid)
    assert np.array_equal(rows.stratum >= 0, 20.0 + TIME >= 50.0)  # heated
    assert rows.error_k[rows.comparable] == pytest.approx(0.0)


def test_one_probe_does_not_tell_a_pan_s_mean(design) -> None:
    so = 20.0 + TIME + ZERO
    probe = ProbeSeries(
        SheetProbe(column="t1", burner="front-left", touches="pan"), TIME, so, np.ones(TIME.size)
    )
    sheet = SheetBurner.model_validate({"burner": "front-left", "diameter": "240 mm"})
    (rows,) = table(cook(reference=Reference((probe,), (), (sheet,))), design=design)
    assert rows.like.all()
    assert not rows.comparable.any()


def test_a_silent_burner_has_rows_that_the_verdict_leaves_out(design) -> None:
    elsewhere = dataclasses.replace(reading(), burner="back-left")
    rows = table(cook(so=truth(), said=elsewhere), design=design)
    assert [one.burner for one in rows] == ["front-left"]
    assert not rows[0].valid.any()
    assert reported(rows) == ()
