"""What the design alone says: every term with its declared spread."""

from __future__ import annotations

import math
from itertools import product
from typing import NamedTuple

import numpy as np

from trivet.facts.pans import optical_table, surface
from trivet.models.assumed import EMISSIVITY_HALF, OPAQUE_FILM_M, TRANSMITTANCE_HALF
from trivet.models.optics import card_band
from trivet.physics.radiation.film import OpticalConstants, film_emissivity
from trivet.physics.radiation.planck import Band
from trivet.physics.sensor.drift import DriftModel
from trivet.records.calibration import (
    DriftCalibration,
    HeadCalibration,
    PoseCalibration,
    SurfaceCalibration,
)
from trivet.records.design import Contents, Design
from trivet.records.figures import Figure
from trivet.records.sensorcard import Head, SensorCard
from trivet.stages.calibrate.pairs import SurfaceGroup

HOUSING_REF_K = 298.15
"""Housing temperature at which a sensor is taken to be free of drift: 25 C."""
ACCURACY_HALF_K = 3.0  # common practice, no source: where the card is silent
GAIN_HALF_FRAC = 0.02  # common practice, no source: where the card is silent
HOUSING_HALF = 0.1  # common practice, no source: kelvin of offset for one of the housing
WAKE_HALF_K = 3.0  # common practice, no source: where the card is silent
SETTLE_S = 240.0  # common practice, no source: where the card is silent
RATE_U_S = 5.0  # own estimate: 0.05 K/s of the housing are then 0.25 K
FILM_FACTOR = 2.0
"""An oil film is taken to be known within this factor of its mean depth either way."""


class EmissivityPrior(NamedTuple):
    """Emissivity of a surface before any cook, and its standard uncertainty."""

    emissivity: float
    u: float


def rectangular_u(half_width: float) -> float:
    """Return the standard uncertainty of a half-width (JCGM 100:2008, 4.3.7)."""
    return half_width / math.sqrt(3)


def figure_u(value: Figure | None, *, otherwise_half: float) -> float:
    """Return the standard uncertainty of a figure; of an assumed half-width without a range."""
    if value is None or not value.half_width > 0:
        return rectangular_u(otherwise_half)
    return value.standard_uncertainty


def wake_time_s(card: SensorCard) -> float:
    """Return the time constant of the wake term: 5 % is left when the card calls it settled."""
    return (float(card.settle_s) if card.settle_s is not None else SETTLE_S) / 3


def declared_drift(card: SensorCard) -> DriftModel:
    """Return the drift as the card declares it."""
    per_housing, wake = card.housing_drift_per_k, card.settle_delta_k
    value = [0.0, float(per_housing or 0.0), 0.0, float(wake or 0.0)]
    accuracy = float(card.accuracy_delta_k) if card.accuracy_delta_k is not None else None
    spread = [
        math.hypot(
            rectangular_u(accuracy if accuracy else ACCURACY_HALF_K),
            rectangular_u(float(card.constants_delta_k or 0.0)),
        ),
        figure_u(per_housing, otherwise_half=abs(value[1]) or HOUSING_HALF),
        RATE_U_S,
        figure_u(wake, otherwise_half=abs(value[3]) or WAKE_HALF_K),
    ]
    return DriftModel(np.array(value), np.diag(np.square(spread)), HOUSING_REF_K, wake_time_s(card))


def gain_u(card: SensorCard) -> float:
    """Return the standard uncertainty of the gain on scene minus housing."""
    gain = card.accuracy_gain_frac
    return rectangular_u(float(gain) if gain is not None else GAIN_HALF_FRAC)


def nominal_head(head: Head, *, card: SensorCard, reason: str) -> HeadCalibration:
    """Return a head's terms as designed."""
    mount = head.mount
    place = [float(mount.x_m), float(mount.y_m), float(mount.height_m)]
    angle = [float(mount.tilt_rad), float(mount.pan_rad), float(mount.roll_rad)]
    spread = [rectangular_u(float(mount.position_tolerance_m))] * 3
    spread += [rectangular_u(float(mount.angle_tolerance_rad))] * 3
    drift = declared_drift(card)
    return HeadCalibration(
        head.name,
        PoseCalibration(
            "nominal", np.array(place + angle), np.diag(np.square(spread)), math.nan, reason
        ),
        DriftCalibration(
            "nominal",
            drift.value,
            drift.covariance,
            drift.housing_ref_k,
            drift.tau_s,
            math.nan,
            reason,
        ),
        float(head.window.transmittance_frac),
        figure_u(head.window.transmittance_frac, otherwise_half=TRANSMITTANCE_HALF.value),
        gain_u(card),
    )


