"""Recordings that carry nothing: each is refused by name and changes no term."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trivet.records.recording import HeadFrames
from trivet.stages.calibrate import calibrate

ALL = ("front-left", "front-right", "rear-left", "rear-right")


def _with(cook, frames):
    return replace(cook, inputs=replace(cook.inputs, heads=(frames,)))


def _saturated(cook):
    one = cook.inputs.heads[0]
    return _with(cook, replace(one, apparent_k=np.full_like(one.apparent_k, np.inf)))


def _single(cook):
    one = cook.inputs.heads[0]
    return _with(
        cook,
        HeadFrames(one.head, one.time_s[:1], one.apparent_k[:1], one.sensor_k[:1], one.awake_s[:1]),
    )


def _blank(cook):
    one = cook.inputs.heads[0]
    return _with(cook, replace(one, apparent_k=np.full_like(one.apparent_k, np.nan)))


@pytest.mark.parametrize("spoil", [_saturated, _single, _blank])
def test_frames_without_a_value_change_nothing(design, draw, spoil):
    good = [draw(name="all", burners=ALL, seed=1), draw(name="g1", seed=2)]
    bad = spoil(draw(name="bad", seed=3))
    before, after = (calibrate(design, recordings=part) for part in (good, [*good, bad]))
    assert any("bad" in text for text in after.refusals)
    had, got = before.head("main"), after.head("main")
    np.testing.assert_array_equal(got.pose.value, had.pose.value)
    np.testing.assert_array_equal(got.drift.value, had.drift.value)
    np.testing.assert_array_equal(got.drift.covariance, had.drift.covariance)
    assert [one.emissivity for one in after.surfaces] == [one.emissivity for one in before.surfaces]
    alone = calibrate(design, recordings=[bad])
    assert not alone.head("main").fitted
