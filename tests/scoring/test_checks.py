"""Labels, places and words for bare pans: counted as they are, on maps made by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from trivet.files.design import read_design
from trivet.files.newproject import scenarios
from trivet.records.checks import EVIDENCE, SAID, Check, PanWord
from trivet.records.cook import CookPlan
from trivet.records.estimate import Estimate
from trivet.records.recording import LABELS, LabelMaps, PanPlace, SceneTruth
from trivet.records.verdict import SeenCook
from trivet.scoring.checks import asked, check_goals, check_scores
from trivet.scoring.labels import label_moments, looked_at
from trivet.scoring.panwords import confusion_rows
from trivet.stages.simulate import scene_truth, simulate

PAN, FOOD, WALL, LIQUID = (LABELS.index(word) for word in ("pan", "food", "wall", "liquid"))
ONE = np.zeros(1)
PLACE = PanPlace(
    "b", 0.24, 0.9, ONE, ONE, ONE + 450.0, ONE + 310.0, ONE, np.zeros((1, 5)), np.zeros((1, 8)),
    ONE, ONE, ONE, ONE,
)  # fmt: skip


def maps(label, **area):
    label = np.asarray(label, np.int8)[None]
    size = np.zeros((1, 1, len(LABELS)))
    for k in range(len(LABELS)):
        size[0, 0, k] = area.get(LABELS[k], (label == k).sum())
    owner = np.where(label > 0, 0, -1).astype(np.int8)
    return LabelMaps("main", ONE, label, owner, ("b",), size, 0.0 * size)


def answered(truth, said):
    """Return what the labels alone answer, without a reading, by question and part."""
    looked = looked_at(SeenCook(truth, (said,)), Estimate(ONE, ()), rims={})
    return {(one.kind, one.part): one for one in asked("cook", "plan", looked)}


def square(label, first, last):
    out = np.zeros((12, 12), np.int8)
    out[2:12, 2:12] = PAN
    out[first:last, first:last] = label
    return out


def test_overlap_is_pixels_in_both_over_pixels_in_either() -> None:
    so, said = maps(square(FOOD, 4, 7)), maps(square(FOOD, 4, 6))
    found = answered(SceneTruth((so,), (PLACE,), ()), said)
    assert found["label-small", "food"].off == (round(4 / 9, 3),)
    assert found["label-small", "food"].u95 == ()
    assert found["label-large", "pan"].off == (round(91 / 96, 3),)
    assert found["label-false", "hand"].off == (0.0,)


def test_a_small_thing_is_held_by_its_area_and_interval() -> None:
    so, said = maps(square(FOOD, 4, 6), food=3.5), maps(square(FOOD, 4, 6), food=4.5)
    said = dataclasses.replace(said, area_u_px=said.area_u_px + 0.6)
    found = answered(SceneTruth((so,), (PLACE,), ()), said)["label-area", "food"]
    assert found.off == (1.0,)
    assert found.u95 == (round(1.96 * 0.6, 3),)


@pytest.mark.parametrize(
    ("change", "part"),
    [({"pan_k": ONE + 320.0}, "pan, cold pan"), ({"bare_emissivity": 0.1}, "pan, bare shiny pan")],
)
def test_parts_come_from_the_truth(change, part) -> None:
    one = maps(square(FOOD, 4, 7))
    truth = SceneTruth((one,), (dataclasses.replace(PLACE, **change),), ())
    assert ("label-large", part) in answered(truth, one)


def test_scores_count_cooks_and_draw_one_moment_of_each() -> None:
    checks = [
        Check(f"c{k}", f"c{k}", "hot-rate", "", (0.1, -0.1), (0.2, 0.2) if k else (0.05, 0.05))
        for k in range(30)
    ]
    (one,) = check_scores(checks, condition="x")
    assert (one.cooks, one.moments, one.covered, one.drawn) == (30, 60, 29, 30)
    assert one.bias == pytest.approx(0.0, abs=1e-9)
    assert one.p95 == pytest.approx(0.1)
    wide = [Check(f"c{k}", f"c{k}", "pan-centre", "rim cut", (9.0, 12.0)) for k in range(30)]
    (line,) = check_goals(check_scores(wide, condition="x"))
    assert line.decision == "not met"
    few = check_goals(check_scores(wide[:5], condition="x"))
    assert next(few).decision == "too few"


def test_the_matrix_counts_a_plan_once() -> None:
    number, shiny = SAID[:2]
    words = [PanWord(f"c{k}", f"c{k}", "shiny", EVIDENCE[0], shiny) for k in range(9)]
    words += [PanWord("c0-again", "c0", "shiny", EVIDENCE[0], number)]
    words += [PanWord("d", "d", "dark", EVIDENCE[1], number)]
    dark, bright = sorted(confusion_rows(words), key=lambda one: one.truth)
    assert bright.counts == (0, 9, 0, 0)
    assert dark.evidence == EVIDENCE[1]
    # 0 of 9: at most 33.6 % (two-sided exact 95 %: 1 - 0.025^(1/9))
    assert bright.high_frac[0] == pytest.approx(1 - 0.025 ** (1 / 9), abs=1e-6)


def test_what_pixels_saw_fits_the_frames_and_the_pan() -> None:
    design = read_design(scenarios()["larkpane"] / "design.toml")
    plan = CookPlan.model_validate(
        {
            "name": "seen",
            "purpose": "proof",
            "duration": "60 s",
            "hands_at": ["40 s"],
            "burners": [
                {
                    "burner": "back-left",
                    "pan": "nonstick-pan",
                    "base": "dry",
                    "schedule": [{"at": "0 s", "level": "100 %"}],
                    "food": {"kind": "patty", "mass": "150 g", "diameter": "110 mm", "in": "30 s"},
                }
            ],
        }
    )
    at_s = label_moments(plan, from_s=0.0, until_s=60.0)
    assert 41.0 in at_s
    truth = scene_truth(design, plan=plan, at_s=at_s)
    (seen,), (pan,) = truth.heads, truth.pans
    food = seen.area_px[:, 0, FOOD]
    assert (food[at_s < 29.0] == 0.0).all()
    assert (food[(at_s > 31.0) & (at_s != 41.0)] > 0.0).all()
    # as areas in metres, but that wall and frame hide up to 15 % of the base, and no food
    whole = seen.area_px[-1, 0]
    share = food[-1] / (food[-1] + whole[PAN])
    assert 0.95 < share / (0.110 / 0.240) ** 2 < 1.0 / 0.85
    assert (seen.label[np.flatnonzero(at_s == 41.0)[0]] == LABELS.index("hand")).any()
    made = simulate(design, plan=plan).truth.burners[0]
    so = np.interp(at_s, made.time_s, made.pan_p95_k - made.pan_p5_k)
    assert np.abs(pan.spread_k - so).max() < 1.0
    area = (2 * np.arange(5) + 1) / 25
    mean = np.interp(at_s, made.time_s, made.pan_k)
    assert np.abs(pan.ring_k @ area - mean).max() < 1.5
