"""A block of cooks seen wide: several angles side by side in one long row of lanes.

The vector units work along the last axis of an array.  A few cooks do not fill
them, so g neighbouring angles are read as one row of g x lane values, of the
same memory, and the figures of each cook are repeated g times.
"""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_cells import (
    AMBIENT,
    MASS,
    MEAN_LAYER,
    SURROUND4,
    Cells,
    Core,
    Hob,
    Metal,
    Scratch,
    compiled,
)

FULL_ROW = 32  # values from which on a row keeps the vector units busy


def angles_a_row(n_theta: int, lanes: int) -> int:
    """Return how many angles to read as one row.

    Parameters
    ----------
    n_theta, lanes : int
        Angles of the grid and cooks of the block.

    Returns
    -------
    int
        A divisor of ``n_theta``.

    Notes
    -----
    1 from 32 cooks on.
    """
    fits = (g for g in range(1, n_theta) if n_theta % g == 0 and g * lanes >= FULL_ROW)
    return next(fits, n_theta)


def seen_wide(core: Core) -> Core:
    """Return a block with the same fields in wide rows, and tables of its own.

    Parameters
    ----------
    core : Core
        As it is, (n_r, n_theta, lane).

    Returns
    -------
    Core
        Fields (n_r, n_theta / g, g x lane) on the same memory; tables (row, g x lane),
        of which ``spread`` renews what changes.

    Raises
    ------
    ValueError
        If a field does not lie in one piece.

    Notes
    -----
    Exact: which values share a row changes no value.
    """
    _, n_theta, lanes = core.cells.pan.shape
    g = angles_a_row(n_theta, lanes)

    def field(value: FloatArray) -> FloatArray:
        wide: FloatArray = value.view()
        wide = wide.reshape((*value.shape[:-2], n_theta // g, g * lanes), copy=False)
        return wide

    def table(value: FloatArray) -> FloatArray:
        return np.tile(value, g)

    cells, metal, hob, scratch = core.cells, core.metal, core.hob, core.scratch
    return core._replace(
        cells=Cells(
            *(field(one) for one in (cells.pan, cells.layer, cells.shape, cells.open_frac)),
            *(table(one) for one in (cells.capacity, cells.inv_capacity, cells.bottom)),
        ),
        metal=Metal(field(metal.k), *(table(one) for one in metal[1:])),
        hob=hob._replace(
            **{name: field(getattr(hob, name)) for name in HOB_FIELDS}, fixed=table(hob.fixed)
        ),
        fixed=table(core.fixed),
        live=table(core.live),
        cook=table(core.cook),
        scratch=scratch._replace(
            **{name: field(getattr(scratch, name)) for name in FIELDS},
            poly=table(scratch.poly),
            layer_poly=table(scratch.layer_poly),
            lane=table(scratch.lane),
        ),
    )


FIELDS = (
    "diag", "delta", "shift", "gain", "from_hob", "up", "upper", "total", "row", "booked",
)  # fmt: skip
assert set(FIELDS) < set(Scratch._fields)
HOB_FIELDS = tuple(name for name in Hob._fields if name != "fixed")


@compiled
def spread_row(wide: FloatArray, narrow: FloatArray) -> None:
    """Repeat a row of a table."""
    lanes = narrow.size
    for k in range(wide.size // lanes):
        for c in range(lanes):
            wide[k * lanes + c] = narrow[c]


@compiled
def spread(wide: Core, fixed: FloatArray, live: FloatArray, cook: FloatArray) -> None:
    """Renew the wide tables' rows that change from step to step."""
    for row in range(live.shape[0]):
        spread_row(wide.live[row], live[row])
    for row in (AMBIENT, SURROUND4):  # a lid takes the place of the room
        spread_row(wide.fixed[row], fixed[row])
    for row in (MASS, MEAN_LAYER):
        spread_row(wide.cook[row], cook[row])


@compiled
def fold(out: FloatArray, total: FloatArray) -> None:
    """Add up sums over the rings, angle by angle: the order is the same for any width."""
    for j in range(total.shape[0]):
        for c in range(total.shape[1]):
            out[c] += total[j, c]
