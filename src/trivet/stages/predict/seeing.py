"""What each head can measure of each pan, and everything that a design can see put together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.assumed import HALO_FEW_FRAC, HALO_MANY_FRAC
from trivet.models.contents import bare_range, fits, layer_m
from trivet.models.predicted import prediction_stream, unseen_burners
from trivet.physics.geometry.coverage import ENOUGH_PIXELS_ACROSS, rim_loss_frac, spot_factor
from trivet.physics.geometry.occlusion import visible_base_frac
from trivet.physics.geometry.optics import footprint_m, pixel_of_point
from trivet.physics.radiation.measurement import sighted_apparent_k, sighted_surface_k
from trivet.records.design import Base, Burner, Design, Pan
from trivet.records.prediction import PanView
from trivet.records.seeing import FillSight, FootprintMap, PanSight, Seeing, Tolerance
from trivet.stages.predict.posesearch import search_pose
from trivet.stages.predict.shadows import mount_tolerance, seams, shadows, union_sights
from trivet.stages.predict.views import LITTLE_SEEN_FRAC, STEEP_RAD, Eye, Seen, window_sight
from trivet.units import celsius

MAX_SHOWN = 32  # own estimate: more pixels of a map cannot be told apart on a page
LIMIT_RAD = math.radians(55.0)  # own estimate: liquids count as seen from above up to here
MAX_LOSS_FRAC = 0.99  # own estimate: a pixel that sees nothing of the pan has no error


def footprint_maps(eyes: Sequence[Eye]) -> tuple[FootprintMap, ...]:
    """Return the footprints of each head's pixels on the cooktop plane.

    Parameters
    ----------
    eyes : sequence of Eye
        The heads.

    Returns
    -------
    tuple of FootprintMap
        Of arrays above 32 x 32 every n-th pixel, first and last included.

    Raises
    ------
    OutOfRangeError
        If a head does not hang above the cooktop.

    Notes
    -----
    Geometry alone, no blur: 32 x 24 over 55 x 35 deg at 0.70 m has 18.4 x 22.8 mm
    everywhere on the plane; 110 x 75 deg has 44.8 x 62.5 mm.
    """
    return tuple(_map(eye) for eye in eyes)


def _map(eye: Eye) -> FootprintMap:
    row, col = (_places(count) for count in (eye.lens.rows, eye.lens.cols))
    grid = np.stack(np.meshgrid(row, col, indexing="ij"), axis=-1)
    sides = footprint_m(eye.lens, eye.pose, rowcol=grid)
    along, across = np.ascontiguousarray(sides[..., 0]), np.ascontiguousarray(sides[..., 1])
    for array in (row, col, along, across):
        array.flags.writeable = False
    return FootprintMap(eye.head.name, row, col, along, across)


def _places(count: int) -> FloatArray:
    shown = np.linspace(0.0, count - 1.0, min(count, MAX_SHOWN))
    return np.unique(np.round(shown))


def pan_sights(
    design: Design, *, seen: Seen, crowded: dict[tuple[str, str, str], float]
) -> tuple[PanSight, ...]:
    """Return spot, size-of-source error and steepest view of every pan by every head.

    Parameters
    ----------
    design : Design
        Pans and what lies beside them.
    seen : Seen
        Heads and views.
    crowded : dict
        Head, burner, pan to the visible share with all other burners occupied.

    Returns
    -------
    tuple of PanSight
        In the order of the views.

    Notes
    -----
    The errors are those of a reading that does not correct: the whole surround, out
    to where the blur reaches, is taken at the cold or at the hot temperature, which
    bounds what a ring or a grate on one side does.  Emissivity is that of the bare
    pan.  2 % of a pixel from 450 C beside a pan of 180 C costs about +7 K, from 25 C
    about -2 K.
    """
    sights: list[PanSight] = []
    for eye in seen.eyes:
        own = [view for view in seen.views if view.head == eye.head.name]
        loss = np.array([_most_losses(eye, view, seen) for view in own]).reshape(-1, 2)
        errors = _beside_errors(design, eye, [design.pan(view.pan) for view in own], loss)
        factor = spot_factor(float(eye.card.blur_px))
        for at, view in enumerate(own):
            key = (view.head, view.burner, view.pan)
            beside = np.concatenate([loss[None, at], errors[:, :, at]])
            sights.append(
                _sight(design, eye, view=view, spot_px=factor, beside=beside, crowded=crowded[key])
            )
    return tuple(sights)


def _sight(
    design: Design, eye: Eye, *, view: PanView, spot_px: float, beside: FloatArray, crowded: float
) -> PanSight:
    """Return one sight; ``beside`` holds loss, cold and hot error by centre and rim, (3, 2)."""
    burner, pan = design.burner(view.burner), design.pan(view.pan)
    centre = np.array([float(burner.x_m), float(burner.y_m), float(pan.thickness_m)])
    pixel = pixel_of_point(centre, lens=eye.lens, pose=eye.pose)
    along, across = footprint_m(
        eye.lens, eye.pose, plane_height_m=float(pan.thickness_m), rowcol=pixel
    )
    spot = spot_px * max(float(along), float(across))
    ten = bool(view.pixels_across >= ENOUGH_PIXELS_ACROSS)
    far = far_angle_rad(eye, centre, float(pan.diameter_m) / 2)
    return PanSight(
        head=view.head,
        burner=view.burner,
        pan=view.pan,
        along_m=float(along),
        across_m=float(across),
        spot_m=spot,
        pixels_across=view.pixels_across,
        ten_by_ten=ten,
        loss_frac=1.0 - view.size_of_source_frac,
        loss_most_frac=float(beside[0, 0]),
        rim_loss_most_frac=float(beside[0, 1]),
        cold_k=float(beside[1, 0]),
        hot_k=float(beside[2, 0]),
        rim_cold_k=float(beside[1, 1]),
        rim_hot_k=float(beside[2, 1]),
        far_angle_rad=far,
        crowded_frac=crowded,
        remark=_remark(view, spot, float(pan.diameter_m), crowded),
    )


def _remark(view: PanView, spot_m: float, diameter_m: float, crowded: float) -> str:
    if view.rim_in_view_frac <= 0.0:
        return "outside the field"
    parts = []
    if not view.pixels_across >= ENOUGH_PIXELS_ACROSS:
        known = math.isfinite(view.pixels_across)
        count = f"{view.pixels_across:.1f}" if known else "an unknown number of"
        parts.append(f"{count} pixels across, under the 10 of an accurate reading")
    if not spot_m <= diameter_m:
        parts.append("the measurable spot is wider than the pan")
    if crowded < LITTLE_SEEN_FRAC:
        parts.append(f"{crowded:.0%} of the base seen between pans on every burner")
    return "; ".join(parts)


def far_angle_rad(eye: Eye, centre_m: FloatArray, radius_m: float) -> float:
    """Return the steepest angle of view on a horizontal disc. [rad]"""
    x, y, height = eye.pose.eye_m
    aside = math.hypot(float(centre_m[0]) - x, float(centre_m[1]) - y) + radius_m
    return math.atan2(aside, height - float(centre_m[2]))


def _most_losses(eye: Eye, view: PanView, seen: Seen) -> tuple[float, float]:
    """Return the most loss of a central pixel, and of one a pixel inside the rim."""
    blur = eye.card.blur_px
    widest = float(blur if blur.high is None else blur.high)
    many = view.pixels_across >= ENOUGH_PIXELS_ACROSS
    halo = (HALO_MANY_FRAC if many else HALO_FEW_FRAC).value
    centre = seen.blur_losses[view][1] + halo
    rim = max(float(rim_loss_frac(1.0, sigma_px=widest)) + halo, centre)
    return min(centre, MAX_LOSS_FRAC), min(rim, MAX_LOSS_FRAC)


def _beside_errors(design: Design, eye: Eye, pans: list[Pan], loss: FloatArray) -> FloatArray:
    """Return errors (cold and hot, centre and rim, view). [K]"""
    surroundings = design.surroundings
    pan_k = float(surroundings.beside_pan_k)
    beside = np.array([float(surroundings.beside_cold_k), float(surroundings.beside_hot_k)])
    bare = np.array([bare_range(pan)[0] for pan in pans])[None, None, :]
    believed = window_sight(design, eye=eye, emissivity=bare)
    true = replace(believed, source_frac=1.0 - loss.T[None, :, :], around_k=beside[:, None, None])
    stated = sighted_apparent_k(pan_k, sight=true, band=eye.band)
    read_k = sighted_surface_k(stated, sight=believed, band=eye.band)
    return np.asarray(np.broadcast_to(read_k - pan_k, (2, 2, len(pans))))


def fill_sights(design: Design, *, eyes: Sequence[Eye]) -> tuple[FillSight, ...]:
    """Return how much of the contents' surface each head sees over the wall.

    Parameters
    ----------
    design : Design
        Burners, pans and what lies in them.
    eyes : sequence of Eye
        The heads.

    Returns
    -------
    tuple of FillSight
        Only contents that stay below the rim, at the height to which the volume fills
        the pan; pans that are used with a lid are remarked.

    Raises
    ------
    OutOfRangeError
        If a rim reaches the height of a head.

    Notes
    -----
    0.3 m aside and 0.76 m up: 64 % of the base of an empty 25 cm pot, 92 % of a
    surface 50 mm under its rim.  Liquids radiate as stated to 50 deg, and at most
    2 % less at 65 deg.
    """
    return tuple(
        _fill(eye, burner=burner, pan=pan, base=base)
        for eye in eyes
        for burner in design.burners
        for pan in design.pans
        for base in design.bases
        if fits(base, pan=pan)
    )


def _fill(eye: Eye, *, burner: Burner, pan: Pan, base: Base) -> FillSight:
    fill_m = layer_m(base, pan=pan)
    floor_m, radius = float(pan.thickness_m), float(pan.diameter_m) / 2
    flare = float(pan.flare_rad)
    visible = visible_base_frac(
        eye.pose.eye_m,
        centre_m=np.array([float(burner.x_m), float(burner.y_m), floor_m]),
        radius_m=radius,
        depth_m=float(pan.depth_m),
        fill_m=fill_m,
        flare_rad=flare,
    )
    surface = np.array([float(burner.x_m), float(burner.y_m), floor_m + fill_m])
    angle = far_angle_rad(eye, surface, 0.0)
    far = far_angle_rad(eye, surface, radius + fill_m * math.tan(flare))
    parts = []
    if fill_m > 0.0 and far > STEEP_RAD:
        limit = "the limit of 55" if far > LIMIT_RAD else "50"
        parts.append(f"seen at up to {math.degrees(far):.0f} degrees, beyond {limit} for liquids")
    if visible < LITTLE_SEEN_FRAC:
        parts.append(f"the wall hides {1 - visible:.0%}")
    if pan.lid:
        parts.append("hidden while the lid is on")
    return FillSight(
        head=eye.head.name,
        burner=burner.name,
        pan=pan.name,
        base=base.name,
        fill_m=fill_m,
        visible_frac=visible,
        angle_rad=angle,
        far_angle_rad=far,
        remark="; ".join(parts),
    )


HIDING_FRAC = 0.10  # own estimate: a tenth of a base hidden is worth a caution
LIKELY_FRAC = 0.95  # common practice, no source: as likely as a 95 % interval


def seeing_of(design: Design, *, seen: Seen) -> Seeing:
    """Return footprints, spots, shadows, seams, tolerance and poses of a design.

    Parameters
    ----------
    design : Design
        What is built.
    seen : Seen
        Its heads and views.

    Returns
    -------
    Seeing
        The same design gives the same bytes.

    Raises
    ------
    OutOfRangeError
        If a lens, mount or pan is impossible.
    InputError
        If the pose search names what does not exist.
    """
    hidden, crowded = shadows(design, eyes=seen.eyes)
    unions = union_sights(design, eyes=seen.eyes, views=seen.views)
    around = design.surroundings
    cold, hot, pan = (
        f"{celsius(float(one)):.0f} °C"
        for one in (around.beside_cold_k, around.beside_hot_k, around.beside_pan_k)
    )
    return Seeing(
        maps=footprint_maps(seen.eyes),
        pans=pan_sights(design, seen=seen, crowded=crowded),
        fills=fill_sights(design, eyes=seen.eyes),
        shadows=hidden,
        unions=unions,
        seams=seams(seen.eyes, unions=unions),
        unseen=unseen_burners(design, views=seen.views),
        lidded=tuple(one.name for one in design.pans if one.lid),
        tolerance=mount_tolerance(
            design, eyes=seen.eyes, stream=lambda name: prediction_stream(design, name=name)
        ),
        search=search_pose(design, eyes=seen.eyes),
        beside=f"cold {cold}, hot {hot} all round, pan at {pan}",
    )


def sight_cautions(seeing: Seeing) -> tuple[str, ...]:
    """Return what a reader must be told of what is seen, and what is not."""
    lines = [
        f"Pan {name} is used with a lid: under it nothing of the contents is seen, and a reading"
        " is of the lid."
        for name in seeing.lidded
    ]
    lines += [
        f"The seam between heads {one.head} and {one.other} cuts pans on burner"
        f" {', '.join(one.burners_cut)}: neither head sees them whole."
        for one in seeing.seams
        if one.burners_cut
    ]
    blocked: dict[tuple[str, str], list[str]] = {}
    for one in seeing.shadows:
        if one.hidden_frac >= HIDING_FRAC:
            text = f"{one.by_pan} on {one.by_burner}"
            blocked.setdefault((one.head, one.burner), []).append(text)
    lines += [
        f"Burner {burner}: {', '.join(dict.fromkeys(by))} can hide {HIDING_FRAC:.0%} or more of a"
        f" pan's base from head {head}."
        for (head, burner), by in blocked.items()
    ]
    steep = {(one.burner, one.head) for one in seeing.fills if "degrees" in one.remark}
    by_head: dict[str, list[str]] = {}
    for burner, head in sorted(steep):
        by_head.setdefault(head, []).append(burner)
    lines += [
        f"Head {head} sees contents on {', '.join(burners)} at more than 50 degrees somewhere;"
        " liquids radiate less beyond 50 to 55."
        for head, burners in by_head.items()
    ]
    return tuple(lines + _mount_caution(seeing.tolerance))


def _mount_caution(tolerance: Tolerance | None) -> list[str]:
    if tolerance is None or tolerance.low_frac >= LIKELY_FRAC:
        return []
    return [
        f"As mounted, every pan is covered with a probability of {tolerance.low_frac:.2%} to"
        f" {tolerance.high_frac:.2%} ({tolerance.ok_draws} of {tolerance.draws} draws); most often"
        f" lost: {tolerance.worst_pan} on {tolerance.worst_burner}."
    ]
