"""Compiled core of the pan simulator: one step of a block of cooks.

Arrays are (n_r, n_theta, lane): the lanes are cooks, innermost, so that the
vector units of the processor work on several cooks at once.  Conduction is
split by direction in delta form with the diagonal D kept in both factors,

    (D - s Lr) D^-1 (D - s Lt) delta = dt * rates(T),

which conserves energy exactly (each L has zero area-weighted column sums) and
is second order in time for s = dt/2.  The layer on the pan (water, oil, food)
is eliminated cell by cell before the sweeps, so thin films do not limit the step.
"""

from __future__ import annotations

from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_F = TypeVar("_F")

# Weight of the new time level in conduction: a little above 1/2 so that the
# stiff modes near the centre die out instead of ringing.
IMPLICIT_WEIGHT = 0.52
STEFAN_BOLTZMANN = 5.670374419e-8  # W/m2/K4, CODATA 2018
_TINY = 1e-9

# Rows of the per-cook constants ``fixed``.
(
    AMBIENT, SURROUND4, TOP, TOP_SLOPE, TOP_SIGMA, LAYER_SIGMA, BELOW, BELOW4, BOTTOM_SIGMA,
    SHEET, BASE_AREA, BOIL, LATENT, SPECIFIC_HEAT, FILM_MASS, COVER, LAYER_G, SURFACE_R,
    NUCLEATE, CRITICAL, VAPOUR, AIR_VAPOUR, MIXING, STATIC_CAPACITY, NUSSELT, NUSSELT_T,
    THERMOSTAT, HYSTERESIS, N_FIXED,
) = range(29)  # fmt: skip
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


class Scratch(NamedTuple):
    """Work arrays of the sweeps."""

    diag: FloatArray
    delta: FloatArray
    shift: FloatArray
    gain: FloatArray
    upper: FloatArray
    ring: FloatArray
    ring_q: FloatArray
    lane: FloatArray


def _compiled(function: _F) -> _F:
    """Compile without the interpreter lock; division by zero gives inf, checked later."""
    options: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}
    return cast(_F, numba.njit(**options)(function))


@_compiled
def _renew(
    fixed: FloatArray, live: FloatArray, cook: FloatArray, power_w: FloatArray, step_s: float
) -> None:
    """Set the quantities of each cook that hold during one step."""
    for c in range(fixed.shape[1]):
        areal = cook[MASS, c] / fixed[BASE_AREA, c]
        wet = fixed[COVER, c]
        cap = fixed[STATIC_CAPACITY, c]
        if fixed[FILM_MASS, c] > 0.0:  # water: the film breaks up before it is gone
            wet = min(1.0, areal / fixed[FILM_MASS, c])
            cap = areal * fixed[SPECIFIC_HEAT, c]
        step = cook[MEAN_PAN, c] - cook[MEAN_LAYER, c]
        warm = cook[MEAN_LAYER, c] - 293.15
        nusselt = 1.0
        if fixed[NUSSELT, c] > 0.0 and step > 0.0:
            # the node sits half-way up, so the whole drop is about twice the step
            nusselt = max(
                1.0, fixed[NUSSELT, c] * np.exp(fixed[NUSSELT_T, c] * warm) * (2.0 * step) ** (1 / 3)
            )
        live[WET, c] = wet
        live[BARE, c] = 1.0 - wet
        live[CAP, c] = cap + _TINY
        live[INV_CAP, c] = 1.0 / (cap + _TINY)
        live[G, c] = wet * fixed[LAYER_G, c] * nusselt
        live[R_SURF, c] = fixed[SURFACE_R, c] / nusselt
        live[BOIL_A, c] = wet * fixed[NUCLEATE, c]
        live[BOIL_MAX, c] = wet * fixed[CRITICAL, c]
        live[EVAPORATION, c] = _evaporation(fixed, cook, c) if wet > 0.0 else 0.0
        if cook[MEAN_PAN, c] > fixed[THERMOSTAT, c]:
            cook[HEATING, c] = 0.0
        elif cook[MEAN_PAN, c] < fixed[THERMOSTAT, c] - fixed[HYSTERESIS, c]:
            cook[HEATING, c] = 1.0
        live[POWER, c] = power_w[c] * cook[HEATING, c]
        cook[INPUT, c] += live[POWER, c] * step_s


@_compiled
def _evaporation(fixed: FloatArray, cook: FloatArray, c: int) -> float:
    """Return the evaporative heat flux below boiling from the liquid's mean temperature."""
    if fixed[VAPOUR, c] <= 0.0:
        return 0.0
    t_c = cook[MEAN_LAYER, c] - 273.15
    # Magnus form of the saturation pressure (WMO-No. 8, annex 4.B), within 1 % up to 100 C
    pressure = 611.2 * np.exp(17.62 * t_c / (243.12 + t_c))
    density = pressure / (461.5 * cook[MEAN_LAYER, c])
    return float(max(0.0, fixed[VAPOUR, c] * (density - fixed[AIR_VAPOUR, c]) * fixed[LATENT, c]))


@_compiled
def _conduct(grid: Grid, cells: Cells, fixed: FloatArray, scratch: Scratch, step_s: float) -> None:
    """Put dt * L(T) into ``delta``."""
    pan, delta = cells.pan, scratch.delta
    n_r, n_t, lanes = pan.shape
    for i in range(n_r):
        a, b, e = grid.inward[i], grid.outward[i], grid.around[i]
        below, above = max(i - 1, 0), min(i + 1, n_r - 1)
        for j in range(n_t):
            left = j - 1 if j > 0 else n_t - 1
            right = j + 1 if j < n_t - 1 else 0
            for c in range(lanes):
                t = pan[i, j, c]
                flow = a * (pan[below, j, c] - t) + b * (pan[above, j, c] - t)
                flow += e * (pan[i, left, c] + pan[i, right, c] - 2.0 * t)
                delta[i, j, c] = step_s * fixed[SHEET, c] * flow


