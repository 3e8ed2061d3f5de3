"""What a calibration says of a head's pixels, its window, its surfaces, and which unit it is of."""

from __future__ import annotations

import math

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.errors import EvidenceError
from trivet.models.contents import seen_of
from trivet.models.optics import card_lens, reach_m
from trivet.physics.geometry.optics import Pose, footprint_m, point_of_pixel
from trivet.physics.image.panfinder import BurnerRegion
from trivet.records.calibration import (
    Calibration,
    HeadCalibration,
    PoseCalibration,
    SurfaceCalibration,
)
from trivet.records.design import Base, Design, Pan
from trivet.records.recording import Recording
from trivet.records.sensorcard import Head


def head_pose(calibration: HeadCalibration) -> Pose:
    """Return the calibrated pose of a head."""
    return pose_of(calibration.pose)


def pose_of(terms: PoseCalibration) -> Pose:
    """Return a pose from its calibrated terms."""
    return Pose(*(float(term) for term in terms.value))


def reflected_temperature(own: HeadCalibration, *, design: Design) -> tuple[float, float]:
    """Return the reflected temperature and its u: as patches showed it, else as designed. [K]"""
    if math.isfinite(own.reflected_k):
        return own.reflected_k, own.reflected_u_k
    declared = design.surroundings.reflected_k
    return declared.middle, declared.standard_uncertainty


def window_u(head: Head, *, calibration: HeadCalibration) -> float:
    """Return the standard uncertainty of a window's transmittance in use.

    A window gets greasy after its calibration: it lies anywhere between what was
    calibrated and that less the share by which the lowest that the design declares
    falls short of its value, whatever lot the window is of. What is as declared has
    its declared range.
    """
    if calibration.transmittance_how == "nominal":
        return float(calibration.transmittance_u)
    declared = head.window.transmittance_frac
    lost = 0.0 if declared.low is None else 1.0 - float(declared.low) / float(declared)
    soil = calibration.transmittance * lost / math.sqrt(3.0)
    return max(float(calibration.transmittance_u), soil)


def window_loss_frac(design: Design, calibration: Calibration) -> float:
    """Return the largest share of a clean window's transmittance that a head has lost.

    Parameters
    ----------
    design : Design
        Transmittance of each head's clean window.
    calibration : Calibration
        Transmittance as last measured; one that was not measured counts as clean.

    Returns
    -------
    float
        0 for a clean window. [-]

    Notes
    -----
    A loss within two standard uncertainties of nothing counts as none. 10 % lost reads
    7 K low at 230 C.
    """
    worst = 0.0
    for head in design.heads:
        clean = float(head.window.transmittance_frac)
        known = next((one for one in calibration.heads if one.head == head.name), None)
        if known is None or known.transmittance_how != "fitted":
            continue
        lost = (clean - known.transmittance) / clean
        if lost > 2.0 * known.transmittance_u / clean:
            worst = max(worst, lost)
    return worst


def fitted_surface(pan: Pan, base: Base, *, calibration: Calibration) -> SurfaceCalibration | None:
    """Return what calibration cooks taught of these contents in this finish, if anything.

    A film is never read as a pool, nor a pool as a film; a pool hides the pan, so that
    one in any finish tells of it.
    """
    fitted = [
        one for one in calibration.surfaces if one.how == "fitted" and one.contents == base.contents
    ]
    if base.contents == "oil":
        deep = seen_of(base, pan=pan) == "oil"
        fitted = [one for one in fitted if one.film != deep]
        fitted.sort(key=lambda one: (one.finish != pan.finish, -one.cooks))
        if deep:
            return fitted[0] if fitted else None
    return next((one for one in fitted if one.finish in ("", pan.finish)), None)


def burner_regions(
    head: Head, *, design: Design, calibration: HeadCalibration
) -> dict[str, BurnerRegion]:
    """Return, for each burner that the head sees, the pixels that its pan can cover."""
    card = design.card(head)
    lens, pose = card_lens(card), head_pose(calibration)
    rows, cols = np.mgrid[0 : card.rows, 0 : card.cols]
    plane = point_of_pixel(np.stack([rows, cols], axis=-1).astype(float), lens=lens, pose=pose)
    size = footprint_m(lens, pose)
    area = size[..., 0] * size[..., 1]
    regions = {}
    for burner in design.burners:
        dx, dy = plane[..., 0] - float(burner.x_m), plane[..., 1] - float(burner.y_m)
        distance = np.hypot(dx, dy)
        inside = distance <= reach_m(burner, design=design)
        if inside.sum() < 4:
            continue
        middle = np.unravel_index(np.nanargmin(distance), distance.shape)
        regions[burner.name] = BurnerRegion(
            rows[inside],
            cols[inside],
            dx[inside],
            dy[inside],
            area[inside],
            math.sqrt(float(area[middle])),
            _edge_m(distance, inside),
        )
    return regions


def _edge_m(distance: FloatArray, inside: BoolArray) -> float:
    """Distance from the burner to the nearest pixel of the frame's border."""
    border = np.zeros_like(inside)
    border[[0, -1], :] = border[:, [0, -1]] = True
    return float(np.nanmin(np.where(border, distance, np.inf)))


def pixels_beside(head: Head, *, design: Design, pose: Pose) -> IntArray:
    """Return the places of the pixels on the cooktop that no pan can cover."""
    card = design.card(head)
    rows, cols = np.mgrid[0 : card.rows, 0 : card.cols]
    pixels = np.stack([rows, cols], axis=-1).astype(float)
    plane = point_of_pixel(pixels, lens=card_lens(card), pose=pose)
    beside = (np.abs(plane[..., 0]) <= float(design.cooktop.width_m) / 2) & (
        np.abs(plane[..., 1]) <= float(design.cooktop.depth_m) / 2
    )
    for burner in design.burners:
        distance = np.hypot(plane[..., 0] - float(burner.x_m), plane[..., 1] - float(burner.y_m))
        beside &= distance > reach_m(burner, design=design)
    return np.flatnonzero(beside).astype(np.int64)


def refuse_other_unit(calibration: Calibration, recording: Recording) -> None:
    """Refuse to read a recording with terms that were measured on another sensor unit.

    Parameters
    ----------
    calibration : Calibration
    recording : Recording

    Raises
    ------
    EvidenceError
        Where the calibration was fitted on one unit and the recording is of another,
        or one of both does not say.

    Notes
    -----
    Units of one kind differ by 1 to 3 K of offset and by 10 to 20 mm of aim: read
    with another unit's terms, a recording would show a narrow interval in the
    wrong place.
    """
    if calibration.holds_for(recording.unit):
        return
    made, used = calibration.units[0], recording.unit
    raise EvidenceError(
        f"recording {recording.name!r} is of {_named(used)}, and the calibration was made on "
        f"{_named(made)} ({', '.join(calibration.recordings)}): it holds for that unit alone. "
        "State the unit in both sheets, record calibration cooks with this unit, or with three "
        "units and more, whose spread then counts"
    )


def _named(unit: str) -> str:
    return f"sensor unit {unit!r}" if unit else "a sensor unit without a name"
