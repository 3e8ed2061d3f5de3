"""Compiled hob of the pan simulator: glass or coil under the pan, with a store of its own.

One node lies under every cell of the base.  What passes the gap is the
difference of one function of the two temperatures,

    phi(T) = c T + k(T) T / gap + sigma f T^4,

because the conductivity of air grows linearly with temperature; half the glass
lies in series.  The node is eliminated from the pan's equation before the
sweeps, as the layer on the pan is.  Sideways conduction in the glass is left
out: over 20 minutes it reaches 3 cm.
"""

from __future__ import annotations

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_cells import (
    BASE_AREA,
    H_BELOW,
    H_HYSTERESIS,
    H_LIMIT,
    H_LOSS,
    H_SERIES,
    LIMITING,
    POWER,
    Core,
    compiled,
)
from trivet.physics.heat.thermal_exchange import add_loss

Slopes = tuple[FloatArray, FloatArray, FloatArray, FloatArray]

# One written row a loop, see thermal_exchange.


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
    series, to, at, slope, share = hob.fixed[H_SERIES], row[0], row[1], row[2], row[3]
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
def _weight(row: FloatArray, cap: FloatArray, slopes: Slopes, step_s: float) -> None:
    """Fill row 1, the weight of the new level times the step, and row 2, 1 / (node's diagonal).

    The weight is (3 + z) / (6 + z), as that of the layer, without dividing for z.
    """
    w, inv = row[1], row[2]
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
    hob, row, power = core.hob, core.scratch.row, core.live[POWER]
    below, out_w_m2k, lost, w, inv = hob.fixed[H_BELOW], hob.fixed[H_LOSS], row[0], row[1], row[2]
    for i in range(hob.k.shape[0]):
        by_hob, by_pan, flow = hob.by_hob[i], hob.by_pan[i], core.scratch.from_hob[i]
        inv_pan, glass, heated = core.cells.inv_capacity[i], hob.k[i], hob.shape[i]
        shift, gain = hob.shift[i], hob.gain[i]
        diag, delta = core.scratch.diag[i], core.scratch.delta[i]
        for j in range(lost.shape[0]):
            for c in range(lost.shape[1]):
                lost[j, c] = out_w_m2k[c] * (glass[j, c] - below[c])
        _weight(row, hob.cap[i], (by_hob, by_pan, out_w_m2k, inv_pan), step_s)
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
        add_loss(core.scratch.total[0], lost, core.fixed[BASE_AREA], core.grid.area[i])


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
        if heat > share * hob.fixed[H_LIMIT, c]:
            cook[LIMITING, c] = 0.0
        elif heat < share * (hob.fixed[H_LIMIT, c] - hob.fixed[H_HYSTERESIS, c]):
            cook[LIMITING, c] = 1.0
