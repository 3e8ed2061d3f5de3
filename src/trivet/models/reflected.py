"""Reflected radiance: the share of a pan's view that each declared thing fills."""

from __future__ import annotations

import math

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.radiation.path import (
    disc_view_factor,
    rectangle_view_factor,
    upright_view_factor,
)
from trivet.records.surroundings import Mirrored

NEAR_M = 0.02  # a flame nearer than this is the pan's own


def diffuse_share(thing: Mirrored, *, spot_m: tuple[float, float]) -> float:
    """Return the share of the view of a matt surface at a spot that a thing fills. [-]"""
    across, along = float(thing.x_m) - spot_m[0], float(thing.y_m) - spot_m[1]
    glow, height = float(thing.emissivity_frac), max(float(thing.height_m), 1e-3)
    width, depth = float(thing.width_m), float(thing.depth_m)
    if thing.shape == "share":
        return glow * float(thing.view_frac or 0.0)
    if thing.shape == "disc":
        offset = math.hypot(across, along)
        return glow * float(disc_view_factor(width / 2, height_m=height, offset_m=offset))
    if thing.shape == "rectangle":
        x = (across - width / 2, across + width / 2)
        y = (along - depth / 2, along + depth / 2)
        return glow * float(rectangle_view_factor(x, y_m=y, height_m=height))
    apart = math.hypot(across, along)
    if apart < NEAR_M:
        return 0.0
    return glow * float(upright_view_factor(width, height_m=height, distance_m=apart))


def mirror_share(
    thing: Mirrored, *, points_m: FloatArray, eye_m: FloatArray, soft_m: float
) -> FloatArray:
    """Return the share of a thing in what level mirrors at points show to an eye. (point,)

    The ray from the eye goes on at the same slope and meets the height of an
    overhead thing; ``soft_m`` blurs its outline.  Upright things are not seen
    in a level mirror from above.
    """
    glow = float(thing.emissivity_frac)
    if thing.shape == "share":
        return np.full(len(points_m), glow * float(thing.view_frac or 0.0))
    rise = float(thing.height_m) - points_m[:, 2]
    if thing.shape == "upright" or np.any(rise <= 0.0):
        return np.zeros(len(points_m))
    reach = (rise / (eye_m[2] - points_m[:, 2]))[:, None]
    met = points_m[:, :2] + (points_m[:, :2] - eye_m[:2]) * reach
    x, y = met[:, 0] - float(thing.x_m), met[:, 1] - float(thing.y_m)
    half = float(thing.width_m) / 2
    if thing.shape == "disc":
        return np.asarray(glow * np.clip(0.5 - (np.hypot(x, y) - half) / soft_m, 0.0, 1.0))
    inside = np.clip(0.5 - (np.abs(x) - half) / soft_m, 0.0, 1.0)
    deep = float(thing.depth_m) / 2
    return np.asarray(glow * inside * np.clip(0.5 - (np.abs(y) - deep) / soft_m, 0.0, 1.0))
