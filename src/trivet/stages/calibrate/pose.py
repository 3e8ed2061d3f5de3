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
from trivet.models.optics import card_lens
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
from trivet.records.design import Design, Head
from trivet.records.recording import HeadFrames, Recording
from trivet.stages.calibrate.headscenes import depth_m

PLACEMENT_M = 0.003
"""Standard uncertainty of a pan's place on its burner; common practice, no source."""
SPOT_CONTRAST_K = 15.0  # own estimate: far above the noise of a pixel (0.1 to 0.3 K)
MIN_IN_VIEW = 0.6  # own estimate: of less, the centroid is that of the frame's edge
WALL_WARMTH = 0.7  # own estimate: how warm a wall is over the hob, against the base
ROUNDS = 3  # own estimate: the rendered bias hardly depends on the pose


@dataclass(frozen=True)
class _Target:
    """A pan seen hot: where it stood, its centroid in the picture, and all pans' warmth then."""

    recording: str
    burner: str
    centre: FloatArray
    spot: SpotCentroid
    radius_px: float
    grids: tuple[CellGrid, ...]
    excess_k: tuple[float, ...]
    u_m: float
    """Standard uncertainty of its place in each direction. [m]"""
    pan: bool


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


def registered_pose(
    recordings: Sequence[Recording], *, design: Design, head: Head, nominal: PoseCalibration
) -> Registration:
    """Return the pose fitted to what was seen at known places, or the nominal one."""
    lens, pose = card_lens(design.card(head)), Pose(*(float(x) for x in nominal.value))
    targets = [
        target
        for recording in recordings
        for target in _targets(recording, design=design, head=head, lens=lens, pose=pose)
    ]
    marks = _marks(recordings, design=design, head=head)
    burners = sorted({target.burner for target in targets})
    try:
        if len(burners) + len(marks[0]) < 3:
            seen = ", ".join(burners) or "none"
            raise NotEnoughDataError(
                f"pans were seen hot on {len(burners)} burners ({seen}); needed: 3 that are not "
                "on one line, or as many targets or marks"
            )
        blur_px = float(design.card(head).blur_px)
        fit, seen_px = _fitted(
            targets, marks=marks, lens=lens, start=pose, nominal=nominal, blur_px=blur_px
        )
    except NotEnoughDataError as error:
        text = f"registration of head {head.name}: {error}; in force: the pose as designed"
        return Registration(replace(nominal, reason=f"nominal: {error}"), (text,))
    off = [t.recording for t, out in zip(targets, fit.outlier, strict=False) if out]
    pans = sum(target.pan for target in targets)
    parts = ((pans, "pans"), (len(targets) - pans, "targets"), (len(marks[0]), "marks"))
    reason = "fitted to " + ", ".join(f"{count} {what}" for count, what in parts if count)
    reason += f" on {len(burners)} burners" if burners else ""
    reason += f"; set aside as outliers: {', '.join(off)}" if off else ""
    value = np.array([getattr(fit.pose, name) for name in POSE_TERMS])
    found = PoseCalibration("fitted", value, fit.covariance, fit.residual_rms_m, reason)
    return _registration(found, targets, seen_px, lens=lens)


def _registration(
    pose: PoseCalibration, targets: list[_Target], seen_px: FloatArray, *, lens: Lens
) -> Registration:
    """Return how far each target is seen from its place through a pose."""
    at = Pose(*(float(x) for x in pose.value))
    good = [k for k in range(len(targets)) if np.isfinite(seen_px[k]).all()]
    away = [(point_of_pixel(seen_px[k], lens=lens, pose=at) - targets[k].centre)[:2] for k in good]
    return Registration(
        pose,
        (),
        tuple(targets[k].recording for k in good),
        tuple(targets[k].burner for k in good),
        np.array(away).reshape(-1, 2),
        np.array([targets[k].u_m for k in good]),
    )


def seen_off(
    recording: Recording, *, design: Design, head: Head, pose: PoseCalibration
) -> Registration:
    """Return how far each pan of a recording is seen from its place through a given pose."""
    lens, at = card_lens(design.card(head)), Pose(*(float(x) for x in pose.value))
    targets = _targets(recording, design=design, head=head, lens=lens, pose=at)
    blur_px = float(design.card(head).blur_px)
    seen = [_unbiased(one, lens=lens, pose=at, blur_px=blur_px) for one in targets]
    return _registration(pose, targets, np.array(seen).reshape(-1, 2), lens=lens)


