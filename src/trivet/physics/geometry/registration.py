"""Where a head really hangs: its pose from burners in the image, and whether a mount was bumped."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares
from scipy.stats import chi2

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.geometry.optics import Lens, Pose, pixel_of_point, point_of_pixel

POSE_NAMES = ("x_m", "y_m", "height_m", "tilt_rad", "pan_rad", "roll_rad")
DEFAULT_FREE = ("x_m", "y_m", "height_m", "tilt_rad", "pan_rad")
OUTLIER_SIGMAS = 4.0  # own estimate: by chance 6e-5 of targets
POSE_STEP = 0.01  # own estimate: of a metre or radian, the unit of the solver


@dataclass(frozen=True)
class PoseFit:
    """A fitted pose; covariance over the free parameters in the order of ``free``.

    ``residual_rms_m`` is the rms distance on the targets' planes, both axes together, over the
    targets kept; ``reduced_chi2`` is NaN without spare data.
    """

    pose: Pose
    covariance: FloatArray
    free: tuple[str, ...]
    residual_rms_m: float
    outlier: BoolArray
    reduced_chi2: float


@dataclass(frozen=True)
class SpotCentroid:
    """Centre of a hot spot in the image; all NaN when it does not stand out."""

    row_px: float
    col_px: float
    sigma_px: float
    contrast: float


def fit_pose(
    points_m: npt.ArrayLike,
    observed_px: npt.ArrayLike,
    *,
    lens: Lens,
    start: Pose,
    sigma_px: npt.ArrayLike,
    free: tuple[str, ...] = DEFAULT_FREE,
    prior_sigma: Mapping[str, float] | None = None,
) -> PoseFit:
    """Return the pose that best explains where known points are seen.

    Soft-L1 least squares first; targets further off than 4 sigma (and four times the median
    residual) are then set aside, while three remain, and the rest are fitted plainly, for the
    covariance.

    points_m : (n, 3) targets in the world [m]
    observed_px : (n, 2) their row and column; rows with NaN are left out [px]
    start : the mount as designed; parameters that are not free keep its values
    sigma_px : float or (n,): standard uncertainty of a target in each axis, its place's included
        [px]
    free : tuple of str: names of the pose's fields that are fitted
    prior_sigma : mapping, optional: tolerance of the mount for free fields, in the field's unit:
        the start value then counts as a datum with that standard uncertainty
    Raises : NotEnoughDataError for fewer than three targets in view, targets on one line, or more
        free parameters than data; OutOfRangeError for an unknown field name or a sigma that is not
        positive
    Notes : Four burners at +-200, +-130 mm under a 32 x 24 head over 55 x 35 deg at 0.76 m, 0.1 px
        (2.4 mm) a target: the picture lands within 2.4 mm rms, 4.6 mm in the worst of 200 draws.
        Tilt and sideways shift trade against each other (1 deg is 13 mm): their covariance says so,
        the residual does not. Roll and pan cannot both be free unless the head is tilted or has a
        prior.
    Source : Robust least squares; covariance from the Gauss-Newton normal matrix, enlarged by chi2
        when that exceeds 1
    """
    points, seen, index = _targets(points_m, observed_px, free=free)
    sigma = np.broadcast_to(np.asarray(sigma_px, dtype=float), index.shape)[index]
    if not np.all(sigma > 0):
        raise OutOfRangeError(f"target uncertainty {float(sigma.min())} px; allowed: above 0")
    prior = dict(prior_sigma or {})
    n_prior = sum(name in prior for name in free)
    _check_targets(points, 2 * len(points) + n_prior, len(free))
    problem = _Problem(points, seen, lens, start, free, prior, sigma)
    kept = np.ones(len(points), dtype=np.bool_)
    first = problem.solved(np.zeros(len(free)), kept, loss="soft_l1")
    off = np.hypot(*problem.residuals(first.x, kept)[: 2 * len(points)].reshape(-1, 2).T)
    far = off > OUTLIER_SIGMAS * max(1.0, float(np.median(off)))
    if far.any() and _fittable(points[~far], 2 * int((~far).sum()) + n_prior, len(free)):
        kept = ~far
    return _pose_fit(problem, problem.solved(first.x, kept), kept, index=index)


@dataclass(frozen=True)
class _Problem:
    """The least-squares problem of one registration; steps are in hundredths of a unit."""

    points: FloatArray
    seen: FloatArray
    lens: Lens
    start: Pose
    free: tuple[str, ...]
    prior: Mapping[str, float]
    sigma_px: FloatArray

    def pose(self, step: FloatArray) -> Pose:
        """Return the pose a step away from the start."""
        fields = {
            name: float(getattr(self.start, name) + POSE_STEP * move)
            for name, move in zip(self.free, step, strict=True)
        }
        if "height_m" in fields:
            fields["height_m"] = max(fields["height_m"], 1e-3)
        return replace(self.start, **fields)

    def residuals(self, step: FloatArray, use: BoolArray) -> FloatArray:
        """Return what is left, in standard uncertainties: targets, then priors."""
        at = pixel_of_point(self.points[use], lens=self.lens, pose=self.pose(step))
        off = (at - self.seen[use]) / self.sigma_px[use][:, None]
        off = np.where(np.isfinite(off), off, 1e6)
        pull = [
            POSE_STEP * move / self.prior[name]
            for name, move in zip(self.free, step, strict=True)
            if name in self.prior
        ]
        return np.concatenate([off.ravel(), np.array(pull)])

    def solved(
        self,
        step: FloatArray,
        use: BoolArray,
        *,
        loss: Literal["linear", "soft_l1"] = "linear",
    ) -> Any:
        """Return scipy's solution from a starting step."""
        return least_squares(
            self.residuals, step, args=(use,), loss=loss, f_scale=1.5, max_nfev=400
        )


