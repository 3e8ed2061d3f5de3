"""Half frames compose into whole ones, and their faults are seen."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import RecordingError
from trivet.physics.sensor.halfframes import (
    compose_full_frames,
    half_frame_pattern,
    repeated_subpages,
    subpage_mask,
)


def _halves(frames, pattern="chess", order=None):
    half = frames.astype(float).copy()
    for index in range(len(frames)):
        subpage = index % 2 if order is None else order[index]
        mask = subpage_mask(frames.shape[1], cols=frames.shape[2], pattern=pattern, subpage=subpage)
        half[index, ~mask] = np.nan
    return half


@pytest.mark.parametrize("pattern", ["chess", "interleaved"])
def test_masks_are_disjoint_and_whole(pattern):
    first = subpage_mask(24, cols=32, pattern=pattern, subpage=0)
    second = subpage_mask(24, cols=32, pattern=pattern, subpage=1)
    assert np.array_equal(first, ~second)
    assert np.count_nonzero(first) == 384
    assert first[0, 0]


@pytest.mark.parametrize("pattern", ["chess", "interleaved"])
def test_composition_carries_the_age(pattern):
    time = np.arange(6) * 0.25
    frames = 300.0 + 3.0 * time[:, None, None] + np.zeros((6, 24, 32))
    full = compose_full_frames(_halves(frames, pattern), time_s=time)
    assert np.isnan(full.temperature_k[0]).sum() == 384
    assert np.isfinite(full.temperature_k[1:]).all()
    assert set(np.unique(full.age_s[1:])) == {0.0, 0.25}
    # value = what it was `age` ago, and nothing else
    want = 300.0 + 3.0 * (time[:, None, None] - full.age_s)
    assert np.nanmax(np.abs(full.temperature_k - want)) < 1e-9
    assert not full.repeated.any()


def test_a_lost_turn_shows_as_repeat_and_age():
    time = np.arange(5) * 0.5
    half = _halves(np.ones((5, 24, 32)), order=[0, 1, 1, 0, 1])
    full = compose_full_frames(half, time_s=time)
    assert full.repeated.tolist() == [False, False, True, False, False]
    assert full.age_s[2].max() == pytest.approx(1.0)
    assert repeated_subpages(np.isfinite(half)).sum() == 1


def test_composition_is_causal():
    rng = np.random.default_rng(0)
    half = _halves(rng.normal(300.0, 1.0, (8, 24, 32)))
    time = np.arange(8.0)
    whole = compose_full_frames(half, time_s=time)
    part = compose_full_frames(half[:5], time_s=time[:5])
    assert np.array_equal(whole.temperature_k[:5], part.temperature_k, equal_nan=True)


def test_pattern_is_recognised_only_where_it_is():
    rng = np.random.default_rng(0)
    frames = rng.normal(300.0, 1.0, (8, 24, 32))
    assert half_frame_pattern(np.isfinite(_halves(frames))) == "chess"
    assert half_frame_pattern(np.isfinite(_halves(frames, "interleaved"))) == "interleaved"
    assert half_frame_pattern(np.isfinite(frames)) is None
    holes = frames.copy()
    holes[rng.random(frames.shape) < 0.5] = np.nan
    assert half_frame_pattern(np.isfinite(holes)) is None


def test_refusals():
    with pytest.raises(RecordingError, match="must increase"):
        compose_full_frames(np.ones((3, 2, 2)), time_s=[0.0, 1.0, 1.0])
    with pytest.raises(RecordingError, match="do not match"):
        compose_full_frames(np.ones((3, 2, 2)), time_s=[0.0, 1.0])
    with pytest.raises(RecordingError, match="pattern 'zigzag'"):
        subpage_mask(24, cols=32, pattern="zigzag", subpage=0)
