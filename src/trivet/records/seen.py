"""What each pixel of a frame sees, as a label, and where the pans stood: of truth or estimate.

``stages/simulate`` makes the truth of it and ``stages/estimate`` the product's own;
only a score is given both.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trivet.arrays import FloatArray, Int8Array

Label = Literal["hob", "pan", "liquid", "food", "wall", "lid", "hand", "steam"]
LABELS: tuple[Label, ...] = ("hob", "pan", "liquid", "food", "wall", "lid", "hand", "steam")
"""Liquid: water, or oil and fat of 0.1 mm and more.  Hand: a hand or a face before the scene.
Steam: droplets take 5 % and more of what comes from below.  Hob: all that is none of these."""
STEAM_LOSS_FRAC = 0.05
"""Share of the radiance from below that droplets take where a pixel counts as steam."""


@dataclass(frozen=True)
class LabelMaps:
    """What the pixels of one head see at some moments."""

    head: str
    time_s: FloatArray
    """(moment,) [s]"""
    label: Int8Array
    """(moment, row, col) index in LABELS of what most of the pixel shows."""
    owner: Int8Array
    """(moment, row, col) index in ``burners`` of the rim that it lies in; -1 none."""
    burners: tuple[str, ...]
    area_px: FloatArray
    """(moment, burner, label) area inside the rim, in pixels, parts of pixels counted."""
    area_u_px: FloatArray
    """(moment, burner, label) its standard uncertainty; 0 of the truth."""


@dataclass(frozen=True)
class PanPlace:
    """Where a pan of a simulated cook stood and how uneven it was, arrays (moment, ...)."""

    burner: str
    diameter_m: float
    """Inner diameter of the base."""
    bare_emissivity: float
    """Of its finish, under whatever lies on it."""
    x_m: FloatArray
    """Pan centre from the burner's centre. [m]"""
    y_m: FloatArray
    pan_k: FloatArray
    """Area mean of the metal. [K]"""
    hob_k: FloatArray
    """The hob beside it. [K]"""
    spread_k: FloatArray
    """P95 - P5 of the metal over the pan's area. [K]"""
    ring_k: FloatArray
    """(moment, ring) mean of five rings of equal width. [K]"""
    sector_delta_k: FloatArray
    """(moment, sector) mean of the outer half of each eighth, from the mean of all eight; from +x
    counter-clockwise. [K]"""
    hot_x_m: FloatArray
    """Middle of the hottest 5 cm2, from the burner's centre. [m]"""
    hot_y_m: FloatArray
    hot_reach_m: FloatArray
    """How far the hottest 5 cm2 lie apart, root mean square about their middle. [m]"""
    hot_kps: FloatArray
    """Rate of the hottest 5 cm2. [K/s]"""


@dataclass(frozen=True)
class SceneTruth:
    """What really was before the heads at some moments of a simulated cook."""

    heads: tuple[LabelMaps, ...]
    pans: tuple[PanPlace, ...]
    hands_s: tuple[float, ...]
    """Moments at which a hand begins to reach over the first pan, and is there 2 s. [s]"""