def _marks(
    recordings: Sequence[Recording], *, design: Design, head: Head
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points of the cooktop, where they were pointed at, and how well; all recordings together."""
    only = len(design.heads) == 1
    mine = [
        mark
        for recording in recordings
        for mark in recording.reference.marks
        if mark.head == head.name or (only and mark.head == "")
    ]
    points = [[float(m.x_m), float(m.y_m), float(m.height_m)] for m in mine]
    return (
        np.array(points).reshape(-1, 3),
        np.array([[m.row, m.col] for m in mine]).reshape(-1, 2),
        np.array([m.u_px for m in mine]),
    )


def _targets(
    recording: Recording, *, design: Design, head: Head, lens: Lens, pose: Pose
) -> list[_Target]:
    frames = recording.inputs.frames_of(head.name)
    if frames is None:
        return []
    sheets = recording.reference.sheet
    aims = recording.reference.targets
    grids = (
        *(_grid(sheet, design=design) for sheet in sheets),
        *(_disc(aim, design=design) for aim in aims),
    )
    names = [sheet.burner for sheet in sheets]
    names += [aim.burner or f"target {at + 1}" for at, aim in enumerate(aims)]
    spreads = [PLACEMENT_M] * len(sheets) + [float(aim.u_m) for aim in aims]
    skip = [bool(sheet.food) for sheet in sheets] + [False] * len(aims)
    heights = [0.0] * len(sheets) + [float(aim.height_m) for aim in aims]
    centres = np.array(
        [[grid.centre_x_m, grid.centre_y_m, z] for grid, z in zip(grids, heights, strict=True)]
    ).reshape(-1, 3)
    guesses = pixel_of_point(centres, lens=lens, pose=pose)
    found = []
    for k, (grid, guess) in enumerate(zip(grids, guesses, strict=True)):
        view = rim_coverage(
            (grid.centre_x_m, grid.centre_y_m),
            diameter_m=2 * grid.radius_m,
            rim_height_m=grid.depth_m,
            lens=lens,
            pose=pose,
            margin_m=0.0,
        )
        if skip[k] or view.in_view_frac < MIN_IN_VIEW or not view.pixels_across >= 2:
            continue
        frame, excess = _hottest_frame(frames, guess, guesses)
        if frame is None:
            continue
        radius = 0.6 * view.pixels_across + 1.0
        spot = spot_centroid(frame, guess_px=(guess[0], guess[1]), radius_px=radius)
        if math.isfinite(spot.row_px) and spot.contrast >= SPOT_CONTRAST_K:
            found.append(
                _Target(
                    recording.name, names[k], centres[k], spot, radius, grids, excess, spreads[k],
                    k < len(sheets),
                )
            )  # fmt: skip
    return found


def _disc(aim: SheetTarget, *, design: Design) -> CellGrid:
    """A bare element or warm disc: flat, without a wall."""
    at = design.burner(aim.burner) if aim.burner else None
    x, y = (float(at.x_m), float(at.y_m)) if at else (0.0, 0.0)
    return CellGrid(
        x + float(aim.x_m), y + float(aim.y_m), float(aim.diameter_m) / 2, 1, 1,
        depth_m=0.0, fill_m=0.0,
    )  # fmt: skip


def _grid(sheet: SheetBurner, *, design: Design) -> CellGrid:
    burner = design.burner(sheet.burner)
    return CellGrid(
        float(burner.x_m + sheet.offset_x_m),
        float(burner.y_m + sheet.offset_y_m),
        float(sheet.diameter_m) / 2,
        1,
        1,
        depth_m=float(sheet.depth_m),
        fill_m=min(depth_m(sheet), float(sheet.depth_m)),
    )


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
    targets: list[_Target],
    *,
    marks: tuple[FloatArray, FloatArray, FloatArray],
    lens: Lens,
    start: Pose,
    nominal: PoseCalibration,
    blur_px: float,
) -> tuple[PoseFit, FloatArray]:
    """Fit by the difference between seen and rendered centroids, so that their bias cancels."""
    points = np.concatenate([np.array([one.centre for one in targets]).reshape(-1, 3), marks[0]])
    prior = dict(zip(POSE_TERMS, np.sqrt(np.diag(nominal.covariance)), strict=True))
    # a sideways tilt has no term of its own near the vertical: the place takes it up
    sideways = start.height_m * prior["tilt_rad"]
    prior["x_m"] = math.hypot(prior["x_m"], sideways)
    prior["y_m"] = math.hypot(prior["y_m"], sideways)
    prior = {name: max(float(value), 1e-6) for name, value in prior.items()}
    pitch = float(np.median(footprint_m(lens, start).max(axis=-1)))
    own = [math.hypot(one.u_m / pitch, one.spot.sigma_px) for one in targets]
    sigma = np.concatenate([np.array(own), marks[2]])
    pose = start
    seen = np.zeros((0, 2))
    for _ in range(ROUNDS):
        seen = np.array(
            [_unbiased(target, lens=lens, pose=pose, blur_px=blur_px) for target in targets]
        ).reshape(-1, 2)
        fit = fit_pose(
            points,
            np.concatenate([seen, marks[1]]),
            lens=lens,
            start=start,
            sigma_px=sigma,
            free=POSE_TERMS,
            prior_sigma=prior,
        )
        pose = fit.pose
    return fit, seen


def _unbiased(target: _Target, *, lens: Lens, pose: Pose, blur_px: float) -> FloatArray:
    """Where the pan's centre on the cooktop is seen, from the centroid of its picture."""
    at = pixel_of_point(target.centre, lens=lens, pose=pose)
    if not _inside(at, (lens.rows, lens.cols)):
        return np.array([math.nan, math.nan])
    sampling = sampling_matrix(
        target.grids, lens=lens, pose=pose, sigma_px=blur_px, strips_per_px=3
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
