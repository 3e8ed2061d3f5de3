"""Compiled exchange of the pan simulator: losses, boiling, the step through the base, the layer.

The layer of a cell is one node between pan and air.  It is eliminated from the
pan's equation before the sweeps, with a weight of the new time level that tends
to 1 where the cell is stiff, so that films and boiling neither ring nor limit
the step.  What the bare face loses itself is left out of the step through the base:
under 0.2 K for 5 mm of cast iron at 300 C.
"""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import VAPOUR_J_KGK, ZERO_C_K
from trivet.physics.heat.pan.food import put_lid
from trivet.physics.heat.pan.metal import (
    add_loss,
    face_row,
    resistances,
    slope_row,
    through_base,
    value_row,
)
from trivet.physics.heat.pan.tables import CellRow, Core, Fixed, Live, State, Work, compiled

SKIN_FADES_K = 8.0  # K below the boil from simmering on; own estimate: bubbles stir the skin away
MIN_SKIN_FRAC = 0.05  # of the skin is left at the boil; own estimate, keeps it solvable
TINY_CAPACITY = 1e-9  # J/m2/K; own estimate: keeps a dry layer solvable
NUSSELT_AT_K = 413.15  # 140 C, at which the oil's viscosity is stated in loads.py


@compiled
def renew(core: Core) -> None:
    """Set the quantities of each cook that hold during one step."""
    fixed, live, cook = core.fixed, core.live, core.cook
    for c in range(fixed.shape[1]):
        put_lid(fixed, cook, c)
        areal = cook[State.MASS, c] / fixed[Fixed.CONTENTS_AREA, c]
        wet = fixed[Fixed.COVER, c]
        cap = fixed[Fixed.STATIC_CAPACITY, c] + areal * fixed[Fixed.SPECIFIC_HEAT, c]
        if fixed[Fixed.FILM_MASS, c] > 0.0:  # water: the film breaks up before it is gone
            wet = min(1.0, areal / fixed[Fixed.FILM_MASS, c])
        step = cook[State.MEAN_PAN, c] - cook[State.MEAN_LAYER, c]
        warm = cook[State.MEAN_LAYER, c] - NUSSELT_AT_K
        nusselt = 1.0
        if fixed[Fixed.NUSSELT, c] > 0.0 and step > 0.0:
            # the node sits half-way up, so the whole drop is about twice the step
            nusselt = max(
                1.0,
                fixed[Fixed.NUSSELT, c]
                * np.exp(fixed[Fixed.NUSSELT_T, c] * warm)
                * (2.0 * step) ** (1 / 3),
            )
        live[Live.WET, c] = wet
        live[Live.BARE, c] = 1.0 - wet
        live[Live.CAP, c] = cap + TINY_CAPACITY
        live[Live.INV_CAP, c] = 1.0 / (cap + TINY_CAPACITY)
        live[Live.G, c] = wet * fixed[Fixed.LAYER_G, c] * nusselt
        live[Live.R_SURF, c] = fixed[Fixed.SURFACE_R, c] / nusselt
        if fixed[Fixed.FILM_MASS, c] > 0.0:  # bubbles stir the skin of boiling water away
            below = fixed[Fixed.BOIL, c] - cook[State.MEAN_LAYER, c]
            live[Live.R_SURF, c] *= min(1.0, max(MIN_SKIN_FRAC, below / SKIN_FADES_K))
        # water at the boil stays there: its loss does not grow within the step
        boils = fixed[Fixed.FILM_MASS, c] > 0.0 or (
            fixed[Fixed.RELEASE, c] > 0.0 and cook[State.MASS, c] > 0.0
        )
        pinned = boils and cook[State.MEAN_LAYER, c] >= fixed[Fixed.BOIL, c] - 1e-6
        live[Live.FREE, c] = 0.0 if pinned else 1.0
        live[Live.BOIL_A, c] = wet * fixed[Fixed.NUCLEATE, c]
        live[Live.BOIL_MAX, c] = wet * fixed[Fixed.CRITICAL, c]
        live[Live.EVAPORATION, c] = _evaporation(fixed, cook, c) if wet > 0.0 else 0.0
        live[Live.G_OUT, c] = live[Live.G, c] / (1.0 + live[Live.G, c] * fixed[Fixed.FACE_R, c])


@compiled
def _evaporation(fixed: FloatArray, cook: FloatArray, c: int) -> float:
    """Return the evaporative heat flux below boiling from the liquid's mean temperature."""
    if fixed[Fixed.VAPOUR, c] <= 0.0:
        return 0.0
    t_c = cook[State.MEAN_LAYER, c] - ZERO_C_K
    # Magnus form of the saturation pressure (WMO-No. 8, annex 4.B), within 1 % up to 100 C
    pressure = 611.2 * np.exp(17.62 * t_c / (243.12 + t_c))
    density = pressure / (VAPOUR_J_KGK * cook[State.MEAN_LAYER, c])
    return float(
        max(
            0.0,
            fixed[Fixed.VAPOUR, c]
            * (density - fixed[Fixed.AIR_VAPOUR, c])
            * fixed[Fixed.LATENT, c],
        )
    )


