"""Value types of the pan simulator: what goes in, what comes out, and what is refused.

Figures of a cook are scalars or arrays over cooks; fields are (r, theta, cook)
with the cooks innermost.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.physics.heat.loads import Layer


@dataclass(frozen=True)
class PanWall:
    """The side wall as a cylinder of rings: each figure a scalar or one value a cook.

    ``sheet_w_k`` and ``areal_j_m2k`` as those of the base; ``heat_frac`` share of
    the power that enters the wall, falling off to nothing at the top; loss of both
    faces together ``loss_w_m2k + loss_slope_w_m2k2 x (T - ambient)`` [W/m2/K],
    [W/m2/K2] and ``emissivity`` (0 to 2); ``wet_w_m2k`` to the liquid where it
    stands, by its mass and ``liquid_kg_m3``.  A cook without a wall has height 0.
    """

    height_m: ArrayLike
    sheet_w_k: ArrayLike
    areal_j_m2k: ArrayLike
    heat_frac: ArrayLike = 0.0
    loss_w_m2k: ArrayLike = 24.0
    loss_slope_w_m2k2: ArrayLike = 0.0
    emissivity: ArrayLike = 0.0
    wet_w_m2k: ArrayLike = 0.0
    liquid_kg_m3: ArrayLike = 960.0
    rings: int = 6


@dataclass(frozen=True)
class Hob:
    """Glass or coil under the base; figures scalars, (cook,) or fields (r, theta, cook).

    ``gap_w_m2k`` (r, theta, cook) conduction of the air in the gap at 300 K and
    ``contact_w_m2k`` of what touches; ``exchange_frac`` of black radiation across
    the gap; ``series_m2k_w`` in series with both, half the glass [m2 K/W];
    ``areal_j_m2k`` capacity; ``heat_frac`` share of the heat that enters the hob
    and not the pan itself; ``loss_w_m2k`` to what lies below, at ``below_k`` of the
    losses.  Above ``limit_k`` on its heated part the power is cut, until it is
    ``hysteresis_k`` lower.  Where ``on`` is false the pan loses as ``Losses`` says.
    """

    gap_w_m2k: ArrayLike
    areal_j_m2k: ArrayLike
    contact_w_m2k: ArrayLike = 0.0
    exchange_frac: ArrayLike = 0.7
    series_m2k_w: ArrayLike = 0.0
    heat_frac: ArrayLike = 0.0
    loss_w_m2k: ArrayLike = 0.0
    limit_k: ArrayLike = 1e6
    hysteresis_k: ArrayLike = 30.0
    on: ArrayLike = True


@dataclass(frozen=True)
class PanBase:
    """The pan: each figure a scalar or one value a cook.

    ``sheet_w_k`` is conductivity x thickness, summed over clad layers [W/K];
    ``areal_j_m2k`` density x specific heat x thickness, likewise [J/m2/K];
    ``rim_j_k`` and ``rim_w_k`` heat capacity and loss of what hangs on the
    outermost ring [J/K], [W/K]; ``face_m2k_w`` and ``cross_m2k_w`` the resistances
    between the mean of the base and its upper face (see ``transfer.clad_sheet``) [m2 K/W].
    """

    radius_m: ArrayLike
    sheet_w_k: ArrayLike
    areal_j_m2k: ArrayLike
    rim_j_k: ArrayLike = 0.0
    rim_w_k: ArrayLike = 0.0
    face_m2k_w: ArrayLike = 0.0
    cross_m2k_w: ArrayLike = 0.0
    wall: PanWall | None = None


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
    hob: Hob | None = None


@dataclass(frozen=True)
class Control:
    """A thermostat on the mean pan temperature, and the lag of the heat behind the knob.

    The defaults never act.
    """

    off_above_k: ArrayLike = 1e6
    hysteresis_k: ArrayLike = 5.0
    lag_s: ArrayLike = 0.0


@dataclass(frozen=True)
class PanState:
    """Where a run ended: the start of the next one."""

    pan_k: FloatArray
    layer_k: FloatArray
    column_k: FloatArray
    """(node, r, theta, cook) food from the pan upwards, NaN where none; no node without."""
    food_water_kg_m2: FloatArray
    """As ``column_k``: water left in each node."""
    mass_kg: FloatArray
    heating: FloatArray
    lid_k: FloatArray
    """(cook,) NaN where no lid is on."""
    wall_k: FloatArray
    """(ring, theta, cook) of the wall; no ring without."""
    hob_k: FloatArray
    """(r, theta, cook) under the base; no row without."""
    element: FloatArray
    """(2, cook) heat that the element gives [W], and 0 where the limiter has cut."""


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
    """Temperatures of a batch of cooks: arrays (time, r, theta, cook) and (time, cook).

    ``pan_k`` is the upper face of the base; ``state.pan_k`` its mean over the thickness.
    """

    time_s: FloatArray
    pan_k: FloatArray
    layer_k: FloatArray
    """(time, cook) liquid or film on the pan, mean over the cells that no food covers."""
    surface_k: FloatArray
    """What faces up; ``pan_k`` itself where nothing lies on any pan of the batch."""
    mass_kg: FloatArray
    lid_k: FloatArray
    """(time, cook) NaN where no lid is on."""
    core_k: FloatArray
    """(time, piece, cook) coldest node of each piece of food, area mean; NaN where none lies."""
    wall_k: FloatArray
    """(time, ring, cook) mean round the wall, from the rim up; no ring without a wall."""
    hob_k: FloatArray
    """(time, cook) of the hob under the pan, area mean; NaN without."""
    heat_w: FloatArray
    """(time, cook) heat into pan and hob, mean since the record before."""
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


class DiscGrid(NamedTuple):
    """Polar grid of the unit disc, all (r,): conduction weights and area shares of a cell."""

    inward: FloatArray
    outward: FloatArray
    around: FloatArray
    area: FloatArray


def unit_grid(n_r: int, n_theta: int) -> DiscGrid:
    """Return the polar grid of the unit disc whose rim is a grid line.

    n_r, n_theta : rings and cells a ring, at least 3 each

    Areas are shares of the disc [-]; the conduction weights multiply k d / R^2.  Second order:
    an error of 0.03 K rms at 24 x 32 becomes 0.14 K at 12 x 16.  The face at r = 0 has no
    length and carries nothing.  Fewer cells are an InputError.
    """
    if n_r < 3 or n_theta < 3:
        raise InputError(f"a polar grid needs at least 3 x 3 cells, got {n_r} x {n_theta}")
    dr, dt = 1.0 / n_r, 2.0 * np.pi / n_theta
    edge = np.arange(n_r + 1) * dr
    mid = 0.5 * (edge[1:] + edge[:-1])
    inward, outward = edge[:-1] / (mid * dr**2), edge[1:] / (mid * dr**2)
    outward[-1] = 0.0
    return DiscGrid(inward, outward, 1.0 / (mid * dt) ** 2, mid * dr * dt / np.pi)


def cell_area_frac(n_r: int = 24, n_theta: int = 32) -> FloatArray:
    """Return the area of each cell as a share of the disc.

    n_r, n_theta : rings and cells a ring
    Returns : (r, theta) shares, sum 1; 5e-5 in the middle of 24 x 32 cells, 2.6e-3 at the rim [-]
    """
    return np.repeat(unit_grid(n_r, n_theta).area[:, None], n_theta, axis=1)


def cell_centres(n_r: int = 24, n_theta: int = 32) -> tuple[FloatArray, FloatArray]:
    """Return where the cells lie.

    n_r, n_theta : rings and cells a ring
    Returns : (r,) mid radius as a share of the disc's [-], not the centroid (1.3 % apart in the
        third ring), and (theta,) mid angle, counter-clockwise from +x [rad]
    """
    return (np.arange(n_r) + 0.5) / n_r, (np.arange(n_theta) + 0.5) * 2.0 * np.pi / n_theta


def check_figures(pan: PanBase, *, losses: Losses, layer: Layer | None) -> None:
    """Refuse by name (InputError) figures that no pan, wall, hob or layer can have; NaN is one.

    layer : what lies on the pan
    """
    wall, hob = pan.wall, losses.hob
    if wall is not None and wall.rings < 1:
        raise InputError(f"wall rings is {wall.rings}; allowed: 1 or more")
    if hob is not None:
        hob = replace(hob, areal_j_m2k=np.where(np.asarray(hob.on), hob.areal_j_m2k, 1.0))
    above: _Rule = ("above 0", lambda value: value > 0.0)
    _refuse(above, pan, "radius_m sheet_w_k areal_j_m2k")
    _refuse(above, losses, "ambient_k surround_k below_k")
    _refuse(above, wall, "areal_j_m2k liquid_kg_m3", of="wall ")
    _refuse(above, hob, "areal_j_m2k", of="hob ")
    least: _Rule = ("0 or more", lambda value: value >= 0.0)
    _refuse(least, pan, "face_m2k_w cross_m2k_w")
    _refuse(least, wall, "height_m sheet_w_k wet_w_m2k loss_w_m2k", of="wall ")
    _refuse(least, hob, "gap_w_m2k contact_w_m2k series_m2k_w loss_w_m2k", of="hob ")
    _refuse(least, layer, "mass_kg")
    share: _Rule = ("0 to 1", lambda value: (value >= 0.0) & (value <= 1.0))
    _refuse(share, losses, "top_emissivity bottom_emissivity")
    _refuse(share, wall, "heat_frac", of="wall ")
    _refuse(share, hob, "heat_frac exchange_frac", of="hob ")
    _refuse(share, layer, "emissivity cover_frac")


_Rule = tuple[str, Callable[[Any], Any]]


def _refuse(rule: _Rule, owner: object, names: str, *, of: str = "") -> None:
    allowed, holds = rule
    for name in names.split() if owner is not None else ():
        value = np.asarray(getattr(owner, name))
        if not np.all(holds(value)):
            raise InputError(f"{of}{name} is {value}; allowed: {allowed}")
