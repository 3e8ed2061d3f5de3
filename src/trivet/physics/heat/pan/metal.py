"""Compiled metal and hob of the pan simulator: base, wall, hob under it, and the control of heat.

The step through the base lies between its mean and its upper face.

The wall's rings lie behind the base's in the arrays of the sweeps, so that conduction up the
wall and round it is solved with that of the base.  Both faces lose heat; the lowest rings may
touch the liquid, which takes their heat stirred.

Of the hob one node lies under every cell of the base.  What passes the gap is the
difference of one function of the two temperatures,

    phi(T) = c T + k(T) T / gap + sigma f T^4,

because the conductivity of air grows linearly with temperature; half the glass lies in
series.  The node is eliminated from the pan's equation before the sweeps, as the layer on
the pan is.  Sideways conduction in the glass is left out: over 20 minutes it reaches 3 cm.
"""

from __future__ import annotations

from trivet.arrays import FloatArray
from trivet.physics.heat.pan.tables import (
    Core,
    Fixed,
    HobFigure,
    Live,
    State,
    WallFigure,
    Work,
    compiled,
)

Slopes = tuple[FloatArray, FloatArray, FloatArray, FloatArray]

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


@compiled
def face_row(
    face: FloatArray, mean: FloatArray, shape: FloatArray, below: FloatArray, lane: FloatArray
) -> None:
    """Fill a row with the mean of the base less the step that the flux from below makes.

    ``below`` is the flux from the hob, 0 without; ``lane`` holds the resistance and
    resistance x power.
    """
    cross, driven = lane[0], lane[1]
    for j in range(face.shape[0]):
        for c in range(face.shape[1]):
            face[j, c] = mean[j, c] - driven[c] * shape[j, c]
    for j in range(below.shape[0]):
        for c in range(below.shape[1]):
            face[j, c] -= cross[c] * below[j, c]


@compiled
def resistances(lane: FloatArray, fixed: FloatArray, live: FloatArray) -> None:
    """Fill what ``face_row`` wants of each lane."""
    for c in range(lane.shape[1]):
        lane[0, c] = fixed[Fixed.CROSS_R, c]
    for c in range(lane.shape[1]):
        lane[1, c] = fixed[Fixed.CROSS_R, c] * live[Live.POWER, c]


@compiled
def through_base(row: FloatArray, fixed: FloatArray) -> None:
    """Take the flux to the layer through the upper part of the base (a Newton step)."""
    into, slope, share, resist = (
        row[Work.INTO],
        row[Work.D_INTO],
        row[Work.SHARE],
        fixed[Fixed.FACE_R],
    )
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            share[j, c] = 1.0 / (1.0 + resist[c] * slope[j, c])
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            into[j, c] *= share[j, c]
    for j in range(share.shape[0]):
        for c in range(share.shape[1]):
            slope[j, c] *= share[j, c]


@compiled
def set_heat(core: Core, power_w: FloatArray, step_s: float) -> None:
    """Set the heat of a step: knob, thermostat and limiter, then the element's lag."""
    fixed, live, cook = core.fixed, core.live, core.cook
    for c in range(power_w.size):
        if cook[State.MEAN_PAN, c] > fixed[Fixed.THERMOSTAT, c]:
            cook[State.HEATING, c] = 0.0
        elif cook[State.MEAN_PAN, c] < fixed[Fixed.THERMOSTAT, c] - fixed[Fixed.HYSTERESIS, c]:
            cook[State.HEATING, c] = 1.0
        wanted = power_w[c] * cook[State.HEATING, c] * cook[State.LIMITING, c]
        # the element follows exponentially; what counts is the mean over the step
        behind = cook[State.ELEMENT, c] - wanted
        live[Live.POWER, c] = max(0.0, wanted + behind * fixed[Fixed.LAG_MEAN, c])
        cook[State.ELEMENT, c] = wanted + behind * fixed[Fixed.LAG_KEEP, c]
        cook[State.INPUT, c] += live[Live.POWER, c] * fixed[Fixed.CAPTURED, c] * step_s


@compiled
def _phi(out: FloatArray, t: FloatArray, b: FloatArray, d: FloatArray, e: FloatArray) -> None:
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            tt = t[j, c]
            out[j, c] = tt * (b[j, c] + tt * (d[j, c] + e[j, c] * tt * tt))


@compiled
def _phi_slope(out: FloatArray, t: FloatArray, b: FloatArray, d: FloatArray, e: FloatArray) -> None:
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            tt = t[j, c]
            out[j, c] = b[j, c] + tt * (2.0 * d[j, c] + 4.0 * e[j, c] * tt * tt)


@compiled
def _times(out: FloatArray, one: FloatArray, other: FloatArray) -> None:
    for j in range(out.shape[0]):
        for c in range(out.shape[1]):
            out[j, c] = one[j, c] * other[j, c]


