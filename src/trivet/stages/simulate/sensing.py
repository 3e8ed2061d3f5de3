"""What one sensor unit makes of a scene: frames of a cook with their faults, and of even scenes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.constants import ZERO_C_K
from trivet.errors import InputError
from trivet.models.optics import card_band
from trivet.physics.radiation.planck import band_radiance
from trivet.physics.sensor.halfframes import subpage_mask
from trivet.physics.sensor.readout import (
    Exposure,
    OutputLimits,
    SensorPath,
    drift_k,
    netd_radiance,
    readings_k,
    wander_k,
)
from trivet.records.benchsheet import SheetFlat, Told
from trivet.records.cook import CookPlan, SensorFaults
from trivet.records.design import Design
from trivet.records.recording import HeadFrames, ProductInput, Recording, Reference
from trivet.records.sensorcard import Head, SensorCard
from trivet.stages.simulate.attenuation import window_state
from trivet.stages.simulate.draws import (
    CALIBRATED_AT_K,
    SimulatedHead,
    head_unit,
    stream,
)
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.occupancy import hidden
from trivet.stages.simulate.scene import scene_radiance
from trivet.stages.simulate.surroundings import hood_air

MIN_STEP = 0.05
"""Own estimate: stamps keep this share of a frame's time apart, however the clock jitters."""


@dataclass(frozen=True)
class FrameTimes:
    """The frames that arrive: true moments, stamps, and which frame each one shows.

    ``kept`` (arrived,) index of each among the frames taken; ``shown`` (arrived,)
    index of the frame that it shows: an earlier one while the reader is stuck.
    """

    taken_s: FloatArray
    kept: IntArray
    shown: IntArray
    stamp_s: FloatArray


def frame_times(
    end_s: float, *, card: SensorCard, faults: SensorFaults, generator: np.random.Generator
) -> FrameTimes:
    """Return the frames of a cook with the declared faults of sensor, reader and clock."""
    rate = float(card.frame_rate_hz)
    count = max(2, int(np.floor(end_s * rate + 1e-9)) + 1)
    taken = np.arange(count) / rate
    lost = generator.uniform(size=count) < float(faults.dropped_frac)
    jitter = float(faults.clock_jitter_s) * generator.standard_normal(count)
    for gap in faults.gaps:
        lost |= _within(taken, float(gap.at_s), float(gap.for_s))
    lost[[0, -1]] = False  # a recording has a first and a last frame
    shown = np.arange(count)
    for stretch in faults.stuck:
        held = np.flatnonzero(_within(taken, float(stretch.at_s), float(stretch.for_s)))
        shown[held] = max(0, int(held[0]) - 1) if held.size else 0
    kept = np.flatnonzero(~lost)
    stamp = taken * (1.0 + float(faults.clock_drift_frac)) + jitter
    floor = np.arange(count) * MIN_STEP / rate  # rises by the least step: never backwards
    stamp = np.maximum.accumulate(stamp - floor) + floor
    return FrameTimes(taken, kept, shown[kept], stamp[kept])


def _within(time_s: FloatArray, at_s: float, for_s: float) -> BoolArray:
    return np.asarray((time_s >= at_s) & (time_s < at_s + for_s))


THERMISTOR_K = 0.02  # own estimate: noise of the housing thermometer


def head_frames(pans: Sequence[PanHistory], view: SimulatedHead) -> HeadFrames:
    """Return the frames of one head and the state of its sensor."""
    card, cook, head, unit = view.card, view.cook, view.head, view.unit
    scene, scene_s = scene_radiance(pans, view), pans[0].time_s
    clock = cook.stream(f"clock {head.name}")
    times = frame_times(float(scene_s[-1]), card=card, faults=cook.plan.faults, generator=clock)
    air = hood_air(pans, cook)
    window = window_state(pans, view=view, air=air)
    noise = cook.stream(f"noise {head.name}")
    shape = (times.taken_s.size, card.rows, card.cols)
    white = noise.standard_normal(shape, dtype=np.float32)
    white *= np.float32(
        netd_radiance(float(card.netd_delta_k), at_k=float(card.netd_at_k), band=view.band)
    )
    common = wander_k(
        shape[0],
        step_s=1.0 / float(card.frame_rate_hz),
        sigma_k=unit.errors.wander_k,
        tau_s=unit.errors.wander_s,
        generator=noise,
    )
    thermistor = THERMISTOR_K * noise.standard_normal(shape[0])
    at, awake = times.taken_s, times.taken_s + cook.room.awake_s
    housing, rate = (np.interp(at, scene_s, v) for v in (air.housing_k, air.housing_rate_kps))
    drift = drift_k(unit.errors, housing_k=housing, housing_rate_kps=rate, awake_s=awake)
    frames = readings_k(
        scene,
        exposure=_exposure(scene_s, at, card),
        hidden=hidden(at, pans, view),
        path=SensorPath(
            np.interp(at, scene_s, window.transmittance),
            np.interp(at, scene_s, window.glow),
            housing,
            drift + common,
        ),
        errors=unit.errors,
        noise=white,
        band=view.band,
        limits=_limits(card, _dead_pixels(view)),
    )
    if not np.array_equal(times.shown, np.arange(at.size)):
        frames = frames[times.shown]
    sensor = (housing + thermistor)[times.shown]
    return HeadFrames(head.name, times.stamp_s, frames, sensor, awake[times.kept])


