"""Compiled exchange of the pan simulator: losses, boiling, the layer on the pan, food.

The layer of a cell is one node between pan and air.  It is eliminated from the
pan's equation before the sweeps, with a weight of the new time level that tends
to 1 where the cell is stiff, so that films and boiling neither ring nor limit
the step.
"""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_base import face_row, resistances, through_base
from trivet.physics.heat.thermal_cells import (
    AIR_VAPOUR,
    AMBIENT,
    BARE,
    BASE_AREA,
    BELOW,
    BELOW4,
    BOIL,
    BOIL_A,
    BOIL_MAX,
    BOTTOM_SIGMA,
    CAP,
    CONTENTS_AREA,
    COVER,
    CRITICAL,
    EVAPORATION,
    FACE_R,
    FILM_MASS,
    FREE,
    G_OUT,
    INV_CAP,
    LATENT,
    LAYER_G,
    LAYER_SIGMA,
    LID_CAP,
    MASS,
    MEAN_LAYER,
    MEAN_PAN,
    NUCLEATE,
    NUSSELT,
    NUSSELT_T,
    POWER,
    R_SURF,
    RELEASE,
    SPECIFIC_HEAT,
    STATIC_CAPACITY,
    SURFACE_R,
    SURROUND4,
    TINY_CAPACITY,
    TOP,
    TOP_SIGMA,
    TOP_SLOPE,
    VAPOUR,
    WET,
    Cell,
    Core,
    G,
    compiled,
)
from trivet.physics.heat.thermal_control import set_heat
from trivet.physics.heat.thermal_lid import put_lid

SKIN_FADES_K = 8.0  # from simmering on; assumed


@compiled
def renew(core: Core, power_w: FloatArray, step_s: float) -> None:
    """Set the quantities of each cook that hold during one step."""
    fixed, live, cook = core.fixed, core.live, core.cook
    for c in range(fixed.shape[1]):
        put_lid(fixed, cook, c)
        areal = cook[MASS, c] / fixed[CONTENTS_AREA, c]
        wet = fixed[COVER, c]
        cap = fixed[STATIC_CAPACITY, c] + areal * fixed[SPECIFIC_HEAT, c]
        if fixed[FILM_MASS, c] > 0.0:  # water: the film breaks up before it is gone
            wet = min(1.0, areal / fixed[FILM_MASS, c])
        step = cook[MEAN_PAN, c] - cook[MEAN_LAYER, c]
        warm = cook[MEAN_LAYER, c] - 413.15  # the viscosity is that of 140 C
        nusselt = 1.0
        if fixed[NUSSELT, c] > 0.0 and step > 0.0:
            # the node sits half-way up, so the whole drop is about twice the step
            nusselt = max(
                1.0,
                fixed[NUSSELT, c] * np.exp(fixed[NUSSELT_T, c] * warm) * (2.0 * step) ** (1 / 3),
            )
        live[WET, c] = wet
        live[BARE, c] = 1.0 - wet
        live[CAP, c] = cap + TINY_CAPACITY
        live[INV_CAP, c] = 1.0 / (cap + TINY_CAPACITY)
        live[G, c] = wet * fixed[LAYER_G, c] * nusselt
        live[R_SURF, c] = fixed[SURFACE_R, c] / nusselt
        if fixed[FILM_MASS, c] > 0.0:  # bubbles stir the skin of boiling water away
            below = fixed[BOIL, c] - cook[MEAN_LAYER, c]
            live[R_SURF, c] *= min(1.0, max(0.05, below / SKIN_FADES_K))
        # water at the boil stays there: its loss does not grow within the step
        boils = fixed[FILM_MASS, c] > 0.0 or (fixed[RELEASE, c] > 0.0 and cook[MASS, c] > 0.0)
        pinned = boils and cook[MEAN_LAYER, c] >= fixed[BOIL, c] - 1e-6
        live[FREE, c] = 0.0 if pinned else 1.0
        live[BOIL_A, c] = wet * fixed[NUCLEATE, c]
        live[BOIL_MAX, c] = wet * fixed[CRITICAL, c]
        live[EVAPORATION, c] = _evaporation(fixed, cook, c) if wet > 0.0 else 0.0
        live[G_OUT, c] = live[G, c] / (1.0 + live[G, c] * fixed[FACE_R, c])
        if step_s > 0.0:
            set_heat(core, power_w, step_s, c)


