"""Even scenes: planted patterns come back, planted faults are all found."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, RecordingError
from trivet.physics.sensor.flatfield import flat_field, flat_field_corrected_k

SHAPE = (24, 32)
KINDS = ("dead", "stuck", "wild", "far")


def _stacks(rng, *, offset, gain, faults=(), frames=80):
    stacks = []
    for level in (300.0, 340.0):
        stack = (level - 300.0) * gain + 300.0 + offset + rng.normal(0, 0.28, (frames, *SHAPE))
        for row, col, kind in faults:
            column = stack[:, row, col]
            stack[:, row, col] = {
                "dead": np.full(frames, np.nan),
                "stuck": np.full(frames, 305.0),
                "wild": column + rng.normal(0, 2.5, frames),
                "far": column + 6.0,
            }[kind]
        stacks.append(stack)
    return stacks


def test_planted_faults_are_all_found_and_no_good_pixel_is_lost():
    """Twenty draws of twelve faults each: none missed; under one false in 10,000 pixels."""
    rng = np.random.default_rng(0)
    missed = false = 0
    for _ in range(20):
        places = rng.choice(24 * 32, 12, replace=False)
        faults = [(p // 32, p % 32, KINDS[k % 4]) for k, p in enumerate(places)]
        planted = np.zeros(SHAPE, dtype=bool)
        planted.ravel()[places] = True
        stacks = _stacks(
            rng, offset=rng.normal(0, 0.5, SHAPE), gain=rng.normal(1, 0.01, SHAPE), faults=faults
        )
        found = flat_field(stacks, housing_k=[300.0, 300.0])
        missed += int((planted & ~found.bad).sum())
        false += int((found.bad & ~planted).sum())
    assert missed == 0
    assert false <= 1


def test_frames_are_even_afterwards():
    rng = np.random.default_rng(1)
    offset, gain = rng.normal(0, 0.5, SHAPE), rng.normal(1, 0.02, SHAPE)
    found = flat_field(
        _stacks(rng, offset=offset, gain=gain, faults=[(3, 3, "dead")]), housing_k=[300.0, 300.0]
    )
    hot = (430.0 - 300.0) * gain + 300.0 + offset
    even = flat_field_corrected_k(np.stack([hot, hot]), flat=found, housing_k=[300.0, 300.0])
    assert np.isnan(even[:, 3, 3]).all()
    assert np.nanstd(hot) > 2.0
    assert np.nanstd(even[0]) < 0.35
    assert (
        flat_field_corrected_k(np.full((1, *SHAPE), np.inf), flat=found, housing_k=[300.0])[0, 0, 0]
        == np.inf
    )


def test_one_level_gives_offsets_alone():
    rng = np.random.default_rng(2)
    offset = rng.normal(0, 0.5, SHAPE)
    found = flat_field(_stacks(rng, offset=offset, gain=np.ones(SHAPE))[:1], housing_k=[300.0])
    assert np.all(found.gain == 1.0)
    assert np.std(found.offset_k - offset) < 0.05


def test_too_little_and_uneven_scenes_are_refused():
    rng = np.random.default_rng(3)
    stacks = _stacks(rng, offset=np.zeros(SHAPE), gain=np.ones(SHAPE))
    with pytest.raises(NotEnoughDataError, match="needed: 16"):
        flat_field([stack[:5] for stack in stacks], housing_k=[300.0, 300.0])
    with pytest.raises(NotEnoughDataError, match="none"):
        flat_field([], housing_k=[])
    spotted = [stack.copy() for stack in stacks]
    for stack in spotted:
        stack[:, :6, :20] += 9.0  # a hand's width of something warmer
    with pytest.raises(RecordingError, match="not even"):
        flat_field(spotted, housing_k=[300.0, 300.0])
    with pytest.raises(RecordingError, match="one shape"):
        flat_field([stacks[0], stacks[1][:, :5]], housing_k=[300.0, 300.0])