@compiled
def quartic(poly: FloatArray, fixed: FloatArray, sigma: FloatArray, share: FloatArray) -> None:
    """Fill the coefficients of 1, T, T^2, T^4 of a share of the loss to the air above."""
    for c in range(poly.shape[1]):
        ambient, slope = fixed[Fixed.AMBIENT, c], fixed[Fixed.TOP_SLOPE, c]
        poly[3, c] = share[c] * sigma[c]
        poly[2, c] = share[c] * slope
        poly[1, c] = share[c] * (fixed[Fixed.TOP, c] - 2.0 * slope * ambient)
        poly[0, c] = share[c] * (
            (slope * ambient - fixed[Fixed.TOP, c]) * ambient - sigma[c] * fixed[Fixed.SURROUND4, c]
        )


@compiled
def _add_bottom(poly: FloatArray, fixed: FloatArray, bottom: FloatArray) -> None:
    """Add the loss to what lies below."""
    for c in range(poly.shape[1]):
        poly[3, c] += fixed[Fixed.BOTTOM_SIGMA, c]
        poly[1, c] += bottom[c]
        poly[0, c] -= (
            bottom[c] * fixed[Fixed.BELOW, c]
            + fixed[Fixed.BOTTOM_SIGMA, c] * fixed[Fixed.BELOW4, c]
        )


@compiled
def _through_skin(row: FloatArray, live: FloatArray) -> None:
    """Take wet share and skin resistance (a Newton step) into the layer's loss and slope."""
    value, slope, share = row[Work.OUT], row[Work.D_OUT], row[Work.SHARE]
    wet, skin, free = live[Live.WET], live[Live.R_SURF], live[Live.FREE]
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
    boil_k, g, a, most = fixed[Fixed.BOIL], live[Live.G], live[Live.BOIL_A], live[Live.BOIL_MAX]
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            over = 0.5 * (abs(pan[j, c] - boil_k[c]) + pan[j, c] - boil_k[c])
            boil = a[c] * over * over * over
            boil = most[c] if boil > most[c] else boil
            out[j, c] = g[c] * (pan[j, c] - layer[j, c]) + boil


@compiled
def into_slope(out: FloatArray, pan: FloatArray, fixed: FloatArray, live: FloatArray) -> None:
    """Slope of the same by the pan's temperature."""
    boil_k, g, a, most = fixed[Fixed.BOIL], live[Live.G], live[Live.BOIL_A], live[Live.BOIL_MAX]
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
    d_loss, d_into, d_out, w, inv, z, rec = (
        row[Work.D_LOSS],
        row[Work.D_INTO],
        row[Work.D_OUT],
        row[Work.WEIGHT],
        row[Work.INVERSE],
        row[Work.SHARE],
        row[Work.RECIPROCAL],
    )
    g, cap, inv_cap = live[Live.G_OUT], live[Live.CAP], live[Live.INV_CAP]
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
def _layer_terms(cell: CellRow, row: FloatArray, live: FloatArray, step_s: float) -> None:
    """Fill the layer's increment: ``shift + gain * (pan's increment)``."""
    into, d_into, out, w, inv = (
        row[Work.INTO],
        row[Work.D_INTO],
        row[Work.OUT],
        row[Work.WEIGHT],
        row[Work.INVERSE],
    )
    wet, evaporation = live[Live.WET], live[Live.EVAPORATION]
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            flow = into[j, c] - out[j, c] - wet[c] * evaporation[c]
            cell.shift[j, c] = step_s * flow * inv[j, c]
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            cell.gain[j, c] = w[j, c] * d_into[j, c] * inv[j, c]