def _targets(
    points_m: npt.ArrayLike, observed_px: npt.ArrayLike, *, free: tuple[str, ...]
) -> tuple[FloatArray, FloatArray, BoolArray]:
    unknown = [name for name in free if name not in POSE_NAMES]
    if unknown or not free:
        raise OutOfRangeError(
            f"free pose fields {unknown or '(none)'}; allowed: some of {', '.join(POSE_NAMES)}"
        )
    points, seen = np.asarray(points_m, dtype=float), np.asarray(observed_px, dtype=float)
    index = np.isfinite(seen).all(axis=-1) & np.isfinite(points).all(axis=-1)
    return points[index], seen[index], index


def _spread_m(points: FloatArray) -> float:
    """Rms width of the targets across their main line."""
    return float(np.linalg.svd(points - points.mean(axis=0))[1][1] / math.sqrt(len(points)))


def _fittable(points: FloatArray, n_data: int, n_free: int) -> bool:
    return len(points) >= 3 and n_data >= n_free and _spread_m(points) > 0.01


def _check_targets(points: FloatArray, n_data: int, n_free: int) -> None:
    if len(points) < 3:
        raise NotEnoughDataError(
            f"registration needs at least 3 targets, {len(points)} are seen: light another burner"
        )
    if _spread_m(points) <= 0.01:
        raise NotEnoughDataError(
            f"the {len(points)} targets lie on one line within 10 mm: add one aside of it"
        )
    if n_data < n_free:
        raise NotEnoughDataError(
            f"{n_free} free pose parameters from {n_data} data: free fewer or add targets"
        )


def _pose_fit(
    problem: _Problem,
    final: Any,
    kept: BoolArray,
    *,
    index: BoolArray,
) -> PoseFit:
    pose, free = problem.pose(final.x), problem.free
    spare = len(final.fun) - len(free)
    reduced = float((final.fun**2).sum() / spare) if spare > 0 else math.nan
    normal = final.jac.T @ final.jac
    if np.linalg.cond(normal) > 1e14:
        raise NotEnoughDataError(
            f"the targets cannot tell {', '.join(free)} apart: free fewer fields or give the "
            "mount's tolerance"
        )
    grow = max(1.0, reduced) if spare > 0 else 1.0
    covariance = np.linalg.inv(normal) * grow * POSE_STEP**2
    away = [
        point_of_pixel(px, lens=problem.lens, pose=pose, plane_height_m=float(p[2])) - p
        for px, p in zip(problem.seen[kept], problem.points[kept], strict=True)
    ]
    outlier = np.zeros(index.size, dtype=np.bool_)
    outlier[np.flatnonzero(index)[~kept]] = True
    rms = math.sqrt(float((np.asarray(away) ** 2).sum(axis=1).mean()))
    return PoseFit(pose, covariance, free, rms, outlier, reduced)


