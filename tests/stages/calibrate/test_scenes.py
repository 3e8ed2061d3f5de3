"""Even scenes and patches of low emissivity as inputs of the calibration."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pydantic import ValidationError
from tests.stages.calibrate.conftest import POSE

from trivet.models.optics import card_band, card_lens
from trivet.physics.geometry.optics import point_of_pixel
from trivet.physics.radiation.planck import band_radiance, radiating_temperature_k
from trivet.records.benchsheet import SheetFlat, SheetPatch
from trivet.records.figures import figure
from trivet.records.recording import HeadFrames
from trivet.stages.calibrate import calibrate


def _flat_run(draw, rng, *, offset, gain, bad):
    cook = draw(name="even", burners=(), probes_k=())
    time = np.arange(0.0, 100.0, 0.5)
    level = np.where(time < 50, 300.0, 345.0)
    housing = np.full(time.size, 300.0)
    ideal = np.broadcast_to(level[:, None, None], (time.size, 24, 32))
    frames = (ideal - 300.0) * gain + 300.0 + offset + rng.normal(0, 0.28, ideal.shape)
    for row, col, kind in bad:
        if kind == "dead":
            frames[:, row, col] = np.nan
        elif kind == "stuck":
            frames[:, row, col] = 310.0
        elif kind == "wild":
            frames[:, row, col] += rng.normal(0, 3.0, time.size)
        else:
            frames[:, row, col] += 8.0
    head = HeadFrames("main", time, frames.astype(np.float32), housing, time)
    flats = (
        SheetFlat(**{"from": "1 s", "to": "45 s", "temperature": "27 degC"}),
        SheetFlat(**{"from": "55 s", "to": "99 s", "temperature": "72 degC"}),
    )
    return replace(
        cook,
        inputs=replace(cook.inputs, heads=(head,)),
        reference=replace(cook.reference, flats=flats),
    )


BAD = ((3, 4, "dead"), (10, 20, "stuck"), (15, 7, "wild"), (20, 30, "far"))


def test_planted_pixels_come_back_and_bad_ones_are_all_found(design, draw):
    rng = np.random.default_rng(1)
    offset, gain = rng.normal(0, 0.4, (24, 32)), rng.normal(1, 0.01, (24, 32))
    run = _flat_run(draw, rng, offset=offset, gain=gain, bad=BAD)
    found = calibrate(design, recordings=[run]).head("main").pixels
    assert found is not None
    planted = np.zeros((24, 32), dtype=bool)
    for row, col, _ in BAD:
        planted[row, col] = True
    np.testing.assert_array_equal(found.bad, planted)
    good = ~planted
    assert np.std((found.offset_k - offset + offset.mean())[good]) < 0.06
    assert np.std((found.gain - gain / gain.mean())[good]) < 0.003
    assert "4 bad pixels" in found.reason


def test_an_uneven_scene_is_refused_and_pixels_stay_as_they_come(design, draw):
    rng = np.random.default_rng(1)
    far = tuple((row, col, "far") for row in range(24) for col in range(0, 32, 8))
    run = _flat_run(draw, rng, offset=np.zeros((24, 32)), gain=np.ones((24, 32)), bad=far)
    made = calibrate(design, recordings=[run])
    assert made.head("main").pixels is None
    assert any("pixels of head main, even" in t and "as they come" in t for t in made.refusals)


def _black_body(draw, design, *, tau, gain, offset):
    """A black body at 60 and 200 C before a settled unit of which window, gain, offset are off."""
    band, rng = card_band(design.card(design.heads[0])), np.random.default_rng(4)
    cook = draw(name="levels", burners=(), probes_k=())
    time = np.arange(0.0, 100.0, 0.5)
    level, housing = np.where(time < 50, 333.15, 473.15), np.full(time.size, 298.15)
    signal = tau * band_radiance(level, band=band) + (1 - tau) * band_radiance(300.15, band=band)
    seen = radiating_temperature_k(signal, band=band)
    seen = 298.15 + (1 + gain) * (seen - 298.15) + offset
    frames = seen[:, None, None] + rng.normal(0, 0.28, (time.size, 24, 32))
    head = HeadFrames("main", time, frames.astype(np.float32), housing, 3600.0 + time)
    known = {"emissivity": {"value": "0.99", "low": "0.985", "high": "0.995"}}
    flats = tuple(
        SheetFlat(**{"from": a, "to": b, **known,
                     "temperature": {"value": t, "low": low, "high": high}})
        for a, b, t, low, high in (
            ("1 s", "45 s", "60 degC", "59.5 degC", "60.5 degC"),
            ("55 s", "99 s", "200 degC", "199.5 degC", "200.5 degC"),
        )
    )  # fmt: skip
    return replace(
        cook,
        inputs=replace(cook.inputs, heads=(head,)),
        reference=replace(cook.reference, flats=flats),
    )


def test_a_black_body_fixes_window_times_gain_and_offset(design, draw):
    tau = float(design.heads[0].window.transmittance_frac) + 0.02
    run = _black_body(draw, design, tau=tau, gain=0.015, offset=1.5)
    before, after = (calibrate(design, recordings=part).head("main") for part in ((), (run,)))
    # an emissivity of 0.99 told for a perfect black body is 0.01 more window
    assert after.transmittance == pytest.approx(tau * 1.015 / 0.99, abs=0.012)
    assert after.transmittance_u < 0.6 * before.transmittance_u
    assert after.gain_u < 0.2 * before.gain_u
    assert after.drift.value[0] == pytest.approx(1.5, abs=3 * after.drift.covariance[0, 0] ** 0.5)
    assert after.drift.covariance[0, 0] ** 0.5 < 0.5
    assert "black body at 60 C, 200 C" in after.transmittance_reason


def test_a_black_body_without_the_window_is_refused_by_name(design, draw):
    made = calibrate(design, recordings=[_black_body(draw, design, tau=1.0, gain=0.0, offset=0.0)])
    head = made.head("main")
    assert head.transmittance_how == "nominal"
    assert any("through the window" in text and "as designed" in text for text in made.refusals)


def _patched(design, draw, *, mirror_k, emissivity=0.1, planted=0.1, seed=0):
    """A foil of 20 cm in the middle of the hob, at the kitchen's temperature."""
    cook = draw(name="foil", burners=(), probes_k=(), drift=(0.0, 0.05, 0.0, 3.0), seed=seed)
    frames, band = cook.inputs.heads[0], card_band(design.card(design.heads[0]))
    lens = card_lens(design.card(design.heads[0]))
    index = np.moveaxis(np.indices((24, 32)), 0, -1)
    plane = point_of_pixel(index, lens=lens, pose=POSE)[..., :2]
    inside = np.hypot(plane[..., 0], plane[..., 1]) < 0.1
    patch_k = 305.0
    scene = planted * band_radiance(patch_k, band=band)
    scene = scene + (1 - planted) * band_radiance(mirror_k, band=band)
    signal = 0.85 * scene + 0.15 * band_radiance(frames.sensor_k, band=band)
    seen = radiating_temperature_k(signal, band=band) + 0.05 * (frames.sensor_k - 298.15)
    seen = seen + 3.0 * np.exp(-frames.awake_s / 80.0)
    noise = np.random.default_rng(seed).normal(0, 0.28, frames.apparent_k.shape)
    picture = frames.apparent_k.copy()
    picture[:, inside] = (seen[:, None, None] + noise)[:, inside]
    probe = draw(name="p", top_k=305.0).reference.probes[0]
    probe = replace(
        probe,
        probe=probe.probe.model_copy(update={"column": "foil"}),
        temperature_k=np.full(probe.time_s.size, patch_k),
    )
    known = {
        "value": f"{emissivity}",
        "low": f"{emissivity - 0.05}",
        "high": f"{emissivity + 0.05}",
    }
    patch = SheetPatch(x="0 mm", y="0 mm", diameter="200 mm", emissivity=known, probe="foil")
    return replace(
        cook,
        inputs=replace(cook.inputs, heads=(replace(frames, apparent_k=picture),)),
        reference=replace(cook.reference, patches=(patch,), probes=(probe,)),
    )


@pytest.mark.parametrize("mirror_k", [295.0, 313.0, 335.0])
def test_the_reflected_temperature_within_5_k(design, draw, mirror_k):
    head = calibrate(design, recordings=[_patched(design, draw, mirror_k=mirror_k)]).head("main")
    assert head.reflected_k == pytest.approx(mirror_k, abs=5.0)
    assert abs(head.reflected_k - mirror_k) < 2.5 * head.reflected_u_k
    assert head.reflected_u_k < 5.0


def test_a_dark_patch_is_refused_and_the_declared_stays(design, draw):
    with pytest.raises(ValidationError, match="emissivity"):  # the sheet refuses it at the door
        _patched(design, draw, mirror_k=320.0, emissivity=0.6, planted=0.6)
    run = _patched(design, draw, mirror_k=320.0, emissivity=0.4, planted=0.6)
    (patch,) = run.reference.patches
    dark = patch.model_copy(update={"emissivity_frac": figure("0.6", "fraction")})
    run = replace(run, reference=replace(run.reference, patches=(dark,)))
    made = calibrate(design, recordings=[run])
    assert not np.isfinite(made.head("main").reflected_k)
    assert any("reflected" in t and "0.60" in t and "30 C as designed" in t for t in made.refusals)