@_compiled
def _exchange(
    grid: Grid,
    cells: Cells,
    fixed: FloatArray,
    live: FloatArray,
    scratch: Scratch,
    step_s: float,
) -> None:
    """Add losses, heating and the eliminated layer to right side and diagonal."""
    pan, layer = cells.pan, cells.layer
    n_r, n_t, lanes = pan.shape
    live[LOSS_RATE, :] = 0.0
    for i in range(n_r):
        for j in range(n_t):
            for c in range(lanes):
                tp, tl = pan[i, j, c], layer[i, j, c]
                # pan to air above (where bare) and to what lies below
                da, db = tp - fixed[AMBIENT, c], tp - fixed[BELOW, c]
                t3 = tp * tp * tp
                slope = fixed[TOP_SLOPE, c] * abs(da)
                top = da * (fixed[TOP, c] + slope) + fixed[TOP_SIGMA, c] * (
                    t3 * tp - fixed[SURROUND4, c]
                )
                d_top = fixed[TOP, c] + 2.0 * slope + 4.0 * fixed[TOP_SIGMA, c] * t3
                bottom = db * cells.bottom[i, c] + fixed[BOTTOM_SIGMA, c] * (
                    t3 * tp - fixed[BELOW4, c]
                )
                loss = live[BARE, c] * top + bottom
                d_loss = (
                    live[BARE, c] * d_top
                    + cells.bottom[i, c]
                    + 4.0 * fixed[BOTTOM_SIGMA, c] * t3
                )
                # pan to layer: conduction or stirring, and nucleate boiling
                over = max(tp - fixed[BOIL, c], 0.0)
                boil = live[BOIL_A, c] * over * over * over
                d_boil = 3.0 * live[BOIL_A, c] * over * over
                if boil > live[BOIL_MAX, c]:
                    boil, d_boil = live[BOIL_MAX, c], 0.0
                g = live[G, c]
                into = g * (tp - tl) + boil
                d_into = g + d_boil
                # layer to air
                dl = tl - fixed[AMBIENT, c]
                l3 = tl * tl * tl
                slope = fixed[TOP_SLOPE, c] * abs(dl)
                out = dl * (fixed[TOP, c] + slope) + fixed[LAYER_SIGMA, c] * (
                    l3 * tl - fixed[SURROUND4, c]
                )
                d_out = fixed[TOP, c] + 2.0 * slope + 4.0 * fixed[LAYER_SIGMA, c] * l3
                share = live[WET, c] / (1.0 + live[R_SURF, c] * d_out)
                out *= share
                d_out *= share
                # the weight of the new level tends to 1 where the cell is stiff
                z = step_s * max(
                    (g + d_out) * live[INV_CAP, c], (d_loss + d_into) / cells.capacity[i, c]
                )
                w = step_s * (3.0 + z) / (6.0 + z)
                inv = 1.0 / (live[CAP, c] + w * (g + d_out))
                shift = step_s * (into - out - live[WET, c] * live[EVAPORATION, c]) * inv
                gain = w * d_into * inv
                heat = live[POWER, c] * cells.shape[i, j, c]
                scratch.shift[i, j, c] = shift
                scratch.gain[i, j, c] = gain
                scratch.diag[i, j, c] = cells.capacity[i, c] + w * (d_loss + d_into - g * gain)
                scratch.delta[i, j, c] += step_s * (heat - loss - into) + w * g * shift
                live[LOSS_RATE, c] += grid.area[i] * fixed[BASE_AREA, c] * (
                    loss + cells.open_frac[i, j, c] * out
                )


@_compiled
def _exchange_food(
    grid: Grid,
    cells: Cells,
    food: Food,
    fixed: FloatArray,
    live: FloatArray,
    scratch: Scratch,
    contact: FloatArray,
    step_s: float,
) -> None:
    """Replace the layer by food in the covered cells; the body is explicit."""
    for n in range(food.cell.shape[0]):
        i, j, c = food.cell[n, 0], food.cell[n, 1], food.cell[n, 2]
        tp, tf, body = cells.pan[i, j, c], cells.layer[i, j, c], food.body[n]
        const = food.const[n]
        db = tp - fixed[BELOW, c]
        t3 = tp * tp * tp
        loss = db * cells.bottom[i, c] + fixed[BOTTOM_SIGMA, c] * (t3 * tp - fixed[BELOW4, c])
        d_loss = cells.bottom[i, c] + 4.0 * fixed[BOTTOM_SIGMA, c] * t3
        g, inner = contact[c], const[F_INNER_G]
        into, up = g * (tp - tf), inner * (tf - body)
        cap = const[F_CONTACT_CAP]
        z = step_s * max((g + inner) / cap, (d_loss + g) / cells.capacity[i, c])
        w = step_s * (3.0 + z) / (6.0 + z)
        inv = 1.0 / (cap + w * (g + inner))
        # take back what _exchange added for the layer that is not there
        heat = live[POWER, c] * cells.shape[i, j, c]
        scratch.shift[i, j, c] = step_s * (into - up) * inv
        scratch.gain[i, j, c] = w * g * inv
        scratch.diag[i, j, c] = cells.capacity[i, c] + w * (d_loss + g - g * w * g * inv)
        scratch.delta[i, j, c] = (
            scratch.ring_q[0, 0] * 0.0
            + scratch.lane[n, 0]
            + step_s * (heat - loss - into)
            + w * g * scratch.shift[i, j, c]
        )
