"""What of a pan a head sees: share in view, margin, pixels across, and the spot of a pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.geometry.optics import (
    Lens,
    Pose,
    pixel_of_point,
    ray_of_pixel,
    view_angle_rad,
)


@lru_cache(maxsize=1)
def _nodes() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of the quadrature; finding them costs more than using them."""
    node, weight = np.polynomial.legendre.leggauss(400)
    return node, weight


def _box_blur_cdf(x: FloatArray, sigma_px: float) -> FloatArray:
    """Distribution function of a unit pixel box convolved with a Gaussian."""
    if sigma_px == 0:
        return np.clip(x + 0.5, 0.0, 1.0)

    def ramp(z: FloatArray) -> FloatArray:
        return np.asarray(
            z * ndtr(z / sigma_px)
            + sigma_px * np.exp(-0.5 * (z / sigma_px) ** 2) / math.sqrt(2 * math.pi)
        )

    return ramp(x + 0.5) - ramp(x - 0.5)


def _box_blur_density(x: FloatArray, sigma_px: float) -> FloatArray:
    if sigma_px == 0:
        return np.where(np.abs(x) <= 0.5, 1.0, 0.0)
    return np.asarray(ndtr((x + 0.5) / sigma_px) - ndtr((x - 0.5) / sigma_px))


def size_of_source_loss_frac(diameter_px: npt.ArrayLike, *, sigma_px: float) -> FloatArray:
    """Return the share of a pixel's energy that comes from outside a centred disc.

    diameter_px : (...) diameter of the disc in pixels [px]
    sigma_px : standard deviation of the Gaussian blur [px]
    Returns : (...) loss, 0 to 1
    Raises : OutOfRangeError if the blur or a diameter is negative
    Notes : Numerical error under 1e-5. Only the Gaussian core is in it: real optics carry a wide
        halo on top, which is why practice asks for 10 x 10 pixels. Five percent of a pixel's energy
        from 60 C surroundings costs 6.5 K at 230 C.
    Source : Integral of the blurred pixel box over a disc; own derivation
    """
    d = np.asarray(diameter_px, dtype=np.float64)
    if sigma_px < 0 or np.any(d < 0):
        raise OutOfRangeError(f"blur {sigma_px} px and disc diameters must not be negative")
    # x = r sin(t) removes the square-root ends of the half chord; beyond `reach` lies nothing
    node, weight = _nodes()
    reach = 0.5 + 9.0 * sigma_px
    r = np.maximum(d, 1e-300)[..., None] / 2
    span = np.arcsin(np.minimum(1.0, reach / r))
    t = node * span
    step = _box_blur_density(r * np.sin(t), sigma_px) * r * np.cos(t) * weight * span
    chord = 2 * _box_blur_cdf(r * np.cos(t), sigma_px) - 1
    return np.asarray(np.clip(1.0 - (step * chord).sum(-1), 0.0, 1.0))


def spot_factor(sigma_px: float, *, energy_frac: float = 0.95) -> float:
    """Return the diameter in pixels of the disc that holds a share of a pixel's energy.

    sigma_px : standard deviation of the Gaussian blur [px]
    energy_frac : share to be held, 0 to 1
    Returns : diameter [px]
    Raises : OutOfRangeError if the share is not inside (0, 1) or the blur is negative
    Notes : 95 %: 1.20 px without blur, 2.39 px at 0.4 px, 3.25 px at 0.6 px: practice says two to
        three times the geometric pixel.
    Source : Imaging application notes (secondary) for the factor two to three
    """
    if not 0 < energy_frac < 1:
        raise OutOfRangeError(f"energy share {energy_frac}; allowed: inside (0, 1)")
    low, high = 0.0, 2.0 + 12.0 * sigma_px
    for _ in range(50):
        middle = (low + high) / 2
        loss = float(size_of_source_loss_frac(middle, sigma_px=sigma_px))
        low, high = (middle, high) if loss > 1 - energy_frac else (low, middle)
    return (low + high) / 2


