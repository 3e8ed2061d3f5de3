"""How far the firmware's reading lies from its exact twin, and from the host's estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.device import readingrules as rules
from trivet.device.fixedpoint import NO_READING, OVER_RANGE, STEPS_PER_K, UNDER_RANGE
from trivet.models.firmware_tables import unrounded
from trivet.models.firmware_words import device_readings, exact_words, told_words
from trivet.records.alertlog import AlertLog
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import ProductInput
from trivet.stages.firmware_reading.stage import burner_estimate


@dataclass(frozen=True)
class TwinDifference:
    """The integers of one cook against the same rules run on floats."""

    frames: int
    """Frames times burners."""
    flag_flips: int
    """Frames in which any flag, presence or heat differs."""
    valid_flips: int
    """Frames in which one side reports and the other does not."""
    label_flips: int
    """Frames in which the two say that they see something else."""
    worst_reported_k: float
    worst_hottest_k: float
    exact: Estimate
    """What the exact rules say."""


def twin_difference(
    inputs: ProductInput, *, design: Design, calibration: Calibration
) -> TwinDifference:
    """Return what the firmware's integers lose on one cook, frame by frame.

    Parameters
    ----------
    inputs, design, calibration : ProductInput, Design, Calibration
        As for ``device_readings``.

    Returns
    -------
    TwinDifference
        Over all burners.

    Raises
    ------
    RecordingError
        From ``device_readings``.

    Notes
    -----
    On the demonstration's cooks the largest difference is 0.05 K.
    """
    frames = flips = valid = labels = 0
    said: dict[str, BurnerEstimate] = {}
    worst = [0.0, 0.0]
    for constants, words in device_readings(inputs, design=design, calibration=calibration):
        head = next(one for one in inputs.heads if one.head == constants.head)
        told = told_words(inputs.told, constants=constants, design=design)
        fine = unrounded(constants, design=design, calibration=calibration)
        exact = exact_words(head, told=told, constants=fine)
        switches = [rules.FLAGS, rules.PRESENT, rules.HEAT_ON]
        apart = (words[..., switches] != exact[..., switches]).any(axis=2)
        given = [one[..., rules.REPORTED] != NO_READING for one in (words, exact)]
        frames += apart.size
        flips += int(apart.sum())
        valid += int((given[0] != given[1]).sum())
        labels += int((words[..., rules.OF] != exact[..., rules.OF]).sum())
        for at, column in enumerate((rules.REPORTED, rules.HOTTEST)):
            own, other = words[..., column], exact[..., column]
            both = (own > UNDER_RANGE) & (other > UNDER_RANGE)
            both &= (own < OVER_RANGE) & (other < OVER_RANGE)
            off = np.abs(own - other)[both] / STEPS_PER_K
            worst[at] = max(worst[at], float(off.max(initial=0.0)))
        for b, name in enumerate(constants.burners):
            said[name] = burner_estimate(name, constants.head, exact[:, b])
    order = tuple(said[one.name] for one in design.burners if one.name in said)
    whole = Estimate(time_s=inputs.heads[0].time_s, burners=order)
    return TwinDifference(frames, flips, valid, labels, worst[0], worst[1], whole)


@dataclass(frozen=True)
class AlertDifference:
    """Two alert logs of one cook, the changes of each alert one after the other."""

    changes: int
    """Changes of either."""
    together: int
    """Of these, in both logs within one frame."""
    alone: int
    """In one log only."""
    worst_s: float
    """Largest difference of a change that both have. [s]"""


def alert_difference(log: AlertLog, *, other: AlertLog, frame_s: float) -> AlertDifference:
    """Return how two logs of one cook differ: what comes on and off, escalates, is armed.

    Parameters
    ----------
    log, other : AlertLog
        Of one cook.
    frame_s : float
        Time from frame to frame. [s]

    Returns
    -------
    AlertDifference
        The nth change of an alert in one log is held against the nth in the other.

    Notes
    -----
    A change that one log lacks shifts all later ones of that alert: each counts.
    """
    ours, theirs = _by_alert(log), _by_alert(other)
    together = alone = changes = 0
    worst = 0.0
    for key in {*ours, *theirs}:
        left, right = ours.get(key, []), theirs.get(key, [])
        changes += max(len(left), len(right))
        alone += abs(len(left) - len(right))
        for one, two in zip(left, right, strict=False):
            worst = max(worst, abs(one - two))
            together += abs(one - two) <= frame_s + 1e-6
    return AlertDifference(changes, together, alone, worst)


def _by_alert(log: AlertLog) -> dict[tuple[str, str, str], list[float]]:
    found: dict[tuple[str, str, str], list[float]] = {}
    for one in log.changes:
        found.setdefault((one.burner, one.alert, one.state), []).append(one.time_s)
    return found


def alert_line(differences: Sequence[AlertDifference], *, against: str) -> str:
    """Return one line on how the alerts of several cooks differ."""
    changes = sum(one.changes for one in differences)
    together = sum(one.together for one in differences)
    alone = sum(one.alone for one in differences)
    worst = max((one.worst_s for one in differences), default=0.0)
    return (
        f"  alerts against {against}: {together} of {changes} changes within one frame, "
        f"{alone} in one of the two only; the others at most {worst:.2f} s apart"
    )


def flips_line(pairs: Sequence[tuple[Estimate, Estimate]]) -> str:
    """Return one line on how often the firmware's reading and the estimate part."""
    frames = labels = valid = 0
    for device, host in pairs:
        for own, other in zip(device.burners, host.burners, strict=True):
            frames += own.of.size
            given = np.isfinite(own.reported_k), np.isfinite(other.reported_k)
            valid += int((given[0] != given[1]).sum())
            labels += int((own.of != other.of)[given[0] & given[1]].sum())
    share = [100.0 * count / max(frames, 1) for count in (labels, valid)]
    return (
        f"  against the estimate, {frames} readings: {share[0]:.2f} % other labels, "
        f"{share[1]:.1f} % other validity: a reading of its own, judged by "
        "'trivet prove --reader device'"
    )


