"""What of a pan a head sees: share in view, margin, pixels across, measurable spot."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.geometry.optics import (
    Lens,
    Pose,
    footprint_m,
    pixel_of_point,
    ray_of_pixel,
    view_angle_rad,
)
from trivet.physics.geometry.spot import psf_loss_frac, size_of_source_loss_frac, spot_factor

__all__ = [
    "MeasurableSpot",
    "RimCoverage",
    "field_outline_m",
    "measurable_spot",
    "pixels_across",
    "psf_loss_frac",
    "rim_coverage",
    "size_of_source_loss_frac",
    "spot_factor",
]

ENOUGH_PIXELS_ACROSS = 10.0  # Pusnik & Gersak 2021, Sensors 21(2) 607: fill 10 x 10, use 3 x 3
FAR_M = 1000.0


@dataclass(frozen=True)
class RimCoverage:
    """How a pan's rim, widened by a margin, lies in the field of one head."""

    in_view_frac: float
    margin_m: float
    pixels_across: float
    angle_rad: float

    @property
    def complete(self) -> bool:
        """Whether the whole rim with its margin is in view."""
        return self.margin_m >= 0.0

    @property
    def enough_pixels(self) -> bool:
        """Whether the 10 x 10 rule of accurate readings is met."""
        return self.pixels_across >= ENOUGH_PIXELS_ACROSS


@dataclass(frozen=True)
class MeasurableSpot:
    """Pixel footprint and the larger spot that must be filled for an accurate reading."""

    footprint_m: float
    spot_m: float
    loss_frac: float
    pixels_across: float
    enough_pixels: bool


def field_outline_m(
    lens: Lens, pose: Pose, *, plane_height_m: float = 0.0, per_side: int = 240
) -> FloatArray:
    """Return the outline of the field of view on a horizontal plane.

    lens, pose : of the head
    plane_height_m : height of the plane [m]
    per_side : points a side
    Returns : (point, 2) corners x, y in image order [m]; rays at or above the horizon end 1 km away
    Raises : OutOfRangeError if the plane is not below the head
    Notes : Exact for a rectilinear lens (straight sides); for 110 deg equal-angle at 0.76 m, 240
        points a side keep the chord error under 0.01 mm.
    Source : Projection of the array's border; see optics.py
    """
    drop = pose.height_m - plane_height_m
    if not drop > 0:
        raise OutOfRangeError(
            f"plane at {plane_height_m} m is not below the head at {pose.height_m} m"
        )
    s = np.arange(per_side) / per_side
    low, high_r, high_c = -0.5, lens.rows - 0.5, lens.cols - 0.5
    along_c, along_r = low + s * lens.cols, low + s * lens.rows
    sides = [
        np.stack([np.full_like(s, low), along_c], -1),
        np.stack([along_r, np.full_like(s, high_c)], -1),
        np.stack([np.full_like(s, high_r), high_c - s * lens.cols], -1),
        np.stack([high_r - s * lens.rows, np.full_like(s, low)], -1),
    ]
    rays = ray_of_pixel(np.concatenate(sides), lens=lens, pose=pose)
    rays = rays[np.isfinite(rays).all(axis=1)]
    flat = np.hypot(rays[:, 0], rays[:, 1])
    reach = np.where(rays[:, 2] < 0, drop / np.maximum(-rays[:, 2], 1e-12), np.inf)
    reach = np.minimum(reach, FAR_M / np.maximum(flat, 1e-12))
    return np.asarray(pose.eye_m[:2] + rays[:, :2] * reach[:, None])


def _signed_distance_m(point: FloatArray, outline: FloatArray) -> float:
    """Distance of a point to a closed outline, positive inside."""
    a, b = outline, np.roll(outline, -1, axis=0)
    edge, to = b - a, point - a
    t = np.clip((to * edge).sum(1) / np.maximum((edge**2).sum(1), 1e-300), 0.0, 1.0)
    distance = float(np.hypot(*(to - t[:, None] * edge).T).min())
    crosses = (a[:, 1] > point[1]) != (b[:, 1] > point[1])
    rise = np.where(crosses, b[:, 1] - a[:, 1], 1.0)
    x_at = a[:, 0] + (point[1] - a[:, 1]) * edge[:, 0] / rise
    inside = int((crosses & (point[0] < x_at)).sum()) % 2 == 1
    return distance if inside else -distance


def _disc_points(centre: FloatArray, radius_m: float, height_m: float) -> FloatArray:
    """Points of equal area over a disc (rings of constant area, golden-angle turns)."""
    n = 4000
    i = np.arange(n)
    r, a = radius_m * np.sqrt((i + 0.5) / n), i * math.pi * (3 - math.sqrt(5))
    return np.stack(
        [centre[0] + r * np.cos(a), centre[1] + r * np.sin(a), np.full(n, height_m)], -1
    )


