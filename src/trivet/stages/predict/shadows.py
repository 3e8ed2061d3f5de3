"""Pans that hide one another, heads that share a cooktop, and coverage as mounted."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import combinations

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.predicted import view_rank
from trivet.physics.geometry.coverage import disc_points
from trivet.physics.geometry.mounting import (
    MountSpread,
    coverage_draws,
    overlap_width_m,
    union_frac,
)
from trivet.physics.geometry.occlusion import Obstacle, shadow_frac, shadowed, visible_base
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.design import Burner, Design, Pan
from trivet.records.prediction import PanView
from trivet.records.seeing import Seam, Shadow, Tolerance, ToleranceLine, UnionSight
from trivet.stages.predict.views import MARGIN_M, Eye, rim_diameter_m, rim_height_m

SHADOW_RAYS = 1000  # own estimate: a share good to 0.5 % of the base
MIN_HIDDEN_FRAC = 1e-3  # own estimate: less of a base is not worth a row


def pan_obstacle(pan: Pan, *, burner: Burner) -> Obstacle:
    """Return a pan on a burner as an obstacle; the wall's thickness is not counted."""
    return Obstacle(
        float(burner.x_m),
        float(burner.y_m),
        float(pan.diameter_m) / 2,
        rim_height_m(pan),
        flare_rad=float(pan.flare_rad),
    )


def neighbour(design: Design, *, pan: Pan, burner: Burner, other: Burner) -> Pan | None:
    """Return the tallest pan that fits on another burner beside a pan, if any does."""
    apart = math.hypot(float(burner.x_m - other.x_m), float(burner.y_m - other.y_m))
    room = apart - rim_diameter_m(pan) / 2
    fitting = [one for one in design.pans if rim_diameter_m(one) / 2 <= room + 1e-9]
    return max(fitting, key=rim_height_m, default=None)


def shadows(
    design: Design, *, eyes: Sequence[Eye]
) -> tuple[tuple[Shadow, ...], dict[tuple[str, str, str], float]]:
    """Return what tall pans hide of each other's base, one by one and all at once.

    Parameters
    ----------
    design : Design
        Burners and pans.
    eyes : sequence of Eye
        The heads.

    Returns
    -------
    tuple of Shadow
        Pairs of which at least 0.1 % of the base is hidden.
    dict
        Head, burner, pan to the share of the base that is seen over the pan's own wall
        with the tallest fitting pan on every other burner.

    Raises
    ------
    OutOfRangeError
        If a rim reaches the height of a head.

    Notes
    -----
    Each share is exact (closed form, 1e-4); the union of all is sampled by 1,000 rays,
    0.5 % of the base.
    """
    found: list[Shadow] = []
    crowded: dict[tuple[str, str, str], float] = {}
    for eye in eyes:
        for burner in design.burners:
            for pan in design.pans:
                own, left = _pan_shadows(design, eye, burner, pan)
                found += own
                crowded[(eye.head.name, burner.name, pan.name)] = left
    return tuple(found), crowded


def _pan_shadows(design: Design, eye: Eye, burner: Burner, pan: Pan) -> tuple[list[Shadow], float]:
    centre = np.array([float(burner.x_m), float(burner.y_m), float(pan.thickness_m)])
    radius = float(pan.diameter_m) / 2
    points = disc_points(centre, radius_m=radius, points=SHADOW_RAYS)
    free = visible_base(
        points[:, :2],
        centre_m=centre,
        radius_m=radius,
        depth_m=float(pan.depth_m),
        eye_m=eye.pose.eye_m,
        flare_rad=float(pan.flare_rad),
    )
    rows = []
    for other in design.burners:
        tall = neighbour(design, pan=pan, burner=burner, other=other)
        if other is burner or tall is None:
            continue
        obstacle = pan_obstacle(tall, burner=other)
        hidden = shadow_frac(centre, radius_m=radius, obstacle=obstacle, eye_m=eye.pose.eye_m)
        if hidden >= MIN_HIDDEN_FRAC:
            free &= ~shadowed(points, obstacle=obstacle, eye_m=eye.pose.eye_m)
            names = (eye.head.name, burner.name, pan.name, other.name, tall.name)
            rows.append(Shadow(*names, hidden))
    return rows, float(free.mean())


