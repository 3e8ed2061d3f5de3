"""Registration from bare elements, targets and marks; a mount that was bumped."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.stages.calibrate.conftest import POSE

from trivet.models.optics import card_lens
from trivet.physics.geometry.optics import Pose, pixel_of_point, point_of_pixel
from trivet.records.benchsheet import SheetMark, SheetTarget
from trivet.stages.calibrate import calibrate
from trivet.stages.calibrate.mountings import moved_since

ALL = ("front-left", "front-right", "rear-left", "rear-right")


def _off_m(design, found, truth):
    """Rms distance between where the picture puts the burners and where they are."""
    lens = card_lens(design.card(design.heads[0]))
    points = np.array([[float(b.x_m), float(b.y_m), 0.0] for b in design.burners])
    seen = pixel_of_point(points, lens=lens, pose=truth)
    away = point_of_pixel(seen, lens=lens, pose=Pose(*found)) - points
    return math.sqrt((away**2).sum(axis=1).mean())


def _elements(design, draw, *, burners=ALL, **planted):
    """A run in which bare elements of 18 cm heat one after another."""
    places = [(float(design.burner(b).x_m), float(design.burner(b).y_m)) for b in burners]
    cook = draw(
        burners=(), discs=tuple((x, y, 0.09, 150.0) for x, y in places), probes_k=(), **planted
    )
    aims = tuple(SheetTarget(burner=b, diameter="180 mm") for b in burners)
    return replace(cook, reference=replace(cook.reference, targets=aims))


def test_bare_elements_one_after_another_within_5_mm(design, draw):
    run = _elements(design, draw, name="register")
    pose = calibrate(design, recordings=[run]).head("main").pose
    assert pose.how == "fitted"
    assert "4 targets" in pose.reason
    assert pose.residual_rms_m <= 0.005
    assert _off_m(design, pose.value, POSE) <= 0.005
    assert np.linalg.eigvalsh(pose.covariance).min() > 0


def test_a_burner_never_lit_is_named_as_too_few(design, draw):
    run = _elements(design, draw, name="register", burners=ALL[:2])
    made = calibrate(design, recordings=[run])
    assert made.head("main").pose.how == "nominal"
    text = next(text for text in made.refusals if text.startswith("registration"))
    assert "front-left, front-right" in text
    assert "needed: 3" in text
    assert "in force: the pose as designed" in text


def test_collinear_targets_are_refused(design, draw):
    cook = draw(
        name="line", burners=(), probes_k=(),
        discs=tuple((x, 0.0, 0.09, 150.0) for x in (-0.22, 0.0, 0.22)),
    )  # fmt: skip
    aims = tuple(SheetTarget(x=f"{x} mm", diameter="180 mm") for x in (-220, 0, 220))
    made = calibrate(
        design, recordings=[replace(cook, reference=replace(cook.reference, targets=aims))]
    )
    assert made.head("main").pose.how == "nominal"
    assert any("on one line" in text for text in made.refusals)


def _marked(design, cook, points, *, u_px=0.3, seed=3):
    lens = card_lens(design.card(design.heads[0]))
    seen = pixel_of_point(np.array(points), lens=lens, pose=POSE)
    seen = seen + np.random.default_rng(seed).normal(0, u_px, seen.shape)
    marks = tuple(
        SheetMark(row=r, col=c, x=f"{1000 * x} mm", y=f"{1000 * y} mm", u_px=u_px)
        for (r, c), (x, y, _) in zip(seen, points, strict=True)
    )
    return replace(cook, reference=replace(cook.reference, marks=marks))


def test_marks_alone_give_the_pose_with_honest_spread(design, draw):
    points = [(x, y, 0.0) for x in (-0.25, 0.0, 0.25) for y in (-0.15, 0.15)]
    plain = draw(name="marks", burners=(), probes_k=())
    offs, chis = [], []
    for seed in range(12):
        run = _marked(design, plain, points, seed=seed)
        pose = calibrate(design, recordings=[run]).head("main").pose
        assert "6 marks" in pose.reason
        offs.append(_off_m(design, pose.value, POSE))
        truth = [POSE.x_m, POSE.y_m, POSE.height_m, POSE.tilt_rad, POSE.pan_rad, POSE.roll_rad]
        off = pose.value - np.array(truth)
        chis.append(float(off @ np.linalg.solve(pose.covariance, off)))
    assert np.median(offs) < 0.006  # 0.3 px of 23 mm over six marks
    assert np.mean(chis) < 12  # six degrees of freedom


def test_two_marks_are_too_few(design, draw):
    run = _marked(design, draw(name="m", burners=(), probes_k=()), [(-0.2, 0, 0), (0.2, 0.1, 0)])
    made = calibrate(design, recordings=[run])
    assert made.head("main").pose.how == "nominal"


@pytest.fixture
def bumped():
    return Pose(0.024, -0.003, 0.703, tilt_rad=0.012, pan_rad=0.01)


def test_a_bumped_mount_is_noticed_and_the_pose_since_counts(design, draw, bumped):
    """The head slid 20 mm aside after the second of four cooks."""
    cooks = [draw(name=f"c{k}", burners=ALL, seed=k) for k in range(2)]
    cooks += [draw(name=f"c{k}", burners=ALL, seed=k, pose=bumped) for k in (2, 3)]
    made = calibrate(design, recordings=cooks)
    assert any("moved between c1 and c2" in text for text in made.refusals)
    assert any("registration run" in text for text in made.advice)
    pose = made.head("main").pose
    assert "moved between c1 and c2" in pose.reason
    assert _off_m(design, pose.value, bumped) < 0.005


def test_a_still_mount_is_left_in_peace(design, draw):
    cooks = [draw(name=f"c{k}", burners=ALL, seed=20 + k) for k in range(4)]
    made = calibrate(design, recordings=cooks)
    assert not made.advice
    assert not any("moved" in text for text in made.refusals)


def test_a_later_recording_shows_the_bump_and_a_still_one_does_not(design, draw, bumped):
    made = calibrate(design, recordings=[draw(name="all", burners=ALL, seed=1)])
    later = replace(draw(name="may", burners=ALL, seed=2, pose=bumped), purpose="proof")
    (text,) = moved_since(later, design=design, calibration=made)
    assert text.startswith("may: head main sees the pans")
    assert "registration run" in text
    still = replace(draw(name="june", burners=ALL, seed=3), purpose="proof")
    assert moved_since(still, design=design, calibration=made) == ()
