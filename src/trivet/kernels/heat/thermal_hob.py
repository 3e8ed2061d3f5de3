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

from trivet.kernels.heat.thermal_cells import (
    BASE_AREA,
    H_BELOW,
    H_HYSTERESIS,
    H_LIMIT,
    H_LOSS,
    H_SERIES,
    LIMITING,
    LOSS_RATE,
    POWER,
    Core,
    compiled,
)


@compiled
def flow_from_hob(core: Core) -> None:
    """Fill the flux from hob to pan and its slopes by both temperatures."""
    hob, pan, out = core.hob, core.cells.pan, core.scratch.from_hob
    n_r, n_t, lanes = hob.k.shape
    series = hob.fixed[H_SERIES]
    for i in range(n_r):
        for j in range(n_t):
            for c in range(lanes):
                b, d, e = hob.phi[0, i, j, c], hob.phi[1, i, j, c], hob.phi[2, i, j, c]
                r = series[c]
                th, tp = hob.k[i, j, c], pan[i, j, c]
                to = tp * (b + tp * (d + e * tp * tp))
                flow = th * (b + th * (d + e * th * th)) - to
                flow /= 1.0 + r * (b + th * (2.0 * d + 4.0 * e * th * th))
                face = th - r * flow  # a second Newton step: the glass may drop 60 K
                slope = b + face * (2.0 * d + 4.0 * e * face * face)
                share = 1.0 / (1.0 + r * slope)
                flow += (face * (b + face * (d + e * face * face)) - to - flow) * share
                out[i, j, c] = flow
                hob.by_hob[i, j, c] = slope * share
                hob.by_pan[i, j, c] = (b + tp * (2.0 * d + 4.0 * e * tp * tp)) * share


@compiled
def exchange_hob(core: Core, step_s: float) -> None:
    """Eliminate the hob's nodes from the pan's equation."""
    grid, cells, hob, scratch = core.grid, core.cells, core.hob, core.scratch
    fixed, live = core.fixed, core.live
    n_r, n_t, lanes = hob.k.shape
    for i in range(n_r):
        for j in range(n_t):
            for c in range(lanes):
                out_w_m2k = hob.fixed[H_LOSS, c]
                cap, by_hob, by_pan = hob.cap[i, j, c], hob.by_hob[i, j, c], hob.by_pan[i, j, c]
                flow = scratch.from_hob[i, j, c]
                lost = out_w_m2k * (hob.k[i, j, c] - hob.fixed[H_BELOW, c])
                z = step_s * max((by_hob + out_w_m2k) / cap, by_pan / cells.capacity[i, c])
                w = step_s * (3.0 + z) / (6.0 + z)
                inv = 1.0 / (cap + w * (by_hob + out_w_m2k))
                heat = live[POWER, c] * hob.shape[i, j, c]
                shift, gain = step_s * (heat - flow - lost) * inv, w * by_pan * inv
                hob.shift[i, j, c], hob.gain[i, j, c] = shift, gain
                scratch.diag[i, j, c] += w * (by_pan - by_hob * gain)
                scratch.delta[i, j, c] += step_s * flow + w * by_hob * shift
                live[LOSS_RATE, c] += grid.area[i] * fixed[BASE_AREA, c] * lost


@compiled
def settle_hob(core: Core) -> None:
    """Warm the hob by what was eliminated, and switch the limiter on its heated part."""
    grid, hob, cook = core.grid, core.hob, core.cook
    n_r, n_t, lanes = hob.k.shape
    for c in range(lanes):
        hot, share = 0.0, 0.0
        for i in range(n_r):
            for j in range(n_t):
                step = hob.gain[i, j, c] * core.scratch.delta[i, j, c]
                hob.k[i, j, c] += hob.shift[i, j, c] + step
                weight = grid.area[i] * hob.shape[i, j, c]
                hot += weight * hob.k[i, j, c]
                share += weight
        if share <= 0.0:
            continue
        if hot > share * hob.fixed[H_LIMIT, c]:
            cook[LIMITING, c] = 0.0
        elif hot < share * (hob.fixed[H_LIMIT, c] - hob.fixed[H_HYSTERESIS, c]):
            cook[LIMITING, c] = 1.0
