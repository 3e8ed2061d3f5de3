"""Food on a pan: its heat properties, its columns of nodes, and how well it touches the pan.

Each covered cell has a column of its own: the cells under a steak differ by tens
of kelvin, and what the steak takes from each decides the pan's pattern.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray, IntArray
from trivet.constants import ZERO_C_K
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat.loads import EVAPORATION_M_S, WATER_LATENT_J_KG

# Rows: water, protein, fat, carbohydrate, ash; columns: powers of the temperature in C.
_CONDUCTIVITY_W_MK = np.array(
    [
        (5.7109e-1, 1.7625e-3, -6.7036e-6),
        (1.7881e-1, 1.1958e-3, -2.7178e-6),
        (1.8071e-1, -2.7604e-4, -1.7749e-7),
        (2.0141e-1, 1.3874e-3, -4.3312e-6),
        (3.2962e-1, 1.4011e-3, -2.9069e-6),
    ]
)
_DENSITY_KG_M3 = np.array(
    [
        (9.9718e2, 3.1439e-3, -3.7574e-3),
        (1.3299e3, -5.1840e-1, 0.0),
        (9.2559e2, -4.1757e-1, 0.0),
        (1.5991e3, -3.1046e-1, 0.0),
        (2.4238e3, -2.8063e-1, 0.0),
    ]
)
_SPECIFIC_HEAT_J_KGK = np.array(
    [
        (4176.2, -9.0864e-2, 5.4731e-3),
        (2008.2, 1.2089, -1.3129e-3),
        (1984.2, 1.4733, -4.8008e-3),
        (1548.8, 1.9625, -5.9399e-3),
        (1092.6, 1.8896, -3.6817e-3),
    ]
)


@dataclass(frozen=True)
class FoodProperties:
    """Density [kg/m3], specific heat [J/kg/K] and conductivity [W/m/K] of a food."""

    density_kg_m3: float
    specific_heat_j_kgk: float
    conductivity_w_mk: float


def food_properties(
    composition: tuple[float, float, float, float, float],
    *,
    temperature_k: float = 313.15,
    porosity_frac: float = 0.0,
) -> FoodProperties:
    """Return the heat properties of a food.

    composition : mass shares of water, protein, fat, carbohydrate and ash; scaled to a sum of 1
    temperature_k : temperature, 273.15 to 423.15 [K]
    porosity_frac : share of air in the volume, 0 to below 1: it lowers density and conductivity [-]
    Returns : FoodProperties: properties of the mixture
    OutOfRangeError: if a share is negative, all are zero, or temperature or porosity out of range.

    Within 1 % of the printed formulae; as truth 10 %: the conductivity is the parallel mean, an
    upper bound, and lean beef across the grain has 0.41 to 0.47 where it gives 0.53. From 5 to 60 C
    lean beef's diffusivity rises by 14 %: one temperature (40 C) stands for a whole cook. Ten per
    cent of conductivity move the core of a 25 mm steak by 3 K after ten minutes.

    Source: Choi and Okos 1986, component formulae as in the ASHRAE Handbook Refrigeration, Thermal
    Properties of Foods; coefficients from memory, checked against computed rows.
    """
    shares = np.asarray(composition, dtype=np.float64)
    if shares.shape != (5,) or np.any(shares < 0.0) or not shares.sum() > 0.0:
        raise OutOfRangeError(f"composition is {composition}; wanted five shares of 0 or more")
    t = temperature_k - ZERO_C_K
    if not 0.0 <= t <= 150.0 or not 0.0 <= porosity_frac < 1.0:
        raise OutOfRangeError(
            f"food at {temperature_k} K, porosity {porosity_frac}; allowed: 273.15 to 423.15 K, "
            "0 to below 1"
        )
    shares = shares / shares.sum()
    powers = np.array([1.0, t, t * t])
    part_m3_kg = shares / (_DENSITY_KG_M3 @ powers)
    volume = part_m3_kg / part_m3_kg.sum()
    solid = 1.0 - porosity_frac
    return FoodProperties(
        density_kg_m3=float(solid / part_m3_kg.sum()),
        specific_heat_j_kgk=float(shares @ (_SPECIFIC_HEAT_J_KGK @ powers)),
        conductivity_w_mk=float(solid * (volume @ (_CONDUCTIVITY_W_MK @ powers))),
    )


FOOD_NODES = 14
"""Thin at both faces, so that turning a food needs no new grid."""
DRY_CONDUCTIVITY_W_MK = 0.15
"""Of a crust; 0.1 to 0.2, from memory."""
GROWTH, THICKEST = 1.7, 8.0
"""Nodes grow from each face up to this many times the first, and are even in between."""


@dataclass(frozen=True)
class FoodColumn:
    """One food as nodes from the pan upwards; symmetric about its middle.

    ``areal_j_m2k`` and ``water_kg_m2`` (node,) heat capacity and water at the start,
    ``between_w_m2k`` (node - 1,) conductances, ``half_m2k_w`` the resistance of the
    half node at each face, ``crust`` by how much more (of it) a dry node resists.
    """

    areal_j_m2k: FloatArray
    between_w_m2k: FloatArray
    water_kg_m2: FloatArray
    half_m2k_w: float
    crust: float
    middle_m: FloatArray = field(repr=False)
    """(node,) height of the nodes' middles. [m]"""


