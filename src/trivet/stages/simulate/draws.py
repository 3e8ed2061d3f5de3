"""Random draws of a simulated cook: one stream a purpose, so that none disturbs another."""

from __future__ import annotations

import dataclasses
import hashlib
from dataclasses import dataclass

import numpy as np

from trivet.physics.geometry.optics import Pose
from trivet.physics.heat.water import boiling_point_k
from trivet.physics.sensor.readout import SensorErrors
from trivet.records.cook import CookPlan, Mismatch
from trivet.records.design import Design, Head
from trivet.records.figures import Figure
from trivet.records.sensorcard import SensorCard

HOUSING_REF_K = 298.15  # sensors are calibrated at 25 C
# What no card states; all assumed, common practice, no source.
ACCURACY_HALF_K = 3.0
PER_RATE_SIGMA_S = 5.0
PATTERN_OFFSET_K = 0.25
PATTERN_GAIN_FRAC = 0.003
WANDER_SHARE = 0.2  # of the NETD: leaves the total within 2 % of it
SETTLE_S = 240.0
HOB_RISE_K = (5.0, 25.0)
HOUSING_TAU_S = (200.0, 600.0)


def stream(seed: int, *, cook: str, name: str) -> np.random.Generator:
    """Return the generator of one purpose in one cook of a project."""
    words = np.frombuffer(hashlib.sha256(f"{cook}\n{name}".encode()).digest(), dtype="<u4")
    return np.random.default_rng(np.random.SeedSequence([seed, *words.tolist()]))


def drawn(value: float, generator: np.random.Generator) -> float:
    """Return a draw from a figure's range; one without a range is taken as it is."""
    u = generator.uniform()  # always drawn, so that a range added later moves nothing else
    if isinstance(value, Figure) and value.low is not None and value.high is not None:
        return value.low + (value.high - value.low) * u
    return float(value)


@dataclass(frozen=True)
class Kitchen:
    """The surroundings of one cook."""

    ambient_k: float
    reflected_k: float
    convection_w_m2k: float
    boiling_k: float
    hob_rise_k: float
    housing_start_k: float
    housing_end_k: float
    housing_tau_s: float
    awake_s: float


def kitchen(design: Design, *, plan: CookPlan, generator: np.random.Generator) -> Kitchen:
    """Draw the surroundings of a cook from the design's ranges."""
    around = design.surroundings
    ambient = drawn(around.ambient_k, generator)
    if plan.ambient_k is not None:
        ambient = float(plan.ambient_k)
    reflected = drawn(around.reflected_k, generator)
    rise = drawn(around.housing_rise_delta_k, generator)
    return Kitchen(
        ambient_k=ambient,
        reflected_k=reflected,
        convection_w_m2k=drawn(around.convection_w_m2k, generator),
        boiling_k=float(boiling_point_k(float(around.altitude_m))),
        hob_rise_k=generator.uniform(*HOB_RISE_K),
        housing_start_k=ambient + generator.uniform(0.0, 3.0),
        housing_end_k=ambient + rise,
        housing_tau_s=generator.uniform(*HOUSING_TAU_S),
        awake_s=generator.uniform(1.0, 15.0),
    )


@dataclass(frozen=True)
class HeadUnit:
    """One sensor head as it was made and mounted."""

    pose: Pose
    transmittance: float
    window_rise_k: float
    sigma_px: float
    errors: SensorErrors
    reflectance: float = 0.0
    """What the window mirrors of the housing; 0 where the design does not say."""


def head_unit(
    head: Head, *, card: SensorCard, plan: CookPlan, generator: np.random.Generator
) -> HeadUnit:
    """Draw a head: mount within its tolerances, window, blur, and the sensor's errors."""
    mount = head.mount
    at = generator.uniform(-1.0, 1.0, 3) * float(mount.position_tolerance_m)
    turn = generator.uniform(-1.0, 1.0, 3) * float(mount.angle_tolerance_rad)
    transmittance = drawn(head.window.transmittance_frac, generator)
    if plan.window_transmittance_frac is not None:
        transmittance = float(plan.window_transmittance_frac)
    unit = HeadUnit(
        pose=Pose(
            x_m=float(mount.x_m) + at[0],
            y_m=float(mount.y_m) + at[1],
            height_m=float(mount.height_m) + at[2],
            tilt_rad=float(mount.tilt_rad) + turn[0],
            pan_rad=float(mount.pan_rad) + turn[1],
            roll_rad=float(mount.roll_rad) + turn[2],
        ),
        transmittance=transmittance,
        window_rise_k=drawn(head.window.rise_delta_k, generator),
        sigma_px=drawn(card.blur_px, generator),
        errors=_sensor_errors(card, generator),
    )
    # drawn last, so that the draws above stay what they were
    constants = float(card.constants_delta_k or 0.0) * generator.uniform(-1.0, 1.0)
    mirrored = drawn(head.window.reflectance_frac or 0.0, generator)
    offset, *others = unit.errors.drift
    drift = (offset + constants, others[0], others[1], others[2])
    return dataclasses.replace(
        unit, reflectance=mirrored, errors=dataclasses.replace(unit.errors, drift=drift)
    )


def mismatched(unit: HeadUnit, mismatch: Mismatch) -> HeadUnit:
    """Return a unit with the declared mismatch of blur, gain, offset and pose."""
    pose, errors = unit.pose, unit.errors
    offset, *others = errors.drift
    offset += float(mismatch.offset_delta_k)
    return dataclasses.replace(
        unit,
        pose=dataclasses.replace(
            pose,
            x_m=pose.x_m + float(mismatch.shift_x_m),
            y_m=pose.y_m + float(mismatch.shift_y_m),
            tilt_rad=pose.tilt_rad + float(mismatch.turn_rad),
        ),
        sigma_px=unit.sigma_px * float(mismatch.blur_scale),
        errors=dataclasses.replace(
            errors,
            drift=(offset, others[0], others[1], others[2]),
            gain_frac=errors.gain_frac + float(mismatch.gain_frac),
        ),
    )


def _sensor_errors(card: SensorCard, generator: np.random.Generator) -> SensorErrors:
    accuracy = card.accuracy_delta_k
    half = float(accuracy) if accuracy is not None else ACCURACY_HALF_K
    offset = half * generator.uniform(-1.0, 1.0)
    gain = float(card.accuracy_gain_frac or 0.0) * generator.uniform(-1.0, 1.0)
    per_housing = drawn(card.housing_drift_per_k or 0.0, generator)
    wake = drawn(card.settle_delta_k or 0.0, generator)
    settle = float(card.settle_s) if card.settle_s is not None else SETTLE_S
    shape = (card.rows, card.cols)
    return SensorErrors(
        drift=(offset, per_housing, PER_RATE_SIGMA_S * generator.standard_normal(), wake),
        housing_ref_k=HOUSING_REF_K,
        wake_tau_s=settle / 3.0 * generator.uniform(0.8, 1.2),
        gain_frac=gain,
        pixel_offset_k=PATTERN_OFFSET_K * generator.standard_normal(shape),
        pixel_gain_frac=PATTERN_GAIN_FRAC * generator.standard_normal(shape),
        wander_k=WANDER_SHARE * float(card.netd_delta_k),
    )
