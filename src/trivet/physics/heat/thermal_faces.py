"""Compiled faces of the pan simulator: what looks up from base and layer at a moment."""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_base import face_row, resistances, through_base
from trivet.physics.heat.thermal_cells import (
    EVAPORATION,
    FACE_R,
    LAYER_SIGMA,
    R_SURF,
    WET,
    Core,
    compiled,
)
from trivet.physics.heat.thermal_exchange import (
    into_layer,
    into_slope,
    quartic,
    slope_row,
    value_row,
)


@compiled
def face_k(core: Core, out: FloatArray) -> None:
    """Fill ``out`` with the temperature of the base's upper face, by the fluxes of the moment.

    Core and ``out`` are wide.
    """
    cells, row, fixed, live = core.cells, core.scratch.row, core.fixed, core.live
    out[:, :, :] = cells.pan
    if fixed[FACE_R].max() <= 0.0:
        return
    resistances(core.scratch.lane, fixed, live)
    for i in range(cells.pan.shape[0]):
        below = core.scratch.from_hob[i]
        face_row(row[10], cells.pan[i], cells.shape[i], below, core.scratch.lane)
        into_layer(row[2], row[10], cells.layer[i], fixed, live)
        into_slope(row[3], row[10], fixed, live)
        through_base(row, fixed)
        for j in range(cells.pan.shape[1]):
            for c in range(cells.pan.shape[2]):
                out[i, j, c] = row[10, j, c] - fixed[FACE_R, c] * row[2, j, c]


@compiled
def surface_k(core: Core, face: FloatArray, out: FloatArray) -> None:
    """Fill ``out`` with the temperature that faces up where no food lies: layer or ``face``.

    All of them are wide.
    """
    cells, fixed, live, row = core.cells, core.fixed, core.live, core.scratch.row
    skin, resist, wet = core.scratch.layer_poly, live[R_SURF], live[WET]
    quartic(skin, fixed, fixed[LAYER_SIGMA], np.ones(fixed.shape[1]))
    evaporation = live[EVAPORATION]
    for i in range(cells.pan.shape[0]):
        layer = cells.layer[i]
        value_row(row[4], layer, skin)
        slope_row(row[5], layer, skin)
        drop, loss, slope = row[8], row[4], row[5]
        for j in range(drop.shape[0]):
            for c in range(drop.shape[1]):
                through = loss[j, c] / (1.0 + resist[c] * slope[j, c])
                drop[j, c] = resist[c] * (through + evaporation[c])
        for j in range(drop.shape[0]):
            for c in range(drop.shape[1]):
                out[i, j, c] = layer[j, c] - drop[j, c] if wet[c] > 0.0 else face[i, j, c]