def spot_centroid(
    frame: npt.ArrayLike, *, guess_px: tuple[float, float], radius_px: float
) -> SpotCentroid:
    """Return the centre of a hot spot near a guess, with its uncertainty.

    The background is the median of the ring between one and 1.6 radii; weights are what stands
    above it by more than three times its noise.

    frame : (row, col) signal or temperature; NaN pixels are left out
    guess_px : (row, col) where the spot is expected [px]
    radius_px : radius within which it is looked for [px]
    Returns : NaN when the peak stands less than five noise widths (and 0.5 units of the frame)
        above the background, or the spot touches the search's edge of the frame
    Raises : OutOfRangeError if the radius is under 1 px or the guess is outside the frame
    Notes : A disc of 8 px at 100 K contrast with 0.2 K noise: 0.001 px of scatter; no less than
        0.02 px is stated. Uneven background within the radius biases the centre towards the warmer
        side; 10 K across a 100 K spot of 8 px moves it by about 0.1 px.
    Source : Centroid above a robust background; common practice, no source
    """
    image = np.asarray(frame, dtype=np.float64)
    row0, col0 = guess_px
    inside = 0 <= row0 <= image.shape[0] - 1 and 0 <= col0 <= image.shape[1] - 1
    if radius_px < 1 or not inside:
        raise OutOfRangeError(
            f"spot search at {guess_px} with radius {radius_px} px in a frame of {image.shape}; "
            "allowed: a guess in the frame and a radius of at least 1 px"
        )
    rows, cols = np.indices(image.shape)
    nothing = SpotCentroid(math.nan, math.nan, math.nan, math.nan)
    centre = np.array([row0, col0])
    sigma, contrast = math.nan, math.nan
    for _ in range(4):
        away = np.hypot(rows - centre[0], cols - centre[1])
        good = np.isfinite(image)
        near, ring = (
            good & (away <= radius_px),
            good & (away > radius_px) & (away <= 1.6 * radius_px),
        )
        if near.sum() < 4 or ring.sum() < 6:
            return nothing
        ground = float(np.median(image[ring]))
        noise = 1.4826 * float(np.median(np.abs(image[ring] - ground)))
        contrast = float(image[near].max() - ground)
        if contrast < max(5 * noise, 0.5):
            return nothing
        weight = np.where(near, np.clip(image - ground - 3 * noise, 0.0, None), 0.0)
        total = float(weight.sum())
        at = np.array([(weight * rows).sum(), (weight * cols).sum()]) / total
        lever = math.sqrt(float(((away**2) * (weight > 0)).sum()) / 2)
        sigma = max(noise * lever / total, 0.02)
        if math.hypot(*(at - np.array([row0, col0]))) > radius_px:
            return nothing
        if np.hypot(*(at - centre)) < 1e-3:
            break
        centre = at
    return SpotCentroid(float(centre[0]), float(centre[1]), sigma, contrast)


MIN_BUMP_M, BUMP_FALSE_FRAC = 0.005, 1e-3  # own estimate: less, or likelier, is no bump
MIN_PLACES = 2  # own estimate: one pan put down askew is no bump


@dataclass(frozen=True)
class MountShift:
    """The sharpest break in a series of recordings.

    ``first`` is the first recording after it; ``shift_m`` the rms distance by which the places seen
    both before and after moved on the cooktop; ``moved`` whether that is more than chance and
    placement explain.
    """

    first: int
    shift_m: float
    chance: float
    moved: bool


def mount_shift(
    observed_m: npt.ArrayLike, *, index: npt.ArrayLike, region: npt.ArrayLike, u_m: npt.ArrayLike
) -> MountShift:
    """Return where in a series of recordings a head's view broke, and whether it did.

    observed_m : (target, 2) where a target is seen less where it stood, through one and the same
        pose [m]
    index : (target,) number of its recording, in order of time
    region : (target,) number of the burner it stood on
    u_m : (target,) standard uncertainty of a target in each direction, placement included [m]
    Raises : NotEnoughDataError if no break has two burners seen on both sides of it;
        OutOfRangeError if an uncertainty is not positive
    Notes : Pans put down within 3 mm, four burners, two recordings on either side: a shift of 8 mm
        (0.6 degrees of tilt at 0.75 m) is found in 90 % of draws, one of 10 mm in 99 %, at under 1
        % false; with five on either side one of 6 mm in 95 %. One pan put down askew moves one
        burner and may be called: the message therefore names the shift, and the pans can be looked
        at.
    Source : Chi-squared of the differences of means, Bonferroni over the breaks; own rule
    """
    seen = np.asarray(observed_m, dtype=np.float64)
    at, places = np.asarray(index), np.asarray(region)
    u = np.asarray(u_m, dtype=np.float64)
    if not np.all(u > 0):
        raise OutOfRangeError("mount: every standard uncertainty must be above 0")
    breaks = np.unique(at)[1:]
    best: MountShift | None = None
    for first in breaks:
        squares, moves, variances = [], [], []
        for place in np.unique(places):
            before, after = (places == place) & (at < first), (places == place) & (at >= first)
            if not before.any() or not after.any():
                continue
            move = seen[after].mean(axis=0) - seen[before].mean(axis=0)
            variance = (u[after] ** 2).sum() / after.sum() ** 2
            variance += (u[before] ** 2).sum() / before.sum() ** 2
            squares.append(float(move @ move) / variance)
            moves.append(move)
            variances.append(variance)
        if len(squares) < MIN_PLACES:
            continue
        mean = np.mean(moves, axis=0)
        together = float(mean @ mean) * len(moves) ** 2 / sum(variances)
        # turned: each burner its own way; shifted: all the same way, which is the sharper test
        either = min(chi2.sf(sum(squares), 2 * len(squares)), chi2.sf(together, 2))
        chance = min(2.0 * float(either) * breaks.size, 1.0)
        shift = float(np.sqrt(np.mean(np.sum(np.square(moves), axis=1))))
        moved = chance < BUMP_FALSE_FRAC and shift > MIN_BUMP_M
        if best is None or chance < best.chance:
            best = MountShift(int(first), shift, chance, moved)
    if best is None:
        raise NotEnoughDataError(
            "no two recordings show the same two burners: whether the mount moved cannot be told"
        )
    return best
