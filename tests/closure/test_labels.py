"""Labels, hands and steam over simulated cooks that nothing was tuned on, without calibration."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.files.design import read_design
from trivet.files.newproject import scenarios
from trivet.flow.cooked import seen_simulated
from trivet.models.shortcooks import short_cooks
from trivet.scoring import cook_checks
from trivet.stages.calibrate import calibrate


@pytest.fixture(scope="module")
def answers():
    """All answers of 16 cooks with a hand and 8 with food."""
    design = read_design(scenarios()["larkpane"] / "design.toml")
    in_force = calibrate(design, recordings=[])
    cooks = short_cooks(design, count=160, seed="labels")
    hands = [one for one in cooks if one.plan.hands_at_s][:16]
    food = [one for one in cooks if one.plan.burners[0].foods and one not in hands][:8]
    found: dict[tuple[str, str], list[float]] = {}
    for cook in hands + food:
        one, _ = seen_simulated(design, in_force, cook)
        for check in cook_checks(one, design=design)[0]:
            found.setdefault((check.kind, check.part), []).extend(check.off)
    return found


@pytest.mark.slow
def test_a_hand_over_a_warm_pan_is_noticed_within_2_s(answers) -> None:
    noticed = answers["hand", "over a warm pan"]
    assert len(noticed) >= 10
    assert np.mean(noticed) >= 0.85  # 27 of 28 on the page of the scores


@pytest.mark.slow
def test_no_steam_is_seen_over_dry_pans(answers) -> None:
    said = answers["steam-false", ""]
    assert len(said) >= 50
    assert np.mean(said) <= 0.02


@pytest.mark.slow
def test_warm_pans_are_outlined_and_nothing_is_seen_where_none_is(answers) -> None:
    assert np.mean(answers["label-large", "pan"]) >= 0.8
    for word in ("food", "hand", "lid", "steam"):
        assert np.mean(answers["label-false", word]) <= 0.02
