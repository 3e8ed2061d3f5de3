"""Water that leaves the boil as no water can."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.heat.leftboil import left_boil, never_boiled

BOILING_K = 373.15


def told(kelvin: np.ndarray, *, cuts: tuple[int, ...] = ()) -> np.ndarray:
    """The verdict on a course at one reading a second, in one block or several."""
    memory, found = never_boiled(), []
    time_s = np.arange(kelvin.size, dtype=float)
    for part in np.split(np.arange(kelvin.size), cuts):
        found.append(
            left_boil(
                kelvin[part],
                low_k=kelvin[part] - 3.0,
                absent=np.zeros(part.size, dtype=bool),
                time_s=time_s[part],
                boiling_k=BOILING_K,
                memory=memory,
            )
        )
    return np.concatenate(found)


def test_a_bare_bottom_that_mirrors_the_room_is_no_water_until_it_boils_again() -> None:
    course = np.r_[np.full(60, 372.0), np.linspace(372.0, 320.0, 12), np.linspace(320, 372, 60)]
    course = np.r_[course, np.full(40, 372.0)]
    found = told(course)
    assert not found[:62].any()
    assert found[64:132].all()
    assert not found[-1]


def test_a_pot_that_cools_on_a_dead_burner_stays_water() -> None:
    """A litre loses 0.1 K/s just off the boil (common practice, no source)."""
    assert not told(np.r_[np.full(30, 372.0), 372.0 - 0.1 * np.arange(400)]).any()


def test_a_hand_hides_and_the_metal_that_shows_behind_it_is_no_water() -> None:
    course = np.r_[np.full(60, 372.0), np.full(13, np.nan), np.full(30, 315.0)]
    assert told(course)[73:].all()
    back = np.r_[np.full(60, 372.0), np.full(13, np.nan), np.full(30, 371.0)]
    assert not told(back).any()


def test_what_is_hotter_than_boiling_water_is_none() -> None:
    assert told(np.r_[np.full(30, 372.0), np.full(5, 385.0)])[30:].all()


@pytest.mark.parametrize("cuts", [(1,), (50, 63, 70)])
def test_blocks_give_the_verdict_of_the_whole(cuts: tuple[int, ...]) -> None:
    course = np.r_[np.full(60, 372.0), np.linspace(372.0, 320.0, 12), np.full(30, 371.0)]
    assert (told(course, cuts=cuts) == told(course)).all()
