"""Burner registration: where a head looks, from pans, bare elements, targets or marks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError
from trivet.models.calibration_views import pose_of
from trivet.physics.geometry.coverage import rim_coverage
from trivet.physics.geometry.optics import (
    Lens,
    Pose,
    footprint_m,
    pixel_of_point,
    point_of_pixel,
)
from trivet.physics.geometry.registration import PoseFit, SpotCentroid, fit_pose, spot_centroid
from trivet.physics.geometry.sampling import CellGrid, sampling_matrix
from trivet.records.benchsheet import SheetBurner, SheetTarget
from trivet.records.calibration import POSE_TERMS, PoseCalibration
from trivet.records.design import Design
from trivet.records.recording import HeadFrames, Recording
from trivet.stages.calibrate.headscenes import HeadTerms, depth_m

PLACEMENT_M = 0.003
"""Standard uncertainty of a pan's place on its burner; common practice, no source."""
SPOT_CONTRAST_K = 15.0  # own estimate: far above the noise of a pixel (0.1 to 0.3 K)
MIN_IN_VIEW = 0.6  # own estimate: of less, the centroid is that of the frame's edge
WALL_WARMTH = 0.7  # own estimate: how warm a wall is over the hob, against the base
ROUNDS = 3  # own estimate: the rendered bias hardly depends on the pose


@dataclass(frozen=True)
class _Aim:
    """A warm thing of known place: a pan, a bare element or a disc."""

    name: str
    """Its burner, or its number among the targets."""
    grid: CellGrid
    height_m: float
    u_m: float
    """Standard uncertainty of its place in each direction. [m]"""
    is_pan: bool

    @property
    def centre_m(self) -> FloatArray:
        """(xyz) [m]"""
        return np.array([self.grid.centre_x_m, self.grid.centre_y_m, self.height_m])


@dataclass(frozen=True)
class _Target:
    """An aim seen hot: its centroid in the picture, and all aims' warmth then."""

    recording: str
    aim: _Aim
    spot: SpotCentroid
    radius_px: float
    grids: tuple[CellGrid, ...]
    excess_k: tuple[float, ...]


@dataclass(frozen=True)
class _Marks:
    """Points of the cooktop that were pointed at in the picture, arrays (mark, ...)."""

    point_m: FloatArray
    seen_px: FloatArray
    u_px: FloatArray


@dataclass(frozen=True)
class Registration:
    """A pose, its refusals, and how each target is seen through it."""

    pose: PoseCalibration
    refusals: tuple[str, ...]
    recording: tuple[str, ...] = ()
    """(target,) name of its recording."""
    place: tuple[str, ...] = ()
    """(target,) where it stood."""
    observed_m: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    """(target, 2) where it is seen less where it stood. [m]"""
    u_m: FloatArray = field(default_factory=lambda: np.zeros(0))
    """(target,) [m]"""


def registered_pose(recordings: Sequence[Recording], *, view: HeadTerms) -> Registration:
    """Return the pose fitted to what was seen at known places, or the one in force."""
    nominal = view.terms.pose
    targets = [one for recording in recordings for one in _targets(recording, view=view)]
    marks = _marks(recordings, view=view)
    burners = sorted({target.aim.name for target in targets})
    try:
        if len(burners) + len(marks.u_px) < 3:
            seen = ", ".join(burners) or "none"
            raise NotEnoughDataError(
                f"pans were seen hot on {len(burners)} burners ({seen}); needed: 3 that are not "
                "on one line, or as many targets or marks"
            )
        fit, seen_px = _fitted(targets, marks=marks, view=view)
    except NotEnoughDataError as error:
        text = f"registration of head {view.head.name}: {error}; in force: the pose as designed"
        return Registration(replace(nominal, reason=f"nominal: {error}"), (text,))
    reason = _fitted_to(targets, marks, fit)
    value = np.array([getattr(fit.pose, name) for name in POSE_TERMS])
    found = PoseCalibration("fitted", value, fit.covariance, fit.residual_rms_m, reason)
    return _registration(found, targets, seen_px, lens=view.lens)


def _fitted_to(targets: list[_Target], marks: _Marks, fit: PoseFit) -> str:
    """Return what a pose was fitted to, in words."""
    burners = {target.aim.name for target in targets}
    off = [t.recording for t, out in zip(targets, fit.outlier, strict=False) if out]
    pans = sum(target.aim.is_pan for target in targets)
    parts = ((pans, "pans"), (len(targets) - pans, "targets"), (len(marks.u_px), "marks"))
    reason = "fitted to " + ", ".join(f"{count} {what}" for count, what in parts if count)
    reason += f" on {len(burners)} burners" if burners else ""
    return reason + (f"; set aside as outliers: {', '.join(off)}" if off else "")


