"""Which pixels the firmware reads on a burner, for each size of pan, and how much each counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import IntArray
from trivet.facts.thresholds import threshold
from trivet.physics.image.panfinder import BurnerRegion
from trivet.physics.image.panreading import rim_trim_m
from trivet.records.sensorcard import SensorCard

PLACED_M = threshold("device_placed_m")
"""How far off its burner a pan may stand: the margin of the rims that predict asks for too."""
HOTTEST_M2 = threshold("hottest_area_m2")


@dataclass(frozen=True)
class Mask:
    """The pixels of one size of pan on one burner."""

    pixel: IntArray
    weight: IntArray
    """0 in the rim, where blur mixes the pan with what lies beside it; to 255 inside."""
    hot: IntArray
    """First pixels of the little windows."""
    edge: bool
    unread: float
    """Share of the pan's base in the unread rim."""


def hot_side(region: BurnerRegion) -> int:
    """Return how many pixels make one side of a square of 5 cm2."""
    return max(1, round(float(np.sqrt(HOTTEST_M2)) / region.pitch_m))


def pan_mask(region: BurnerRegion, *, radius_m: float, card: SensorCard, side: int) -> Mask:
    """Return the mask of a pan of a given radius in the middle of its burner.

    A pixel counts where its centre lies inside the rim by half a pixel, twice the blur
    and what the pan may stand off. Its weight is the area of its footprint that lies
    inside; what that leaves of the pan is its unread rim.
    """
    cols = card.cols
    distance = np.hypot(region.x_m, region.y_m)
    trim = rim_trim_m(float(card.blur_px), footprint_m=region.pitch_m) + PLACED_M
    share = np.clip((radius_m - trim - distance) / region.pitch_m + 0.5, 0.0, 1.0)
    area = share * region.area_m2
    weight = np.rint(255.0 * area / max(float(area.max()), 1e-12)).astype(np.int64)
    unread = float(np.clip(1.0 - area.sum() / (np.pi * radius_m**2), 0.0, 1.0))
    wide = (distance <= radius_m - 0.5 * region.pitch_m) | (weight > 0)
    place = (region.rows * cols + region.cols)[wide].astype(np.int64)
    known = set(place.tolist())
    steps = [i * cols + k for i in range(side) for k in range(side)]
    fits = (region.cols[wide] <= cols - side) & (region.rows[wide] <= card.rows - side)
    hot = [p for p in place[fits].tolist() if all(p + step in known for step in steps)]
    return Mask(
        place, weight[wide], np.array(hot, dtype=np.int64), bool(region.edge_m < radius_m), unread
    )
