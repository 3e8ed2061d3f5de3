"""Simulate, then estimate: the truth comes back, and stated intervals cover.

These close the loop over our own simulator, so they show consistency; truth under
other physics is painted in tests/stages/estimate.
"""

from __future__ import annotations

import numpy as np
import pytest

from trivet.files.design import read_design
from trivet.files.newproject import scenarios
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.cook import CookPlan
from trivet.records.requirement import OF_WORDS
from trivet.stages.calibrate import calibrate
from trivet.stages.estimate import estimate
from trivet.stages.simulate import simulate

COOKS = 500
KINDS = (
    ("iron-skillet", "dry", "front-left", 75),
    ("nonstick-pan", "thin-oil", "back-right", 75),
    ("nonstick-pan", "deep-oil", "front-right", 75),
    ("saucepan", "water", "front-right", 110),
)


@pytest.fixture(scope="module")
def larkpane():
    return read_design(scenarios()["larkpane"] / "design.toml")


def plan(number: int) -> CookPlan:
    """A short cook of one of four kinds, on a sensor unit and a hob level of its own."""
    rng = np.random.default_rng([7, number])
    pan, base, burner, duration_s = KINDS[number % len(KINDS)]
    return CookPlan.model_validate(
        {
            "name": f"short-{number}",
            "purpose": "proof",
            "unit": f"unit-{number}",
            "duration": f"{duration_s} s",
            "burners": [
                {
                    "burner": burner,
                    "pan": pan,
                    "base": base,
                    "schedule": [{"at": "0 s", "level": f"{rng.uniform(50, 100):.0f} %"}],
                }
            ],
        }
    )


def drawn_error(design, calibration, number: int) -> tuple[str, float, float] | None:
    """Kind, error and U95 at one drawn valid moment of one cook; None without any."""
    cook = simulate(design, plan=plan(number))
    truth = cook.truth.burners[0]
    read = estimate(cook.recording.inputs, design=design, calibration=calibration)
    one = next(item for item in read.burners if item.burner == truth.burner)
    of_truth = {"pan": truth.seen_k, "oil": truth.contents_k, "liquid": truth.contents_k}
    usable = np.isfinite(one.reported_k) & (one.reported_k > 318.0)
    if not usable.any():
        return None
    moment = np.random.default_rng([8, number]).choice(np.flatnonzero(usable))
    of = OF_WORDS[one.of[moment]]
    true_k = np.interp(read.time_s[moment], truth.time_s, of_truth[of])
    return truth.base, float(one.reported_k[moment] - true_k), float(one.u95_k[moment])


def test_a_short_cook_comes_back(larkpane) -> None:
    nominal = calibrate(larkpane, recordings=())
    for number in range(4):
        found = drawn_error(larkpane, nominal, number)
        assert found is not None, KINDS[number]
        _, error_k, u95_k = found
        assert abs(error_k) < 1.5 * u95_k  # one unit each: the slow test counts coverage
        assert u95_k < 25.0


@pytest.mark.slow
def test_95_percent_intervals_cover_95_percent_of_cooks(larkpane) -> None:
    nominal = calibrate(larkpane, recordings=())
    drawn = [drawn_error(larkpane, nominal, number) for number in range(COOKS + 100)]
    found = [one for one in drawn if one is not None][:COOKS]
    assert len(found) == COOKS
    covered = sum(abs(error) <= u95 for _, error, u95 in found)
    low, high = clopper_pearson(COOKS - covered, COOKS, confidence=0.95)
    assert low <= 0.05 <= high, f"{covered} of {COOKS} covered"
