"""What the simulator gives for scores alone: films, rims, even scenes; and the withheld number."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.files.design import read_design
from trivet.files.newproject import scenarios
from trivet.records.cook import CookPlan
from trivet.stages.calibrate import calibrate
from trivet.stages.estimate import estimate
from trivet.stages.simulate import simulate
from trivet.stages.simulate.draws import head_unit
from trivet.stages.simulate.sensing import LEVELS_C, even_scenes


@pytest.fixture(scope="module")
def design():
    return read_design(scenarios()["larkpane"] / "design.toml")


def plan(pan, base, burner="front-right"):
    return CookPlan.model_validate(
        {
            "name": f"{pan}-{base}",
            "purpose": "proof",
            "duration": "40 s",
            "burners": [
                {
                    "burner": burner,
                    "pan": pan,
                    "base": base,
                    "schedule": [{"at": "0 s", "level": "100 %"}],
                }
            ],
        }
    )


def test_the_truth_says_how_much_lies_under_oil(design) -> None:
    shares = {
        base: simulate(design, plan=plan("nonstick-pan", base)).truth.burners[0].oily_frac
        for base in ("dry", "thin-oil", "deep-oil")
    }
    assert np.all(shares["dry"] == 0.0)
    assert np.all(shares["deep-oil"] == pytest.approx(1.0))  # 4 mm over all of it
    assert 0.0 < shares["thin-oil"][0] < 1.0  # 0.1 mm on average, with bare spots


def test_the_truth_says_whether_the_frame_cuts_the_rim(design) -> None:
    # 35 degrees over 0.65 m are 0.205 m to the edge: 75 mm from the middle of a front burner.
    large, small = (
        simulate(design, plan=plan(pan, "dry")).truth.burners[0].rim_in_view_frac
        for pan in ("iron-skillet", "small-iron")
    )
    assert 0.6 < large < 0.9
    assert small > 0.97


def test_even_scenes_show_the_pattern_of_the_unit(design) -> None:
    one = plan("small-iron", "dry")
    recording = even_scenes(design, plan=one)
    assert recording.evidence == "simulated"
    assert [float(flat.temperature_k) - 273.15 for flat in recording.reference.flats] == list(
        LEVELS_C
    )
    unit = head_unit(design.heads[0], design=design, plan=one)
    found = calibrate(design, recordings=[recording]).heads[0].pixels
    assert found is not None
    # Known to 0.05 K of a pattern of 0.25 K.
    planted = unit.errors.pixel_offset_k - unit.errors.pixel_offset_k.mean()
    assert np.std(found.offset_k - planted) < 0.1


def test_a_number_is_shown_or_withheld_never_both(design) -> None:
    made = simulate(design, plan=plan("steel-skillet", "dry"))
    read = estimate(
        made.recording.inputs, design=design, calibration=calibrate(design, recordings=())
    )
    one = next(item for item in read.burners if item.burner == "front-right")
    assert one.withheld_k is not None
    assert not np.any(np.isfinite(one.reported_k) & np.isfinite(one.withheld_k))
    assert np.isfinite(one.withheld_k[-20:]).all()  # shiny: withheld, yet there for the score
