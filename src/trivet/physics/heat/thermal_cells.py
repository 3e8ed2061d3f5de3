"""Tables and field groups shared by the compiled parts of the pan simulator.

Arrays are (n_r, n_theta, lane): the lanes are cooks, innermost, so that the
vector units of the processor work on several cooks at once.  What a cook needs
as scalars lies in small tables whose rows the names below number.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.errors import InputError

F = TypeVar("F")

STEFAN_BOLTZMANN = 5.670374419e-8  # W/m2/K4, CODATA 2018
TINY_CAPACITY = 1e-9  # J/m2/K, keeps a dry layer solvable

# Rows of the per-cook constants ``fixed``.
(
    AMBIENT, SURROUND4, TOP, TOP_SLOPE, TOP_SIGMA, LAYER_SIGMA, BELOW, BELOW4, BOTTOM_SIGMA,
    SHEET, BASE_AREA, BOIL, LATENT, SPECIFIC_HEAT, FILM_MASS, COVER, LAYER_G, SURFACE_R,
    NUCLEATE, CRITICAL, VAPOUR, AIR_VAPOUR, MIXING, STATIC_CAPACITY, NUSSELT, NUSSELT_T,
    THERMOSTAT, HYSTERESIS, CONTENTS_AREA, CAPTURED, RELEASE, LID_CAP, LID_H, LID_SIGMA,
    LID_CONDENSE, LID_LEAK, ROOM, ROOM4, FACE_R, CROSS_R, LAG_KEEP, LAG_MEAN, N_FIXED,
) = range(43)  # fmt: skip
# Rows of ``live``, renewed every step.
(
    WET, BARE, CAP, INV_CAP, G, R_SURF, BOIL_A, BOIL_MAX, EVAPORATION, POWER, LOSS_RATE, LID_RATE,
    G_OUT, FREE, N_LIVE,
) = range(15)  # fmt: skip
# Rows of ``cook``: state and ledger of each cook.
(
    MASS, MEAN_PAN, MEAN_LAYER, HEATING, INPUT, LOST, LATENT_OUT, VAPOUR_OUT, LAST_RATE, BULK_0,
    LID_K, LID_HEAT, LIMITING, ELEMENT, N_COOK,
) = range(15)  # fmt: skip
# Columns of the food cells' constants.
(
    F_HALF_BELOW, F_HALF_ABOVE, F_BOIL, F_LATENT, F_SIGMA, F_VAPOUR, F_CRUST, N_FOOD,
) = range(8)  # fmt: skip
# Rows of ``wall`` (the first four: coefficients of 1, T, T^2, T^4 of its loss) and of the hob's
# ``fixed``.
W_GRIP, W_DEPTH, W_HEIGHT, N_WALL = 4, 5, 6, 7
H_SERIES, H_LOSS, H_BELOW, H_LIMIT, H_HYSTERESIS, N_HOB = range(6)


class Grid(NamedTuple):
    """Polar grid of the unit disc: conduction weights and cell areas of each ring."""

    inward: FloatArray
    outward: FloatArray
    around: FloatArray
    area: FloatArray


class Cells(NamedTuple):
    """Per-cell fields of a block, all (n_r, n_theta, lane) but the three ring arrays."""

    pan: FloatArray
    layer: FloatArray
    shape: FloatArray
    open_frac: FloatArray
    capacity: FloatArray
    inv_capacity: FloatArray
    bottom: FloatArray


class Food(NamedTuple):
    """Cells under food, each with a column of nodes; node 0 touches the pan.

    ``cell`` (n, 4) is ring, angle, lane and piece; ``column`` and ``water`` (n, node),
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

    ``k`` (ring, n_theta, lane) temperatures, of which ``Cells.pan`` is the first
    part; ``inward``, ``outward``, ``around`` (ring, lane) conductances per cell
    area; for the wall's rings alone (ring, lane) ``area`` of a cell, areal
    ``capacity``, ``heat`` per watt into the pan and area, ``grip`` of the liquid;
    ``wall`` (N_WALL, lane).
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