def bare_emissivity(finish: str, *, design: Design) -> EmissivityPrior:
    """Return emissivity and standard uncertainty of a bare finish: measured pans, else library."""
    measured = [
        pan.emissivity_frac
        for pan in design.pans
        if pan.finish == finish and pan.emissivity_frac is not None
    ]
    if measured:
        value = float(np.mean([float(one) for one in measured]))
        own = max(figure_u(one, otherwise_half=EMISSIVITY_HALF.value) for one in measured)
        apart = float(np.std([float(one) for one in measured]))
        return EmissivityPrior(value, math.hypot(own, apart))
    low, high = 0.02, 0.98
    if finish in surface.all or any(pan.finish == finish != "" for pan in design.pans):
        low, high = surface(finish).low, surface(finish).high
    return _between(low, high)


def _between(low: float, high: float) -> EmissivityPrior:
    """Return what lies anywhere between two emissivities."""
    return EmissivityPrior((low + high) / 2, (high - low) / math.sqrt(12))


def surface_prior(
    contents: Contents, *, finish: str, depth_m: float, design: Design, band: Band
) -> EmissivityPrior:
    """Return emissivity and standard uncertainty before any cook of what is seen."""
    if contents == "dry" or depth_m <= 0:
        return bare_emissivity(finish, design=design)
    if contents == "water":
        known = surface("water")
        return EmissivityPrior(known.emissivity, _between(known.low, known.high).u)
    bare, bare_u = bare_emissivity(finish, design=design)
    if contents == "butter":
        high = surface("butter-foam").high
        low = min(bare - math.sqrt(3) * bare_u, high - 0.02)
        return _between(low, high)
    if depth_m >= OPAQUE_FILM_M.value:
        known = surface("deep-oil")
        return EmissivityPrior(known.emissivity, _between(known.low, known.high).u)
    return _film_prior(depth_m, bare=bare, bare_u=bare_u, band=band)


def _film_prior(depth_m: float, *, bare: float, bare_u: float, band: Band) -> EmissivityPrior:
    depths = depth_m * np.array([1 / FILM_FACTOR, 1.0, FILM_FACTOR])
    below = np.clip(bare + math.sqrt(3) * bare_u * np.array([-1.0, 0.0, 1.0]), 0.01, 1.0)
    values = np.array(
        [
            film_emissivity(
                depths, film=oil_constants(), substrate=float(eps), temperature_k=450.0, band=band
            )
            for eps in below
        ]
    )
    return EmissivityPrior(float(values.mean()), math.hypot(float(values.std()), 0.01))


def oil_constants() -> OpticalConstants:
    """Return the optical constants that stand in for cooking oil."""
    table = optical_table("oil")
    return OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


def nominal_surface(
    group: SurfaceGroup, *, prior: EmissivityPrior, depth_m: float, reason: str
) -> SurfaceCalibration:
    """Return a surface's terms as designed; the depth is that of a film."""
    return SurfaceCalibration(
        contents=group.contents,
        finish=group.finish,
        how="nominal",
        emissivity=prior.emissivity,
        emissivity_u=prior.u,
        film_m=depth_m if group.film else math.nan,
        film_u_m=math.nan,
        span_low_k=math.nan,
        span_high_k=math.nan,
        cooks=0,
        reduced_chi2=math.nan,
        reason=reason,
        film=group.film,
    )


def nominal_surfaces(design: Design, *, reason: str) -> dict[SurfaceGroup, SurfaceCalibration]:
    """Return every base in every pan of the design as the library and the design say."""
    band = card_band(design.card(design.heads[0]))
    found: dict[SurfaceGroup, SurfaceCalibration] = {}
    for pan, base in product(design.pans, design.bases):
        depth = float(base.volume_m3) / (math.pi * (float(pan.diameter_m) / 2) ** 2)
        film = base.contents == "oil" and 0 < depth < OPAQUE_FILM_M.value
        group = SurfaceGroup(base.contents, "" if base.contents == "water" else pan.finish, film)
        if group not in found:
            prior = surface_prior(
                base.contents, finish=pan.finish, depth_m=depth, design=design, band=band
            )
            found[group] = nominal_surface(group, prior=prior, depth_m=depth, reason=reason)
    return found
