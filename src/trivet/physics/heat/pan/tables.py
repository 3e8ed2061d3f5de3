"""Tables and field groups of a block of cooks, shared by the compiled parts of the pan simulator.

Arrays are (n_r, n_theta, lane): the lanes are cooks, innermost, so that the vector units of
the processor work on several cooks at once.  What a cook needs as scalars lies in small tables
(figure, lane); each table has one enumeration that names its rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, auto
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray, IntArray
from trivet.physics.compiled import family
from trivet.physics.heat.food import FoodPatch
from trivet.physics.heat.loads import Layer, Lid
from trivet.physics.heat.pan.model import DiscGrid, Losses, PanBase, RunSettings

KERNELS = ("tables", "metal", "food", "layer", "march")
HERE = Path(__file__).parent
# Fused multiply-add changes last bits between processor families, never between runs on one.
compiled = family(*(HERE / f"{name}.py" for name in KERNELS), contract=True)


class TableRow(IntEnum):
    """Rows of a table, counted from 0."""

    @staticmethod
    def _generate_next_value_(name: str, start: int, count: int, last_values: list[Any]) -> int:
        return count


class Fixed(TableRow):
    """What does not change in a run; under a lid the first two and AIR_VAPOUR follow the lid."""

    AMBIENT = auto()  # K
    SURROUND4 = auto()  # K4
    TOP = auto()  # W/m2/K at no rise
    TOP_SLOPE = auto()  # W/m2/K2
    TOP_SIGMA = auto()  # W/m2/K4, emissivity of the bare face x Stefan-Boltzmann
    LAYER_SIGMA = auto()  # likewise of the layer
    BELOW = auto()  # K
    BELOW4 = auto()  # K4
    BOTTOM_SIGMA = auto()  # W/m2/K4
    BASE_AREA = auto()  # m2
    CONTENTS_AREA = auto()  # m2 that no food covers
    CAPTURED = auto()  # share of the power that enters pan and hob
    BOIL = auto()  # K
    LATENT = auto()  # J/kg
    SPECIFIC_HEAT = auto()  # J/kg/K of water
    STATIC_CAPACITY = auto()  # J/m2/K of what is no water
    FILM_MASS = auto()  # kg/m2 under which a water film breaks; 0: no water alone
    COVER = auto()  # wetted share
    LAYER_G = auto()  # W/m2/K pan to layer
    SURFACE_R = auto()  # m2 K/W layer to its surface
    NUCLEATE = auto()  # W/m2/K3
    CRITICAL = auto()  # W/m2
    VAPOUR = auto()  # m/s mass transfer
    AIR_VAPOUR = auto()  # kg/m3
    MIXING = auto()  # share of a difference that stirring takes in a step
    NUSSELT = auto()  # at 140 C and 1 K
    NUSSELT_T = auto()  # 1/K
    RELEASE = auto()  # 1/K/s of butter's water
    THERMOSTAT = auto()  # K
    HYSTERESIS = auto()  # K
    LAG_KEEP = auto()  # share of the element's lag left after a step
    LAG_MEAN = auto()  # and its mean over the step
    FACE_R = auto()  # m2 K/W from the base's mean to its face, by the flux above
    CROSS_R = auto()  # and by the flux below
    LID_CAP = auto()  # J/K; 0: no lid
    LID_H = auto()  # W/m2/K
    LID_SIGMA = auto()  # W/m2/K4
    LID_CONDENSE = auto()  # W/m2/K
    LID_LEAK = auto()  # share of the vapour
    ROOM = auto()  # K of the air outside a lid
    ROOM4 = auto()  # K4


class Live(TableRow):
    """What is renewed every step."""

    WET = auto()  # wetted share
    BARE = auto()  # 1 - wet
    CAP = auto()  # J/m2/K of the layer
    INV_CAP = auto()
    G = auto()  # W/m2/K pan to layer
    G_OUT = auto()  # the same through the upper part of the base
    R_SURF = auto()  # m2 K/W of the skin
    BOIL_A = auto()  # W/m2/K3
    BOIL_MAX = auto()  # W/m2
    EVAPORATION = auto()  # W/m2
    FREE = auto()  # 0 where boiling holds the temperature, else 1
    POWER = auto()  # W
    LOSS_RATE = auto()  # W
    LID_RATE = auto()  # W into the lid


class State(TableRow):
    """State and sums of a cook."""

    MASS = auto()  # kg of water left
    MEAN_PAN = auto()  # K
    MEAN_LAYER = auto()  # K
    BULK_0 = auto()  # K of the layer at the start
    HEATING = auto()  # 1, or 0 where the thermostat has cut
    LIMITING = auto()  # 1, or 0 where the hob's limiter has cut
    ELEMENT = auto()  # W that the heating element gives
    LID_K = auto()
    LID_HEAT = auto()  # J of condensation not yet in the lid
    LAST_RATE = auto()  # W lost at the step before
    INPUT = auto()  # J, as the next three
    LOST = auto()
    LATENT_OUT = auto()
    VAPOUR_OUT = auto()


class FoodFigure(TableRow):
    """Constants of a food's column: columns of ``FoodNodes.const``."""

    HALF_BELOW = auto()  # m2 K/W of the half node at the face below, wet
    HALF_ABOVE = auto()
    BOIL = auto()  # K
    LATENT = auto()  # J/kg
    SIGMA = auto()  # W/m2/K4
    VAPOUR = auto()  # m/s
    CRUST = auto()  # by how much (of it) a dry node resists more


