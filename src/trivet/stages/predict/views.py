"""What each head sees of each pan on each burner."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.models.assumed import DARK_EMISSIVITY
from trivet.models.optics import card_band, card_lens, mount_pose
from trivet.physics.geometry.coverage import rim_coverage, size_of_source_loss_frac
from trivet.physics.geometry.occlusion import visible_base_frac
from trivet.physics.geometry.optics import Lens, Pose, footprint_m, pixel_of_point
from trivet.physics.radiation.measurement import LineOfSight
from trivet.physics.radiation.planck import Band
from trivet.records.design import Burner, Design, Pan
from trivet.records.prediction import PanView
from trivet.records.sensorcard import Head, SensorCard

MARGIN_M = 0.010  # own estimate: a pan stands 10 mm beside its burner
STEEP_RAD = math.radians(50.0)
"""Own estimate: liquids radiate less beyond 50 to 55 deg."""
LITTLE_SEEN_FRAC = 0.6  # own estimate: with less of a base in view the reading is of its wall


@dataclass(frozen=True)
class Eye:
    """A head with what its card says, ready for the kernels."""

    head: Head
    card: SensorCard
    lens: Lens
    pose: Pose
    band: Band


@dataclass(frozen=True, eq=False)
class Seen:
    """All heads and views of a design.

    ``blur_losses`` gives for each view the least and most share of a central
    pixel's signal that blur takes from beside the pan; NaN where the pan is not
    before the lens.
    """

    eyes: tuple[Eye, ...]
    views: tuple[PanView, ...]
    blur_losses: dict[PanView, tuple[float, float]]


def rim_height_m(pan: Pan) -> float:
    """Return the height of a pan's rim over the cooktop plane. [m]"""
    return float(pan.thickness_m) + float(pan.depth_m)


def rim_diameter_m(pan: Pan) -> float:
    """Return the inner diameter of a pan's rim; that of the base where the wall is upright. [m]"""
    return float(pan.diameter_m) + 2.0 * float(pan.depth_m) * math.tan(float(pan.flare_rad))


def eye_of(design: Design, *, head: Head) -> Eye:
    """Return a head's lens, pose and band.

    Raises
    ------
    OutOfRangeError
        If the card's field of view or the mount is impossible.
    """
    card = design.card(head)
    return Eye(head, card, card_lens(card), mount_pose(head.mount), card_band(card))


def window_sight(
    design: Design, *, eye: Eye, emissivity: float | FloatArray = DARK_EMISSIVITY
) -> LineOfSight:
    """Return the believed sight of a large surface through a head's window."""
    surroundings, window = design.surroundings, eye.head.window
    housing_k = float(surroundings.ambient_k) + float(surroundings.housing_rise_delta_k)
    return LineOfSight(
        emissivity=emissivity,
        reflected_k=float(surroundings.reflected_k),
        transmittance=float(window.transmittance_frac),
        window_k=housing_k + float(window.rise_delta_k),
        housing_k=housing_k,
    )


def pan_views(design: Design, *, eyes: tuple[Eye, ...]) -> tuple[PanView, ...]:
    """Return the view of every pan on every burner by every head.

    Parameters
    ----------
    design : Design
        Burners and pans.
    eyes : tuple of Eye
        The heads.

    Returns
    -------
    tuple of PanView
        Head by head, burner by burner, pan by pan; the rim is judged at its own
        height, pixels and base at the height of the base.

    Raises
    ------
    OutOfRangeError
        If a pan's rim reaches the height of a head.

    Notes
    -----
    A pan stands on the cooktop plane; on a gas hob that is the plane of the pan
    supports.  10 mm of height is 3.2 mm of margin at the front of a 35 deg field.
    """
    views: list[PanView] = []
    for eye in eyes:
        own = [_pan_view(eye, burner, pan) for burner in design.burners for pan in design.pans]
        loss = _losses(own, float(eye.card.blur_px))
        views += [
            replace(view, size_of_source_frac=1.0 - one)
            for view, one in zip(own, loss, strict=True)
        ]
    return tuple(views)


def seen_by(design: Design) -> Seen:
    """Return a design's heads, every view, and what blur costs each.

    Raises
    ------
    OutOfRangeError
        If a card's field of view, a mount or a pan under it is impossible.
    """
    eyes = tuple(eye_of(design, head=head) for head in design.heads)
    views = pan_views(design, eyes=eyes)
    return Seen(eyes, views, _blur_losses(views, eyes))


def _blur_losses(
    views: tuple[PanView, ...], eyes: tuple[Eye, ...]
) -> dict[PanView, tuple[float, float]]:
    losses: dict[PanView, tuple[float, float]] = {}
    for eye in eyes:
        own = [view for view in views if view.head == eye.head.name]
        blur = eye.card.blur_px
        least = _losses(own, float(blur if blur.low is None else blur.low))
        most = least if blur.high is None else _losses(own, float(blur.high))
        losses.update(zip(own, zip(least, most, strict=True), strict=True))
    return losses


def _losses(views: list[PanView], blur_px: float) -> list[float]:
    """Return the loss of all views at once; the quadrature is the costly part."""
    across = np.array([view.pixels_across for view in views])
    known = np.isfinite(across)
    loss = size_of_source_loss_frac(np.where(known, across, 1.0), sigma_px=blur_px)
    return [float(one) for one in np.where(known, loss, np.nan)]


def _pan_view(eye: Eye, burner: Burner, pan: Pan) -> PanView:
    centre = (float(burner.x_m), float(burner.y_m))
    base_m, diameter_m = float(pan.thickness_m), float(pan.diameter_m)
    base = np.array([*centre, base_m])
    try:
        rim = rim_coverage(
            centre,
            diameter_m=rim_diameter_m(pan),
            rim_height_m=rim_height_m(pan),
            lens=eye.lens,
            pose=eye.pose,
            margin_m=MARGIN_M,
        )
        visible = visible_base_frac(
            eye.pose.eye_m,
            centre_m=base,
            radius_m=diameter_m / 2,
            depth_m=float(pan.depth_m),
            flare_rad=float(pan.flare_rad),
        )
    except OutOfRangeError as error:
        raise OutOfRangeError(
            f"head {eye.head.name}, burner {burner.name}, pan {pan.name}: {error}"
        ) from error
    pixel = pixel_of_point(base, lens=eye.lens, pose=eye.pose)
    sides = footprint_m(eye.lens, eye.pose, plane_height_m=base_m, rowcol=pixel)
    return PanView(
        head=eye.head.name,
        burner=burner.name,
        pan=pan.name,
        rim_in_view_frac=rim.in_view_frac,
        margin_m=rim.margin_m,
        pixels_across=rim.pixels_across,
        footprint_m=float(math.sqrt(sides[0] * sides[1])),
        visible_base_frac=visible,
        view_angle_rad=rim.angle_rad,
        size_of_source_frac=math.nan,
    )