@compiled
def _evaporation(fixed: FloatArray, cook: FloatArray, c: int) -> float:
    """Return the evaporative heat flux below boiling from the liquid's mean temperature."""
    if fixed[VAPOUR, c] <= 0.0:
        return 0.0
    t_c = cook[MEAN_LAYER, c] - 273.15
    # Magnus form of the saturation pressure (WMO-No. 8, annex 4.B), within 1 % up to 100 C
    pressure = 611.2 * np.exp(17.62 * t_c / (243.12 + t_c))
    density = pressure / (461.5 * cook[MEAN_LAYER, c])
    return float(max(0.0, fixed[VAPOUR, c] * (density - fixed[AIR_VAPOUR, c]) * fixed[LATENT, c]))


@compiled
def quartic(poly: FloatArray, fixed: FloatArray, sigma: FloatArray, share: FloatArray) -> None:
    """Fill the coefficients of 1, T, T^2, T^4 of a share of the loss to the air above."""
    for c in range(poly.shape[1]):
        ambient, slope = fixed[AMBIENT, c], fixed[TOP_SLOPE, c]
        poly[3, c] = share[c] * sigma[c]
        poly[2, c] = share[c] * slope
        poly[1, c] = share[c] * (fixed[TOP, c] - 2.0 * slope * ambient)
        poly[0, c] = share[c] * (
            (slope * ambient - fixed[TOP, c]) * ambient - sigma[c] * fixed[SURROUND4, c]
        )


@compiled
def _add_bottom(poly: FloatArray, fixed: FloatArray, bottom: FloatArray) -> None:
    """Add the loss to what lies below."""
    for c in range(poly.shape[1]):
        poly[3, c] += fixed[BOTTOM_SIGMA, c]
        poly[1, c] += bottom[c]
        poly[0, c] -= bottom[c] * fixed[BELOW, c] + fixed[BOTTOM_SIGMA, c] * fixed[BELOW4, c]


# The loops below write one row each and read few: the compiler only puts such
# loops on the vector units, because it must check every pair for overlap.


@compiled
def value_row(out: FloatArray, t: FloatArray, poly: FloatArray) -> None:
    """Fill the loss of a row."""
    a, b, d, e = poly[0], poly[1], poly[2], poly[3]
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            tt = t[j, c] * t[j, c]
            out[j, c] = a[c] + b[c] * t[j, c] + d[c] * tt + e[c] * tt * tt


@compiled
def slope_row(out: FloatArray, t: FloatArray, poly: FloatArray) -> None:
    """Fill the slope of the loss of a row."""
    b, d, e = poly[1], poly[2], poly[3]
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            tt = t[j, c]
            out[j, c] = b[c] + 2.0 * d[c] * tt + 4.0 * e[c] * tt * tt * tt


@compiled
def _through_skin(row: FloatArray, live: FloatArray) -> None:
    """Take wet share and skin resistance (a Newton step) into the layer's loss and slope."""
    value, slope, share = row[4], row[5], row[8]
    wet, skin, free = live[WET], live[R_SURF], live[FREE]
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            share[j, c] = wet[c] / (1.0 + skin[c] * slope[j, c])
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            value[j, c] *= share[j, c]
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            slope[j, c] *= share[j, c] * free[c]


@compiled
def into_layer(
    out: FloatArray, pan: FloatArray, layer: FloatArray, fixed: FloatArray, live: FloatArray
) -> None:
    """Pan to layer: conduction or stirring, and nucleate boiling up to the critical flux."""
    boil_k, g, a, most = fixed[BOIL], live[G], live[BOIL_A], live[BOIL_MAX]
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            over = 0.5 * (abs(pan[j, c] - boil_k[c]) + pan[j, c] - boil_k[c])
            boil = a[c] * over * over * over
            boil = most[c] if boil > most[c] else boil
            out[j, c] = g[c] * (pan[j, c] - layer[j, c]) + boil


