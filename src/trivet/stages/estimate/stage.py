"""The stage's one public function."""

from __future__ import annotations

import numpy as np

from trivet.errors import RecordingError
from trivet.kernels.geometry.optics import view_angle_rad
from trivet.kernels.heat.water import boiling_point_k
from trivet.records.calibration import Calibration
from trivet.records.design import Burner, Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import Sight
from trivet.stages.estimate.burner import BurnerView, read_burner
from trivet.stages.estimate.hypotheses import burner_hypotheses
from trivet.stages.estimate.view import Scene, background, burner_regions, head_pose, head_scene


def estimate(sight: Sight, *, design: Design, calibration: Calibration) -> Estimate:
    """Return what the product would report for every burner and moment of a recording.

    Parameters
    ----------
    sight : Sight
        Frames, sensor state and what the cook told; nothing else of a recording.
    design : Design
    calibration : Calibration

    Returns
    -------
    Estimate
        On the time axis of the first head; a burner seen by several heads is read
        by the one with the most pixels on it.

    Raises
    ------
    RecordingError
        If a head or its frame shape is not the design's, or there are no frames.

    Notes
    -----
    Causal: the estimate of a truncated recording is the beginning of the whole
    one's (tests/stages). Intervals: see docs/reading.md for their terms.

    References
    ----------
    The radiometric equation and its terms are in kernels/radiation/seensurface.py.
    """
    if not sight.heads:
        raise RecordingError("the recording has no frames; import at least one head's")
    scenes = {}
    for frames in sight.heads:
        if frames.time_s.size < 2:
            raise RecordingError(
                f"head {frames.head!r} has {frames.time_s.size} frame(s); a reading needs at "
                "least 2, since rate and flicker come from several"
            )
        scenes[frames.head] = head_scene(
            frames, design=design, calibration=calibration.head(frames.head)
        )
    time_s = sight.heads[0].time_s
    burners = []
    for burner, head in best_heads(scenes, design=design, calibration=calibration):
        read = _read(
            burner, head, sight=sight, scenes=scenes, design=design, calibration=calibration
        )
        burners.append(_on_axis(read, scenes[head].frames.time_s, time_s))
    return Estimate(time_s=time_s, burners=tuple(burners))


def best_heads(
    scenes: dict[str, Scene], *, design: Design, calibration: Calibration
) -> list[tuple[Burner, str]]:
    """Return each burner that is seen, with the head that has the most pixels on it."""
    regions = {
        head.name: burner_regions(head, design=design, calibration=calibration.head(head.name))
        for head in design.heads
        if head.name in scenes
    }
    chosen = []
    for burner in design.burners:
        counts = {
            name: found[burner.name].rows.size
            for name, found in regions.items()
            if burner.name in found
        }
        if counts:
            chosen.append((burner, max(counts, key=lambda name: counts[name])))
    return chosen


def _read(
    burner: Burner,
    head_name: str,
    *,
    sight: Sight,
    scenes: dict[str, Scene],
    design: Design,
    calibration: Calibration,
) -> BurnerEstimate:
    scene = scenes[head_name]
    head = next(one for one in design.heads if one.name == head_name)
    region = burner_regions(head, design=design, calibration=scene.calibration)[burner.name]
    told = sight.told.about(burner.name)
    pans = [pan for pan in design.pans if told.pan in (None, pan.name)] or list(design.pans)
    pose = head_pose(scene.calibration)
    rise = float(np.median([float(pan.depth_m) for pan in pans])) / pose.height_m
    radii = [float(pan.diameter_m) / 2 for pan in pans]
    gap = np.diff(scene.frames.time_s, prepend=scene.frames.time_s[0])
    settle = float(scene.card.settle_s) if scene.card.settle_s is not None else 0.0
    view = BurnerView(
        name=burner.name,
        head=head_name,
        region=region,
        background_k=background(scene, design=design, head=head),
        hypotheses=burner_hypotheses(
            burner,
            told=told,
            design=design,
            calibration=calibration,
            band=scene.band,
            angle_rad=float(view_angle_rad([float(burner.x_m), float(burner.y_m), 0.0], pose=pose)),
        ),
        radii_m=(min(radii), max(radii) / (1 - rise)),
        eye_m=(pose.x_m - float(burner.x_m), pose.y_m - float(burner.y_m)),
        rise_frac=rise,
        base_radius_m=radii[0] if len(pans) == 1 else None,
        boiling_k=float(boiling_point_k(float(design.surroundings.altitude_m))),
        settling=scene.frames.awake_s < settle,
        stale=gap > float(design.estimation.stale_after_s),
    )
    return read_burner(view, scene=scene, design=design)


def _on_axis(read: BurnerEstimate, own_s: np.ndarray, time_s: np.ndarray) -> BurnerEstimate:
    """Return an estimate on another head's time axis: the last reading before each moment."""
    if own_s.shape == time_s.shape and np.array_equal(own_s, time_s):
        return read
    last = np.maximum(np.searchsorted(own_s, time_s, side="right") - 1, 0)
    arrays = {
        name: getattr(read, name)[last]
        for name in (
            "present",
            "of",
            "reported_k",
            "u95_k",
            "hottest_k",
            "nonuniformity_k",
            "flags",
            "heat_on",
            "pixels",
        )
    }
    return BurnerEstimate(burner=read.burner, head=read.head, **arrays)
