"""Lens and pose of a head: directions to places on the pixel array, points to pixels, and back.

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
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from numba import njit

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError

LensModel = Literal["rectilinear", "equal-angle", "brown-conrady"]
# what the compiled loops know a model by
MODEL_CODE: dict[str, int] = {
    "rectilinear": 0,
    "equal-angle": 1,
    "brown-conrady": 2,
}


@dataclass(frozen=True)
class Lens:
    """A lens and its pixel array; focal lengths in pixels, separate for rows and columns.

    Brown-Conrady coefficients act on the tangent of the field angle (k1, k2, k3 radial; p1, p2
    tangential) and are zero for the other models.
    """

    model: LensModel
    rows: int
    cols: int
    focal_row_px: float
    focal_col_px: float
    k1: float = 0.0
    k2: float = 0.0
    k3: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    centre_offset_row_px: float = 0.0
    centre_offset_col_px: float = 0.0

    def __post_init__(self) -> None:
        if self.model not in MODEL_CODE:
            raise OutOfRangeError(
                f"lens model {self.model!r} is unknown; allowed: {', '.join(MODEL_CODE)}"
            )
        if self.rows < 1 or self.cols < 1:
            raise OutOfRangeError(
                f"lens rows x cols {self.rows} x {self.cols}; allowed: at least 1"
            )
        if not (self.focal_row_px > 0 and self.focal_col_px > 0):
            raise OutOfRangeError(
                f"focal lengths {self.focal_row_px}, {self.focal_col_px} px; allowed: above 0"
            )

    @property
    def centre_row_px(self) -> float:
        """Row at which the optical axis meets the array."""
        return (self.rows - 1) / 2 + self.centre_offset_row_px

    @property
    def centre_col_px(self) -> float:
        """Column at which the optical axis meets the array."""
        return (self.cols - 1) / 2 + self.centre_offset_col_px

    def vector(self) -> FloatArray:
        """Return the lens as the float vector that the compiled kernels take."""
        return np.array(
            [
                MODEL_CODE[self.model],
                self.focal_row_px,
                self.focal_col_px,
                self.centre_row_px,
                self.centre_col_px,
                self.k1,
                self.k2,
                self.k3,
                self.p1,
                self.p2,
                _monotone_radius(self.k1, self.k2, self.k3),
            ],
            dtype=np.float64,
        )


def _monotone_radius(k1: float, k2: float, k3: float) -> float:
    """Largest tan(field angle) up to which the radial distortion still grows."""
    roots = np.roots([7 * k3, 5 * k2, 3 * k1, 1.0])
    real = roots.real[(abs(roots.imag) < 1e-12) & (roots.real > 0)]
    return float(math.sqrt(real.min())) if real.size else math.inf


def lens_from_fov(
    rows: int,
    *,
    cols: int,
    fov_h_rad: float,
    fov_v_rad: float,
    model: LensModel = "rectilinear",
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0),
) -> Lens:
    """Return the lens whose field of view between outer pixel edges is the stated one.

    rows, cols : size of the pixel array
    fov_h_rad, fov_v_rad : full field of view across the columns and across the rows [rad]
    model : ``rectilinear``, ``equal-angle`` or ``brown-conrady``
    distortion : tuple: k1, k2, k3, p1, p2 of the Brown-Conrady model
    Raises : OutOfRangeError if a field of view is not inside (0, 180 deg), the model is unknown, or
        the distortion folds back inside the field
    Notes : The lens model must be stated: the centre pixel of 32 over 110 deg at 0.75 m is 66.9 mm
        rectilinear and 45.0 mm equal-angle, 48 % apart; over 55 deg it is 24.4 and 22.5 mm.
    Source : D. C. Brown, Photogrammetric Engineering 32 (1966), decentering distortion
        (coefficients in the order used by common vision libraries; from memory)
    """
    for name, fov in (("horizontal", fov_h_rad), ("vertical", fov_v_rad)):
        if not 0 < fov < math.pi:
            raise OutOfRangeError(
                f"{name} field of view {math.degrees(fov):.6g} deg ({model} lens); "
                "allowed: above 0 and below 180 deg"
            )
    k1, k2, k3, p1, p2 = distortion if model == "brown-conrady" else (0.0,) * 5
    limit = _monotone_radius(k1, k2, k3)

    def focal(count: int, fov: float) -> float:
        if model == "equal-angle":
            return count / fov
        t = math.tan(fov / 2)
        if t > limit:
            raise OutOfRangeError(
                f"distortion folds back at {math.degrees(math.atan(limit)):.4g} deg from the axis, "
                f"inside the field of {math.degrees(fov):.4g} deg; check k1, k2, k3"
            )
        return count / 2 / (t * (1 + k1 * t**2 + k2 * t**4 + k3 * t**6))

    return Lens(
        model, rows, cols, focal(rows, fov_v_rad), focal(cols, fov_h_rad), k1, k2, k3, p1, p2
    )


@njit(cache=True)
def distorted(x: float, y: float, lens: Any) -> tuple[float, float]:
    """Return where Brown-Conrady distortion moves a tangent (x, y) of the field angle.

    x, y : float or (...): tangents along columns and rows
    lens : (11,) :meth:`Lens.vector`
    Returns : tuple: distorted tangents
    Notes : k1 = -0.2 pulls a point at 27.5 deg inwards by 5.4 % of its tangent.
    Source : D. C. Brown, Photogrammetric Engineering 32 (1966), from memory
    """
    k1, k2, k3, p1, p2 = lens[5], lens[6], lens[7], lens[8], lens[9]
    r2 = x * x + y * y
    radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
    return (
        x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
        y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
    )


@njit(cache=True)
def _undistorted(u: float, v: float, lens: Any) -> tuple[float, float]:
    """Newton's method on the distortion; NaN where it does not close to 1e-12."""
    k1, k2, k3, p1, p2, limit = lens[5], lens[6], lens[7], lens[8], lens[9], lens[10]
    x, y = u, v
    radius = math.sqrt(u * u + v * v)
    if radius > limit:
        x, y = u / radius * limit * 0.95, v / radius * limit * 0.95
    for _ in range(60):
        a, b = distorted(x, y, lens)
        fu, fv = a - u, b - v
        if abs(fu) + abs(fv) < 1e-14:
            break
        r2 = x * x + y * y
        radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
        slope = 2.0 * (k1 + r2 * (2.0 * k2 + 3.0 * k3 * r2))
        jxx = radial + x * x * slope + 2.0 * p1 * y + 6.0 * p2 * x
        jxy = x * y * slope + 2.0 * p1 * x + 2.0 * p2 * y
        jyy = radial + y * y * slope + 6.0 * p1 * y + 2.0 * p2 * x
        det = jxx * jyy - jxy * jxy
        if det == 0.0:
            return math.nan, math.nan
        x -= (jyy * fu - jxy * fv) / det
        y -= (jxx * fv - jxy * fu) / det
    a, b = distorted(x, y, lens)
    # a root beyond the fold of the radial polynomial is no ray of this lens
    if abs(a - u) + abs(b - v) > 1e-11 or x * x + y * y > 1.02 * limit * limit:
        return math.nan, math.nan
    return x, y