@compiled
def into_slope(out: FloatArray, pan: FloatArray, fixed: FloatArray, live: FloatArray) -> None:
    """Slope of the same by the pan's temperature."""
    boil_k, g, a, most = fixed[BOIL], live[G], live[BOIL_A], live[BOIL_MAX]
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            over = 0.5 * (abs(pan[j, c] - boil_k[c]) + pan[j, c] - boil_k[c])
            steep = a[c] * over * over
            out[j, c] = g[c] + (0.0 if steep * over > most[c] else 3.0 * steep)


@compiled
def _weight(row: FloatArray, live: FloatArray, inv_pan: FloatArray, step_s: float) -> None:
    """Fill row 6, the weight of the new level times the step, and row 7, 1 / (layer's diagonal).

    The weight (3 + z) / (6 + z) tends to 1 where a cell is stiff.  Both divisions
    share one reciprocal: divisions dominate this kernel.
    """
    d_loss, d_into, d_out, w, inv, z, rec = row[1], row[3], row[5], row[6], row[7], row[8], row[9]
    g, cap, inv_cap = live[G_OUT], live[CAP], live[INV_CAP]
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            pan = (d_loss[j, c] + d_into[j, c]) * inv_pan[c]
            layer = (d_out[j, c] + g[c]) * inv_cap[c]
            z[j, c] = step_s * (pan if pan > layer else layer)
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            six = 6.0 + z[j, c]
            inner = cap[c] * six + step_s * (3.0 + z[j, c]) * (g[c] + d_out[j, c])
            rec[j, c] = 1.0 / (six * inner)
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            six, three = 6.0 + z[j, c], step_s * (3.0 + z[j, c])
            w[j, c] = three * (cap[c] * six + three * (g[c] + d_out[j, c])) * rec[j, c]
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            inv[j, c] = (6.0 + z[j, c]) * (6.0 + z[j, c]) * rec[j, c]


@compiled
def _layer_terms(cell: Cell, row: FloatArray, live: FloatArray, step_s: float) -> None:
    """Fill the layer's increment: ``shift + gain * (pan's increment)``."""
    into, d_into, out, w, inv = row[2], row[3], row[4], row[6], row[7]
    wet, evaporation = live[WET], live[EVAPORATION]
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            flow = into[j, c] - out[j, c] - wet[c] * evaporation[c]
            cell.shift[j, c] = step_s * flow * inv[j, c]
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            cell.gain[j, c] = w[j, c] * d_into[j, c] * inv[j, c]


@compiled
def _pan_terms(cell: Cell, row: FloatArray, live: FloatArray, step_s: float) -> None:
    """Fill the diagonal and add to the right side of the pan's equation."""
    loss, d_loss, into, d_into, w = row[0], row[1], row[2], row[3], row[6]
    g, power, capacity = live[G_OUT], live[POWER], cell.capacity
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            local = d_loss[j, c] + d_into[j, c] - g[c] * cell.gain[j, c]
            cell.diag[j, c] = capacity[c] + w[j, c] * local
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            cell.delta[j, c] += w[j, c] * g[c] * cell.shift[j, c]
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            heat = power[c] * cell.shape[j, c] - loss[j, c] - into[j, c]
            cell.delta[j, c] += step_s * heat


