"""Where one head should hang: a search over the free parameters that the design declares."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from trivet.errors import InputError
from trivet.facts.sensors import card as library_card
from trivet.kernels.geometry.mounting import disc_views
from trivet.kernels.geometry.optics import Lens, Pose
from trivet.records.design import Design, Head, Search
from trivet.records.figures import Figure
from trivet.records.seeing import PoseFound, PoseSearch
from trivet.records.sensorcard import SensorCard
from trivet.stages.predict.views import Eye, rim_diameter_m, rim_height_m
from trivet.terms.optics import card_lens, mount_pose

Floats = NDArray[np.float64]
STEPS = {0: 1, 1: 41, 2: 13, 3: 7, 4: 5}
STARTS = 3
SAFE_M = 1e-6
# What counts as equally bad when nothing fits: 10 mm, one pixel, one degree.
UNITS = np.array([0.010, 1.0, math.radians(1.0)])
PENALTY = 1000.0
# Of poses with equal pixels the one with more margin wins, up to 50 mm.
TIE, MOST_SPARE = 0.01, 5.0


@dataclass(frozen=True, eq=False)
class _Task:
    """Everything that a trial of a pose needs."""

    search: Search
    pose: Pose
    discs: Floats
    names: tuple[tuple[str, str], ...]
    free: tuple[tuple[str, float, float], ...]


def search_pose(design: Design, *, eyes: Sequence[Eye]) -> PoseSearch | None:
    """Return the best poses of one head over the parameters that the design sets free.

    Parameters
    ----------
    design : Design
        With a ``search`` section; without one nothing is searched.
    eyes : sequence of Eye
        All heads; what another head sees whole need not be seen by this one.

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
    which is the lowest; margins are met to 1 um.  A grid of 41, 169, 343 or 625 poses
    (1 to 4 free parameters) and three local refinements: a narrow optimum between grid
    points can be missed.  A field of 35 deg over rims and margins at +-260 mm: 0.8246 m.

    References
    ----------
    J. A. Nelder and R. Mead, Computer Journal 7 (1965) 308, on an exact penalty.
    """
    search = design.search
    if search is None:
        return None
    head = _head(design, search)
    task = _task(design, search, head, eyes)
    found: list[tuple[float, PoseFound]] = []
    for card in _cards(design, search, head):
        found += _poses(task, card.name, card_lens(card))
    ranked = tuple(one for _, one in sorted(found, key=_rank))
    return PoseSearch(
        head=head.name,
        free=tuple(_free_words(*one) for one in task.free) or ("nothing: the pose is fixed",),
        constraints=_constraint_words(search),
        poses=ranked,
        answer=_answer(ranked),
    )


def _rank(one: tuple[float, PoseFound]) -> tuple[float, float]:
    """Order by what is missing, then by pixels across."""
    return max(one[0], 0.0), -one[1].pixels_across


def _head(design: Design, search: Search) -> Head:
    if not search.head:
        return design.heads[0]
    for head in design.heads:
        if head.name == search.head:
            return head
    known = ", ".join(head.name for head in design.heads)
    raise InputError(f"search.head: no head {search.head!r}; heads: {known}")


def _cards(design: Design, search: Search, head: Head) -> list[SensorCard]:
    own = {card.name: card for card in design.sensors}
    names = search.sensors or (head.sensor,)
    return [own[name] if name in own else library_card(name) for name in names]


def _task(design: Design, search: Search, head: Head, eyes: Sequence[Eye]) -> _Task:
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
    for eye in eyes:
        if eye.head.name != head.name:
            needed &= disc_views(discs, lens=eye.lens, pose=eye.pose)[:, 0] < 0.0
    if not needed.any():
        needed[:] = True
    kept = tuple(name for name, keep in zip(names, needed, strict=True) if keep)
    return _Task(search, mount_pose(head.mount), discs[needed], kept, _free(search))


def _free(search: Search) -> tuple[tuple[str, float, float], ...]:
    free = []
    for name in ("x_m", "y_m", "height_m", "tilt_rad"):
        figure: Figure | None = getattr(search, name)
        if figure is None:
            continue
        if figure.low is None or figure.high is None:
            raise InputError(f"search.{name.rsplit('_', 1)[0]}: no range; give low and high")
        free.append((name, figure.low, figure.high))
    return tuple(free)


def _posed(task: _Task, values: Iterable[float]) -> Pose:
    given = dict(zip((name for name, _, _ in task.free), values, strict=True))
    pose = task.pose
    return Pose(
        given.get("x_m", pose.x_m),
        given.get("y_m", pose.y_m),
        given.get("height_m", pose.height_m),
        given.get("tilt_rad", pose.tilt_rad),
        pose.pan_rad,
        pose.roll_rad,
    )


def _slacks(task: _Task, lens: Lens, pose: Pose) -> tuple[Floats, Floats]:
    """Return slack of margin, pixels and angle at each disc, (disc, 3), and the views."""
    views = disc_views(task.discs, lens=lens, pose=pose)
    above = pose.height_m > task.discs[:, 2]
    across = np.where(np.isfinite(views[:, 1]), views[:, 1], 0.0)
    slack = np.stack(
        [
            np.where(above, np.maximum(views[:, 0], -10.0), -10.0),
            across - float(task.search.min_pixels_across),
            float(task.search.max_angle_rad) - views[:, 2],
        ],
        axis=1,
    )
    return slack, views


def _cost(values: Iterable[float], task: _Task, lens: Lens) -> float:
    """Return minus the fewest pixels across, plus a penalty for all that is not met."""
    outside = 0.0
    inside = []
    for value, (_, low, high) in zip(values, task.free, strict=True):
        inside.append(min(max(float(value), low), high))
        outside += abs(float(value) - inside[-1]) / (high - low)
    slack, views = _slacks(task, lens, _posed(task, inside))
    short = np.maximum(SAFE_M - slack, 0.0) / UNITS
    across = np.where(np.isfinite(views[:, 1]), views[:, 1], 0.0)
    spare = min(float(slack[:, 0].min()) / UNITS[0], MOST_SPARE)
    return float(PENALTY * (short.max() + outside) - across.min() - TIE * spare)


def _poses(task: _Task, sensor: str, lens: Lens) -> list[tuple[float, PoseFound]]:
    axes = [np.linspace(low, high, STEPS[len(task.free)]) for _, low, high in task.free]
    grid = list(itertools.product(*axes))
    costs = np.array([_cost(values, task, lens) for values in grid])
    starts = [np.array(grid[at]) for at in np.argsort(costs, kind="stable")[:STARTS]]
    found: list[tuple[float, PoseFound]] = []
    for start in starts:
        values = _refined(start, task, lens) if task.free else start
        one = _found(task, sensor, lens, _posed(task, list(values)))
        if not any(_same(one[1], other) for _, other in found):
            found.append(one)
    return found


def _refined(start: Floats, task: _Task, lens: Lens) -> Floats:
    low, high = np.array([one[1] for one in task.free]), np.array([one[2] for one in task.free])
    step = (high - low) / STEPS[len(task.free)]
    inwards = np.where(start + step > high, -step, step)
    corners = start + np.vstack([np.zeros(len(start)), np.diag(inwards)])
    solve: Any = minimize  # its stubs do not know initial_simplex
    done = solve(
        lambda values: _cost(values, task, lens),
        start,
        method="Nelder-Mead",
        options={"initial_simplex": corners, "xatol": 1e-8, "fatol": 1e-9, "maxiter": 400},
    )
    best = np.clip(np.asarray(done.x, dtype=float), low, high)
    return best if _cost(list(best), task, lens) <= _cost(list(start), task, lens) else start


def _same(one: PoseFound, other: PoseFound) -> bool:
    return (
        abs(one.x_m - other.x_m) < 1e-3
        and abs(one.y_m - other.y_m) < 1e-3
        and abs(one.height_m - other.height_m) < 1e-3
        and abs(one.tilt_rad - other.tilt_rad) < 1e-3
    )


def _found(task: _Task, sensor: str, lens: Lens, pose: Pose) -> tuple[float, PoseFound]:
    """Return the pose with how much its worst constraint misses, in the units above."""
    slack, views = _slacks(task, lens, pose)
    narrow, few, steep = (int(slack[:, column].argmin()) for column in range(3))
    worst = np.array([slack[narrow, 0], slack[few, 1], slack[steep, 2]]) / UNITS
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
    )
    return -float(worst.min()), one


def _free_words(name: str, low: float, high: float) -> str:
    if name == "tilt_rad":
        return f"tilt {math.degrees(low):.4g} to {math.degrees(high):.4g} deg"
    return f"{name.removesuffix('_m')} {low:.4g} to {high:.4g} m"


def _constraint_words(search: Search) -> tuple[str, ...]:
    return (
        f"every rim with {float(search.margin_m) * 1e3:g} mm to spare in the field",
        f"at least {float(search.min_pixels_across):g} pixels across",
        f"views of at most {math.degrees(float(search.max_angle_rad)):g} deg",
    )


def _answer(ranked: tuple[PoseFound, ...]) -> str:
    best = ranked[0]
    where = (
        f"{best.sensor} at x {best.x_m * 1e3:.0f} mm, y {best.y_m * 1e3:.0f} mm,"
        f" height {best.height_m:.4f} m, tilt {math.degrees(best.tilt_rad):.1f} deg"
    )
    if best.fits:
        return f"{where}: {best.pixels_across:.1f} pixels across {best.pixels_pan}"
    return f"nothing fits; nearest is {where}, where {best.fails}"
