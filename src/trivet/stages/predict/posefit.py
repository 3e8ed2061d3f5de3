"""Cost of a pose of one or more heads, and the minimum of it over what is free."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution, minimize

from trivet.arrays import FloatArray
from trivet.physics.geometry.mounting import disc_views
from trivet.physics.geometry.optics import Lens, Pose
from trivet.records.search import Search

GRID_STEPS = {
    0: 1,
    1: 41,
    2: 13,
    3: 7,
    4: 5,
}  # own estimate: poses a free parameter
MAX_REFINED = 3  # own estimate: so many separate hollows of the grid are refined
SMOOTH = 2  # own estimate: with more free parameters the simplex is run twice
SAFE_M = 1e-6  # own estimate: slack that covers the rounding of a margin
SLACK_UNITS = np.array([0.010, 1.0, math.radians(1.0)])
"""Own estimate of what is equally bad when nothing fits: 10 mm, one pixel, one degree."""
PENALTY = 1000.0  # own estimate: a constraint outweighs any gain in pixels
TIE, MAX_SPARE = 0.01, 5.0
"""Own estimate: of poses with equal pixels the one with more margin wins, up to 50 mm."""
MEAN_WEIGHT = 0.01  # own estimate: heads that do not see the worst pan come nearer all the same
HIDDEN_M = -10.0  # own estimate: farther outside than any pan on a cooktop
POSE_GENERATIONS, CROWD = 120, 8  # own estimate: where the search stops


@dataclass(frozen=True, eq=False)
class Mover:
    """One head that moves: its pose as designed and what of it is free, with ranges."""

    head: str
    pose: Pose
    free: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, eq=False)
class Task:
    """Everything that a trial of a pose needs."""

    search: Search
    movers: tuple[Mover, ...]
    discs: FloatArray
    names: tuple[tuple[str, str], ...]
    """Burner and pan of each disc."""

    @property
    def free(self) -> tuple[tuple[str, float, float], ...]:
        """All free parameters, head by head."""
        return tuple(one for mover in self.movers for one in mover.free)


def posed(task: Task, values: Sequence[float]) -> tuple[Pose, ...]:
    """Return the poses of the moving heads at given values of what is free."""
    rest = list(values)
    poses = []
    for mover in task.movers:
        own, rest = rest[: len(mover.free)], rest[len(mover.free) :]
        given = {name: float(value) for (name, _, _), value in zip(mover.free, own, strict=True)}
        poses.append(replace(mover.pose, **given))
    return tuple(poses)


def slacks(
    task: Task, lenses: Sequence[Lens], poses: Sequence[Pose]
) -> tuple[FloatArray, FloatArray, NDArray[np.intp]]:
    """Return slack of margin, pixels and angle at each disc, the views, and by which head.

    Parameters
    ----------
    task : Task
        Discs and what is asked for.
    lenses, poses : sequence
        Of the moving heads.

    Returns
    -------
    tuple of (disc, 3), (disc, 3), (disc,)
        Of the head that serves the disc best: whose worst constraint is least short.
    """
    if len(poses) == 1:
        one, two = _head_slacks(task, lenses[0], poses[0])
        return one, two, np.zeros(len(task.discs), dtype=np.intp)
    every = [_head_slacks(task, lens, pose) for lens, pose in zip(lenses, poses, strict=True)]
    slack = np.stack([one for one, _ in every])
    best = np.argmax((slack / SLACK_UNITS).min(axis=2), axis=0)
    at = np.arange(best.size)
    return slack[best, at], np.stack([two for _, two in every])[best, at], best


def _head_slacks(task: Task, lens: Lens, pose: Pose) -> tuple[FloatArray, FloatArray]:
    views = disc_views(task.discs, lens=lens, pose=pose)
    above = pose.height_m > task.discs[:, 2]
    across = np.where(np.isfinite(views[:, 1]), views[:, 1], 0.0)
    slack = np.stack(
        [
            np.where(above, np.maximum(views[:, 0], HIDDEN_M), HIDDEN_M),
            across - float(task.search.min_pixels_across),
            float(task.search.max_angle_rad) - views[:, 2],
        ],
        axis=1,
    )
    return slack, views


def cost(values: Sequence[float], task: Task, lenses: Sequence[Lens]) -> float:
    """Return minus the fewest pixels across, plus a penalty for all that is not met."""
    outside = 0.0
    inside = []
    for value, (_, low, high) in zip(values, task.free, strict=True):
        inside.append(min(max(float(value), low), high))
        outside += abs(float(value) - inside[-1]) / (high - low)
    slack, views, _ = slacks(task, lenses, posed(task, inside))
    short = np.maximum(SAFE_M - slack, 0.0) / SLACK_UNITS
    across = np.where(np.isfinite(views[:, 1]), views[:, 1], 0.0)
    spare = min(float(slack[:, 0].min()) / SLACK_UNITS[0], MAX_SPARE)
    gain = across.min() + TIE * spare + MEAN_WEIGHT * across.mean()
    return float(PENALTY * (short.max() + outside) - gain)


def minima(task: Task, lenses: Sequence[Lens]) -> list[tuple[float, ...]]:
    """Return values of what is free at the lowest costs found, one to three.

    Parameters
    ----------
    task : Task
        What is free and what is asked for.
    lenses : sequence of Lens
        Of the moving heads.

    Returns
    -------
    list of tuple
        Nothing free gives the pose as designed.

    Notes
    -----
    To four free parameters a grid of 41, 169, 343 or 625 poses and three local
    refinements; beyond, differential evolution over 120 generations from a Sobol set
    with a fixed seed, and one refinement: the same design gives the same pose.
    """
    count = len(task.free)
    if count == 0:
        return [()]
    low, high = (np.array([one[at] for one in task.free]) for at in (1, 2))
    if count > max(GRID_STEPS):
        solve: Any = differential_evolution  # its stubs change from release to release
        done = solve(
            cost,
            list(zip(low, high, strict=True)),
            args=(task, lenses),
            popsize=CROWD,
            maxiter=POSE_GENERATIONS,
            tol=0.0,
            init="sobol",
            polish=False,
            seed=0,
        )
        starts, step = [np.asarray(done.x, dtype=float)], (high - low) / 50
    else:
        axes = [
            np.linspace(one, two, GRID_STEPS[count]) for one, two in zip(low, high, strict=True)
        ]
        grid = list(itertools.product(*axes))
        costs = np.array([cost(values, task, lenses) for values in grid])
        starts = [np.array(grid[at]) for at in _lowest(costs.reshape([GRID_STEPS[count]] * count))]
        step = (high - low) / GRID_STEPS[count]
    best = [_refined(start, step, task, lenses) for start in starts]
    if count > SMOOTH:  # the simplex stalls at the creases of a penalty: once more, smaller
        best = [_refined(start, step / 10, task, lenses) for start in best]
    return [tuple(one) for one in best]


def _lowest(costs: FloatArray) -> list[int]:
    """Return the lowest places of a grid, none beside another that is lower."""
    hollow = np.ones(costs.shape, dtype=np.bool_)
    for axis in range(costs.ndim):
        step = np.diff(costs, axis=axis)
        edge = [(1, 0) if at == axis else (0, 0) for at in range(costs.ndim)]
        hollow &= np.pad(step, edge, constant_values=-1.0) < 0.0
        edge = [(0, 1) if at == axis else (0, 0) for at in range(costs.ndim)]
        hollow &= np.pad(step, edge, constant_values=1.0) >= 0.0
    order = np.argsort(costs.ravel(), kind="stable")
    return [int(at) for at in order if hollow.ravel()[at]][:MAX_REFINED]


def _refined(start: FloatArray, step: FloatArray, task: Task, lenses: Sequence[Lens]) -> FloatArray:
    low, high = (np.array([one[at] for one in task.free]) for at in (1, 2))
    inwards = np.where(start + step > high, -step, step)
    corners = start + np.vstack([np.zeros(len(start)), np.diag(inwards)])
    solve: Any = minimize  # its stubs do not know initial_simplex
    done = solve(
        lambda values: cost(values, task, lenses),
        start,
        method="Nelder-Mead",
        options={
            "initial_simplex": corners,
            "xatol": 1e-8,
            "fatol": 1e-9,
            "maxiter": 400 * max(1, len(start) // 2),
            "adaptive": len(start) > max(GRID_STEPS),
        },
    )
    best = np.clip(np.asarray(done.x, dtype=float), low, high)
    return best if cost(list(best), task, lenses) <= cost(list(start), task, lenses) else start