def _exposure(scene_s: FloatArray, at_s: FloatArray, card: SensorCard) -> Exposure:
    """Return when pixels look; of half frames the other half was read half a frame earlier."""
    if not card.half_frames:
        return Exposure(scene_s, at_s, at_s, np.ones((card.rows, card.cols), dtype=np.bool_))
    older = np.maximum(at_s - 0.5 / float(card.frame_rate_hz), 0.0)
    late = subpage_mask(card.rows, cols=card.cols, pattern="chess", subpage=1)
    return Exposure(scene_s, at_s, older, late)


def _limits(card: SensorCard, dead: tuple[tuple[int, int], ...] = ()) -> OutputLimits:
    low, high = card.range_low_k, card.range_high_k
    return OutputLimits(
        float(card.step_delta_k),
        None if low is None else float(low),
        None if high is None else float(high),
        dead,
    )


def _dead_pixels(view: SimulatedHead) -> tuple[tuple[int, int], ...]:
    """Return row and column of the declared dead pixels; refuse those that the head lacks."""
    card, name, plan = view.card, view.head.name, view.cook.plan
    dead = [one for one in plan.faults.dead_pixels if one.sensor_head in ("", name)]
    for one in dead:
        if one.row >= card.rows or one.col >= card.cols:
            raise InputError(
                f"cook {plan.name!r}: dead pixel row {one.row} col {one.col}; head {name!r} "
                f"has {card.rows} x {card.cols} pixels, counted from 0"
            )
    return tuple((one.row, one.col) for one in dead)


LEVELS_C = (60, 200)  # own estimate: the span of a cook
EVEN_FRAMES, EVEN_GAP_S = 32, 2.0
"""Frames of each level; own estimate: 0.05 K are left of a noise of 0.28 K."""
SETTLED_S = 3600.0  # own estimate: an hour after power on


def even_scenes(design: Design, *, plan: CookPlan) -> Recording:
    """Return a recording of a plan's sensor unit before a black body at two levels.

    Parameters
    ----------
    design : Design
        Heads and cards.
    plan : CookPlan
        Its unit is the one that looks; its name seeds the noise.

    Returns
    -------
    Recording
        Purpose ``calibration``, no cook; the sheet's flats name levels and times.

    Notes
    -----
    The unit is settled and its housing at 25 C; the black body is even and known
    exactly, through the unit's own window.

    References
    ----------
    Two-point calibration, common practice of thermal arrays, no source.
    """
    heads, flats = [], []
    for head in design.heads:
        rate_hz = float(design.card(head).frame_rate_hz)
        heads.append(_frames(design, head, plan))
        span_s = EVEN_FRAMES / rate_hz
        for level, celsius in enumerate(LEVELS_C):
            begin = level * (span_s + EVEN_GAP_S)
            flats.append(
                SheetFlat.model_validate(
                    {
                        "head": head.name,
                        "from": f"{begin:.3f} s",
                        "to": f"{begin + span_s:.3f} s",
                        "temperature": f"{celsius} degC",
                        "emissivity": "1",
                    }
                )
            )
    return Recording(
        name=f"even-scenes-{plan.unit}",
        purpose="calibration",
        evidence="simulated",
        unit=f"simulated {plan.unit}",
        altitude_m=float(design.surroundings.altitude_m),
        inputs=ProductInput(tuple(heads), Told()),
        reference=Reference((), (), (), flats=tuple(flats)),
    )


def _frames(design: Design, head: Head, plan: CookPlan) -> HeadFrames:
    card = design.card(head)
    band, shape = card_band(card), (EVEN_FRAMES * len(LEVELS_C), card.rows, card.cols)
    unit = head_unit(head, design=design, plan=plan)
    noise = stream(design.project.seed, cook=plan.name, name=f"even scenes {head.name}")
    white = noise.standard_normal(shape, dtype=np.float32) * np.float32(
        netd_radiance(float(card.netd_delta_k), at_k=float(card.netd_at_k), band=band)
    )
    step = 1.0 / float(card.frame_rate_hz)
    starts = np.arange(len(LEVELS_C)) * (EVEN_FRAMES * step + EVEN_GAP_S)
    time_s = (starts[:, None] + step * np.arange(EVEN_FRAMES)).ravel()
    level_k = np.repeat(np.array(LEVELS_C) + ZERO_C_K, EVEN_FRAMES)
    scene = np.repeat(band_radiance(level_k, band=band)[:, None], card.rows * card.cols, axis=1)
    housing = np.full(time_s.size, CALIBRATED_AT_K)
    awake = SETTLED_S + time_s
    transmitted = np.full(time_s.size, unit.transmittance)
    glow = (1.0 - unit.transmittance) * band_radiance(housing + unit.window_rise_k, band=band)
    drift = drift_k(
        unit.errors, housing_k=housing, housing_rate_kps=np.zeros(time_s.size), awake_s=awake
    )
    even = np.arange(time_s.size, dtype=np.float64)
    frames = readings_k(
        scene.astype(np.float32),
        exposure=Exposure(even, even, even, np.ones(shape[1:], dtype=np.bool_)),
        hidden=None,
        path=SensorPath(transmitted, glow, housing, drift),
        errors=unit.errors,
        noise=white,
        band=band,
        limits=_limits(card),
    )
    return HeadFrames(head.name, time_s, frames, housing, awake)
