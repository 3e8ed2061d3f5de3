"""Which reason is named first, and what settling may and may not do."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest

from trivet.quality import BLOCKING, FLAGS, Quality, is_valid, reason
from trivet.records.requirement import OF_WORDS
from trivet.stages.estimate import estimate
from trivet.stages.estimate.validity import PAST

PAGE = Path(__file__).parents[3] / "docs" / "quality-flags.md"


def even(temperature_k):
    return lambda dx, dy, t: np.full(dx.shape, temperature_k)


def test_the_first_reason_of_the_documented_order_is_named() -> None:
    order = re.findall(r"^\| `(\w+)` \|", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    assert order == [entry.word for entry in FLAGS]
    for first, second in itertools.combinations(FLAGS, 2):
        assert reason(second.flag | first.flag) == first.word
    assert reason(Quality.OK) == "ok"


def test_what_withholds_stands_before_what_only_says_so() -> None:
    blocks = [entry.blocks for entry in FLAGS]
    assert blocks == sorted(blocks, reverse=True)
    for entry in FLAGS:
        assert is_valid(entry.flag) == (not entry.blocks)


def test_a_carried_pan_goes_past_being_hidden_and_nothing_else() -> None:
    assert PAST & BLOCKING == PAST
    for kept in (Quality.STALE, Quality.SATURATED, Quality.STEAM, Quality.SHINY, Quality.COLD):
        assert not PAST & kept


def test_something_put_in_is_noticed_within_two_seconds(painter, nominal, disc) -> None:
    painter.told = {"pan": "iron-24", "base_contents": "dry"}
    cold = (15.0, 0.06, lambda t: 290.0)
    inputs = painter.inputs([disc(0.93, even(450.0), cover=cold)], seconds=20)
    read = estimate(inputs, design=painter.design, calibration=nominal)
    one = next(item for item in read.burners if item.burner == "front-left")
    noticed = one.flags & int(Quality.HAND | Quality.COVERED | Quality.CARRIED) != 0
    assert not noticed[(read.time_s > 2) & (read.time_s < 15)].any()
    assert read.time_s[noticed][0] <= 15.0 + 2.0
    hidden = np.isfinite(one.reported_k) & noticed
    assert (one.of[hidden] == OF_WORDS.index("hidden_pan")).all()


@pytest.mark.parametrize("awake_s", [0.0, 20.0])
def test_settling_widens_and_keeps_the_hottest_part(painter, nominal, disc, awake_s) -> None:
    painter.told = {"pan": "iron-24", "base_contents": "dry"}
    found = []
    for awake in (600.0, awake_s):
        painter.awake_s = awake
        inputs = painter.inputs([disc(0.93, even(500.0))], seconds=8)
        read = estimate(inputs, design=painter.design, calibration=nominal)
        found.append(next(item for item in read.burners if item.burner == "front-left"))
    settled, waking = found
    both = np.isfinite(settled.reported_k) & np.isfinite(waking.reported_k)
    assert both.any()
    assert (waking.u95_k[both] > settled.u95_k[both]).all()
    known = np.isfinite(settled.hottest_k)
    assert np.isfinite(waking.hottest_k[known]).all()