@njit(cache=True)
def camera_ray(row: float, col: float, lens: Any) -> tuple[float, float, float]:
    """Return the ray of a pixel position in camera axes (col, row, depth), not normalised.

    row, col : pixel position [px]
    lens : (11,) :meth:`Lens.vector`
    Returns : tuple of 3 floats: NaN where the lens has no such ray
    Notes : The distortion is inverted by Newton's method to 1e-11 of a tangent.
    Source : Pinhole, equal-angle and Brown-Conrady projection
    """
    u = (col - lens[4]) / lens[2]
    v = (row - lens[3]) / lens[1]
    if lens[0] == 0.0:
        return u, v, 1.0
    if lens[0] == 1.0:
        theta = math.sqrt(u * u + v * v)
        if theta < 1e-12:
            return u, v, 1.0
        if theta >= math.pi:
            return math.nan, math.nan, math.nan
        s = math.sin(theta) / theta
        return u * s, v * s, math.cos(theta)
    x, y = _undistorted(u, v, lens)
    return x, y, 1.0


@njit(cache=True)
def camera_rays(rowcol: Any, lens: Any) -> Any:
    """Return the rays of many pixel positions in camera axes.

    rowcol : (n, 2) row and column [px]
    lens : (11,) :meth:`Lens.vector`
    Returns : (n, 3) as :func:`camera_ray`
    Notes : 15 ns a ray without distortion, 0.1 us with.
    Source : As :func:`camera_ray`
    """
    out = np.empty((rowcol.shape[0], 3))
    for i in range(rowcol.shape[0]):
        out[i, 0], out[i, 1], out[i, 2] = camera_ray(rowcol[i, 0], rowcol[i, 1], lens)
    return out


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