class Hob(NamedTuple):
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


class Scratch(NamedTuple):
    """Work arrays of the sweeps.

    ``from_hob`` is the flux from the hob, ``up`` that into food, where any lies.
    ``halo`` (n_theta + 2, lane) is a ring with its neighbours across the seam,
    ``turn`` (5, n_theta + 1, column) what the sweep around several rings needs, and
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

    Seen wide (``thermal_wide``) the same fields are (n_r, n_theta / g, g x lane) and the
    tables repeat g times, so that few cooks fill the vector units as many do.
    """

    grid: Grid
    cells: Cells
    food: Food
    metal: Metal
    hob: Hob
    fixed: FloatArray
    live: FloatArray
    cook: FloatArray
    scratch: Scratch


class Cell(NamedTuple):
    """One row of lanes of the fields that elimination touches."""

    shift: FloatArray
    gain: FloatArray
    diag: FloatArray
    delta: FloatArray
    capacity: FloatArray
    shape: FloatArray


def _family_stamp() -> str:
    """Return a hash of the sources that are compiled into one another."""
    texts = (path.read_bytes() for path in sorted(Path(__file__).parent.glob("thermal_*.py")))
    compiled_ones = (text for text in texts if b"\n@compiled\n" in text or b"_stamp" in text)
    return hashlib.sha256(b"".join(compiled_ones)).hexdigest()


_STAMP = _family_stamp()


def compiled(function: F) -> F:
    """Compile without the interpreter lock; division by zero gives inf, checked later.

    The compiler's disk cache looks at a function's own file only, so a change in
    one file of this family would leave stale code in its callers: the stamp of
    a cached function is therefore that of the whole family.

    Parameters
    ----------
    function : callable
        Written in the compilable subset.

    Returns
    -------
    callable
        The same, compiled at first use.

    Notes
    -----
    Fused multiply-add is allowed: it changes last bits between processor
    families, never between runs on one.
    """
    options: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}
    # a fused multiply-add changes the last bit only
    dispatcher: Any = numba.njit(**options, fastmath={"contract"})(cast(Any, function))
    cache_file: Any = getattr(dispatcher._cache, "_cache_file", None)
    if not hasattr(cache_file, "_source_stamp"):  # another compiler version: rather slow than stale
        options["cache"] = False
        return cast(F, numba.njit(**options, fastmath={"contract"})(cast(Any, function)))
    cache_file._source_stamp = _STAMP
    return cast(F, dispatcher)


def unit_grid(n_r: int, n_theta: int) -> Grid:
    """Return the polar grid of the unit disc whose rim is a grid line.

    Parameters
    ----------
    n_r, n_theta : int
        Rings and cells a ring, at least 3 each.

    Returns
    -------
    Grid
        Areas as shares of the disc [-]; the conduction weights multiply k d / R^2.

    Raises
    ------
    InputError
        For fewer cells.

    Notes
    -----
    Second order: an error of 0.03 K rms at 24 x 32 becomes 0.14 K at 12 x 16.

    References
    ----------
    Standard finite volumes; the face at r = 0 has no length and carries nothing.
    """
    if n_r < 3 or n_theta < 3:
        raise InputError(f"a polar grid needs at least 3 x 3 cells, got {n_r} x {n_theta}")
    dr, dt = 1.0 / n_r, 2.0 * np.pi / n_theta
    edge = np.arange(n_r + 1) * dr
    mid = 0.5 * (edge[1:] + edge[:-1])
    inward, outward = edge[:-1] / (mid * dr**2), edge[1:] / (mid * dr**2)
    outward[-1] = 0.0
    return Grid(inward, outward, 1.0 / (mid * dt) ** 2, mid * dr * dt / np.pi)
