"""A view that broke between recordings; draws of pans put down within 3 mm."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.geometry.registration import mount_shift

PLACED_M = 0.003


def _found(rng, shift, *, sides=2, turn=0.0):
    index = np.repeat(np.arange(2 * sides), 4)
    place = np.tile(np.arange(4), 2 * sides)
    corners = np.array([[-0.2, -0.13], [0.2, -0.13], [-0.2, 0.13], [0.2, 0.13]])
    seen = rng.normal(0, PLACED_M, (index.size, 2))
    after = index >= sides
    seen[after, 0] += shift
    seen[after] += turn * corners[place[after]][:, ::-1] * np.array([-1.0, 1.0])
    return mount_shift(seen, index=index, region=place, u_m=np.full(index.size, PLACED_M))


def test_shift_and_turn_are_found_and_dated():
    rng = np.random.default_rng(0)
    for planted in ({"shift": 0.012}, {"shift": 0.0, "turn": 0.06}):
        found = [_found(rng, **planted) for _ in range(100)]
        assert np.mean([one.moved for one in found]) > 0.97
        assert np.mean([one.first == 2 for one in found]) > 0.95
    assert np.mean([_found(rng, 0.008).moved for _ in range(200)]) > 0.8


def test_a_still_mount_is_hardly_ever_called():
    rng = np.random.default_rng(1)
    assert sum(_found(rng, 0.0).moved for _ in range(400)) <= 4  # under 1 %


def test_strangers_cannot_be_compared():
    seen = np.zeros((4, 2))
    with pytest.raises(NotEnoughDataError, match="same two burners"):
        mount_shift(seen, index=[0, 0, 1, 1], region=[0, 1, 2, 3], u_m=np.ones(4))
    with pytest.raises(OutOfRangeError):
        mount_shift(seen, index=[0, 0, 1, 1], region=[0, 1, 0, 1], u_m=np.zeros(4))