class FoodAt(TableRow):
    """Where a column of food stands: columns of ``FoodNodes.cell``."""

    RING = auto()
    ANGLE = auto()
    LANE = auto()
    PIECE = auto()


class WallFigure(TableRow):
    """Rows of ``Metal.wall``; the first four are coefficients of 1, T, T^2, T^4 of its loss."""

    LOSS = auto()  # W/m2
    LOSS_T = auto()
    LOSS_T2 = auto()
    LOSS_T4 = auto()
    GRIP = auto()  # W/m2/K to the liquid
    DEPTH = auto()  # m/kg
    HEIGHT = auto()  # m of a ring


class HobFigure(TableRow):
    """Rows of ``HobNodes.fixed``."""

    SERIES = auto()  # m2 K/W
    LOSS = auto()  # W/m2/K
    BELOW = auto()  # K
    LIMIT = auto()  # K
    HYSTERESIS = auto()  # K


class Work(TableRow):
    """Work rows of the exchange of one ring, (row, n_theta, lane)."""

    LOSS = auto()  # W/m2 of the pan, and its slope by the pan's temperature
    D_LOSS = auto()
    INTO = auto()  # W/m2 from pan to layer, likewise
    D_INTO = auto()
    OUT = auto()  # W/m2 from the layer to the air, and its slope by the layer's temperature
    D_OUT = auto()
    WEIGHT = auto()  # s: weight of the new level x step
    INVERSE = auto()  # 1 / (the layer's diagonal)
    SHARE = auto()  # what a resistance in series lets through; then step x stiffness
    RECIPROCAL = auto()
    FACE = auto()  # K of the base's upper face


class Turn(TableRow):
    """Work rows of the sweep around the rings, (row, n_theta + 1, column)."""

    SOLUTION = auto()
    RING = auto()  # factor of the next cell
    CLOSING = auto()  # solution for the closing column
    DIAGONAL = auto()  # its last row is the conductance around
    SPARE = auto()


class BaseCells(NamedTuple):
    """Fields of the base and its layer (n_r, n_theta, lane); the last three (n_r, lane)."""

    pan: FloatArray  # K
    layer: FloatArray  # K
    shape: FloatArray  # 1/m2, heat per watt
    open_frac: FloatArray  # 1 where no food lies, else 0
    capacity: FloatArray  # J/m2/K
    inv_capacity: FloatArray
    bottom: FloatArray  # W/m2/K to what lies below


class FoodNodes(NamedTuple):
    """Cells under food, each with a column of nodes; node 0 touches the pan.

    ``cell`` (n, FoodAt); ``column`` and ``water`` (n, node),
    where column[:, 0] is only a copy of the layer array; ``wet`` (n, node) the water
    of a node that has lost none; ``cap`` and ``up`` (n, node) heat capacity and
    conductance to the node above, ``moist`` the latter as long as all is wet;
    ``shift`` and ``gain`` (n, node) the eliminated increments; ``rate`` (n) what
    conduction brings; ``face`` (n) the temperature of the top face.
    """

    cell: IntArray
    column: FloatArray
    water: FloatArray
    wet: FloatArray
    cap: FloatArray
    up: FloatArray
    moist: FloatArray
    const: FloatArray
    shift: FloatArray
    gain: FloatArray
    rate: FloatArray
    face: FloatArray


class Metal(NamedTuple):
    """What conducts: the base's rings and, behind them, those of the wall.

    ``k`` (ring, n_theta, lane) temperatures, of which ``BaseCells.pan`` is the first
    part; ``inward``, ``outward``, ``around`` (ring, lane) conductances per cell
    area; for the wall's rings alone (ring, lane) ``area`` of a cell, areal
    ``capacity``, ``heat`` per watt into the pan and area, ``grip`` of the liquid;
    ``wall`` (WallFigure, lane).
    """

    k: FloatArray
    inward: FloatArray
    outward: FloatArray
    around: FloatArray
    area: FloatArray
    capacity: FloatArray
    heat: FloatArray
    grip: FloatArray
    wall: FloatArray


