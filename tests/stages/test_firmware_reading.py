"""The firmware's reading of simulated cooks: against the exact rules, and against the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trivet.device.reading import device_reading
from trivet.device.readingrules import cold_reading
from trivet.errors import HandoffRefusedError, RecordingError
from trivet.models.firmware_tables import head_readings
from trivet.models.firmware_words import device_readings, frame_words, told_words
from trivet.quality import Quality
from trivet.records.cook import CookPlan
from trivet.stages.calibrate import calibrate
from trivet.stages.estimate import estimate
from trivet.stages.firmware_reading import device_estimate, estimate_difference, twin_difference
from trivet.stages.simulate import simulate


def _plan(base, pan="iron-24", **more):
    return CookPlan.model_validate(
        {
            "name": f"{pan}-{base}",
            "purpose": "proof",
            "duration": "120 s",
            "burners": [
                {
                    "burner": "front-left",
                    "pan": pan,
                    "base": base,
                    "schedule": [{"at": "0 s", "level": "80 %"}],
                    **more,
                }
            ],
        }
    )


@pytest.fixture(scope="module")
def calibration(plain_design):
    return calibrate(plain_design, recordings=[])


@pytest.fixture(scope="module")
def iron(plain_design):
    return simulate(plain_design, plan=_plan("dry"))


def test_integers_keep_to_the_exact_rules(plain_design, calibration, iron):
    one = twin_difference(iron.recording.inputs, design=plain_design, calibration=calibration)
    assert one.frames > 1500
    # 0.1 % of frames may flip; words of 1/64 K and an interval of two inversions: 0.06 K.
    assert one.flag_flips <= 0.001 * one.frames
    assert one.valid_flips <= 0.001 * one.frames
    assert one.worst_reported_k < 0.06
    assert one.worst_hottest_k < 0.06


def test_interval_holds_the_truth_of_an_iron_pan(plain_design, calibration, iron):
    read = device_estimate(iron.recording.inputs, design=plain_design, calibration=calibration)
    burner = next(one for one in read.burners if one.burner == "front-left")
    truth = next(one for one in iron.truth.burners if one.burner == "front-left")
    true_k = np.interp(read.time_s, truth.time_s, truth.seen_k)
    given = np.isfinite(burner.reported_k)
    assert given.mean() > 0.3
    inside = np.abs(burner.reported_k - true_k)[given] <= burner.u95_k[given]
    assert inside.mean() > 0.9
    others = [one for one in read.burners if one.burner != "front-left"]
    assert not any(np.isfinite(one.reported_k).any() for one in others)


def test_what_was_not_told_or_shines_is_not_read(plain_design, calibration, iron):
    inputs = iron.recording.inputs
    untold = replace(inputs, told=type(inputs.told)())
    shiny = replace(inputs, told=inputs.told.model_validate({"pan": "steel-24"}))
    for one in (untold, shiny):
        read = device_estimate(one, design=plain_design, calibration=calibration)
        for burner in read.burners:
            assert not np.isfinite(burner.reported_k).any()
            warm = burner.flags & np.uint32(int(Quality.COLD)) == 0
            wanted = np.uint32(int(Quality.SHINY | Quality.UNCERTAIN))
            assert np.all(burner.flags[warm] & wanted)


def test_causal_and_the_same_in_pieces(plain_design, calibration, iron):
    inputs = iron.recording.inputs
    (constants, whole), *_ = device_readings(inputs, design=plain_design, calibration=calibration)
    pixels, sensor = frame_words(inputs.heads[0])
    told = told_words(inputs.told, constants=constants, design=plain_design)
    state, parts = cold_reading(constants), []
    for begin, end in ((0, 7), (7, 200), (200, pixels.shape[0])):
        part = {"sensor": sensor[begin:end], "told": told, "constants": constants, "state": state}
        parts.append(device_reading(pixels[begin:end], **part))
    assert np.array_equal(np.concatenate(parts), whole)


def test_saturation_is_at_least_this_hot_and_a_dead_pixel_is_left_out(
    plain_design, calibration, iron
):
    head = iron.recording.inputs.heads[0]
    (constants, plain), *_ = device_readings(
        iron.recording.inputs, design=plain_design, calibration=calibration
    )
    place = constants.mask_pixel[: constants.mask_start[1]]
    weight = constants.mask_weight[: constants.mask_start[1]]
    frames = head.apparent_k.copy()
    flat = frames.reshape(frames.shape[0], -1)
    flat[100:, place[weight > 0][0]] = np.inf
    flat[:, place[weight > 0][1]] = np.nan
    inputs = replace(iron.recording.inputs, heads=(replace(head, apparent_k=frames),))
    read = device_estimate(inputs, design=plain_design, calibration=calibration)
    burner = next(one for one in read.burners if one.burner == constants.burners[0])
    assert np.all(np.isposinf(burner.hottest_k[100:]))
    assert np.all(burner.flags[100:] & np.uint32(int(Quality.SATURATED)))
    assert np.all(burner.flags & np.uint32(int(Quality.DEAD_PIXEL)))
    assert not np.isfinite(burner.reported_k[100:]).any()
    assert plain.shape[2] == 10


def test_difference_to_the_estimate_is_told(plain_design, calibration, iron):
    inputs = iron.recording.inputs
    own = device_estimate(inputs, design=plain_design, calibration=calibration)
    host = estimate(inputs, design=plain_design, calibration=calibration)
    line = estimate_difference("iron", device=own, host=host)
    assert line.startswith("  iron: reports ")
    assert "K apart" in line or "never both" in line


def test_wrong_frames_and_constants_are_refused(plain_design, calibration, iron):
    head = iron.recording.inputs.heads[0]
    small = replace(head, apparent_k=head.apparent_k[:, :4])
    with pytest.raises(RecordingError, match="768 pixels"):
        device_estimate(
            replace(iron.recording.inputs, heads=(small,)),
            design=plain_design,
            calibration=calibration,
        )
    own = calibration.heads[0]
    steep = replace(own.drift, value=np.array([1e6, 0.0, 0.0, 0.0]))
    broken = replace(calibration, heads=(replace(own, drift=steep),))
    with pytest.raises(HandoffRefusedError, match="drift"):
        head_readings(plain_design, calibration=broken)
