"""Even scenes of known temperature before a simulated head: its blackbody calibration."""

from __future__ import annotations

import numpy as np

from trivet.models.optics import card_band
from trivet.physics.radiation.planck import band_radiance
from trivet.physics.sensor.readout import (
    Exposure,
    OutputLimits,
    SensorPath,
    drift_k,
    netd_radiance,
    readings_k,
)
from trivet.records.benchsheet import SheetFlat, Told
from trivet.records.cook import CookPlan
from trivet.records.design import Design, Head
from trivet.records.recording import HeadFrames, ProductInput, Recording, Reference
from trivet.stages.simulate.draws import HOUSING_REF_K, head_unit, stream

LEVELS_C = (60, 200)
FRAMES, GAP_S = 32, 2.0
"""Frames of each level: 0.05 K are left of a noise of 0.28 K."""
SETTLED_S = 3600.0


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
        span_s = FRAMES / rate_hz
        for level, celsius in enumerate(LEVELS_C):
            begin = level * (span_s + GAP_S)
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
    band, shape = card_band(card), (FRAMES * len(LEVELS_C), card.rows, card.cols)
    seed = design.project.seed
    unit = head_unit(
        head,
        card=card,
        plan=plan,
        generator=stream(seed, cook=f"unit {plan.unit}", name=f"unit {head.name}"),
    )
    noise = stream(seed, cook=plan.name, name=f"even scenes {head.name}")
    white = noise.standard_normal(shape, dtype=np.float32) * np.float32(
        netd_radiance(float(card.netd_delta_k), at_k=float(card.netd_at_k), band=band)
    )
    step = 1.0 / float(card.frame_rate_hz)
    starts = np.arange(len(LEVELS_C)) * (FRAMES * step + GAP_S)
    time_s = (starts[:, None] + step * np.arange(FRAMES)).ravel()
    level_k = np.repeat(np.array(LEVELS_C) + 273.15, FRAMES)
    scene = np.repeat(band_radiance(level_k, band=band)[:, None], card.rows * card.cols, axis=1)
    housing = np.full(time_s.size, HOUSING_REF_K)
    awake = SETTLED_S + time_s
    passed = np.full(time_s.size, unit.transmittance)
    glow = (1.0 - unit.transmittance) * band_radiance(housing + unit.window_rise_k, band=band)
    drift = drift_k(
        unit.errors, housing_k=housing, housing_rate_kps=np.zeros(time_s.size), awake_s=awake
    )
    low, high = card.range_low_k, card.range_high_k
    even = np.arange(time_s.size, dtype=np.float64)
    frames = readings_k(
        scene.astype(np.float32),
        exposure=Exposure(even, even, even, np.ones(shape[1:], dtype=np.bool_)),
        hidden=None,
        path=SensorPath(passed, glow, housing, drift),
        errors=unit.errors,
        noise=white,
        band=band,
        limits=OutputLimits(
            float(card.step_delta_k),
            None if low is None else float(low),
            None if high is None else float(high),
        ),
    )
    return HeadFrames(head.name, time_s, frames, housing, awake)