@dataclass(frozen=True)
class FoodPatch:
    """Food on the pans of a batch.

    ``piece`` is (r, theta, cook): which piece of food covers the cell, -1 for none;
    ``contact_w_m2k`` (step, piece, cook). The fields of the columns are
    (node, r, theta, cook) or broadcast to it (``between_w_m2k`` has one node less),
    so that a run can go on from the state of the one before.
    """

    piece: IntArray
    contact_w_m2k: FloatArray
    column_k: ArrayLike
    water_kg_m2: ArrayLike
    areal_j_m2k: ArrayLike
    between_w_m2k: ArrayLike
    half_m2k_w: ArrayLike
    """(r, theta, cook) or broadcast to it."""
    wet_kg_m2: ArrayLike | None = None
    """Water before any was lost, as ``water_kg_m2``; left out: that."""
    crust: ArrayLike = 0.0
    """(r, theta, cook) or broadcast to it; 0: what has dried conducts as before."""
    boil_k: float = 373.12
    latent_j_kg: float = WATER_LATENT_J_KG
    emissivity: float = 0.95
    evaporation_m_s: float = EVAPORATION_M_S


def food_column(
    thickness_m: float,
    *,
    density_kg_m3: float,
    specific_heat_j_kgk: float,
    conductivity_w_mk: float,
    water_frac: float,
    nodes: int = FOOD_NODES,
) -> FoodColumn:
    """Return a food as a column of nodes.

    thickness_m : height of the food [m]
    density_kg_m3, specific_heat_j_kgk, conductivity_w_mk : of the food [kg/m3], [J/kg/K], [W/m/K]
    water_frac : share of water in its mass, 0 to 1 [-]
    nodes : how many, 6 or more
    Returns : FoodColumn: nodes that grow by 1.7 from both faces, up to eight times the first
    InputError: if a figure is not physical or there are fewer than 6 nodes.

    14 nodes of a 25 mm steak: 0.36 mm at the faces, 2.9 mm in the middle. Against a slab with both
    faces stepped from 5 to 100 C the middle is within 1 % of the step from 60 s on
    (docs/simulator.md). Growth all the way to the middle is worse, however many the nodes: the
    thick ones there diffuse too slowly. The node of a face dries out before it passes the boiling
    point: a crust is resolved to that node, and conducts 0.15 W/m/K. Shrinkage and dripping juice
    are left out.

    Source: Finite volumes; Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 3.4, for the
    check.
    """
    values = {
        "thickness_m": thickness_m,
        "density_kg_m3": density_kg_m3,
        "specific_heat_j_kgk": specific_heat_j_kgk,
        "conductivity_w_mk": conductivity_w_mk,
    }
    for name, value in values.items():
        if not (np.isfinite(value) and value > 0.0):
            raise InputError(f"food {name} is {value}; allowed: above 0")
    if not 0.0 <= water_frac <= 1.0 or nodes < 6:
        raise InputError(f"food water_frac {water_frac}, {nodes} nodes; allowed: 0 to 1, 6 or more")
    size = _node_size(nodes)
    size *= thickness_m / size.sum()
    middle = np.cumsum(size) - 0.5 * size
    return FoodColumn(
        areal_j_m2k=density_kg_m3 * specific_heat_j_kgk * size,
        between_w_m2k=conductivity_w_mk / np.diff(middle),
        water_kg_m2=density_kg_m3 * water_frac * size,
        half_m2k_w=float(0.5 * size[0] / conductivity_w_mk),
        crust=max(conductivity_w_mk / DRY_CONDUCTIVITY_W_MK - 1.0, 0.0),
        middle_m=middle,
    )


