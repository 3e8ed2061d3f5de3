"""Burner registration: where a head looks, from pans seen hot on known burners."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from trivet.errors import NotEnoughDataError
from trivet.kernels.geometry.coverage import rim_coverage
from trivet.kernels.geometry.optics import Lens, Pose, footprint_m, pixel_of_point
from trivet.kernels.geometry.registration import PoseFit, SpotCentroid, fit_pose, spot_centroid
from trivet.kernels.geometry.sampling import CellGrid, sampling_matrix
from trivet.records.calibration import POSE_TERMS, PoseCalibration
from trivet.records.cook import SheetBurner
from trivet.records.design import Design, Head
from trivet.records.recording import HeadFrames, Recording
from trivet.stages.calibrate.pairs import depth_m
from trivet.terms.optics import card_lens

Array = npt.NDArray[np.float64]

PLACEMENT_M = 0.003
"""Standard uncertainty of a pan's place on its burner; common practice, no source."""
LEAST_CONTRAST_K = 15.0
LEAST_IN_VIEW = 0.6
WALL_WARMTH = 0.7
ROUNDS = 3


@dataclass(frozen=True)
class _Target:
    """A pan seen hot: where it stood, its centroid in the picture, and all pans' warmth then."""

    recording: str
    burner: str
    centre: Array
    spot: SpotCentroid
    radius_px: float
    grids: tuple[CellGrid, ...]
    excess_k: tuple[float, ...]


def registered_pose(
    recordings: Sequence[Recording], *, design: Design, head: Head, nominal: PoseCalibration
) -> tuple[PoseCalibration, tuple[str, ...]]:
    """Return the pose fitted to the pans seen, or the nominal one with the refusal."""
    lens, pose = card_lens(design.card(head)), Pose(*(float(x) for x in nominal.value))
    targets = [
        target
        for recording in recordings
        for target in _targets(recording, design=design, head=head, lens=lens, pose=pose)
    ]
    burners = sorted({target.burner for target in targets})
    try:
        if len(burners) < 3:
            seen = ", ".join(burners) or "none"
            raise NotEnoughDataError(
                f"pans were seen hot on {len(burners)} burners ({seen}); needed: 3 that are not "
                "on one line"
            )
        blur_px = float(design.card(head).blur_px)
        fit = _fitted(targets, lens=lens, start=pose, nominal=nominal, blur_px=blur_px)
    except NotEnoughDataError as error:
        text = f"registration of head {head.name}: {error}"
        return replace(nominal, reason=f"nominal: {error}"), (text,)
    off = [t.recording for t, out in zip(targets, fit.outlier, strict=True) if out]
    reason = f"fitted to {len(targets) - len(off)} pans on {len(burners)} burners"
    reason += f"; set aside as outliers: {', '.join(off)}" if off else ""
    value = np.array([getattr(fit.pose, name) for name in POSE_TERMS])
    return PoseCalibration("fitted", value, fit.covariance, fit.residual_rms_m, reason), ()


def _targets(
    recording: Recording, *, design: Design, head: Head, lens: Lens, pose: Pose
) -> list[_Target]:
    frames = next((one for one in recording.sight.heads if one.head == head.name), None)
    if frames is None:
        return []
    sheets = recording.reference.sheet
    grids = tuple(_grid(sheet, design=design) for sheet in sheets)
    centres = [np.array([grid.centre_x_m, grid.centre_y_m, 0.0]) for grid in grids]
    guesses = pixel_of_point(np.array(centres).reshape(-1, 3), lens=lens, pose=pose)
    found = []
    for sheet, grid, guess in zip(sheets, grids, guesses, strict=True):
        view = rim_coverage(
            (grid.centre_x_m, grid.centre_y_m),
            diameter_m=2 * grid.radius_m,
            rim_height_m=grid.depth_m,
            lens=lens,
            pose=pose,
            margin_m=0.0,
        )
        if sheet.food or view.in_view_frac < LEAST_IN_VIEW or not view.pixels_across >= 2:
            continue
        frame, excess = _hottest_frame(frames, guess, guesses)
        if frame is None:
            continue
        radius = 0.6 * view.pixels_across + 1.0
        spot = spot_centroid(frame, guess_px=(guess[0], guess[1]), radius_px=radius)
        if math.isfinite(spot.row_px) and spot.contrast >= LEAST_CONTRAST_K:
            centre = np.array([grid.centre_x_m, grid.centre_y_m, 0.0])
            found.append(_Target(recording.name, sheet.burner, centre, spot, radius, grids, excess))
    return found


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
    frames: HeadFrames, guess: Array, others: Array
) -> tuple[Array | None, tuple[float, ...]]:
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
    if not np.median(excess[best]) >= LEAST_CONTRAST_K:
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


def _inside(at: Array, shape: tuple[int, ...]) -> bool:
    return bool(0 <= at[0] <= shape[0] - 1 and 0 <= at[1] <= shape[1] - 1)


def _near(frames: npt.NDArray[Any], at: Array) -> Array:
    """Mean of the 3 x 3 pixels about a place, frame by frame; not finite where one is not."""
    row, col = round(float(at[0])), round(float(at[1]))
    block = frames[:, max(row - 1, 0) : row + 2, max(col - 1, 0) : col + 2]
    return np.asarray(block.astype(np.float64).mean(axis=(1, 2)))


def _fitted(
    targets: list[_Target], *, lens: Lens, start: Pose, nominal: PoseCalibration, blur_px: float
) -> PoseFit:
    """Fit by the difference between seen and rendered centroids, so that their bias cancels."""
    points = np.array([target.centre for target in targets])
    prior = dict(zip(POSE_TERMS, np.sqrt(np.diag(nominal.covariance)), strict=True))
    # a sideways tilt has no term of its own near the vertical: the place takes it up
    sideways = start.height_m * prior["tilt_rad"]
    prior["x_m"] = math.hypot(prior["x_m"], sideways)
    prior["y_m"] = math.hypot(prior["y_m"], sideways)
    prior = {name: max(float(value), 1e-6) for name, value in prior.items()}
    pitch = float(np.median(footprint_m(lens, start).max(axis=-1)))
    sigma = max(PLACEMENT_M / pitch, *(target.spot.sigma_px for target in targets))
    pose = start
    for _ in range(ROUNDS):
        seen = np.array(
            [_unbiased(target, lens=lens, pose=pose, blur_px=blur_px) for target in targets]
        )
        fit = fit_pose(
            points,
            seen,
            lens=lens,
            start=start,
            sigma_px=sigma,
            free=POSE_TERMS,
            prior_sigma=prior,
        )
        pose = fit.pose
    return fit


def _unbiased(target: _Target, *, lens: Lens, pose: Pose, blur_px: float) -> Array:
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