@compiled
def flow_from_hob(core: Core) -> None:
    """Fill the flux from hob to pan and its slopes by both temperatures, of a wide core."""
    hob, row = core.hob, core.scratch.row
    series, to, at, slope, share = hob.fixed[HobFigure.SERIES], row[0], row[1], row[2], row[3]
    for i in range(hob.k.shape[0]):
        b, d, e = hob.phi[0, i], hob.phi[1, i], hob.phi[2, i]
        glass, pan, flow = hob.k[i], core.cells.pan[i], core.scratch.from_hob[i]
        by_hob, by_pan = hob.by_hob[i], hob.by_pan[i]
        _phi(to, pan, b, d, e)
        _phi(at, glass, b, d, e)
        _phi_slope(slope, glass, b, d, e)
        for j in range(flow.shape[0]):
            for c in range(flow.shape[1]):
                flow[j, c] = (at[j, c] - to[j, c]) / (1.0 + series[c] * slope[j, c])
        for j in range(flow.shape[0]):  # a second Newton step: the glass may drop 60 K
            for c in range(flow.shape[1]):
                share[j, c] = glass[j, c] - series[c] * flow[j, c]
        _phi(at, share, b, d, e)
        _phi_slope(by_hob, share, b, d, e)
        for j in range(flow.shape[0]):
            for c in range(flow.shape[1]):
                share[j, c] = 1.0 / (1.0 + series[c] * by_hob[j, c])
        for j in range(flow.shape[0]):
            for c in range(flow.shape[1]):
                flow[j, c] += (at[j, c] - to[j, c] - flow[j, c]) * share[j, c]
        _phi_slope(slope, pan, b, d, e)
        _times(by_hob, by_hob, share)
        _times(by_pan, slope, share)


@compiled
def _weight(w: FloatArray, inv: FloatArray, cap: FloatArray, slopes: Slopes, step_s: float) -> None:
    """Fill the weight of the new level times the step, and 1 / (the node's diagonal).

    The weight is (3 + z) / (6 + z), as that of the layer, without dividing for z.
    """
    by_hob, by_pan, loss, inv_pan = slopes
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            own = step_s * (by_hob[j, c] + loss[c])
            pans = step_s * by_pan[j, c] * inv_pan[c] * cap[j, c]
            z = own if own > pans else pans
            w[j, c] = step_s * (3.0 * cap[j, c] + z) / (6.0 * cap[j, c] + z)
    for j in range(w.shape[0]):
        for c in range(w.shape[1]):
            inv[j, c] = 1.0 / (cap[j, c] + w[j, c] * (by_hob[j, c] + loss[c]))


@compiled
def exchange_hob(core: Core, step_s: float) -> None:
    """Eliminate the hob's nodes from the pan's equation, of a wide core."""
    hob, row, power = core.hob, core.scratch.row, core.live[Live.POWER]
    below, out_w_m2k, lost, w, inv = (
        hob.fixed[HobFigure.BELOW],
        hob.fixed[HobFigure.LOSS],
        row[0],
        row[1],
        row[2],
    )
    for i in range(hob.k.shape[0]):
        by_hob, by_pan, flow = hob.by_hob[i], hob.by_pan[i], core.scratch.from_hob[i]
        inv_pan, glass, heated = core.cells.inv_capacity[i], hob.k[i], hob.shape[i]
        shift, gain = hob.shift[i], hob.gain[i]
        diag, delta = core.scratch.diag[i], core.scratch.delta[i]
        for j in range(lost.shape[0]):
            for c in range(lost.shape[1]):
                lost[j, c] = out_w_m2k[c] * (glass[j, c] - below[c])
        _weight(w, inv, hob.cap[i], (by_hob, by_pan, out_w_m2k, inv_pan), step_s)
        for j in range(w.shape[0]):
            for c in range(w.shape[1]):
                heat = power[c] * heated[j, c] - flow[j, c] - lost[j, c]
                shift[j, c] = step_s * heat * inv[j, c]
        for j in range(w.shape[0]):
            for c in range(w.shape[1]):
                gain[j, c] = w[j, c] * by_pan[j, c] * inv[j, c]
        for j in range(w.shape[0]):
            for c in range(w.shape[1]):
                diag[j, c] += w[j, c] * (by_pan[j, c] - by_hob[j, c] * gain[j, c])
        for j in range(w.shape[0]):
            for c in range(w.shape[1]):
                delta[j, c] += step_s * flow[j, c] + w[j, c] * by_hob[j, c] * shift[j, c]
        add_loss(core.scratch.total[0], lost, core.fixed[Fixed.BASE_AREA], core.grid.area[i])