def rim_coverage(
    centre_m: npt.ArrayLike,
    *,
    diameter_m: float,
    rim_height_m: float,
    lens: Lens,
    pose: Pose,
    margin_m: float = 0.010,
) -> RimCoverage:
    """Return how much of a pan's rim a head sees and with how much to spare.

    centre_m : (2,) centre of the burner on the cooktop [m]
    diameter_m, rim_height_m : rim of the pan: diameter and height above the cooktop [m]
    lens, pose : of the head
    margin_m : ring around the rim that must be seen too [m]
    Returns : share of the area of rim and ring in view; shortest distance at rim height from the
        ring to the edge of the field (negative: it sticks out by that much) [m]; the fewest pixels
        across the rim; angle of view at the centre [rad]
    Raises : OutOfRangeError for a diameter or margin that is not positive, or a rim at or above the
        head
    Notes : The margin agrees with the analytic pinhole to 0.01 mm, the share to 0.2 % of the area.
        A head 10 mm lower at 0.70 m over 55 x 35 deg loses 3.2 mm of margin at the front edge.
    Source : Pinhole geometry: W = 2 D tan(FOV / 2)
    """
    if not diameter_m > 0 or margin_m < 0:
        raise OutOfRangeError(
            f"rim diameter {diameter_m} m, margin {margin_m} m; allowed: above 0 and at least 0"
        )
    centre = np.asarray(centre_m, dtype=np.float64)[:2]
    outline = field_outline_m(lens, pose, plane_height_m=rim_height_m)
    reach = diameter_m / 2 + margin_m
    spare = _signed_distance_m(centre, outline) - reach
    seen = pixel_of_point(_disc_points(centre, reach, rim_height_m), lens=lens, pose=pose)
    inside = (np.abs(seen[:, 0] - (lens.rows - 1) / 2) <= lens.rows / 2) & (
        np.abs(seen[:, 1] - (lens.cols - 1) / 2) <= lens.cols / 2
    )
    share = 1.0 if spare >= 0 else float(inside.mean())
    across = pixels_across(
        centre, diameter_m=diameter_m, height_m=rim_height_m, lens=lens, pose=pose
    )
    angle = view_angle_rad(np.array([*centre, rim_height_m]), pose=pose)
    return RimCoverage(share, float(spare), across, float(angle))


def pixels_across(
    centre_m: npt.ArrayLike, *, diameter_m: float, height_m: float, lens: Lens, pose: Pose
) -> float:
    """Return the fewest pixels across a horizontal disc, over all its diameters.

    centre_m : (2,) centre on the cooktop [m]
    diameter_m, height_m : disc: diameter, height above the cooktop [m]
    lens, pose : of the head
    Returns : pixels [px]; NaN when the disc is not wholly before the lens
    Notes : A 200 mm pan at 0.76 m: 8 across for 32 x 24 over 55 x 35 deg, 3 over 110 x 75 deg, 22
        for 80 x 60 over 51 deg.
    Source : Projection of the rim; see optics.py
    """
    angle = np.linspace(0.0, math.pi, 90, endpoint=False)
    ends = []
    for turn in (0.0, math.pi):
        rim = np.stack([np.cos(angle + turn), np.sin(angle + turn)], -1) * diameter_m / 2
        rim = rim + np.asarray(centre_m, dtype=np.float64)[:2]
        points = np.concatenate([rim, np.full((len(rim), 1), height_m)], axis=1)
        ends.append(pixel_of_point(points, lens=lens, pose=pose))
    return float(np.hypot(*(ends[1] - ends[0]).T).min())


def measurable_spot(
    centre_m: npt.ArrayLike,
    *,
    diameter_m: float,
    height_m: float,
    lens: Lens,
    pose: Pose,
    sigma_px: float,
) -> MeasurableSpot:
    """Return footprint, measurable spot and size-of-source loss for a pan.

    centre_m : (2,) centre of the pan [m]
    diameter_m, height_m : pan base: diameter, height above the cooktop [m]
    lens, pose : of the head
    sigma_px : standard deviation of the Gaussian blur [px]
    Returns : larger side of the footprint at the centre [m], diameter of the spot that holds 95 %
        of a pixel's energy [m], loss of a centre pixel [-], pixels across and whether the 10 x 10
        rule holds
    Notes : Footprint within 0.01 % of 2 D tan(FOV/2)/n at nadir.
    Source : Pusnik and Gersak 2021, Sensors 21(2) 607, for the 10 x 10 rule
    """
    centre = np.asarray(centre_m, dtype=np.float64)[:2]
    px = pixel_of_point(np.array([*centre, height_m]), lens=lens, pose=pose)
    side = float(footprint_m(lens, pose, plane_height_m=height_m, rowcol=px).max())
    n = pixels_across(centre, diameter_m=diameter_m, height_m=height_m, lens=lens, pose=pose)
    loss = float(size_of_source_loss_frac(n, sigma_px=sigma_px)) if math.isfinite(n) else math.nan
    return MeasurableSpot(side, side * spot_factor(sigma_px), loss, n, n >= ENOUGH_PIXELS_ACROSS)
