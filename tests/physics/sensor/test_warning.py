"""Waking, first reading, settling and what is seen of the hottest part, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.sensor.warning import (
    Starts,
    crossing_s,
    first_reading_s,
    needed_trip_k,
    seen_of_hottest,
    settling_k,
    spot_share_frac,
)


def test_needed_trips_for_60_s_to_371_c():
    # By hand: 371 - 60 r.
    got = needed_trip_k(371.0, rate_kps=[1.0, 2.0, 3.0, 4.4], lead_s=60.0)
    assert got.tolist() == pytest.approx([311, 251, 191, 107])


@pytest.mark.parametrize(("rate", "rise", "lag"), [(1, 1, 3), (4.4, 0.5, 10), (0.2, 5, 0.01)])
def test_a_lagging_sensor_passes_its_level_when_the_ramp_response_says(rate, rise, lag):
    time = float(crossing_s(rate, rise_k=rise, seen_rise=0.3, lag_s=lag))
    # Textbook ramp response of a first-order sensor, put back in.
    got = 0.3 * rate * (time - lag * (1 - math.exp(-time / lag)))
    assert got == pytest.approx(rise, rel=1e-9)


def test_without_lag_it_is_rise_over_rate():
    assert float(crossing_s(2.0, rise_k=3.0, seen_rise=0.5)) == pytest.approx(3.0)
    assert float(crossing_s(2.0, rise_k=0.0, lag_s=5.0)) == 0.0
    with pytest.raises(OutOfRangeError):
        crossing_s(0.0, rise_k=1.0)
    with pytest.raises(OutOfRangeError):
        crossing_s(1.0, rise_k=1.0, lag_s=-1.0)


def _starts(count=20_000, *, caught=0.0, seed=1):
    rng = np.random.default_rng(seed)
    one = np.ones(count)
    return Starts(2.0 * one, 0.5 * one, rng.random(count), rng.random(count) < caught)


def _woken(starts, kind="polling", poll_s=10.0):
    return first_reading_s(
        starts, kind=kind, trip_k=3.0, lag_s=0.0, poll_s=poll_s, boot_s=0.3, frame_s=0.5
    )


def test_polling_adds_a_uniform_wait():
    found = _woken(_starts())
    # 3 K at 0.5 x 2 K/s: passed after 3 s; then uniformly up to 10 s until the next look.
    assert np.all(found.tripped_s == pytest.approx(3.0))
    wait = found.awake_s - 3.0
    assert wait.min() >= 0.0
    assert wait.max() < 10.0
    assert np.mean(wait) == pytest.approx(5.0, abs=0.1)
    assert np.quantile(found.reading_s, 0.95) == pytest.approx(3.0 + 9.5 + 0.8, abs=0.1)


def test_a_comparator_does_not_wait_and_motion_wakes_with_the_hand():
    assert np.all(_woken(_starts(), kind="thermal-trip").reading_s == pytest.approx(3.8))
    found = _woken(_starts(caught=0.9), kind="motion")
    assert np.mean(found.awake_s == 0.0) == pytest.approx(0.9, abs=0.01)
    lonely = _woken(_starts(caught=0.9), kind="motion", poll_s=0.0)
    assert np.mean(np.isinf(lonely.reading_s)) == pytest.approx(0.1, abs=0.01)
    with pytest.raises(OutOfRangeError, match="motion"):
        _woken(_starts(10), kind="sound")


def test_settling_leaves_5_percent_at_its_time():
    assert float(settling_k(240.0, offset_k=-3.0, settle_s=240.0)) == pytest.approx(
        3 * math.exp(-3)
    )
    assert float(settling_k(0.0, offset_k=3.0, settle_s=240.0)) == 3.0
    assert float(settling_k(1.0, offset_k=3.0, settle_s=0.0)) == 0.0


@pytest.mark.parametrize("blur", [0.3, 0.5, 1.0])
def test_share_of_a_spot_against_draws(blur):
    """Light of a pixel falls at a uniform place in its box plus a normal blur: count it."""
    rng = np.random.default_rng(3)
    place = rng.random((200_000, 2)) - 0.5 + blur * rng.standard_normal((200_000, 2))
    half = 0.022 / 0.020 / 2
    counted = np.mean(np.all(np.abs(place) < half, axis=1))
    got = spot_share_frac(0.022, footprint_m=0.020, blur_px=blur)
    assert got == pytest.approx(counted, abs=4e-3)


def test_share_without_blur_is_an_area():
    assert spot_share_frac(0.01, footprint_m=0.02, blur_px=0.0) == pytest.approx(0.25)
    assert spot_share_frac(0.05, footprint_m=0.02, blur_px=0.0) == 1.0
    assert spot_share_frac(0.01, footprint_m=0.02, blur_px=1e-5) == pytest.approx(0.25, abs=1e-4)


def test_what_is_seen_of_the_hottest_part_at_its_ends():
    assert seen_of_hottest(1.0, spot_share=0.0) == 1.0
    assert seen_of_hottest(1.5, spot_share=1.0) == 1.0
    assert seen_of_hottest(1.5, spot_share=0.0) == pytest.approx(1 / 1.5)  # the mean alone
    assert seen_of_hottest(1.5, spot_share=0.0, beside_frac=1.0) == 1.0
    with pytest.raises(OutOfRangeError):
        seen_of_hottest(0.9, spot_share=0.5)