@compiled
def settle_hob(wide: Core, total: FloatArray, cook: FloatArray) -> None:
    """Warm the hob by what was eliminated, and switch the limiter on its heated part.

    ``total`` is the narrow view of the sums over the rings.
    """
    if wide.hob.k.shape[0] == 0:
        return
    hot, heated = wide.scratch.total[0], wide.scratch.total[1]
    hot[:, :], heated[:, :] = 0.0, 0.0
    for i in range(wide.hob.k.shape[0]):
        glass, shift, gain = wide.hob.k[i], wide.hob.shift[i], wide.hob.gain[i]
        shape, delta, area = wide.hob.shape[i], wide.scratch.delta[i], wide.grid.area[i]
        for j in range(glass.shape[0]):
            for c in range(glass.shape[1]):
                glass[j, c] += shift[j, c] + gain[j, c] * delta[j, c]
        for j in range(glass.shape[0]):
            for c in range(glass.shape[1]):
                hot[j, c] += area * shape[j, c] * glass[j, c]
        for j in range(glass.shape[0]):
            for c in range(glass.shape[1]):
                heated[j, c] += area * shape[j, c]
    hob = wide.hob  # the first lanes of its table are the cooks'
    for c in range(total.shape[2]):
        heat, share = total[0, :, c].sum(), total[1, :, c].sum()
        if share <= 0.0:
            continue
        if heat > share * hob.fixed[HobFigure.LIMIT, c]:
            cook[State.LIMITING, c] = 0.0
        elif heat < share * (hob.fixed[HobFigure.LIMIT, c] - hob.fixed[HobFigure.HYSTERESIS, c]):
            cook[State.LIMITING, c] = 1.0


@compiled
def _grip(grip: FloatArray, wall: FloatArray, mass_kg: FloatArray, ring: int) -> None:
    """Set the coefficient from a ring to the liquid: by how much of the ring is wetted."""
    for c in range(grip.size):
        depth = wall[WallFigure.DEPTH, c] * mass_kg[c]
        grip[c] = wall[WallFigure.GRIP, c] * min(
            1.0, max(0.0, depth / wall[WallFigure.HEIGHT, c] - ring)
        )


@compiled
def _terms(
    diag: FloatArray, delta: FloatArray, row: FloatArray, lane: FloatArray, step_s: float
) -> None:
    """Add loss, liquid and heat: ``lane`` has capacity, grip, and heat with the liquid's pull."""
    loss, slope, t = row[0], row[1], row[2]
    cap, grip, heat = lane[0], lane[1], lane[2]
    for j in range(diag.shape[0]):
        for c in range(diag.shape[1]):
            steep = slope[j, c] + grip[c]
            six = 6.0 * cap[c] + step_s * steep
            diag[j, c] = cap[c] + step_s * steep * (3.0 * cap[c] + step_s * steep) / six
    for j in range(diag.shape[0]):
        for c in range(diag.shape[1]):
            delta[j, c] += step_s * (heat[c] - loss[j, c] - grip[c] * t[j, c])


@compiled
def exchange_wall(core: Core, step_s: float) -> None:
    """Add losses, heating and the liquid to right side and diagonal of a wide core's wall."""
    metal, live, cook, scratch = core.metal, core.live, core.cook, core.scratch
    n_r, _, lanes = core.cells.pan.shape
    row, lane = scratch.row, scratch.poly
    for ring in range(metal.area.shape[0]):
        _grip(metal.grip[ring], metal.wall, cook[State.MASS], ring)
        for c in range(lanes):
            lane[0, c], lane[1, c] = metal.capacity[ring, c], metal.grip[ring, c]
            heat = live[Live.POWER, c] * metal.heat[ring, c]
            lane[2, c] = heat + metal.grip[ring, c] * cook[State.MEAN_LAYER, c]
        t = metal.k[n_r + ring]
        value_row(row[0], t, metal.wall)
        slope_row(row[1], t, metal.wall)
        row[2, :, :] = t
        _terms(scratch.diag[n_r + ring], scratch.delta[n_r + ring], row, lane, step_s)
        add_loss(scratch.total[0], row[0], metal.area[ring], 1.0)


@compiled
def settle_wall(core: Core, wide: Core, step_s: float) -> None:
    """Add the increments to the wall and give its heat to the liquid, before it is stirred."""
    metal, fixed, live, cook, scratch = core.metal, core.fixed, core.live, core.cook, core.scratch
    cells = core.cells
    n_r, n_t, lanes = cells.pan.shape
    into = scratch.poly[0]
    into[:] = 0.0
    for ring in range(metal.area.shape[0]):
        t, step, diag = metal.k[n_r + ring], scratch.delta[n_r + ring], scratch.diag[n_r + ring]
        cap, area = metal.capacity[ring], metal.area[ring]
        grip = wide.metal.grip[ring]  # its first lanes are the cooks'
        for c in range(lanes):
            if grip[c] <= 0.0:
                continue
            for j in range(n_t):
                b, d = metal.wall[WallFigure.LOSS_T, c], metal.wall[WallFigure.LOSS_T2, c]
                e = metal.wall[WallFigure.LOSS_T4, c]
                slope = b + 2.0 * d * t[j, c] + 4.0 * e * t[j, c] ** 3 + grip[c]
                # the weight of the new level is what the diagonal was given
                moved = step_s * (t[j, c] - cook[State.MEAN_LAYER, c])
                moved += (diag[j, c] - cap[c]) / slope * step[j, c]
                into[c] += area[c] * grip[c] * moved
        add_row(wide.metal.k[n_r + ring], wide.scratch.delta[n_r + ring])
    for c in range(lanes):
        if into[c] == 0.0:
            continue
        rise = into[c] / (fixed[Fixed.CONTENTS_AREA, c] * live[Live.CAP, c])
        for i in range(n_r):
            for j in range(n_t):
                if cells.open_frac[i, j, c] > 0.0:
                    cells.layer[i, j, c] += rise