@compiled
def exchange(core: Core, step_s: float) -> None:
    """Add losses, heating and the eliminated layer to right side and diagonal of a wide core."""
    grid, cells, scratch = core.grid, core.cells, core.scratch
    fixed, live = core.fixed, core.live
    n_r, _, lanes = cells.pan.shape
    row, poly, skin = scratch.row, scratch.poly, scratch.layer_poly
    scratch.total[0, :, :] = 0.0
    thick = fixed[FACE_R].max() > 0.0
    booking = core.food.cell.shape[0] > 0 or fixed[LID_CAP].max() > 0.0
    quartic(skin, fixed, fixed[LAYER_SIGMA], np.ones(lanes))
    if core.food.cell.shape[0] == 0 and live[WET].max() <= 0.0:
        scratch.shift[:, :, :], scratch.gain[:, :, :] = 0.0, 0.0
        _exchange_bare(core, step_s)
        return
    resistances(scratch.lane, fixed, live)
    for i in range(n_r):
        quartic(poly, fixed, fixed[TOP_SIGMA], live[BARE])
        _add_bottom(poly, fixed, cells.bottom[i])
        tp, tl = cells.pan[i], cells.layer[i]
        value_row(row[0], tp, poly)
        slope_row(row[1], tp, poly)
        face = tp
        if thick:
            face = row[10]
            face_row(face, tp, cells.shape[i], scratch.from_hob[i], scratch.lane)
        into_layer(row[2], face, tl, fixed, live)
        into_slope(row[3], face, fixed, live)
        if thick:
            through_base(row, fixed)
        value_row(row[4], tl, skin)
        slope_row(row[5], tl, skin)
        _through_skin(row, live)
        _weight(row, live, cells.inv_capacity[i], step_s)
        cell = Cell(
            scratch.shift[i], scratch.gain[i], scratch.diag[i], scratch.delta[i],
            cells.capacity[i], cells.shape[i],
        )  # fmt: skip
        _layer_terms(cell, row, live, step_s)
        _pan_terms(cell, row, live, step_s)
        _book(row[8], row[0], row[4])
        add_loss(scratch.total[0], row[8], fixed[BASE_AREA], grid.area[i])
        if booking:
            scratch.booked[i, :, :] = row[8]


@compiled
def _exchange_bare(core: Core, step_s: float) -> None:
    """Do the same where nothing lies on any pan: no layer to eliminate."""
    cells, scratch, fixed, live = core.cells, core.scratch, core.fixed, core.live
    row, poly, power = scratch.row, scratch.poly, live[POWER]
    loss, slope = row[0], row[1]
    lidded = fixed[LID_CAP].max() > 0.0
    for i in range(cells.pan.shape[0]):
        quartic(poly, fixed, fixed[TOP_SIGMA], live[BARE])
        _add_bottom(poly, fixed, cells.bottom[i])
        value_row(loss, cells.pan[i], poly)
        slope_row(slope, cells.pan[i], poly)
        diag, delta, shape = scratch.diag[i], scratch.delta[i], cells.shape[i]
        capacity = cells.capacity[i]
        for j in range(diag.shape[0]):  # the weight is (3 + z) / (6 + z), see _weight
            for c in range(diag.shape[1]):
                z, three = step_s * slope[j, c], 3.0 * capacity[c]
                diag[j, c] = capacity[c] + z * (three + z) / (2.0 * three + z)
        for j in range(delta.shape[0]):
            for c in range(delta.shape[1]):
                delta[j, c] += step_s * (power[c] * shape[j, c] - loss[j, c])
        add_loss(scratch.total[0], loss, fixed[BASE_AREA], core.grid.area[i])
        if lidded:
            scratch.booked[i, :, :] = loss


@compiled
def _book(out: FloatArray, pan: FloatArray, layer: FloatArray) -> None:
    for j in range(pan.shape[0]):
        for c in range(pan.shape[1]):
            out[j, c] = pan[j, c] + layer[j, c]


@compiled
def add_row(out: FloatArray, more: FloatArray) -> None:
    """Add one row to another."""
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            out[j, c] += more[j, c]


@compiled
def add_loss(total: FloatArray, loss: FloatArray, base_m2: FloatArray, share: float) -> None:
    """Add the loss of a row to the sums over the rings."""
    for j in range(loss.shape[0]):
        for c in range(loss.shape[1]):
            total[j, c] += share * base_m2[c] * loss[j, c]
