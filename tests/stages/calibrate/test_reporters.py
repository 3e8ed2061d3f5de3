"""Which one number stands for a pan: ranked by hand-made readings, one plan left out a time."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from trivet.errors import EvidenceError
from trivet.files.design import read_design
from trivet.files.newproject import scenarios
from trivet.physics.image.ranks import upper_mode
from trivet.quality import Quality
from trivet.records.benchsheet import SheetBurner, SheetProbe, Told
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import ProbeSeries, ProductInput, Recording, Reference
from trivet.stages.calibrate import calibrate
from trivet.stages.calibrate.reporters import REPORTERS, TriedCook, rank_reporters

TIME = np.arange(0.0, 120.0, 0.5)
SO = 400.0 + 2.0 * np.minimum(TIME, 60.0)


@pytest.fixture(scope="module")
def design():
    return read_design(scenarios()["larkpane"] / "design.toml")


def probe(column, offset_k):
    touches = SheetProbe(column=column, burner="front-left", touches="pan")
    return ProbeSeries(touches, TIME, SO + offset_k, np.full(TIME.size, 0.5))


def recording(name, *, purpose="calibration", evidence="bench"):
    sheet = SheetBurner.model_validate({"burner": "front-left", "diameter": "26 cm"})
    # Mean of the probes is SO, the hottest 8 K over it.
    reference = Reference((probe("t1", 8.0), probe("t2", -8.0)), (), (sheet,))
    return Recording(name, purpose, evidence, "u", 0.0, ProductInput((), Told()), reference)


def estimate(bias_k, *, noise_k=0.0, lag_s=0.0, flags=0):
    n = TIME.size
    noise = np.random.default_rng(1).normal(0.0, 1.0, n) * noise_k
    said = np.interp(TIME - lag_s, TIME, SO) + bias_k + noise
    nan = np.full(n, np.nan)
    one = BurnerEstimate(
        burner="front-left",
        head="main",
        present=np.ones(n, np.int8),
        of=np.zeros(n, np.int8),
        reported_k=said,
        u95_k=np.full(n, 5.0),
        hottest_k=said,
        nonuniformity_k=nan,
        apparent_k=said,
        flags=np.full(n, flags, np.uint32),
        heat_on=np.ones(n, bool),
        pixels=np.full(n, 50, np.int8),
    )
    return Estimate(TIME, (one,))


def tried(name, biases, **kinds):
    readings = {one: estimate(bias, **kinds) for one, bias in zip(REPORTERS, biases, strict=True)}
    return TriedCook(recording(name), name.split("-")[0], readings)


def test_the_least_declared_loss_wins(design) -> None:
    biases = (3.0, 1.0, 2.0, 6.0, 4.0, 5.0)
    cooks = [tried(name, biases) for name in ("a-r0", "a-r1", "b", "c")]
    choice = rank_reporters(cooks, design=design)
    assert choice.chosen == "trimmed-mean"
    assert [one.reporter for one in choice.scores][:2] == ["trimmed-mean", "upper-half-mode"]
    best = choice.scores[0]
    assert (best.cooks, best.bias_k) == (4, pytest.approx(1.0))
    # 1 K of bias, and a tenth of the 7 K by which the hottest probe is hotter.
    assert best.loss == pytest.approx(1.0 + 0.1 * 7.0, abs=0.05)
    assert len(choice.folds) == 3  # repeats of plan a are left out together
    assert {fold.chosen for fold in choice.folds} == {"trimmed-mean"}
    assert choice.left_out_loss == pytest.approx(best.loss)
    assert "bench" in choice.reason


def test_weights_are_the_users(design) -> None:
    hot = design.model_copy(
        update={
            "estimation": design.estimation.model_validate(
                {"bias_weight": "0", "hot_side_weight": "1"}
            )
        }
    )
    cooks = [tried(name, (3.0, 1.0, 2.0, 6.0, 4.0, 5.0)) for name in "abc"]
    assert rank_reporters(cooks, design=hot).chosen == "p95"  # the hottest number


def test_noise_and_lag_are_found(design) -> None:
    cooks = [tried(name, (0.0,) * 6, noise_k=0.3, lag_s=2.0) for name in "abc"]
    one = rank_reporters(cooks, design=design).scores[0]
    assert one.noise_k == pytest.approx(0.3, rel=0.3)
    assert one.lag_s == pytest.approx(2.0, abs=0.3)


def test_too_few_cooks_choose_nothing(design) -> None:
    choice = rank_reporters([tried("a-r0", (9.0, 0, 0, 0, 0, 0))] * 1, design=design)
    assert choice.chosen == "area-mean"
    assert "at least 3" in choice.reason
    withheld = [tried(name, (1.0,) * 6, flags=int(Quality.SHINY)) for name in "abc"]
    assert rank_reporters(withheld, design=design).scores == ()
    assert rank_reporters([], design=design).chosen == "area-mean"


def test_proof_cooks_and_mixed_grades_are_refused(design) -> None:
    one = tried("a", (0.0,) * 6)
    proof = dataclasses.replace(one, recording=recording("p", purpose="proof"))
    with pytest.raises(EvidenceError, match="kept for proof"):
        rank_reporters([one, proof], design=design)
    other = dataclasses.replace(one, recording=recording("s", evidence="simulated"))
    with pytest.raises(EvidenceError, match="together"):
        rank_reporters([one, other], design=design)


def test_the_design_may_name_its_reporter(design) -> None:
    said = design.model_copy(
        update={"estimation": design.estimation.model_validate({"reporter": "p95"})}
    )
    assert calibrate(said, recordings=()).reporter == "p95"
    assert calibrate(design, recordings=()).reporter == "area-mean"


def test_the_mode_of_the_hotter_half_by_hand() -> None:
    # Hotter half 5, 6, 7, 7.1, 7.2, 20: the shortest stretch with three of them is 7 to 7.2.
    rising = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 5.0, 6.0, 7.0, 7.1, 7.2, 20.0])
    assert upper_mode(rising, rising.size) == pytest.approx(7.1)
    assert upper_mode(np.array([3.0]), 1) == 3.0
