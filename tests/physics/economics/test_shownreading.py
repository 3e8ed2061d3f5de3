"""The number on the display: steps that do not flicker and hide nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from trivet.errors import OutOfRangeError
from trivet.physics.economics.shownreading import next_step, shown_readings
from trivet.records.design import Display


@settings(max_examples=200, deadline=None)
@given(
    level=st.floats(-40.0, 400.0),
    step=st.floats(0.2, 10.0),
    share=st.floats(0.05, 1.0),
    noise=st.lists(st.floats(-1.0, 1.0), min_size=2, max_size=200),
)
def test_noise_within_the_hysteresis_never_moves_a_constant_temperature(
    level: float, step: float, share: float, noise: list[float]
) -> None:
    hysteresis = share * step
    reading = level + 0.999 * hysteresis * np.array(noise)
    shown = shown_readings(reading, step=step, hysteresis=hysteresis)
    assert np.count_nonzero(np.diff(shown)) <= 1
    assert np.all(np.abs(shown - reading) <= step / 2 + hysteresis + 1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_the_noise_of_the_demo_card_changes_the_number_once_at_most(seed: int) -> None:
    # 0.28 K a pixel at 25 C (the demo's card; less on a hot scene), 10 pixels, four hours at
    # 4 frames/s, on the edge between two steps of 1 K, with the default hysteresis of 0.5 K.
    noise = np.random.default_rng(seed).normal(0.0, 0.28 / np.sqrt(10.0), 4 * 3600 * 4)
    shown = shown_readings(180.5 + noise, step=1.0, hysteresis=0.5)
    assert np.count_nonzero(np.diff(shown)) <= 1


@settings(max_examples=100, deadline=None)
@given(st.lists(st.one_of(st.just(float("nan")), st.floats(0.0, 300.0)), max_size=50))
def test_a_blank_is_a_blank_and_the_past_does_not_depend_on_the_future(
    reading: list[float],
) -> None:
    shown = shown_readings(reading, step=2.0, hysteresis=0.5)
    assert np.array_equal(np.isnan(shown), np.isnan(np.array(reading, dtype=float)))
    half = len(reading) // 2
    again = shown_readings(reading[:half], step=2.0, hysteresis=0.5)
    assert np.array_equal(again, shown[:half], equal_nan=True)


def test_steps_by_hand() -> None:
    # Steps of 5 with 1 beyond the edge: 10 holds up to 13.5 and gives way to 15 after it.
    shown = shown_readings([10.0, 12.6, 13.5, 13.6, 11.6, 11.4], step=5.0, hysteresis=1.0)
    assert shown.tolist() == [10.0, 10.0, 10.0, 15.0, 15.0, 10.0]
    # Whole numbers of Fahrenheit, counted from its zero (459.67 / 1.8 K).
    zero = 459.67 / 1.8
    kelvin = shown_readings([(212.4 - 32) / 1.8 + 273.15], step=4 / 1.8, hysteresis=0, origin=zero)
    assert kelvin[0] == pytest.approx((212.0 - 32) / 1.8 + 273.15)
    assert next_step(float("nan"), 3, step=1.0, hysteresis=0.1) is None


def test_a_step_of_nothing_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="allowed above 0"):
        shown_readings([1.0], step=0.0, hysteresis=0.1)


def test_the_design_refuses_a_hysteresis_over_its_step() -> None:
    said = Display.model_validate({"readout_step": "4 degF", "readout_hysteresis": "1 degF"})
    assert said.readout_error_k == pytest.approx((2.0 + 1.0) / 1.8)
    assert Display.model_validate({"readout_step": "0 K"}).readout_error_k == 0.0
    with pytest.raises(ValidationError, match="over a step of"):
        Display.model_validate({"readout_step": "0.2 K", "readout_hysteresis": "0.5 K"})