def estimate_difference(name: str, *, device: Estimate, host: Estimate) -> str:
    """Return one line on how the firmware's reading of a cook differs from the host's.

    Parameters
    ----------
    name : str
        Of the cook.
    device, host : Estimate
        Of the same recording.

    Returns
    -------
    str
        Valid shares, and median and largest difference where both report.

    Notes
    -----
    Two readings of the same frames; which is nearer to the truth is for ``verify`` to say.
    """
    pairs = list(zip(device.burners, host.burners, strict=True))
    read = [pair for pair in pairs if _reads(pair[0]) or _reads(pair[1])]
    if not read:
        return f"  {name}: neither reports anything"
    own = np.concatenate([one.reported_k for one, _ in read])
    other = np.concatenate([one.reported_k for _, one in read])
    apart = (own - other)[np.isfinite(own) & np.isfinite(other)]
    shares = (
        f"reports {100 * np.isfinite(own).mean():.0f} % of frames, the estimate "
        f"{100 * np.isfinite(other).mean():.0f} %"
    )
    if apart.size == 0:
        return f"  {name}: {shares}; never both"
    return (
        f"  {name}: {shares}; where both do, {np.median(apart):+.1f} K (median), "
        f"at most {np.abs(apart).max():.1f} K apart"
    )


def _reads(one: BurnerEstimate) -> bool:
    return bool(np.isfinite(one.reported_k).any())


def twin_line(differences: Sequence[TwinDifference]) -> str:
    """Return one line on what the integers lose over several cooks."""
    frames = sum(one.frames for one in differences)
    flips = sum(one.flag_flips for one in differences)
    valid = sum(one.valid_flips for one in differences)
    labels = sum(one.label_flips for one in differences)
    reported = max((one.worst_reported_k for one in differences), default=0.0)
    hottest = max((one.worst_hottest_k for one in differences), default=0.0)
    share = 100.0 * flips / max(frames, 1)
    return (
        f"  integers against double precision, {len(differences)} cooks, {frames} readings: "
        f"{flips} flips of a flag ({share:.3f} %), {valid} of validity, {labels} of a label; "
        f"at most {reported:.3f} K (reported) and {hottest:.3f} K (hottest) apart"
    )
