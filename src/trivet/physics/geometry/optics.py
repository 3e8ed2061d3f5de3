"""The pose of a head: points to pixels and back.

Cooktop plane z = 0, x to the right, y away from the cook, z up. A head hangs at (x, y, height) and,
with all angles zero, looks straight down with image columns along +x and image rows along -y.
Angles act in the order roll (about the optical axis), tilt (about the x axis, positive towards +y),
pan (about the vertical); roll and pan turn counter-clockwise seen from above, so that for a head
without tilt they add up and cannot be told apart. Pixel centres lie at whole (row, col); the field
ends at -0.5 and n - 0.5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.geometry.lens import Lens, LensModel, camera_rays, distorted, lens_from_fov

__all__ = [
    "Lens",
    "LensModel",
    "Pose",
    "footprint_m",
    "lens_from_fov",
    "pixel_of_point",
    "point_of_pixel",
    "ray_of_pixel",
    "view_angle_rad",
]


@dataclass(frozen=True)
class Pose:
    """Where a head hangs and where it looks (module docstring for the order of angles)."""

    x_m: float
    y_m: float
    height_m: float
    tilt_rad: float = 0.0
    pan_rad: float = 0.0
    roll_rad: float = 0.0

    def __post_init__(self) -> None:
        if not self.height_m > 0:
            raise OutOfRangeError(
                f"mount height {self.height_m} m: the head must hang above the cooktop (height > 0)"
            )

    @property
    def eye_m(self) -> FloatArray:
        """The head's position. [m]"""
        return np.array([self.x_m, self.y_m, self.height_m])

    def rotation(self) -> FloatArray:
        """Return the 3 x 3 matrix that takes camera axes (col, row, depth) to world axes."""
        ct, st = math.cos(self.tilt_rad), math.sin(self.tilt_rad)
        tilt = np.array([[1.0, 0.0, 0.0], [0.0, ct, -st], [0.0, st, ct]])
        down = np.diag([1.0, -1.0, -1.0])
        return np.asarray(_about_z(self.pan_rad) @ tilt @ _about_z(self.roll_rad) @ down)


def _about_z(angle_rad: float) -> FloatArray:
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def ray_of_pixel(rowcol: npt.ArrayLike, *, lens: Lens, pose: Pose) -> FloatArray:
    """Return the world direction in which a pixel position looks.

    rowcol : (..., 2) row and column, fractions allowed [px]
    lens, pose : of the head
    Returns : (..., 3) unit vectors; NaN where the distortion has no inverse
    Notes : Closes with :func:`pixel_of_point` to 1e-9 px inside the field.
    Source : As :func:`pixel_of_point`
    """
    px = np.ascontiguousarray(rowcol, dtype=np.float64)
    rays = camera_rays(px.reshape(-1, 2), lens.vector()) @ pose.rotation().T
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    return np.asarray(rays.reshape((*px.shape[:-1], 3)))


def pixel_of_point(points_m: npt.ArrayLike, *, lens: Lens, pose: Pose) -> FloatArray:
    """Return where points appear in the image.

    points_m : (..., 3) world points [m]
    lens, pose : of the head
    Returns : (..., 2) row and column [px], also outside the field; NaN behind the lens or beyond
        the fold of the distortion
    Notes : One degree of tilt moves a point 0.76 m below by 13.3 mm, half a pixel of a 32 x 24
        array over 55 deg.
    Source : Pinhole and equal-angle projection; Brown-Conrady distortion
    """
    points = np.asarray(points_m, dtype=np.float64)
    cam = (points - pose.eye_m) @ pose.rotation()
    x, y, z = cam[..., 0], cam[..., 1], cam[..., 2]
    depth = np.where(z > 0, z, np.nan)
    u, v = x / depth, y / depth
    if lens.model == "equal-angle":
        rho = np.hypot(x, y)
        scale = np.where(rho > 1e-12 * depth, np.arctan2(rho, depth) / np.maximum(rho, 1e-300), 1.0)
        scale = np.where(rho > 1e-12 * depth, scale, 1.0 / depth)
        u, v = x * scale, y * scale
    elif lens.model == "brown-conrady":
        folded = np.hypot(u, v) > lens.vector()[10]
        forward: Any = distorted  # compiled for arrays as well as for numbers
        u, v = forward(np.where(folded, np.nan, u), v, lens.vector())
    return np.stack(
        [lens.centre_row_px + lens.focal_row_px * v, lens.centre_col_px + lens.focal_col_px * u],
        axis=-1,
    )


