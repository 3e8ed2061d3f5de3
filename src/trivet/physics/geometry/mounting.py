"""Fields of several heads over one cooktop, and how a mount's errors move them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from numba import njit

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.geometry.coverage import disc_points
from trivet.physics.geometry.optics import Lens, Pose, distorted, pixel_of_point, point_of_pixel

LINE_POINTS = 20_001  # own estimate: steps of 0.1 mm for heads 0.8 m apart
LINE_REACH = 3.0  # own estimate: times the distance of the fields, the length searched


def in_field(points_m: npt.ArrayLike, *, lens: Lens, pose: Pose) -> BoolArray:
    """Return which points lie in a head's field of view.

    points_m : (..., 3) world points [m]
    lens, pose : of the head
    Returns : (...) true inside the outer pixel edges
    Notes : Exact; a point on the edge counts as inside.
    Source : Projection of optics.py
    """
    seen = pixel_of_point(points_m, lens=lens, pose=pose)
    row, col = seen[..., 0], seen[..., 1]
    return np.asarray(
        (row >= -0.5) & (row <= lens.rows - 0.5) & (col >= -0.5) & (col <= lens.cols - 0.5)
    )


def union_frac(
    centre_m: npt.ArrayLike, *, radius_m: float, heads: Sequence[tuple[Lens, Pose]]
) -> float:
    """Return the share of a disc that at least one head has in its field.

    centre_m : (3,) centre of the disc [m]
    radius_m : its radius [m]
    heads : sequence of (Lens, Pose): the heads
    Returns : share, 0 to 1
    Raises : InputError without a head
    Notes : Sampled with 2,000 points: 0.3 % of the area; 1 means that none of them is outside.
    Source : As :func:`disc_points`
    """
    if not heads:
        raise InputError("union of fields: at least one head is needed")
    points = disc_points(centre_m, radius_m=radius_m)
    seen = np.zeros(len(points), dtype=bool)
    for lens, pose in heads:
        seen |= in_field(points, lens=lens, pose=pose)
    return float(seen.mean())


def overlap_width_m(
    one: tuple[Lens, Pose], *, other: tuple[Lens, Pose], plane_height_m: float = 0.0
) -> float:
    """Return how far two fields overlap on a plane, along the line between their centres.

    one, other : (Lens, Pose) the heads
    plane_height_m : height of the plane [m]
    Returns : width of the overlap [m]; negative is the width of the gap between the fields; NaN
        where an optical axis does not meet the plane
    Raises : OutOfRangeError if the plane is not below a head
    Notes : The line is cut into steps of 1/20,000 of three times the fields' distance (for heads
        over one point: of 6 m): good to 0.2 mm for heads 0.8 m apart.
    Source : Projection of optics.py
    """
    centres = []
    for lens, pose in (one, other):
        middle = np.array([lens.centre_row_px, lens.centre_col_px])
        centres.append(point_of_pixel(middle, lens=lens, pose=pose, plane_height_m=plane_height_m))
    step = centres[1] - centres[0]
    apart = float(np.hypot(step[0], step[1]))
    if not math.isfinite(apart):
        return math.nan
    way = step / apart if apart > 1e-9 else np.array([1.0, 0.0, 0.0])
    length = LINE_REACH * apart if apart > 1e-9 else 6.0
    along = np.linspace(-0.5, 0.5, LINE_POINTS) * length
    line = (centres[0] + centres[1]) / 2 + along[:, None] * way
    first, second = (in_field(line, lens=lens, pose=pose) for lens, pose in (one, other))
    pitch = length / (LINE_POINTS - 1)
    both = first & second
    if both.any():
        return float(both.sum()) * pitch
    if not (first.any() and second.any()):
        return math.nan
    return float(along[first].max() - along[second].min())


RIM_POINTS = 72  # own estimate: 0.15 mm on a 300 mm pan
DIAMETERS = 45  # own estimate: every 4 degrees
_TURN = 2.0 * math.pi * np.arange(RIM_POINTS) / RIM_POINTS
COS, SIN = np.cos(_TURN), np.sin(_TURN)


@dataclass(frozen=True)
class MountSpread:
    """Errors of a mount: of each coordinate and of each of three angles.

    The angles turn the head about the world's x axis (front to back), y axis (sideways) and z axis,
    after its nominal pose. ``rectangular`` reads the numbers as half-widths, ``normal`` as standard
    deviations.
    """

    position_m: float
    angle_rad: float
    shape: Literal["rectangular", "normal"] = "rectangular"

    def __post_init__(self) -> None:
        for name, value in (("position_m", self.position_m), ("angle_rad", self.angle_rad)):
            if not (value >= 0 and math.isfinite(value)):
                raise OutOfRangeError(f"mount spread {name} = {value}; allowed: at least 0, finite")
        if self.shape not in ("rectangular", "normal"):
            raise OutOfRangeError(f"mount spread {self.shape!r}; allowed: rectangular, normal")


def disc_views(discs: npt.ArrayLike, *, lens: Lens, pose: Pose) -> FloatArray:
    """Return margin, pixels across and angle of view of horizontal discs.

    discs : (disc, 5) centre x, y, height; radius; and ring around it that must be seen too [m]
    lens, pose : of the head
    Returns : (disc, 3) distance of disc and ring to the nearest edge of the field, negative outside
        [m]; fewest pixels across the disc [px], NaN when not wholly before the lens; angle of view
        at the centre [rad]
    Raises : OutOfRangeError if the discs do not have five numbers each
    Notes : The margin is exact for a rectilinear lens, whose edges are planes. For the others its
        sign is that of 72 rim points (0.15 mm on a 300 mm pan) and its size is a first order one:
        :func:`trivet.physics.geometry.coverage.rim_coverage` gives the distance.
    Source : Distance of a disc to a plane through the eye; own derivation
    """
    table = _checked_discs(discs)
    return np.asarray(_views(table, lens.vector(), _size(lens), pose.rotation(), pose.eye_m))


def coverage_draws(
    discs: npt.ArrayLike,
    *,
    lens: Lens,
    pose: Pose,
    spread: MountSpread,
    draws: int,
    generator: np.random.Generator,
) -> BoolArray:
    """Return in which draws of a mount's errors each disc lies wholly in the field.

    discs : (disc, 5) as for :func:`disc_views` [m]
    lens, pose : Lens, Pose: the head as designed
    spread : its errors
    draws : number of mounts drawn
    generator : source of randomness
    Returns : (draw, disc) true where disc and ring are in the field
    Raises : OutOfRangeError for less than one draw, or discs without five numbers each
    Notes : 10,000 draws of 20 discs: 20 ms for a rectilinear lens, 0.2 s for the others. At 0.70 m
        one degree moves the field by 12 mm, as much as a 12 mm error of place.
    Source : JCGM 101:2008, 5.9 and 6.4
    """
    if draws < 1:
        raise OutOfRangeError(f"{draws} draws; allowed: at least 1")
    table = _checked_discs(discs)
    if spread.shape == "normal":
        unit = generator.standard_normal((draws, 6))
    else:
        unit = generator.uniform(-1.0, 1.0, (draws, 6))
    eyes = pose.eye_m + unit[:, :3] * spread.position_m
    turned = _turns(unit[:, 3:] * spread.angle_rad) @ pose.rotation()
    return np.asarray(_covered(table, lens.vector(), _size(lens), turned, eyes))


def _checked_discs(discs: npt.ArrayLike) -> FloatArray:
    table = np.ascontiguousarray(discs, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] != 5:
        raise OutOfRangeError(f"discs of shape {table.shape}; allowed: (disc, 5)")
    if np.any(table[:, 3] <= 0) or np.any(table[:, 4] < 0):
        raise OutOfRangeError("discs: every radius must be above 0 and every ring at least 0")
    return table


def _size(lens: Lens) -> FloatArray:
    return np.array([lens.rows, lens.cols], dtype=np.float64)


def _turns(angles: FloatArray) -> FloatArray:
    """Return (draw, 3, 3) rotations about x, then y, then z."""
    (cx, cy, cz), (sx, sy, sz) = np.cos(angles).T, np.sin(angles).T
    rows = [
        [cz * cy, cz * sy * sx - sz * cx, cz * sy * cx + sz * sx],
        [sz * cy, sz * sy * sx + cz * cx, sz * sy * cx - cz * sx],
        [-sy, cy * sx, cy * cx],
    ]
    return np.moveaxis(np.array(rows), -1, 0)


@njit(cache=True)
def _margin(disc: Any, lens: Any, size: Any, turn: Any, eye: Any) -> float:
    """Distance of a disc with its ring to the nearest edge of the field."""
    if lens[0] != 0.0:
        return _rim_margin(disc, lens, size, turn, eye)
    least = math.inf
    for side in range(4):
        # inside is where a x + b y + c depth >= 0, in camera axes
        a, b, c = 0.0, 0.0, 0.0
        if side == 0:
            a, c = 1.0, (0.5 + lens[4]) / lens[2]
        elif side == 1:
            a, c = -1.0, (size[1] - 0.5 - lens[4]) / lens[2]
        elif side == 2:
            b, c = 1.0, (0.5 + lens[3]) / lens[1]
        else:
            b, c = -1.0, (size[0] - 0.5 - lens[3]) / lens[1]
        nx = turn[0, 0] * a + turn[0, 1] * b + turn[0, 2] * c
        ny = turn[1, 0] * a + turn[1, 1] * b + turn[1, 2] * c
        nz = turn[2, 0] * a + turn[2, 1] * b + turn[2, 2] * c
        flat = math.sqrt(nx * nx + ny * ny)
        away = nx * (disc[0] - eye[0]) + ny * (disc[1] - eye[1]) + nz * (disc[2] - eye[2])
        spare = away / max(flat, 1e-12) - disc[3] - disc[4]
        least = min(least, spare)
    return least


@njit(cache=True)
def _projected(x: float, y: float, z: float, lens: Any) -> tuple[float, float]:
    """Row and column of a point in camera axes; NaN where the lens has none."""
    if z <= 0.0:
        return math.nan, math.nan
    u, v = x / z, y / z
    if lens[0] == 1.0:
        flat = math.sqrt(u * u + v * v)
        scale = math.atan(flat) / flat if flat > 1e-12 else 1.0
        u, v = u * scale, v * scale
    elif lens[0] == 2.0:
        if math.sqrt(u * u + v * v) > lens[10]:
            return math.nan, math.nan
        u, v = distorted(u, v, lens)
    return lens[3] + lens[1] * v, lens[4] + lens[2] * u


@njit(cache=True)
def _rim_margin(disc: Any, lens: Any, size: Any, turn: Any, eye: Any) -> float:
    least = math.inf
    reach = disc[3] + disc[4]
    for k in range(RIM_POINTS):
        dx = disc[0] + reach * COS[k] - eye[0]
        dy = disc[1] + reach * SIN[k] - eye[1]
        dz = disc[2] - eye[2]
        x = turn[0, 0] * dx + turn[1, 0] * dy + turn[2, 0] * dz
        y = turn[0, 1] * dx + turn[1, 1] * dy + turn[2, 1] * dz
        z = turn[0, 2] * dx + turn[1, 2] * dy + turn[2, 2] * dz
        row, col = _projected(x, y, z, lens)
        if math.isnan(row):
            return -math.inf
        spare = min(row + 0.5, size[0] - 0.5 - row) / lens[1]
        spare = min(spare, min(col + 0.5, size[1] - 0.5 - col) / lens[2])
        least = min(least, spare * math.sqrt(x * x + y * y + z * z))
    return least


@njit(cache=True)
def _covered(discs: Any, lens: Any, size: Any, turns: Any, eyes: Any) -> Any:
    out = np.empty((eyes.shape[0], discs.shape[0]), dtype=np.bool_)
    for i in range(eyes.shape[0]):
        for j in range(discs.shape[0]):
            out[i, j] = _margin(discs[j], lens, size, turns[i], eyes[i]) >= 0.0
    return out


@njit(cache=True)
def _views(discs: Any, lens: Any, size: Any, turn: Any, eye: Any) -> Any:
    out = np.empty((discs.shape[0], 3))
    for j in range(discs.shape[0]):
        disc = discs[j]
        out[j, 0] = _margin(disc, lens, size, turn, eye)
        fewest = math.inf
        for k in range(DIAMETERS):
            angle = math.pi * k / DIAMETERS
            px = np.empty(4)
            for end in range(2):
                side = disc[3] if end == 0 else -disc[3]
                dx = disc[0] + side * math.cos(angle) - eye[0]
                dy = disc[1] + side * math.sin(angle) - eye[1]
                dz = disc[2] - eye[2]
                x = turn[0, 0] * dx + turn[1, 0] * dy + turn[2, 0] * dz
                y = turn[0, 1] * dx + turn[1, 1] * dy + turn[2, 1] * dz
                z = turn[0, 2] * dx + turn[1, 2] * dy + turn[2, 2] * dz
                px[2 * end], px[2 * end + 1] = _projected(x, y, z, lens)
            across = math.sqrt((px[0] - px[2]) ** 2 + (px[1] - px[3]) ** 2)
            fewest = across if math.isnan(across) else min(fewest, across)
            if math.isnan(across):
                break
        out[j, 1] = fewest
        flat = math.sqrt((disc[0] - eye[0]) ** 2 + (disc[1] - eye[1]) ** 2)
        out[j, 2] = math.atan2(flat, abs(eye[2] - disc[2]))
    return out
