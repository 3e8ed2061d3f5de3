"""How a head hung in each recording: one pose a sensor unit, and a new one after a bump."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trivet.errors import NotEnoughDataError
from trivet.models.calibration_views import pose_of
from trivet.physics.geometry.optics import Pose
from trivet.physics.geometry.registration import MountShift, mount_shift
from trivet.records.calibration import Calibration, PoseCalibration
from trivet.records.design import Design
from trivet.records.recording import Recording
from trivet.stages.calibrate.headscenes import HeadTerms
from trivet.stages.calibrate.pose import Registration, registered_pose, seen_off

MIN_PANS = 2  # own estimate: one pan set down askew does not show as the mount's
MIN_SHIFT_M = 0.008  # own estimate: a third of a footprint of 23 mm
MOVED_SIGMAS = 3.5  # own estimate: one in 450 by chance (Rayleigh's law in the plane)
POSE_VAR = 0.0015**2
"""Of where a fitted pose puts a pan: 1.5 mm, as registration.py states. [m2]"""
BUMPED = 5.0
"""Times the mount's tolerance that a bumped one may be off; assumed, no source."""


@dataclass(frozen=True)
class Mountings:
    """The pose in force, that of each recording, what was refused, and what to do."""

    pose: PoseCalibration
    poses: dict[str, Pose]
    refusals: tuple[str, ...]
    advice: tuple[str, ...]


def mountings(recordings: Sequence[Recording], *, view: HeadTerms) -> Mountings:
    """Return how a head hung; recordings are in order of time, which their names give.

    A sensor unit hangs its own way, so recordings of several units give no
    common pose: the design's stays in force for a unit that was not seen.
    """
    units = sorted({one.unit for one in recordings})
    found = [_of_unit([one for one in recordings if one.unit == unit], view=view) for unit in units]
    if len(units) == 1:
        return found[0]
    poses = {name: pose for one in found for name, pose in one.poses.items()}
    text = f"recordings of {len(units)} sensor units, and each hangs its own way"
    refusal = (
        f"registration of head {view.head.name}: {text}; in force: the pose as designed, with its "
        "tolerances"
    )
    return Mountings(
        replace(view.terms.pose, reason=f"nominal: {text}"),
        poses,
        (*(text for one in found for text in one.refusals), refusal),
        tuple(text for one in found for text in one.advice),
    )


def _of_unit(recordings: Sequence[Recording], *, view: HeadTerms) -> Mountings:
    """Return how a head of one sensor unit hung: one pose, or one before and one after a bump."""
    whole = registered_pose(recordings, view=view)
    names = [one.name for one in recordings]
    shift = _shift(whole, names)
    if shift is None or not shift.moved:
        return Mountings(whole.pose, dict.fromkeys(names, pose_of(whole.pose)), whole.refusals, ())
    at, nominal = shift.first, view.terms.pose
    # a bumped mount no longer hangs within its tolerance
    loose = replace(nominal, covariance=BUMPED**2 * nominal.covariance)
    before = registered_pose(recordings[:at], view=view)
    since = registered_pose(
        recordings[at:], view=replace(view, terms=replace(view.terms, pose=loose))
    )
    poses = {name: pose_of((since if k >= at else before).pose) for k, name in enumerate(names)}
    text = (
        f"the mount of head {view.head.name} moved between {names[at - 1]} and {names[at]}: pans "
        f"are seen {1000 * shift.shift_m:.0f} mm from where they were"
    )
    kept = "the pose seen since" if since.pose.how == "fitted" else "the pose as designed"
    refusal = (
        f"registration of head {view.head.name}, cooks before {names[at]}: {text}; in force: {kept}"
    )
    advice = f"{text}. Fasten it, and record a new registration run"
    after = replace(since.pose, reason=f"{since.pose.reason}; {text}")
    return Mountings(after, poses, (refusal, *since.refusals), (advice,))


def _shift(found: Registration, names: list[str]) -> MountShift | None:
    if not found.recording:
        return None
    places = sorted(set(found.place))
    try:
        return mount_shift(
            found.observed_m,
            index=np.array([names.index(one) for one in found.recording]),
            region=np.array([places.index(one) for one in found.place]),
            u_m=found.u_m,
        )
    except NotEnoughDataError:
        return None


def moved_since(
    recording: Recording, *, design: Design, calibration: Calibration
) -> tuple[str, ...]:
    """Return which heads see a recording's pans elsewhere than the calibrated pose puts them.

    Parameters
    ----------
    recording : Recording
        Any recording of the unit that was calibrated; its sheet says where pans stood.
    design : Design
    calibration : Calibration

    Returns
    -------
    tuple of str
        A sentence for each head whose pans are all off the same way.

    Notes
    -----
    Two pans at least; pans within 3 mm and the 1.5 mm for the
    pose. One pan set down askew does not show as the mount's.
    """
    found = []
    for head in design.heads:
        own = calibration.head(head.name)
        if own.pose.how != "fitted" or recording.unit not in calibration.units:
            continue
        seen = seen_off(recording, view=HeadTerms(design, head, own))
        if len(set(seen.place)) < MIN_PANS:
            continue
        mean = seen.observed_m.mean(axis=0)
        spread = seen.u_m**2 / seen.u_m.size
        away = float(np.hypot(*mean))
        if away > MIN_SHIFT_M and away > MOVED_SIGMAS * float(np.sqrt(spread.mean() + POSE_VAR)):
            found.append(
                f"{recording.name}: head {head.name} sees the pans {1000 * away:.0f} mm from where "
                "the calibrated pose puts them: the mount was bumped, or the pans were not where "
                "the sheet says. Record a new registration run"
            )
    return tuple(found)