def _registration(
    pose: PoseCalibration, targets: list[_Target], seen_px: FloatArray, *, lens: Lens
) -> Registration:
    """Return how far each target is seen from its place through a pose."""
    at, known = pose_of(pose), [bool(np.isfinite(one).all()) for one in seen_px]
    good = [(one, seen) for one, seen, use in zip(targets, seen_px, known, strict=True) if use]
    away = [(point_of_pixel(seen, lens=lens, pose=at) - one.aim.centre_m)[:2] for one, seen in good]
    return Registration(
        pose,
        (),
        tuple(one.recording for one, _ in good),
        tuple(one.aim.name for one, _ in good),
        np.array(away).reshape(-1, 2),
        np.array([one.aim.u_m for one, _ in good]),
    )


def seen_off(recording: Recording, *, view: HeadTerms) -> Registration:
    """Return how far each pan of a recording is seen from its place through the pose in force."""
    targets = _targets(recording, view=view)
    pose = pose_of(view.terms.pose)
    seen = np.array([_unbiased(one, view=view, pose=pose) for one in targets]).reshape(-1, 2)
    return _registration(view.terms.pose, targets, seen, lens=view.lens)


def _marks(recordings: Sequence[Recording], *, view: HeadTerms) -> _Marks:
    """Return the marks of all recordings together."""
    marks = [m for one in recordings for m in one.reference.marks if view.is_mine(m.head)]
    points = [[float(m.x_m), float(m.y_m), float(m.height_m)] for m in marks]
    return _Marks(
        np.array(points).reshape(-1, 3),
        np.array([[m.row, m.col] for m in marks]).reshape(-1, 2),
        np.array([m.u_px for m in marks]),
    )


def _targets(recording: Recording, *, view: HeadTerms) -> list[_Target]:
    """Return what of a recording's aims is seen hot, well inside the frame."""
    frames, pose = view.frames(recording), pose_of(view.terms.pose)
    if frames is None:
        return []
    food = {sheet.burner for sheet in recording.reference.sheet if sheet.food}
    aims = _aims(recording, design=view.design)
    centres = np.array([one.centre_m for one in aims]).reshape(-1, 3)
    guesses = pixel_of_point(centres, lens=view.lens, pose=pose)
    found = []
    for aim, guess in zip(aims, guesses, strict=True):
        rim = rim_coverage(
            (aim.grid.centre_x_m, aim.grid.centre_y_m),
            diameter_m=2 * aim.grid.radius_m,
            rim_height_m=aim.grid.depth_m,
            lens=view.lens,
            pose=pose,
            margin_m=0.0,
        )
        hidden = aim.is_pan and aim.name in food
        if hidden or rim.in_view_frac < MIN_IN_VIEW or not rim.pixels_across >= 2:
            continue
        frame, excess_k = _hottest_frame(frames, guess, guesses)
        if frame is None:
            continue
        radius = 0.6 * rim.pixels_across + 1.0
        spot = spot_centroid(frame, guess_px=(guess[0], guess[1]), radius_px=radius)
        if math.isfinite(spot.row_px) and spot.contrast >= SPOT_CONTRAST_K:
            grids = tuple(one.grid for one in aims)
            found.append(_Target(recording.name, aim, spot, radius, grids, excess_k))
    return found


def _aims(recording: Recording, *, design: Design) -> list[_Aim]:
    """Return the pans of a recording, then its bare elements and discs."""
    pans = [
        _Aim(sheet.burner, _grid(sheet, design=design), 0.0, PLACEMENT_M, is_pan=True)
        for sheet in recording.reference.sheet
    ]
    discs = [
        _Aim(
            aim.burner or f"target {at + 1}",
            _disc(aim, design=design),
            float(aim.height_m),
            float(aim.u_m),
            is_pan=False,
        )
        for at, aim in enumerate(recording.reference.targets)
    ]
    return pans + discs


def _disc(aim: SheetTarget, *, design: Design) -> CellGrid:
    """Return a bare element or warm disc: flat, without a wall."""
    at = design.burner(aim.burner) if aim.burner else None
    x, y = (float(at.x_m), float(at.y_m)) if at else (0.0, 0.0)
    middle = x + float(aim.x_m), y + float(aim.y_m)
    return CellGrid(*middle, float(aim.diameter_m) / 2, 1, 1, depth_m=0.0, fill_m=0.0)


def _grid(sheet: SheetBurner, *, design: Design) -> CellGrid:
    """Return a pan as one cell with its wall."""
    burner, depth = design.burner(sheet.burner), float(sheet.depth_m)
    middle = float(burner.x_m + sheet.offset_x_m), float(burner.y_m + sheet.offset_y_m)
    fill = min(depth_m(sheet), depth)
    return CellGrid(*middle, float(sheet.diameter_m) / 2, 1, 1, depth_m=depth, fill_m=fill)