@compiled
def _pan_terms(cell: CellRow, row: FloatArray, live: FloatArray, step_s: float) -> None:
    """Fill the diagonal and add to the right side of the pan's equation."""
    loss, d_loss, into, d_into, w = (
        row[Work.LOSS],
        row[Work.D_LOSS],
        row[Work.INTO],
        row[Work.D_INTO],
        row[Work.WEIGHT],
    )
    g, power, capacity = live[Live.G_OUT], live[Live.POWER], cell.capacity
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
    thick = fixed[Fixed.FACE_R].max() > 0.0
    booking = core.food.cell.shape[0] > 0 or fixed[Fixed.LID_CAP].max() > 0.0
    quartic(skin, fixed, fixed[Fixed.LAYER_SIGMA], np.ones(lanes))
    if core.food.cell.shape[0] == 0 and live[Live.WET].max() <= 0.0:
        scratch.shift[:, :, :], scratch.gain[:, :, :] = 0.0, 0.0
        _exchange_bare(core, step_s)
        return
    resistances(scratch.lane, fixed, live)
    for i in range(n_r):
        quartic(poly, fixed, fixed[Fixed.TOP_SIGMA], live[Live.BARE])
        _add_bottom(poly, fixed, cells.bottom[i])
        tp, tl = cells.pan[i], cells.layer[i]
        value_row(row[Work.LOSS], tp, poly)
        slope_row(row[Work.D_LOSS], tp, poly)
        face = tp
        if thick:
            face = row[Work.FACE]
            face_row(face, tp, cells.shape[i], scratch.from_hob[i], scratch.lane)
        into_layer(row[Work.INTO], face, tl, fixed, live)
        into_slope(row[Work.D_INTO], face, fixed, live)
        if thick:
            through_base(row, fixed)
        value_row(row[Work.OUT], tl, skin)
        slope_row(row[Work.D_OUT], tl, skin)
        _through_skin(row, live)
        _weight(row, live, cells.inv_capacity[i], step_s)
        cell = CellRow(
            scratch.shift[i], scratch.gain[i], scratch.diag[i], scratch.delta[i],
            cells.capacity[i], cells.shape[i],
        )  # fmt: skip
        _layer_terms(cell, row, live, step_s)
        _pan_terms(cell, row, live, step_s)
        _book(row[Work.SHARE], row[Work.LOSS], row[Work.OUT])
        add_loss(scratch.total[0], row[Work.SHARE], fixed[Fixed.BASE_AREA], grid.area[i])
        if booking:
            scratch.booked[i, :, :] = row[Work.SHARE]


@compiled
def _exchange_bare(core: Core, step_s: float) -> None:
    """Do the same where nothing lies on any pan: no layer to eliminate."""
    cells, scratch, fixed, live = core.cells, core.scratch, core.fixed, core.live
    row, poly, power = scratch.row, scratch.poly, live[Live.POWER]
    loss, slope = row[Work.LOSS], row[Work.D_LOSS]
    lidded = fixed[Fixed.LID_CAP].max() > 0.0
    for i in range(cells.pan.shape[0]):
        quartic(poly, fixed, fixed[Fixed.TOP_SIGMA], live[Live.BARE])
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
        add_loss(scratch.total[0], loss, fixed[Fixed.BASE_AREA], core.grid.area[i])
        if lidded:
            scratch.booked[i, :, :] = loss


@compiled
def _book(out: FloatArray, pan: FloatArray, layer: FloatArray) -> None:
    for j in range(pan.shape[0]):
        for c in range(pan.shape[1]):
            out[j, c] = pan[j, c] + layer[j, c]


@compiled
def face_k(core: Core, out: FloatArray) -> None:
    """Fill ``out`` with the temperature of the base's upper face, by the fluxes of the moment.

    Core and ``out`` are wide.
    """
    cells, row, fixed, live = core.cells, core.scratch.row, core.fixed, core.live
    out[:, :, :] = cells.pan
    if fixed[Fixed.FACE_R].max() <= 0.0:
        return
    resistances(core.scratch.lane, fixed, live)
    for i in range(cells.pan.shape[0]):
        below = core.scratch.from_hob[i]
        face_row(row[Work.FACE], cells.pan[i], cells.shape[i], below, core.scratch.lane)
        into_layer(row[Work.INTO], row[Work.FACE], cells.layer[i], fixed, live)
        into_slope(row[Work.D_INTO], row[Work.FACE], fixed, live)
        through_base(row, fixed)
        for j in range(cells.pan.shape[1]):
            for c in range(cells.pan.shape[2]):
                out[i, j, c] = row[Work.FACE, j, c] - fixed[Fixed.FACE_R, c] * row[Work.INTO, j, c]


@compiled
def surface_k(core: Core, face: FloatArray, out: FloatArray) -> None:
    """Fill ``out`` with the temperature that faces up where no food lies: layer or ``face``.

    All of them are wide.
    """
    cells, fixed, live, row = core.cells, core.fixed, core.live, core.scratch.row
    skin, resist, wet = core.scratch.layer_poly, live[Live.R_SURF], live[Live.WET]
    quartic(skin, fixed, fixed[Fixed.LAYER_SIGMA], np.ones(fixed.shape[1]))
    evaporation = live[Live.EVAPORATION]
    for i in range(cells.pan.shape[0]):
        layer = cells.layer[i]
        value_row(row[Work.OUT], layer, skin)
        slope_row(row[Work.D_OUT], layer, skin)
        drop, loss, slope = row[Work.SHARE], row[Work.OUT], row[Work.D_OUT]
        for j in range(drop.shape[0]):
            for c in range(drop.shape[1]):
                through = loss[j, c] / (1.0 + resist[c] * slope[j, c])
                drop[j, c] = resist[c] * (through + evaporation[c])
        for j in range(drop.shape[0]):
            for c in range(drop.shape[1]):
                out[i, j, c] = layer[j, c] - drop[j, c] if wet[c] > 0.0 else face[i, j, c]
