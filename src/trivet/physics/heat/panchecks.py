"""Refusal of figures that no pan, hob or layer can have, before the first step."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.errors import InputError
from trivet.physics.heat.loads import Layer
from trivet.physics.heat.thermal_model import Losses, PanBase

Figures = dict[str, ArrayLike]


def check_figures(pan: PanBase, *, losses: Losses, layer: Layer | None) -> None:
    """Refuse figures that are not physical, by name.

    Parameters
    ----------
    pan : PanBase
        With its wall.
    losses : Losses
        With its hob.
    layer : Layer or None
        What lies on the pan.

    Returns
    -------
    None
        All figures are physical.

    Raises
    ------
    InputError
        If a figure that must be above 0 is not, one that must not be negative
        is, or a share lies outside its range.

    Notes
    -----
    Missing numbers (NaN) are refused everywhere.
    """
    positive: Figures = {
        "radius_m": pan.radius_m,
        "sheet_w_k": pan.sheet_w_k,
        "areal_j_m2k": pan.areal_j_m2k,
        "ambient_k": losses.ambient_k,
        "surround_k": losses.surround_k,
        "below_k": losses.below_k,
    }
    nothing_less: Figures = {"face_m2k_w": pan.face_m2k_w, "cross_m2k_w": pan.cross_m2k_w}
    shares: Figures = {
        "top_emissivity": losses.top_emissivity,
        "bottom_emissivity": losses.bottom_emissivity,
    }
    wall, hob = pan.wall, losses.hob
    if wall is not None:
        positive |= {"wall areal_j_m2k": wall.areal_j_m2k, "liquid_kg_m3": wall.liquid_kg_m3}
        nothing_less |= {
            "wall height_m": wall.height_m,
            "wall sheet_w_k": wall.sheet_w_k,
            "wall wet_w_m2k": wall.wet_w_m2k,
            "wall loss_w_m2k": wall.loss_w_m2k,
        }
        shares["wall heat_frac"] = wall.heat_frac
        if wall.rings < 1:
            raise InputError(f"wall rings is {wall.rings}; allowed: 1 or more")
    if hob is not None:
        positive["hob areal_j_m2k"] = np.where(np.asarray(hob.on), hob.areal_j_m2k, 1.0)
        nothing_less |= {
            "hob gap_w_m2k": hob.gap_w_m2k,
            "hob contact_w_m2k": hob.contact_w_m2k,
            "hob series_m2k_w": hob.series_m2k_w,
            "hob loss_w_m2k": hob.loss_w_m2k,
        }
        shares |= {"hob heat_frac": hob.heat_frac, "hob exchange_frac": hob.exchange_frac}
    if layer is not None:
        nothing_less["mass_kg"] = layer.mass_kg
        shares |= {"emissivity": layer.emissivity, "cover_frac": layer.cover_frac}
    _refuse(positive, nothing_less, shares)


def _refuse(positive: Figures, nothing_less: Figures, shares: Figures) -> None:
    for name, value in positive.items():
        if not np.all(np.asarray(value) > 0.0):
            raise InputError(f"{name} is {np.asarray(value)}; allowed: above 0")
    for name, value in nothing_less.items():
        if not np.all(np.asarray(value) >= 0.0):
            raise InputError(f"{name} is {np.asarray(value)}; allowed: 0 or more")
    for name, value in shares.items():
        if not np.all((np.asarray(value) >= 0.0) & (np.asarray(value) <= 1.0)):
            raise InputError(f"{name} is {np.asarray(value)}; allowed: 0 to 1")