def _hottest_frame(
    frames: HeadFrames, guess: FloatArray, others: FloatArray
) -> tuple[FloatArray | None, tuple[float, ...]]:
    """Mean of the frames in which a spot stands out most, and each pan's excess in it."""
    if not _inside(guess, frames.apparent_k.shape[1:]):
        return None, ()
    near = _near(frames.apparent_k, guess)
    usable = np.isfinite(near) & np.isfinite(frames.apparent_k).any(axis=(1, 2))
    if not usable.any():
        return None, ()
    ground = np.array(
        [np.percentile(frame[np.isfinite(frame)], 10) for frame in frames.apparent_k[usable]]
    )
    excess = np.full(usable.size, -np.inf)
    excess[usable] = near[usable] - ground
    best = np.sort(np.argsort(excess, kind="stable")[-min(20, int(usable.sum())) :])
    if not np.median(excess[best]) >= SPOT_CONTRAST_K:
        return None, ()
    block = frames.apparent_k[best].astype(np.float64)
    count = np.isfinite(block).sum(axis=0)
    total = np.where(np.isfinite(block), block, 0.0).sum(axis=0)
    frame = np.where(count > best.size // 2, total / np.maximum(count, 1), np.nan)
    low = float(np.nanpercentile(frame, 10))
    each = [
        float(np.nan_to_num(_near(frame[None], one)[0] - low)) if _inside(one, frame.shape) else 0.0
        for one in others
    ]
    return frame, tuple(max(one, 0.0) for one in each)


def _inside(at: FloatArray, shape: tuple[int, ...]) -> bool:
    return bool(0 <= at[0] <= shape[0] - 1 and 0 <= at[1] <= shape[1] - 1)


def _near(frames: npt.NDArray[Any], at: FloatArray) -> FloatArray:
    """Mean of the 3 x 3 pixels about a place, frame by frame; not finite where one is not."""
    row, col = round(float(at[0])), round(float(at[1]))
    block = frames[:, max(row - 1, 0) : row + 2, max(col - 1, 0) : col + 2]
    return np.asarray(block.astype(np.float64).mean(axis=(1, 2)))


def _fitted(
    targets: list[_Target], *, marks: _Marks, view: HeadTerms
) -> tuple[PoseFit, FloatArray]:
    """Fit by the difference between seen and rendered centroids, so that their bias cancels."""
    start = pose = pose_of(view.terms.pose)
    centres = np.array([one.aim.centre_m for one in targets]).reshape(-1, 3)
    pitch = float(np.median(footprint_m(view.lens, start).max(axis=-1)))
    own = [math.hypot(one.aim.u_m / pitch, one.spot.sigma_px) for one in targets]
    seen = np.zeros((0, 2))
    for _ in range(ROUNDS):
        seen = np.array([_unbiased(one, view=view, pose=pose) for one in targets]).reshape(-1, 2)
        fit = fit_pose(
            np.concatenate([centres, marks.point_m]),
            np.concatenate([seen, marks.seen_px]),
            lens=view.lens,
            start=start,
            sigma_px=np.concatenate([np.array(own), marks.u_px]),
            free=POSE_TERMS,
            prior_sigma=_prior_sigma(view.terms.pose, height_m=start.height_m),
        )
        pose = fit.pose
    return fit, seen


def _prior_sigma(nominal: PoseCalibration, *, height_m: float) -> dict[str, float]:
    """Return the prior standard uncertainty of each term of a pose.

    A sideways tilt has no term of its own near the vertical: the place takes it up.
    """
    prior = dict(zip(POSE_TERMS, np.sqrt(np.diag(nominal.covariance)), strict=True))
    sideways = height_m * prior["tilt_rad"]
    for axis in ("x_m", "y_m"):
        prior[axis] = math.hypot(prior[axis], sideways)
    return {name: max(float(value), 1e-6) for name, value in prior.items()}


def _unbiased(target: _Target, *, view: HeadTerms, pose: Pose) -> FloatArray:
    """Where the pan's centre on the cooktop is seen, from the centroid of its picture."""
    lens = view.lens
    at = pixel_of_point(target.aim.centre_m, lens=lens, pose=pose)
    if not _inside(at, (lens.rows, lens.cols)):
        return np.array([math.nan, math.nan])
    sampling = sampling_matrix(
        target.grids, lens=lens, pose=pose, sigma_px=float(view.card.blur_px), strips_per_px=3
    )
    warmth = np.zeros(sampling.matrix.shape[1])
    excess = np.array(target.excess_k)
    warmth[list(sampling.cell_start)] = excess
    warmth[list(sampling.wall_column)] = WALL_WARMTH * excess
    picture = (sampling.matrix @ warmth).reshape(lens.rows, lens.cols)
    drawn = spot_centroid(
        picture, guess_px=(float(at[0]), float(at[1])), radius_px=target.radius_px
    )
    moved = [target.spot.row_px - drawn.row_px, target.spot.col_px - drawn.col_px]
    return np.asarray(at + np.array(moved))
