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
from numpy.typing import NDArray

from trivet.errors import InputError

FloatArray = NDArray[np.float64]
F = TypeVar("F")

STEFAN_BOLTZMANN = 5.670374419e-8  # W/m2/K4, CODATA 2018
TINY_CAPACITY = 1e-9  # J/m2/K, keeps a dry layer solvable

# Rows of the per-cook constants ``fixed``.
(
    AMBIENT, SURROUND4, TOP, TOP_SLOPE, TOP_SIGMA, LAYER_SIGMA, BELOW, BELOW4, BOTTOM_SIGMA,
    SHEET, BASE_AREA, BOIL, LATENT, SPECIFIC_HEAT, FILM_MASS, COVER, LAYER_G, SURFACE_R,
    NUCLEATE, CRITICAL, VAPOUR, AIR_VAPOUR, MIXING, STATIC_CAPACITY, NUSSELT, NUSSELT_T,
    THERMOSTAT, HYSTERESIS, CONTENTS_AREA, CAPTURED, N_FIXED,
) = range(31)  # fmt: skip
# Rows of ``live``, renewed every step.
(
    WET, BARE, CAP, INV_CAP, G, R_SURF, BOIL_A, BOIL_MAX, EVAPORATION, POWER, LOSS_RATE, N_LIVE,
) = range(12)  # fmt: skip
# Rows of ``cook``: state and ledger of each cook.
(
    MASS, MEAN_PAN, MEAN_LAYER, HEATING, INPUT, LOST, LATENT_OUT, VAPOUR_OUT, LAST_RATE, BULK_0,
    N_COOK,
) = range(11)  # fmt: skip
# Columns of the food cells' constants.
(
    F_CONTACT_CAP, F_BODY_CAP, F_INNER_G, F_BOIL, F_LATENT, F_SIGMA, N_FOOD,
) = range(7)  # fmt: skip


class Grid(NamedTuple):
    """Polar grid of the unit disc: conduction weights and cell areas of each ring."""

    inward: FloatArray
    outward: FloatArray
    around: FloatArray
    area: FloatArray


class Cells(NamedTuple):
    """Per-cell fields of a block, all (n_r, n_theta, lane) but the two ring arrays."""

    pan: FloatArray
    layer: FloatArray
    shape: FloatArray
    open_frac: FloatArray
    capacity: FloatArray
    bottom: FloatArray


class Food(NamedTuple):
    """Cells under food: index (n, 3), body temperature, water left, constants."""

    cell: NDArray[np.int64]
    body: FloatArray
    water: FloatArray
    const: FloatArray
    rate: FloatArray


class Scratch(NamedTuple):
    """Work arrays of the sweeps."""

    diag: FloatArray
    delta: FloatArray
    shift: FloatArray
    gain: FloatArray
    upper: FloatArray
    ring: FloatArray
    ring_q: FloatArray
    row: FloatArray
    poly: FloatArray
    layer_poly: FloatArray
    booked: FloatArray


class Core(NamedTuple):
    """A block of cooks: geometry, fields and tables of per-cook figures."""

    grid: Grid
    cells: Cells
    food: Food
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
    sources = sorted(Path(__file__).parent.glob("thermal_*.py"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()


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

    References
    ----------
    None.
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
