"""What one sensor unit makes of the scene: window, noise, errors, steps, half frames."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from trivet.kernels.radiation.path import through_window
from trivet.kernels.radiation.planck import band_radiance
from trivet.kernels.radiation.render import at_moments
from trivet.kernels.sensor.halfframes import subpage_mask
from trivet.kernels.sensor.sensornoise import (
    digitised_k,
    netd_radiance,
    noisy_apparent_k,
    wander_k,
    with_errors_k,
)
from trivet.records.cook import CookPlan
from trivet.records.design import Design, Head
from trivet.records.recording import HeadFrames
from trivet.records.sensorcard import SensorCard
from trivet.stages.simulate.cooking import PanHistory
from trivet.stages.simulate.draws import HeadUnit, Kitchen, stream
from trivet.stages.simulate.scene import View, hand_cover, hand_radiance, scene_radiance
from trivet.terms.optics import card_band, card_lens

FloatArray = npt.NDArray[np.float64]

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
    seed = design.project.seed
    view = View(unit, card_lens(card), card_band(card), room)
    steam = stream(seed, cook=name, name="steam")  # one steam for all heads
    scene = scene_radiance(pans, design=design, view=view, generator=steam)
    time_s = _moments(pans[0].time_s[-1], card)
    signal = _signal(scene, pans, plan=plan, view=view, card=card, time_s=time_s)
    state = _Housing(room, time_s)
    window_k = state.housing_k + unit.window_rise_k
    signal = through_window(
        signal, transmittance=unit.transmittance, window_k=window_k[:, None], band=view.band
    ).reshape(-1, card.rows, card.cols)
    noise = stream(seed, cook=name, name=f"noise {head.name}")
    apparent = noisy_apparent_k(
        signal,
        sigma_radiance=netd_radiance(
            float(card.netd_delta_k), at_k=float(card.netd_at_k), band=view.band
        ),
        band=view.band,
        generator=noise,
    )
    return _read_out(apparent, head=head, card=card, unit=unit, state=state, noise=noise)


class _Housing:
    """The housing on its way from the room's temperature to the hood's."""

    def __init__(self, room: Kitchen, time_s: FloatArray):
        span = room.housing_end_k - room.housing_start_k
        decay = np.exp(-time_s / room.housing_tau_s)
        self.time_s = time_s
        self.housing_k = room.housing_end_k - span * decay
        self.rate_kps = span / room.housing_tau_s * decay
        self.awake_s = time_s + room.awake_s


def _moments(end_s: float, card: SensorCard) -> FloatArray:
    count = max(2, int(np.floor(end_s * float(card.frame_rate_hz) + 1e-9)) + 1)
    return np.asarray(np.arange(count) / float(card.frame_rate_hz))


def _signal(
    scene: FloatArray,
    pans: Sequence[PanHistory],
    *,
    plan: CookPlan,
    view: View,
    card: SensorCard,
    time_s: FloatArray,
) -> FloatArray:
    """Return the radiance of each pixel at its own moment, hands included, (time, pixel)."""
    signal = _exposed(scene, pans[0].time_s, time_s, plan=plan, view=view, pans=pans)
    if not card.half_frames:
        return signal
    # the other half of the pixels was read half a frame earlier
    older = np.maximum(time_s - 0.5 / float(card.frame_rate_hz), 0.0)
    before = _exposed(scene, pans[0].time_s, older, plan=plan, view=view, pans=pans)
    late = subpage_mask(card.rows, cols=card.cols, pattern="chess", subpage=1).ravel()
    return np.where(late, signal, before)


def _exposed(
    scene: FloatArray,
    scene_s: FloatArray,
    moments_s: FloatArray,
    *,
    plan: CookPlan,
    view: View,
    pans: Sequence[PanHistory],
) -> FloatArray:
    signal = at_moments(scene, time_s=scene_s, moments_s=moments_s)
    if not plan.hands_at_s:
        return signal
    hands = [float(at) for at in plan.hands_at_s]
    cover = hand_cover(moments_s, hands_at_s=hands, over=pans[0].setting, view=view)
    mirrored = float(band_radiance(view.room.reflected_k, band=view.band))
    return np.asarray(signal + cover * (hand_radiance(view.band, mirrored=mirrored) - signal))


def _read_out(
    apparent: FloatArray,
    *,
    head: Head,
    card: SensorCard,
    unit: HeadUnit,
    state: _Housing,
    noise: np.random.Generator,
) -> HeadFrames:
    """Add drift, gain, pattern and steps; return the frames with the sensor's own thermometer."""
    rate_hz = float(card.frame_rate_hz)
    common = wander_k(
        state.time_s.size,
        step_s=1.0 / rate_hz,
        sigma_k=unit.errors.wander_k,
        tau_s=unit.errors.wander_s,
        generator=noise,
    )
    read = with_errors_k(
        apparent,
        errors=unit.errors,
        housing_k=state.housing_k,
        housing_rate_kps=state.rate_kps,
        awake_s=state.awake_s,
        common_k=common,
    )
    low, high = card.range_low_k, card.range_high_k
    return HeadFrames(
        head=head.name,
        time_s=state.time_s,
        apparent_k=digitised_k(
            read,
            step_k=float(card.step_delta_k),
            low_k=None if low is None else float(low),
            high_k=None if high is None else float(high),
        ),
        sensor_k=state.housing_k + THERMISTOR_K * noise.standard_normal(state.time_s.size),
        awake_s=state.awake_s,
    )