def point_of_pixel(
    rowcol: npt.ArrayLike, *, lens: Lens, pose: Pose, plane_height_m: float = 0.0
) -> FloatArray:
    """Return where the ray of a pixel position meets a horizontal plane.

    rowcol : (..., 2) row and column, fractions allowed [px]
    lens, pose : of the head
    plane_height_m : height of the plane above the cooktop [m]
    Returns : (..., 3) world points [m]; NaN for rays that never meet the plane
    Raises : OutOfRangeError if the plane is not below the head
    Notes : A plane taken 50 mm too low under a head at 0.76 m puts a point 0.3 m off nadir wrong by
        21 mm: use the height of what is looked at.
    Source : As :func:`pixel_of_point`
    """
    drop = pose.height_m - plane_height_m
    if not drop > 0:
        raise OutOfRangeError(
            f"plane at {plane_height_m} m is not below the head at {pose.height_m} m"
        )
    rays = ray_of_pixel(rowcol, lens=lens, pose=pose)
    down = np.where(rays[..., 2] < -1e-9, -rays[..., 2], np.nan)
    return np.asarray(pose.eye_m + rays * (drop / down)[..., None])


def footprint_m(
    lens: Lens, pose: Pose, *, plane_height_m: float = 0.0, rowcol: npt.ArrayLike | None = None
) -> FloatArray:
    """Return the size on a plane of what each pixel sees (geometry only, no blur).

    lens, pose : of the head
    plane_height_m : height of the plane [m]
    rowcol : (..., 2), optional pixel positions; all pixels when left out
    Returns : (row, col, 2) or (..., 2) distance between the mid-points of opposite pixel edges:
        first across rows, then across columns [m]
    Raises : OutOfRangeError if the plane is not below the head
    Notes : On a tilted ray at angle a from nadir the footprint grows as 1/cos(a)^2 along the slope
        (doubled at 45 deg) and as 1/cos(a) across it.
    Source : Plane geometry: (D / cos a) IFOV / cos a
    """
    if rowcol is None:
        rowcol = np.moveaxis(np.indices((lens.rows, lens.cols)), 0, -1)
    px = np.asarray(rowcol, dtype=np.float64)
    sizes = []
    for step in (np.array([0.5, 0.0]), np.array([0.0, 0.5])):
        ends = [
            point_of_pixel(px + s * step, lens=lens, pose=pose, plane_height_m=plane_height_m)
            for s in (-1.0, 1.0)
        ]
        sizes.append(np.linalg.norm(ends[1] - ends[0], axis=-1))
    return np.stack(sizes, axis=-1)


def view_angle_rad(points_m: npt.ArrayLike, *, pose: Pose) -> FloatArray:
    """Return the angle between the line of sight and the vertical at points.

    points_m : (..., 3) world points below the head [m]
    Returns : (...) angle from the normal of a horizontal surface [rad]
    Notes : Band emissivity of a liquid holds to about 50 deg and falls beyond 65 deg; that of a
        film on metal rises with the angle.
    Source : Rees and James, Int. J. Remote Sensing 13 (15), 1992, for water to 65 deg
    """
    ray = np.asarray(points_m, dtype=np.float64) - pose.eye_m
    return np.asarray(np.arctan2(np.hypot(ray[..., 0], ray[..., 1]), np.abs(ray[..., 2])))
