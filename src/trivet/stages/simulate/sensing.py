"""What one sensor unit makes of the scene: window, noise, errors, steps, half frames, faults."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.models.optics import card_band, card_lens
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
from trivet.records.cook import CookPlan
from trivet.records.design import Design, Head
from trivet.records.recording import HeadFrames
from trivet.records.sensorcard import SensorCard
from trivet.stages.simulate.draws import HeadUnit, Kitchen, stream
from trivet.stages.simulate.frametimes import frame_times
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.occupancy import hidden
from trivet.stages.simulate.scene import scene_radiance
from trivet.stages.simulate.surroundings import hood_air
from trivet.stages.simulate.views import HeadView
from trivet.stages.simulate.windows import window_state

THERMISTOR_K = 0.02  # noise of the housing thermometer; assumed


def head_frames(
    pans: Sequence[PanHistory],
    *,
    design: Design,
    plan: CookPlan,
    name: str,
    head: Head,
    unit: HeadUnit,
    room: Kitchen,
) -> HeadFrames:
    """Return the frames of one head and the state of its sensor."""
    card = design.card(head)
    view = HeadView(unit, card_lens(card), card_band(card), room)
    scene = scene_radiance(pans, design=design, plan=plan, view=view, name=name)
    seed, scene_s = design.project.seed, pans[0].time_s
    clock = stream(seed, cook=name, name=f"clock {head.name}")
    times = frame_times(float(scene_s[-1]), card=card, faults=plan.faults, generator=clock)
    air = hood_air(pans, design=design, room=room)
    window = window_state(
        pans, design=design, plan=plan, head=head, unit=unit, air=air, room=room, band=view.band
    )
    noise = stream(seed, cook=name, name=f"noise {head.name}")
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
    at, awake = times.taken_s, times.taken_s + room.awake_s
    housing, rate = (np.interp(at, scene_s, v) for v in (air.housing_k, air.housing_rate_kps))
    drift = drift_k(unit.errors, housing_k=housing, housing_rate_kps=rate, awake_s=awake)
    frames = readings_k(
        scene,
        exposure=_exposure(scene_s, at, card),
        hidden=hidden(at, pans, plan=plan, view=view),
        path=SensorPath(
            np.interp(at, scene_s, window.transmittance),
            np.interp(at, scene_s, window.glow),
            housing,
            drift + common,
        ),
        errors=unit.errors,
        noise=white,
        band=view.band,
        limits=_limits(plan, head, card),
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


def _limits(plan: CookPlan, head: Head, card: SensorCard) -> OutputLimits:
    low, high = card.range_low_k, card.range_high_k
    dead = [one for one in plan.faults.dead_pixels if one.sensor_head in ("", head.name)]
    for one in dead:
        if one.row >= card.rows or one.col >= card.cols:
            raise InputError(
                f"cook {plan.name!r}: dead pixel row {one.row} col {one.col}; head {head.name!r} "
                f"has {card.rows} x {card.cols} pixels, counted from 0"
            )
    return OutputLimits(
        float(card.step_delta_k),
        None if low is None else float(low),
        None if high is None else float(high),
        tuple((one.row, one.col) for one in dead),
    )
