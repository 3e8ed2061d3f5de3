"""How likely coverage holds as mounted, and which pan on which burner loses it first."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from trivet.physics.geometry.mounting import MountSpread, coverage_draws
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.design import Design
from trivet.records.seeing import Tolerance, ToleranceLine
from trivet.stages.predict.views import MARGIN_M, Eye, rim_diameter_m, rim_height_m

DRAWS = 10_000
Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]


def rim_discs(design: Design, *, margin_m: float = MARGIN_M) -> Floats:
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
    draws: int = DRAWS,
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
