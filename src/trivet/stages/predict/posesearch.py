"""Where heads should hang: a search over the free parameters that the design declares."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trivet.errors import InputError
from trivet.facts.parts import card as library_card
from trivet.models.optics import card_lens, mount_pose
from trivet.physics.geometry.mounting import disc_views
from trivet.physics.geometry.optics import Lens, Pose
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.search import Move, Search
from trivet.records.seeing import HeadPose, PoseFound, PoseSearch
from trivet.records.sensorcard import Head, SensorCard
from trivet.stages.predict.posefit import SLACK_UNITS, Mover, Task, minima, posed, slacks
from trivet.stages.predict.views import Eye, rim_diameter_m, rim_height_m

FREE = ("x_m", "y_m", "height_m", "tilt_rad", "pan_rad", "roll_rad")


def search_pose(design: Design, *, eyes: Sequence[Eye]) -> PoseSearch | None:
    """Return the best poses of the moving heads over the parameters that the design sets free.

    Parameters
    ----------
    design : Design
        With a ``search`` section; without one nothing is searched.
    eyes : sequence of Eye
        All heads; what a head that stays sees whole need not be seen by those that move.

    Returns
    -------
    PoseSearch or None
        Of each sensor at most three poses, those that fit first and by pixels across;
        when none fits, the one that comes nearest and the constraint it fails.

    Raises
    ------
    InputError
        If a name is unknown or a free parameter has no range.

    Notes
    -----
    Constraints: every rim with its margin in the field, pixels across, angle of view.
    Among poses that fit the one with most pixels across the pan that has fewest wins,
    which is the lowest; margins are met to 1 um.  Each pan is served by the head that
    misses least of what is asked for.  A narrow optimum can be missed, more so with many
    free parameters.  A field of 35 deg over rims and margins at +-260 mm: 0.8246 m.

    References
    ----------
    J. A. Nelder and R. Mead, Computer Journal 7 (1965) 308, on an exact penalty.
    """
    search = design.search
    if search is None:
        return None
    moves = (search, *search.others)
    heads = [_head(design, move) for move in moves]
    if len({head.name for head in heads}) < len(heads):
        raise InputError("search.others: a head is named twice; give each moving head once")
    task = _task(design, search, heads, eyes)
    found: list[tuple[float, PoseFound]] = []
    for label, cards in _cards(design, search, heads):
        found += _poses(task, label, [card_lens(card) for card in cards])
    ranked = tuple(one for _, one in sorted(found, key=_rank))
    free = tuple(
        f"{mover.head + ': ' if len(task.movers) > 1 else ''}{_free_words(*one)}"
        for mover in task.movers
        for one in mover.free
    )
    return PoseSearch(
        head=", ".join(head.name for head in heads),
        free=free or ("nothing: the pose is fixed",),
        constraints=_constraint_words(search),
        poses=ranked,
        answer=_answer(ranked),
    )


def _rank(one: tuple[float, PoseFound]) -> tuple[float, float]:
    """Order by what is missing, then by pixels across."""
    return max(one[0], 0.0), -one[1].pixels_across


def _head(design: Design, move: Move) -> Head:
    if not move.head:
        return design.heads[0]
    for head in design.heads:
        if head.name == move.head:
            return head
    known = ", ".join(head.name for head in design.heads)
    raise InputError(f"search.head: no head {move.head!r}; heads: {known}")


def _cards(
    design: Design, search: Search, heads: Sequence[Head]
) -> list[tuple[str, list[SensorCard]]]:
    """Return the cards to try, one of each moving head, with a word for them."""
    own = {card.name: card for card in design.sensors}
    known = {
        name: own[name] if name in own else library_card(name)
        for name in (*search.sensors, *(head.sensor for head in heads))
    }
    if search.sensors:
        return [(name, [known[name]] * len(heads)) for name in search.sensors]
    cards = [known[head.sensor] for head in heads]
    return [(", ".join(dict.fromkeys(card.name for card in cards)), cards)]


def _task(design: Design, search: Search, heads: Sequence[Head], eyes: Sequence[Eye]) -> Task:
    pans = [pan for pan in design.pans if not search.pans or pan.name in search.pans]
    if not pans:
        raise InputError(f"search.pans: none of {', '.join(search.pans)} is a pan of the design")
    names, rows = [], []
    for burner in design.burners:
        for pan in pans:
            names.append((burner.name, pan.name))
            place = [float(burner.x_m), float(burner.y_m), rim_height_m(pan)]
            rows.append([*place, rim_diameter_m(pan) / 2, float(search.margin_m)])
    discs = np.array(rows)
    needed = np.ones(len(discs), dtype=bool)
    moving = {head.name for head in heads}
    for eye in eyes:
        if eye.head.name not in moving:
            needed &= disc_views(discs, lens=eye.lens, pose=eye.pose)[:, 0] < 0.0
    if not needed.any():
        needed[:] = True
    kept = tuple(name for name, keep in zip(names, needed, strict=True) if keep)
    movers = tuple(
        Mover(head.name, mount_pose(head.mount), _free(move))
        for head, move in zip(heads, (search, *search.others), strict=True)
    )
    return Task(search, movers, discs[needed], kept)


def _free(move: Move) -> tuple[tuple[str, float, float], ...]:
    free = []
    for name in FREE:
        figure: Figure | None = getattr(move, name)
        if figure is None:
            continue
        if figure.low is None or figure.high is None:
            raise InputError(f"search.{name.rsplit('_', 1)[0]}: no range; give low and high")
        free.append((name, figure.low, figure.high))
    return tuple(free)


def _poses(task: Task, sensor: str, lenses: Sequence[Lens]) -> list[tuple[float, PoseFound]]:
    found: list[tuple[float, PoseFound]] = []
    for values in minima(task, lenses):
        one = _found(task, sensor, lenses, posed(task, values))
        if not any(_same(one[1], other) for _, other in found):
            found.append(one)
    return found


def _same(one: PoseFound, other: PoseFound) -> bool:
    return all(
        abs(getattr(mine, name) - getattr(theirs, name)) < 1e-3
        for mine, theirs in zip(one.heads, other.heads, strict=True)
        for name in FREE
    )


def _found(
    task: Task, sensor: str, lenses: Sequence[Lens], poses: Sequence[Pose]
) -> tuple[float, PoseFound]:
    """Return the pose with how much its worst constraint misses, in the units above."""
    slack, views, _ = slacks(task, lenses, poses)
    pose = poses[0]
    narrow, few, steep = (int(slack[:, column].argmin()) for column in range(3))
    worst = np.array([slack[narrow, 0], slack[few, 1], slack[steep, 2]]) / SLACK_UNITS
    words = (
        f"the rim of {task.names[narrow][1]} on {task.names[narrow][0]} with its margin"
        f" leaves the field by {-slack[narrow, 0] * 1e3:.1f} mm",
        f"{views[few, 1]:.2f} pixels across {task.names[few][1]} on {task.names[few][0]},"
        f" {-slack[few, 1]:.2f} short of {float(task.search.min_pixels_across):g}",
        f"{task.names[steep][0]} is seen at {math.degrees(views[steep, 2]):.1f} deg,"
        f" {math.degrees(-slack[steep, 2]):.1f} deg too steep",
    )
    fails = "; ".join(words[at] for at in np.argsort(worst, kind="stable") if worst[at] < 0.0)
    one = PoseFound(
        sensor=sensor,
        x_m=pose.x_m,
        y_m=pose.y_m,
        height_m=pose.height_m,
        tilt_rad=pose.tilt_rad,
        margin_m=float(slack[narrow, 0]),
        margin_burner=task.names[narrow][0],
        margin_pan=task.names[narrow][1],
        pixels_across=float(views[few, 1]),
        pixels_pan=task.names[few][1],
        angle_rad=float(views[steep, 2]),
        fits=not fails,
        fails=fails,
        heads=tuple(
            HeadPose(mover.head, *(float(getattr(one, name)) for name in FREE))
            for mover, one in zip(task.movers, poses, strict=True)
        ),
    )
    return -float(worst.min()), one


def _free_words(name: str, low: float, high: float) -> str:
    if name.endswith("_rad"):
        ends = f"{math.degrees(low):.4g} to {math.degrees(high):.4g} deg"
        return f"{name.removesuffix('_rad')} {ends}"
    return f"{name.removesuffix('_m')} {low:.4g} to {high:.4g} m"


def _constraint_words(search: Search) -> tuple[str, ...]:
    return (
        f"every rim with {float(search.margin_m) * 1e3:g} mm to spare in the field",
        f"at least {float(search.min_pixels_across):g} pixels across",
        f"views of at most {math.degrees(float(search.max_angle_rad)):g} deg",
    )


def _answer(ranked: tuple[PoseFound, ...]) -> str:
    best = ranked[0]
    where = f"{best.sensor} " + "; ".join(
        f"{'' if len(best.heads) == 1 else f'{one.head} '}at {_pose_words(one)}"
        for one in best.heads
    )
    if best.fits:
        return f"{where}: {best.pixels_across:.1f} pixels across {best.pixels_pan}"
    return f"nothing fits; nearest is {where}, where {best.fails}"


def _pose_words(one: HeadPose) -> str:
    words = (
        f"x {one.x_m * 1e3:.0f} mm, y {one.y_m * 1e3:.0f} mm,"
        f" height {one.height_m:.4f} m, tilt {math.degrees(one.tilt_rad):.1f} deg"
    )
    for name, turn in (("pan", one.pan_rad), ("roll", one.roll_rad)):
        words += f", {name} {math.degrees(turn):.1f} deg" if abs(turn) > 1e-9 else ""
    return words
