"""The reading, on scenes painted by code that shares nothing with it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from trivet.errors import RecordingError
from trivet.quality import Quality
from trivet.records.requirement import OF_WORDS
from trivet.stages.estimate import Estimator, estimate
from trivet.stages.estimate.stage import blocks
from trivet.stages.estimate.streaming import ARRAYS

IRON, STEEL = "iron-24", "steel-24"


def ramp(start_k: float, rate_kps: float, top_k: float = 1e9):
    return lambda dx, dy, t: np.full(dx.shape, min(start_k + rate_kps * t, top_k))


def read(painter, discs, nominal, *, seconds=40.0):
    inputs = painter.inputs(discs, seconds=seconds)
    return estimate(inputs, design=painter.design, calibration=nominal)


def burner(result, name="front-left"):
    return next(one for one in result.burners if one.burner == name)


def test_dark_pan_is_read_within_its_interval(painter, nominal, disc) -> None:
    painter.told = {"pan": IRON, "base_contents": "dry"}
    one = burner(read(painter, [disc(0.93, ramp(430.0, 1.0))], nominal))
    truth = 430.0 + one.reported_k * 0 + np.arange(one.reported_k.size) / 4
    assert np.isfinite(one.reported_k).mean() > 0.9
    error = one.reported_k - truth
    assert np.nanmax(np.abs(error)) < 6.0
    assert np.nanmean(np.abs(error) <= one.u95_k) > 0.95
    assert set(one.of[np.isfinite(one.reported_k)]) == {OF_WORDS.index("pan")}


def test_shiny_pan_is_not_measurable_never_low(painter, nominal, disc) -> None:
    painter.told = {"pan": STEEL, "base_contents": "dry"}
    one = burner(read(painter, [disc(0.12, ramp(430.0, 1.0))], nominal))
    assert not np.isfinite(one.reported_k).any()
    heated = one.present == 1
    assert heated.any()
    assert ((one.flags[heated] & int(Quality.SHINY)) != 0).all()


def test_apparent_temperature_of_a_shiny_pan_follows_its_radiance(painter, nominal, disc) -> None:
    """Planck by direct summation: 0.12 of what the steel emits and 0.88 of what it mirrors."""
    painter.told = {"pan": STEEL, "base_contents": "dry"}
    one = burner(read(painter, [disc(0.12, ramp(430.0, 1.0))], nominal))
    steel_k = 430.0 + np.arange(one.apparent_k.size) / 4
    seen = painter.seen_k(0.12, steel_k)
    later = slice(8, None)
    assert np.abs(one.apparent_k - seen)[later].max() < 1.5
    nothing = burner(read(painter, [], nominal))
    assert np.isnan(nothing.apparent_k).all()


def test_untold_shiny_pan_gives_no_low_number(painter, nominal, disc) -> None:
    one = burner(read(painter, [disc(0.12, ramp(430.0, 1.5))], nominal))
    wrong = np.isfinite(one.reported_k) & (
        np.abs(one.reported_k - (430.0 + 1.5 * np.arange(one.reported_k.size) / 4)) > 15
    )
    assert not wrong.any()


def test_dark_pan_of_unknown_finish_is_read_once_it_outpaces_a_shiny_one(
    painter, nominal, disc
) -> None:
    painter.told = {"base_contents": "dry"}
    one = burner(read(painter, [disc(0.93, ramp(400.0, 2.0))], nominal, seconds=60))
    late = np.arange(one.reported_k.size) > 160
    truth = 400.0 + 2.0 * np.arange(one.reported_k.size) / 4
    assert np.isfinite(one.reported_k[late]).mean() > 0.8
    assert np.nanmax(np.abs(one.reported_k - truth)[late]) < 12.0


def test_water_at_the_boil_is_liquid(painter, nominal, disc) -> None:
    painter.told = {"base_contents": "water"}
    one = burner(read(painter, [disc(0.96, ramp(345.0, 0.5, 372.8))], nominal, seconds=90))
    assert OF_WORDS[one.of[-1]] == "liquid"
    assert abs(one.reported_k[-1] - 372.8) < 3.0


def test_food_in_the_middle_does_not_pull_the_pan_down(painter, nominal, disc) -> None:
    painter.told = {"pan": IRON, "base_contents": "dry"}
    one = burner(
        read(painter, [disc(0.93, ramp(460.0, 0.0), cover=(15.0, 0.05, lambda t: 290.0))], nominal)
    )
    assert (one.flags & int(Quality.HAND) != 0)[60:68].all()
    late = slice(90, None)
    assert np.isfinite(one.reported_k[late]).mean() > 0.9
    assert np.nanmax(np.abs(one.reported_k[late] - 460.0)) < 8.0


@pytest.mark.parametrize("carries", [False, True])
def test_a_pan_all_under_food_is_carried_for_a_while(painter, nominal, disc, carries) -> None:
    painter.told = {"pan": IRON, "base_contents": "dry"}
    trial = painter.design.estimation.model_copy(update={"carry_hidden_pan": carries})
    painter.design = painter.design.model_copy(update={"estimation": trial})
    pan = disc(0.93, ramp(400.0, 0.5), cover=(20.0, 0.1, lambda t: 290.0))
    one = burner(read(painter, [pan], nominal, seconds=200))
    carried = one.flags & int(Quality.CARRIED) != 0
    assert carried.any() == carries
    hidden = np.arange(carried.size) >= 80
    assert (np.isfinite(one.reported_k) & hidden == carried).all()
    assert (one.of[carried] == OF_WORDS.index("hidden_pan")).all()
    truth = 400.0 + 0.5 * np.arange(carried.size) / 4
    assert (np.abs(one.reported_k - truth) < one.u95_k)[carried].all()
    assert (np.diff(one.u95_k[carried]) > 0).all()
    assert not carried[-1]  # its interval has outgrown the bound


def test_food_over_the_hot_part_of_an_uneven_pan_is_not_read_past(painter, nominal, disc) -> None:
    """What the food hides was 60 K hotter in the middle: the rim alone is not the pan."""
    painter.told = {"pan": IRON, "base_contents": "dry"}

    def peaked(dx, dy, t):
        return 430.0 + 60.0 * (1.0 - np.hypot(dx, dy) / 0.12)

    one = burner(read(painter, [disc(0.93, peaked, cover=(15.0, 0.08, lambda t: 290.0))], nominal))
    before = slice(8, 58)
    assert np.isfinite(one.reported_k[before]).mean() > 0.9
    error = np.abs(one.reported_k - 450.0)  # mean of a cone: a third of its height
    assert np.nanmax(error[before]) < 8.0
    late = np.isfinite(one.reported_k) & (np.arange(error.size) > 70)
    assert (error[late] <= one.u95_k[late]).all()


def test_the_hot_face_of_turned_food_is_not_taken_for_the_pan(painter, nominal, disc) -> None:
    """Turned at 35 s, the seared face comes up nearly as hot as the pan and cools away from it."""
    painter.told = {"pan": IRON, "base_contents": "dry"}

    def face(t):
        return 283.0 if t < 35.0 else 330.0 + 90.0 * np.exp(-(t - 35.0) / 8.0)

    one = burner(
        read(painter, [disc(0.93, ramp(410.0, 1.0), cover=(15.0, 0.08, face))], nominal, seconds=90)
    )
    truth = 410.0 + np.arange(one.reported_k.size) / 4
    late = np.isfinite(one.reported_k) & (np.arange(truth.size) > 70)
    assert (np.abs(one.reported_k - truth)[late] <= one.u95_k[late]).all()
    assert np.isfinite(one.reported_k[20:58]).all()


def test_a_told_pan_that_is_not_the_one_seen_is_not_read_low(painter, nominal, painting) -> None:
    """Told 240 mm, 200 mm on the burner: the told rim takes in 20 mm of cool hob."""
    painter.told = {"pan": IRON, "base_contents": "dry"}
    small = painting.Disc(-0.20, -0.13, 0.10, 0.93, ramp(440.0, 0.5))
    one = burner(read(painter, [small], nominal))
    truth = 440.0 + 0.5 * np.arange(one.reported_k.size) / 4
    valid = np.isfinite(one.reported_k)
    assert (np.abs(one.reported_k - truth)[valid] <= one.u95_k[valid]).all()


def test_saturated_is_hot_unknown_and_never_silent(painter, nominal, disc) -> None:
    painter.told = {"pan": IRON, "base_contents": "dry"}
    inputs = painter.inputs([disc(0.93, ramp(520.0, 2.0))], seconds=60)
    frames = inputs.heads[0]
    clipped = np.where(frames.apparent_k >= 573.15, np.inf, frames.apparent_k).astype(np.float32)
    frames = dataclasses.replace(frames, apparent_k=clipped)
    result = estimate(
        dataclasses.replace(inputs, heads=(frames,)),
        design=painter.design,
        calibration=nominal,
    )
    one = burner(result)
    assert np.isinf(one.hottest_k[-1])
    assert not np.isfinite(one.reported_k[-1])
    assert one.flags[-1] & int(Quality.SATURATED)


def test_empty_burner_gives_no_reading(painter, nominal, disc) -> None:
    one = burner(read(painter, [], nominal))
    assert not np.isfinite(one.reported_k).any()
    assert (one.present != 1).all()


def test_estimate_is_causal(painter, nominal, disc) -> None:
    inputs = painter.inputs(
        [disc(0.93, ramp(400.0, 2.0), cover=(8.0, 0.05, lambda t: 300.0))], seconds=20
    )
    whole = burner(estimate(inputs, design=painter.design, calibration=nominal))
    head = inputs.heads[0]
    for frames in (2, 17, 41):
        part = dataclasses.replace(
            head,
            time_s=head.time_s[:frames],
            apparent_k=head.apparent_k[:frames],
            sensor_k=head.sensor_k[:frames],
            awake_s=head.awake_s[:frames],
        )
        cut = burner(
            estimate(
                dataclasses.replace(inputs, heads=(part,)),
                design=painter.design,
                calibration=nominal,
            )
        )
        for name in ("present", "of", "reported_k", "u95_k", "hottest_k", "flags", "heat_on"):
            np.testing.assert_array_equal(getattr(cut, name), getattr(whole, name)[:frames], name)


def streamed(heads, length, *, painter, nominal):
    """The estimate block by block, put together by hand."""
    stream = Estimator(
        tuple(one.head for one in heads),
        design=painter.design,
        calibration=nominal,
        told=painter.inputs([], seconds=1).told,
    )
    parts = [stream.advance(block) for block in blocks(heads, length)]
    return {
        one.burner: {
            name: np.concatenate([getattr(burner(part, one.burner), name) for part in parts])
            for name in ARRAYS
        }
        for one in parts[0].burners
    }


@pytest.mark.parametrize("length", [1, 7, 100])
def test_blocks_give_the_bits_of_the_whole(painter, nominal, disc, length) -> None:
    inputs = painter.inputs(
        [disc(0.93, ramp(400.0, 2.0), cover=(8.0, 0.05, lambda t: 300.0))], seconds=40
    )
    head = inputs.heads[0]
    spoilt = head.apparent_k.copy()
    spoilt[70:75] = np.nan
    spoilt[:, 12, 9] = np.nan
    spoilt[120:, 8, 9] = np.inf
    time_s = head.time_s + np.where(np.arange(head.time_s.size) > 60, 7.0, 0.0)
    head = dataclasses.replace(head, apparent_k=spoilt, time_s=time_s)
    inputs = dataclasses.replace(inputs, heads=(head,))
    whole = estimate(inputs, design=painter.design, calibration=nominal)
    parts = streamed((head,), length, painter=painter, nominal=nominal)
    for one in whole.burners:
        for name in ARRAYS:
            np.testing.assert_array_equal(parts[one.burner][name], getattr(one, name), name)


def test_second_head_is_read_at_the_moments_of_the_first(two_heads, disc) -> None:
    painter, nominal = two_heads
    painter.told = {"pan": IRON, "base_contents": "dry"}
    main = painter.inputs([disc(0.93, ramp(450.0, 0.0))], seconds=10).heads[0]
    aside = dataclasses.replace(main, head="aside")
    late = slice(5, None, 2)
    main = dataclasses.replace(
        main,
        time_s=main.time_s[late] + 0.01,
        apparent_k=main.apparent_k[late],
        sensor_k=main.sensor_k[late],
        awake_s=main.awake_s[late],
    )
    whole = streamed((aside, main), 1000, painter=painter, nominal=nominal)
    parts = streamed((aside, main), 3, painter=painter, nominal=nominal)
    for name, arrays in whole.items():
        for field, values in arrays.items():
            np.testing.assert_array_equal(parts[name][field], values, field)
    # All burners are the first head's by right; until its frames come, nothing is known.
    one = whole["front-left"]
    assert (one["flags"][:6] == int(Quality.STALE)).all()
    assert np.isnan(one["hottest_k"][:6]).all()
    assert (one["present"][6:] == 1).all()
    assert np.isfinite(one["reported_k"][-1])


def test_a_stream_refuses_the_frames_of_another_head(painter, nominal) -> None:
    inputs = painter.inputs([], seconds=2)
    stream = Estimator(("main",), design=painter.design, calibration=nominal, told=inputs.told)
    other = dataclasses.replace(inputs.heads[0], head="aside")
    with pytest.raises(RecordingError, match="aside"):
        stream.advance((other,))


def test_settling_widens_but_does_not_silence(painter, nominal, disc) -> None:
    painter.told = {"pan": IRON, "base_contents": "dry"}
    settled = burner(read(painter, [disc(0.93, ramp(450.0, 0.0))], nominal))
    painter.awake_s = 0.0
    waking = burner(read(painter, [disc(0.93, ramp(450.0, 0.0))], nominal))
    assert waking.flags[4] & int(Quality.SETTLING)
    assert waking.u95_k[4] > settled.u95_k[4]
    assert np.isfinite(waking.hottest_k[4])


@pytest.mark.parametrize("blur", [0.35, 0.65])
def test_blur_wrong_by_30_percent_stays_inside(painter, nominal, disc, blur) -> None:
    painter.blur_px = blur
    painter.told = {"pan": IRON, "base_contents": "dry"}
    one = burner(read(painter, [disc(0.93, ramp(450.0, 0.0))], nominal))
    assert np.nanmax(np.abs(one.reported_k - 450.0)) < 6.0


def test_frames_of_another_shape_are_refused(painter, nominal, disc) -> None:
    inputs = painter.inputs([], seconds=2)
    head = dataclasses.replace(inputs.heads[0], apparent_k=inputs.heads[0].apparent_k[:, :10])
    with pytest.raises(RecordingError, match="10 x 32"):
        estimate(
            dataclasses.replace(inputs, heads=(head,)),
            design=painter.design,
            calibration=nominal,
        )


def test_one_frame_is_refused(painter, nominal, disc) -> None:
    inputs = painter.inputs([], seconds=0.25)
    with pytest.raises(RecordingError, match="at least 2"):
        estimate(inputs, design=painter.design, calibration=nominal)


def test_a_hand_over_water_is_no_reading_of_the_water(painter, nominal, disc) -> None:
    """A liquid cannot fall by 20 K within a second: what does is before it."""
    painter.told = {"base_contents": "water"}
    inputs = painter.inputs([disc(0.96, ramp(350.0, 0.3))], seconds=40)
    head = inputs.heads[0]
    over = (head.time_s >= 20.0) & (head.time_s < 22.0)
    seen = head.apparent_k.copy()
    seen[over] -= np.where(seen[over] > 330.0, 20.0, 0.0)
    head = dataclasses.replace(head, apparent_k=seen)
    result = estimate(
        dataclasses.replace(inputs, heads=(head,)),
        design=painter.design,
        calibration=nominal,
    )
    one = burner(result)
    assert (one.flags[over] & int(Quality.HAND) > 0).all()
    assert not np.isfinite(one.reported_k[over]).any()
    before, after = (head.time_s > 10.0) & (head.time_s < 20.0), head.time_s > 26.0
    assert np.isfinite(one.reported_k[before]).all()
    assert np.isfinite(one.reported_k[after]).all()
    for length in (1, 7):
        parts = streamed((head,), length, painter=painter, nominal=nominal)
        np.testing.assert_array_equal(parts[one.burner]["flags"], one.flags)