def _node_size(nodes: int) -> FloatArray:
    """Return the thickness of the nodes over that of the first."""
    rank = np.minimum(np.arange(nodes), np.arange(nodes)[::-1])
    return np.asarray(np.minimum(GROWTH ** rank.astype(np.float64), THICKEST))


def coldest_k(column_k: ArrayLike) -> FloatArray:
    """Return the coldest temperature of a column, between its nodes.

    column_k : (node, ...) temperatures of the nodes of a column as :func:`food_column` spaces them
        [K]
    Returns : (...) lowest point of the parabola whose means over the coldest node and its
        neighbours are theirs; the node itself where it is the first or the last. NaN where the
        nodes are [K]

    The core of a 25 mm slab stepped by 95 K is within 0.9 K of the series; the coldest node alone
    is warmer, because none lies in the middle.

    Source: Quadratic interpolation.
    """
    column = np.asarray(column_k, dtype=np.float64)
    nodes = column.shape[0]
    size = _node_size(nodes)
    at = np.cumsum(size) - 0.5 * size
    least = column.argmin(axis=0)
    mid = np.clip(least, 1, nodes - 2)
    below, here, above = (
        np.take_along_axis(column, (mid + step)[None], axis=0)[0] for step in (-1, 0, 1)
    )
    # The mean of a parabola over a node exceeds its middle by bend x size^2 / 12.
    swell = size**2 / 12.0
    left, right = at[mid] - at[mid - 1], at[mid + 1] - at[mid]
    lower = left + (swell[mid - 1] - swell[mid]) / left
    upper = right + (swell[mid + 1] - swell[mid]) / right
    down, up = (here - below) / left, (above - here) / right
    bend = (up - down) / (lower + upper)
    slope = (down * upper + up * lower) / (lower + upper)
    curved = (bend > 0.0) & (least == mid)
    sure = np.where(curved, bend, 1.0)
    fall = np.where(curved, slope**2 / (4.0 * sure) + swell[mid] * sure, 0.0)
    return np.asarray(column.min(axis=0) - fall)


def contact_w_m2k(
    time_s: ArrayLike, *, start_w_m2k: float, peak_w_m2k: float, peak_s: float, decay_s: float
) -> FloatArray:
    """Return the contact coefficient between base and food over time.

    time_s : (...,) time since contact; before contact (negative) the coefficient is 0 [s]
    start_w_m2k, peak_w_m2k : at first contact and at its peak; the decay ends at the start value
        [W/m2/K]
    peak_s, decay_s : time of the peak and time constant of the decay after it [s]
    Returns : (...,) contact coefficient [W/m2/K]
    OutOfRangeError: if a time constant is not above 0.

    Patties on plates at 177 to 204 C: 250 to 650 W/m2/K, peaking then decaying.

    Source: "Contact heat transfer coefficient during double-sided cooking" (range only).
    """
    for name, value in (("peak_s", peak_s), ("decay_s", decay_s)):
        if not value > 0.0:
            raise OutOfRangeError(f"{name} is {value}; allowed: above 0 s")
    time = np.asarray(time_s, dtype=np.float64)
    up = np.clip(time / peak_s, 0.0, 1.0)
    down = np.exp(-np.maximum(time - peak_s, 0.0) / decay_s)
    return np.where(time < 0.0, 0.0, start_w_m2k + (peak_w_m2k - start_w_m2k) * up * down)