def rim_loss_frac(inside_px: npt.ArrayLike, *, sigma_px: float) -> FloatArray:
    """Return the share of a pixel's energy from beyond a straight rim.

    inside_px : (...) distance of the pixel's centre to the rim, positive inside [px]
    sigma_px : standard deviation of the Gaussian blur [px]
    Returns : (...) loss, 0 to 1
    Raises : OutOfRangeError if the blur is negative
    Notes : One pixel inside: 0 without blur, 2.0 % at 0.4 px, 6.7 % at 0.6 px; a curved rim of 10
        pixels across adds under 2 % of the energy.
    Source : Integral of the blurred pixel box over a half plane; own derivation
    """
    if sigma_px < 0:
        raise OutOfRangeError(f"blur {sigma_px} px must not be negative")
    return np.asarray(1.0 - _box_blur_cdf(np.asarray(inside_px, dtype=np.float64), sigma_px))


def misplaced_loss_frac(
    radius_px: npt.ArrayLike, *, inside_px: float, offset_px: npt.ArrayLike, sigma_px: float
) -> FloatArray:
    """Return what a misplaced rim adds to the share of a trimmed disc's signal from beyond it.

    radius_px : (...) radius of the pan in the picture [px]
    inside_px : how far inside the believed rim the pixels that are read end; half of the radius at
        most is trimmed [px]
    offset_px : (...) distance of the believed centre from the true one [px]
    sigma_px : standard deviation of the Gaussian blur [px]
    Returns : (...) mean loss over the pixels read less that without a shift, 0 to 1
    Raises : OutOfRangeError if the blur, the trim or a shift is negative, or a radius is not
        positive
    Notes : Each pixel loses what lies beyond a straight rim at its distance. For a pan of 10 pixels
        across, one pixel trimmed and a blur of 0.5 px a shift of 0.5, 1 and 2 px adds 0.5, 2.6 and
        12.8 %; with the rim's curvature 0.6, 2.8 and 13.3 %, for 6 pixels across a fifth more than
        is said here.
    Source : Mean of :func:`rim_loss_frac` over a disc; own derivation
    """
    radius, shift = np.broadcast_arrays(
        np.asarray(radius_px, dtype=np.float64), np.asarray(offset_px, dtype=np.float64)
    )
    if sigma_px < 0 or inside_px < 0 or np.any(shift < 0) or not np.all(radius > 0):
        raise OutOfRangeError(
            f"blur {sigma_px} px, trim {inside_px} px and shifts must not be negative, radii must"
            " be positive"
        )
    kept = np.maximum(radius - inside_px, radius / 2)[..., None, None]
    ring = np.sqrt((np.arange(24) + 0.5) / 24)[:, None]
    turn = math.pi * (np.arange(24) + 0.5) / 24
    across = kept * ring * np.cos(turn) + shift[..., None, None]
    along = kept * ring * np.sin(turn)
    own = rim_loss_frac(radius[..., None, None] - kept * ring, sigma_px=sigma_px)
    moved = rim_loss_frac(radius[..., None, None] - np.hypot(across, along), sigma_px=sigma_px)
    return np.asarray(np.maximum((moved - own).mean(axis=(-1, -2)), 0.0))


DISC_POINTS = 2000  # own estimate: 0.3 % of the area
ENOUGH_PIXELS_ACROSS = 10.0  # Pusnik & Gersak 2021, Sensors 21(2) 607: fill 10 x 10, use 3 x 3
HORIZON_M = 1000.0  # own estimate: where rays at the horizon end in a drawing


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
    reach = np.minimum(reach, HORIZON_M / np.maximum(flat, 1e-12))
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


def disc_points(
    centre_m: npt.ArrayLike, *, radius_m: float, points: int = DISC_POINTS
) -> FloatArray:
    """Return points that each stand for an equal area of a horizontal disc.

    centre_m : (3,) centre [m]
    radius_m : radius [m]
    points : how many
    Returns : (point, 3) world points [m]
    Notes : 2,000 points give a share of the area to about 0.3 % of it.
    Source : Rings of constant area with turns by the golden angle; common practice, no source
    """
    i = np.arange(points)
    radius = radius_m * np.sqrt((i + 0.5) / points)
    angle = i * math.pi * (3.0 - math.sqrt(5.0))
    flat = np.stack([np.cos(angle), np.sin(angle), np.zeros(points)], axis=-1)
    return np.asarray(np.asarray(centre_m, dtype=np.float64) + radius[:, None] * flat)


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
    points = disc_points([*centre, rim_height_m], radius_m=reach, points=4000)
    seen = pixel_of_point(points, lens=lens, pose=pose)
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
