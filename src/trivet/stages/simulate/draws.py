"""Random draws of a simulated cook: one stream a purpose, so that none disturbs another."""

from __future__ import annotations

import dataclasses
import hashlib
from dataclasses import dataclass

import numpy as np

from trivet.errors import InputError
from trivet.models.optics import card_band, card_lens
from trivet.physics.geometry.optics import Lens, Pose
from trivet.physics.heat.water import boiling_point_k
from trivet.physics.radiation.planck import Band
from trivet.physics.sensor.readout import SensorErrors
from trivet.records.cook import CookPlan, Mismatch, cook_name
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.sensorcard import Head, SensorCard

CALIBRATED_AT_K = 298.15  # housing of a sensor at its factory; common practice, no source
# What no card states.
UNSTATED_ACCURACY_HALF_K = 3.0  # own estimate: the usual +-3 K of thermal arrays
PER_RATE_SIGMA_S = 5.0  # own estimate: lag of the thermistor behind the array
PATTERN_OFFSET_K = 0.25  # own estimate: fixed pattern left by the factory
PATTERN_GAIN_FRAC = 0.003  # own estimate, as above
WANDER_SHARE = 0.2  # of the NETD; own estimate: leaves the total within 2 % of it
UNSTATED_SETTLE_S = 240.0  # own estimate: four minutes after power on
HOB_RISE_K = (5.0, 25.0)  # own estimate: hob beside the pans over the room
HOUSING_TAU_S = (200.0, 600.0)  # own estimate: a housing of some 100 g in moving air
HOUSING_START_RISE_K = (0.0, 3.0)  # own estimate: the sensor's own watts
AWAKE_S = (1.0, 15.0)  # own estimate: from power on to the first frame


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
    surroundings = design.surroundings
    ambient = drawn(surroundings.ambient_k, generator)
    if plan.ambient_k is not None:
        ambient = float(plan.ambient_k)
    reflected = drawn(surroundings.reflected_k, generator)
    rise = drawn(surroundings.housing_rise_delta_k, generator)
    return Kitchen(
        ambient_k=ambient,
        reflected_k=reflected,
        convection_w_m2k=drawn(surroundings.convection_w_m2k, generator),
        boiling_k=float(boiling_point_k(float(surroundings.altitude_m))),
        hob_rise_k=generator.uniform(*HOB_RISE_K),
        housing_start_k=ambient + generator.uniform(*HOUSING_START_RISE_K),
        housing_end_k=ambient + rise,
        housing_tau_s=generator.uniform(*HOUSING_TAU_S),
        awake_s=generator.uniform(*AWAKE_S),
    )


@dataclass(frozen=True)
class Repeat:
    """One repeat of a planned cook, in the kitchen drawn for it."""

    design: Design
    plan: CookPlan
    name: str
    room: Kitchen

    def stream(self, purpose: str) -> np.random.Generator:
        """Return the generator of one purpose in this cook."""
        return stream(self.design.project.seed, cook=self.name, name=purpose)


def drawn_repeat(design: Design, *, plan: CookPlan, repeat: int) -> Repeat:
    """Return one repeat of a planned cook with its kitchen as drawn; refuse one not planned."""
    if not 0 <= repeat < plan.repeats:
        raise InputError(f"cook {plan.name!r} has repeats 0 to {plan.repeats - 1}, not {repeat}")
    name = cook_name(plan, repeat)
    draws = stream(design.project.seed, cook=name, name="kitchen")
    return Repeat(design, plan, name, kitchen(design, plan=plan, generator=draws))


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


def head_unit(head: Head, *, design: Design, plan: CookPlan) -> HeadUnit:
    """Draw a plan's unit of a head: mount in its tolerances, window, blur, the sensor's errors."""
    card, mount = design.card(head), head.mount
    generator = stream(design.project.seed, cook=f"unit {plan.unit}", name=f"unit {head.name}")
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
    reflectance = drawn(head.window.reflectance_frac or 0.0, generator)
    offset, *others = unit.errors.drift
    drift = (offset + constants, others[0], others[1], others[2])
    return dataclasses.replace(
        unit, reflectance=reflectance, errors=dataclasses.replace(unit.errors, drift=drift)
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
    half = float(accuracy) if accuracy is not None else UNSTATED_ACCURACY_HALF_K
    offset = half * generator.uniform(-1.0, 1.0)
    gain = float(card.accuracy_gain_frac or 0.0) * generator.uniform(-1.0, 1.0)
    per_housing = drawn(card.housing_drift_per_k or 0.0, generator)
    wake = drawn(card.settle_delta_k or 0.0, generator)
    settle = float(card.settle_s) if card.settle_s is not None else UNSTATED_SETTLE_S
    shape = (card.rows, card.cols)
    return SensorErrors(
        drift=(offset, per_housing, PER_RATE_SIGMA_S * generator.standard_normal(), wake),
        housing_ref_k=CALIBRATED_AT_K,
        wake_tau_s=settle / 3.0 * generator.uniform(0.8, 1.2),
        gain_frac=gain,
        pixel_offset_k=PATTERN_OFFSET_K * generator.standard_normal(shape),
        pixel_gain_frac=PATTERN_GAIN_FRAC * generator.standard_normal(shape),
        wander_k=WANDER_SHARE * float(card.netd_delta_k),
    )


@dataclass(frozen=True)
class SimulatedHead:
    """One head, as it was made and hung, looking at the pans of a cook."""

    head: Head
    unit: HeadUnit
    lens: Lens
    band: Band
    cook: Repeat

    @property
    def card(self) -> SensorCard:
        """The card of its sensor."""
        return self.cook.design.card(self.head)


def mounted(head: Head, cook: Repeat) -> SimulatedHead:
    """Return a head as it was made and hung, set apart from it where the plan says so."""
    card = cook.design.card(head)
    unit = mismatched(head_unit(head, design=cook.design, plan=cook.plan), cook.plan.mismatch)
    return SimulatedHead(head, unit, card_lens(card), card_band(card), cook)
