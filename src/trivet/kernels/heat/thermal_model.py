"""Value types of the pan simulator: what goes in and what comes out.

Figures of a cook are scalars or arrays over cooks; fields are (r, theta, cook)
with the cooks innermost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class PanBase:
    """The pan: each figure a scalar or one value a cook.

    ``sheet_w_k`` is conductivity x thickness, summed over clad layers [W/K];
    ``areal_j_m2k`` density x specific heat x thickness, likewise [J/m2/K];
    ``rim_j_k`` and ``rim_w_k`` heat capacity and loss of the wall, put into the
    outermost ring [J/K], [W/K].
    """

    radius_m: ArrayLike
    sheet_w_k: ArrayLike
    areal_j_m2k: ArrayLike
    rim_j_k: ArrayLike = 0.0
    rim_w_k: ArrayLike = 0.0


@dataclass(frozen=True)
class Losses:
    """What takes heat away: each figure a scalar or one value a cook.

    Convection above is ``top_w_m2k + top_slope_w_m2k2 * (T - ambient)``: the
    straight line through a T^(1/3) law between 100 and 300 C is within 6 % of
    it.  Radiation uses total emissivities, never band emissivities.
    """

    ambient_k: ArrayLike = 293.15
    surround_k: ArrayLike = 293.15
    below_k: ArrayLike = 293.15
    top_w_m2k: ArrayLike = 12.0
    top_slope_w_m2k2: ArrayLike = 0.0
    top_emissivity: ArrayLike = 0.0
    bottom_w_m2k: ArrayLike = 12.0
    bottom_emissivity: ArrayLike = 0.0


@dataclass(frozen=True)
class Control:
    """A simple thermostat on the mean pan temperature; the default never acts."""

    off_above_k: ArrayLike = 1e6
    hysteresis_k: ArrayLike = 5.0


@dataclass(frozen=True)
class PanState:
    """Where a run ended: the start of the next one."""

    pan_k: FloatArray
    layer_k: FloatArray
    body_k: FloatArray
    food_water_kg_m2: FloatArray
    mass_kg: FloatArray
    heating: FloatArray


@dataclass(frozen=True)
class EnergyLedger:
    """Joules of each cook over the run; ``closure_frac`` is what does not add up."""

    input_j: FloatArray
    lost_j: FloatArray
    latent_j: FloatArray
    vapour_j: FloatArray
    stored_j: FloatArray
    closure_frac: FloatArray


@dataclass(frozen=True)
class PanRun:
    """Temperatures of a batch of cooks: arrays (time, r, theta, cook) and (time, cook)."""

    time_s: FloatArray
    pan_k: FloatArray
    layer_k: FloatArray
    surface_k: FloatArray
    mass_kg: FloatArray
    ledger: EnergyLedger
    state: PanState


@dataclass(frozen=True)
class RunSettings:
    """Step, recording interval in steps, start state and thermostat."""

    step_s: float = 1.0
    record_every: int = 1
    start: PanState | None = None
    start_k: ArrayLike = 293.15
    control: Control = Control()