def union_sights(
    design: Design, *, eyes: Sequence[Eye], views: Sequence[PanView]
) -> tuple[UnionSight, ...]:
    """Return every pan on every burner as all heads together see it.

    Parameters
    ----------
    design : Design
        Burners and pans.
    eyes : sequence of Eye
        The heads.
    views : sequence of PanView
        By head, burner and pan.

    Returns
    -------
    tuple of UnionSight
        A pan that one head sees whole is not cut, whatever the others see.

    Notes
    -----
    Shares of rim and margin by 2,000 points, 0.3 %.
    """
    heads = [(eye.lens, eye.pose) for eye in eyes]
    places: dict[tuple[str, str], list[PanView]] = {}
    for view in views:
        places.setdefault((view.burner, view.pan), []).append(view)
    found = []
    for burner in design.burners:
        for pan in design.pans:
            own = places[(burner.name, pan.name)]
            best = max(own, key=view_rank)
            whole = best.head if best.margin_m >= 0.0 else ""
            share: float = 1.0
            cut: tuple[str, ...] = ()
            if not whole:
                share = best.rim_in_view_frac
                seeing = tuple(view.head for view in own if view.rim_in_view_frac > 0.0)
                cut = seeing if len(seeing) > 1 else ()
            if cut:
                centre = (float(burner.x_m), float(burner.y_m), rim_height_m(pan))
                reach = rim_diameter_m(pan) / 2 + MARGIN_M
                share = max(share, union_frac(centre, radius_m=reach, heads=heads))
            found.append(UnionSight(burner.name, pan.name, whole, share, cut))
    return tuple(found)


def seams(eyes: Sequence[Eye], *, unions: Sequence[UnionSight]) -> tuple[Seam, ...]:
    """Return the seam of every two heads: its width and the burners that it cuts.

    Parameters
    ----------
    eyes : sequence of Eye
        The heads.
    unions : sequence of UnionSight
        Of :func:`union_sights`.

    Returns
    -------
    tuple of Seam
        None for a single head.

    Notes
    -----
    A pan of width D, with its margin, is never cut on the line between two heads when
    the overlap at the height of its rim is at least D; on the plane it is wider.
    """
    found = []
    for one, two in combinations(eyes, 2):
        names = (one.head.name, two.head.name)
        width = overlap_width_m((one.lens, one.pose), other=(two.lens, two.pose))
        cut = dict.fromkeys(u.burner for u in unions if set(names) <= set(u.cut_by))
        found.append(Seam(*names, width, tuple(cut)))
    return tuple(found)


MOUNT_DRAWS = 10_000  # own estimate: knows the probability to 0.9 % at worst


def rim_discs(design: Design, *, margin_m: float = MARGIN_M) -> FloatArray:
    """Return rims with their margin, burner by burner and pan by pan, (disc, 5)."""
    return np.array(
        [
            [
                float(burner.x_m),
                float(burner.y_m),
                rim_height_m(pan),
                rim_diameter_m(pan) / 2,
                margin_m,
            ]
            for burner in design.burners
            for pan in design.pans
        ]
    )


def mount_tolerance(
    design: Design,
    *,
    eyes: Sequence[Eye],
    stream: Callable[[str], np.random.Generator],
    draws: int = MOUNT_DRAWS,
) -> Tolerance:
    """Return the probability that every rim stays in the field of a head as mounted.

    Parameters
    ----------
    design : Design
        Burners, pans and the mounts' tolerances.
    eyes : sequence of Eye
        The heads, each with errors of its own.
    stream : callable
        Name of a head to its random generator.
    draws : int
        Number of mounts drawn.

    Returns
    -------
    Tolerance
        Shares with exact 95 % intervals; a pan counts as covered when one head alone
        sees its whole rim with the margin of 10 mm.

    Raises
    ------
    OutOfRangeError
        If a tolerance is negative.

    Notes
    -----
    Tolerances are half-widths of rectangular errors.  10,000 draws: 0.9 % of the
    probability at worst, 4e-4 at none failing.  The interval says how well the
    probability is known under the tolerances stated; it says nothing of those.

    References
    ----------
    JCGM 101:2008; Clopper and Pearson, Biometrika 26 (1934).
    """
    discs = rim_discs(design)
    covered = np.zeros((draws, len(discs)), dtype=bool)
    words = []
    for eye in eyes:
        mount = eye.head.mount
        spread = MountSpread(float(mount.position_tolerance_m), float(mount.angle_tolerance_rad))
        generator = stream(f"mount/{eye.head.name}")
        covered |= coverage_draws(
            discs, lens=eye.lens, pose=eye.pose, spread=spread, draws=draws, generator=generator
        )
        degrees = math.degrees(spread.angle_rad)
        words.append(f"{eye.head.name} ±{spread.position_m * 1e3:g} mm, ±{degrees:.3g} deg")
    names = [(burner.name, pan.name) for burner in design.burners for pan in design.pans]
    lines = tuple(
        ToleranceLine(*name, *_shares(int(count), draws))
        for name, count in zip(names, covered.sum(axis=0), strict=True)
    )
    worst = min(lines, key=lambda line: line.ok_frac)
    fails = worst.ok_frac < 1.0
    ok = int(covered.all(axis=1).sum())
    return Tolerance(
        draws,
        ok,
        *_shares(ok, draws),
        worst_burner=worst.burner if fails else "",
        worst_pan=worst.pan if fails else "",
        lines=lines,
        spread=f"rectangular in x, y, height and three angles: {'; '.join(words)}",
    )


def _shares(ok: int, draws: int) -> tuple[float, float, float]:
    return (ok / draws, *clopper_pearson(ok, draws))
