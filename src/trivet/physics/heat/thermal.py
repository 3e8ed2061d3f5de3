"""Temperature of pans and of what lies in them: a polar finite-volume disc per cook.

The base of a pan is a disc of ``n_r`` x ``n_theta`` cells (24 x 32 unless told
otherwise; the rim is a grid line), the wall a cylinder of rings that carries on
from it.  Each cell carries the base (a sheet, clad or not, with the quasi-steady
step between its mean and its faces), at most one layer on it (water, oil or
food), and below it perhaps the glass or coil of the hob.  Many cooks are solved
at once; cooks are the last axis of every array.

What is *not* here: flow in the liquid other than stirring, heat sideways in the
glass (3 cm in 20 minutes), the part of a zone that no pan covers, a wall's
contact with oil.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat import thermal_cells as tc
from trivet.physics.heat.foodpatch import FoodPatch
from trivet.physics.heat.lids import Lid
from trivet.physics.heat.loads import Layer
from trivet.physics.heat.panchecks import check_figures
from trivet.physics.heat.thermal_batch import LANES, Block
from trivet.physics.heat.thermal_block import run_block
from trivet.physics.heat.thermal_ledger import joined
from trivet.physics.heat.thermal_model import (
    Control,
    EnergyLedger,
    Losses,
    PanBase,
    PanRun,
    PanState,
    RunSettings,
)

__all__ = [
    "Control",
    "EnergyLedger",
    "Losses",
    "PanBase",
    "PanRun",
    "PanState",
    "RunSettings",
    "cell_area_frac",
    "cell_centres",
    "cook_pans",
]

MAX_STEP_S = 2.0


def cell_area_frac(n_r: int = 24, n_theta: int = 32) -> FloatArray:
    """Return the area of each cell as a share of the disc.

    Parameters
    ----------
    n_r, n_theta : int
        Rings and cells a ring.

    Returns
    -------
    (r, theta)
        Shares, sum 1. [-]

    Notes
    -----
    Exact; the innermost of 24 x 32 cells holds 5e-5 of the disc, the outermost 2.6e-3.

    References
    ----------
    Geometry.
    """
    area = tc.unit_grid(n_r, n_theta).area
    return np.repeat(area[:, None], n_theta, axis=1)


def cell_centres(n_r: int = 24, n_theta: int = 32) -> tuple[FloatArray, FloatArray]:
    """Return where the cells lie.

    Parameters
    ----------
    n_r, n_theta : int
        Rings and cells a ring.

    Returns
    -------
    (r,), (theta,)
        Mid radius of the rings as a share of the disc's [-]; mid angles [rad],
        counter-clockwise from +x.

    Notes
    -----
    Middle in radius, not the centroid of the cell: 1.3 % apart in the third ring.

    References
    ----------
    Geometry.
    """
    return (np.arange(n_r) + 0.5) / n_r, (np.arange(n_theta) + 0.5) * 2.0 * np.pi / n_theta


def cook_pans(
    flux_shape_m2: ArrayLike,
    *,
    power_w: ArrayLike,
    pan: PanBase,
    losses: Losses,
    layer: Layer | None = None,
    food: FoodPatch | None = None,
    lid: Lid | None = None,
    run: RunSettings | None = None,
) -> PanRun:
    r"""Return the temperatures of a batch of pans under given heating.

    Solves C dT/dt = div(k d grad T) + q - losses - exchange with the layer.

    Parameters
    ----------
    flux_shape_m2 : (n_r, n_theta, cook)
        Where the heat enters; the area-weighted sum of each cook is 1 or less
        (see ``burners.flux_map``). [1/m2]
    power_w : (step, cook)
        Heat into the pan, mean over each step. [W]
    pan, losses : PanBase, Losses
        The pan and what takes heat away.
    layer : Layer, optional
        Water or oil on the pan, from ``loads``.
    food : FoodPatch, optional
        Food on the pan, from ``foodpatch``; it displaces the layer where it lies.
    lid : Lid, optional
        Lids, from ``lids``.
    run : RunSettings, optional
        Step, recording interval, start and thermostat.

    Returns
    -------
    PanRun
        Records from t = 0 on, ledger and end state.

    Raises
    ------
    InputError
        If shapes do not fit or a value is not physical.
    OutOfRangeError
        If the step is outside (0, 2] s, or the solution leaves 150 to 2500 K.

    Notes
    -----
    Second order in time and space.  On exact disc modes, 20 minutes, 24 x 32
    cells and 1 s steps: under 0.1 K rms.  Halving the grid multiplies the error
    by about four.  A layer is one node between two half resistances: pan minus
    surface is exact for steady and for evenly rising heating, the stored heat
    is low by flux x thickness / 6 k x capacity while the flux changes.

    References
    ----------
    Douglas and Gunn, Numer. Math. 6 (1964) 428 (splitting in delta form);
    Press et al., Numerical Recipes, section 2.7 (cyclic systems).
    """
    settings = run or RunSettings()
    shape = np.ascontiguousarray(flux_shape_m2, dtype=np.float64)
    power = np.asarray(power_w, dtype=np.float64)
    _check_inputs(shape, power, settings)
    check_figures(pan, losses=losses, layer=layer)
    parts = [
        run_block(Block(shape, power, pan, losses, layer or Layer(), food, lid, settings, first))
        for first in range(0, shape.shape[2], LANES)
    ]
    return parts[0] if len(parts) == 1 else joined(parts)


def _check_inputs(shape: FloatArray, power: FloatArray, settings: RunSettings) -> None:
    if shape.ndim != 3:
        raise InputError(f"flux_shape_m2 has shape {shape.shape}; wanted (n_r, n_theta, cook)")
    if power.ndim != 2 or power.shape[1] != shape.shape[2]:
        raise InputError(
            f"power_w has shape {power.shape}; wanted (step, {shape.shape[2]}): one column a cook"
        )
    if power.shape[0] < 1:
        raise InputError("power_w has no step; give one row for every step to run")
    if not np.all(np.isfinite(power)) or np.any(power < 0.0):
        raise InputError("power_w holds a negative or missing value; heating is 0 W or more")
    if not np.all(np.isfinite(shape)) or np.any(shape < 0.0):
        raise InputError("flux_shape_m2 holds a negative or missing value")
    if not 0.0 < settings.step_s <= MAX_STEP_S:
        raise OutOfRangeError(
            f"step_s is {settings.step_s}; allowed: above 0, up to {MAX_STEP_S} s "
            "(beyond it boiling and radiation are not followed to the stated accuracy)"
        )
    if settings.record_every < 1:
        raise InputError(f"record_every is {settings.record_every}; wanted 1 step or more")