class HobNodes(NamedTuple):
    """Nodes under the base's cells, (n_r, n_theta, lane), none without a hob.

    ``k`` temperatures, ``cap`` areal capacities, ``shape`` where heat enters them;
    ``phi`` (3, n_r, n_theta, lane) coefficients of T, T^2, T^4 of the exchange; ``by_hob`` and
    ``by_pan`` its slopes; ``shift`` and ``gain`` the eliminated increments.
    """

    k: FloatArray
    cap: FloatArray
    shape: FloatArray
    phi: FloatArray
    fixed: FloatArray
    by_hob: FloatArray
    by_pan: FloatArray
    shift: FloatArray
    gain: FloatArray


class PanScratch(NamedTuple):
    """Work arrays of the sweeps.

    ``from_hob`` is the flux from the hob, ``up`` that into food, where any lies.
    ``halo`` (n_theta + 2, lane) is a ring with its neighbours across the seam,
    ``turn`` (Turn, n_theta + 1, column) and ``row`` (Work, n_theta, lane) what sweep and
    exchange need, ``poly`` and ``layer_poly`` (4, lane) coefficients of 1, T, T^2, T^4, and
    ``total`` (2, n_theta, lane) sums over the rings.
    """

    diag: FloatArray
    delta: FloatArray
    shift: FloatArray
    gain: FloatArray
    from_hob: FloatArray
    up: FloatArray
    upper: FloatArray
    halo: FloatArray
    turn: FloatArray
    total: FloatArray
    row: FloatArray
    poly: FloatArray
    layer_poly: FloatArray
    lane: FloatArray
    booked: FloatArray


class Core(NamedTuple):
    """A block of cooks: geometry, fields and tables of per-cook figures.

    Seen wide (``seen_wide``) the same fields are (n_r, n_theta / g, g x lane) and the
    tables repeat g times, so that few cooks fill the vector units as many do.
    """

    grid: DiscGrid
    cells: BaseCells
    food: FoodNodes
    metal: Metal
    hob: HobNodes
    fixed: FloatArray  # (Fixed, lane)
    live: FloatArray  # (Live, lane)
    cook: FloatArray  # (State, lane)
    scratch: PanScratch


class CellRow(NamedTuple):
    """One row of lanes of the fields that elimination touches."""

    shift: FloatArray
    gain: FloatArray
    diag: FloatArray
    delta: FloatArray
    capacity: FloatArray
    shape: FloatArray


@compiled
def spread_row(wide: FloatArray, narrow: FloatArray) -> None:
    """Repeat a row of a table."""
    lanes = narrow.size
    for k in range(wide.size // lanes):
        for c in range(lanes):
            wide[k * lanes + c] = narrow[c]


@compiled
def spread(wide: Core, fixed: FloatArray, live: FloatArray, cook: FloatArray) -> None:
    """Renew the wide tables' rows that change from step to step."""
    for row in range(live.shape[0]):
        spread_row(wide.live[row], live[row])
    for row in (Fixed.AMBIENT, Fixed.SURROUND4):  # a lid takes the place of the room
        spread_row(wide.fixed[row], fixed[row])
    for row in (State.MASS, State.MEAN_LAYER):
        spread_row(wide.cook[row], cook[row])


@compiled
def fold(out: FloatArray, total: FloatArray) -> None:
    """Add up sums over the rings, angle by angle: the order is the same for any width."""
    for j in range(total.shape[0]):
        for c in range(total.shape[1]):
            out[c] += total[j, c]


LANES = 32  # cooks a block: longer rows for the vector units, fields still near the cache


@dataclass(frozen=True)
class Block:
    """One block of cooks of a batch, from ``first`` on."""

    shape: FloatArray
    power: FloatArray
    pan: PanBase
    losses: Losses
    layer: Layer
    food: FoodPatch | None
    lid: Lid | None
    settings: RunSettings
    first: int

    @property
    def cooks(self) -> slice:
        """Return which cooks of the batch these are."""
        return slice(self.first, self.first + LANES)

    def pick(self, value: ArrayLike) -> FloatArray:
        """Return a per-cook figure of this block."""
        full = np.broadcast_to(np.asarray(value, dtype=np.float64), (self.shape.shape[2],))
        return np.array(full[self.cooks])

    def field(self, value: ArrayLike) -> FloatArray:
        """Return a per-cell field of this block."""
        full = np.broadcast_to(np.asarray(value, dtype=np.float64), self.shape.shape)
        return np.array(full[..., self.cooks])
