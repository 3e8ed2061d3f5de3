"""Heat of burners: what the knob makes of the power, and where it enters the base of a pan.

A map is normalised on the cells of the centred pan, so its integral is
power x efficiency by construction; a pan off its burner takes the share of the
pattern that still meets it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trivet.arrays import FloatArray
from trivet.errors import InputError, OutOfRangeError


@dataclass(frozen=True)
class BurnerTraits:
    """What burners of one kind are like; lengths as shares of the burner's outer radius."""

    ring_frac: float
    """Radius of the ring of flames or windings."""
    width_frac: float
    """Standard deviation of the ring's width."""
    outer_frac: float
    """Radius of the even part."""
    skirt_frac: float
    """Share of the heat in the even part. [-]"""
    side_frac: float = 0.0
    """Share of the heat that enters at the rim. [-]"""
    inner_frac: float = 0.0
    """Inner radius of a spiral."""
    element_tau_s: float = 1.0
    """How fast the heat follows the knob. [s]"""
    hob_heat_frac: float = 0.0
    """Share of the heat that enters the hob and not the pan itself. [-]"""
    pulses: bool = False
    """Whether it is switched on and off below its lowest steady power."""


THROUGH_GLASS = 0.2  # of a radiant element's heat that passes the glass as radiation; own estimate
# Own estimates. The width of a gas ring is the least known: from 0.10 to 0.25 of the radius the
# spread of a 3 mm aluminium pan falls by about a third.
BURNERS: dict[str, BurnerTraits] = {
    "gas": BurnerTraits(0.8, 0.15, 1.5, 0.35, 0.08, element_tau_s=1.0),
    "coil": BurnerTraits(0.6, 0.03, 1.0, 0.3, inner_frac=0.2, element_tau_s=5.0, hob_heat_frac=1.0),
    "radiant": BurnerTraits(
        0.6, 0.35, 1.0, 0.6, element_tau_s=4.0, hob_heat_frac=1.0 - THROUGH_GLASS
    ),
    "induction": BurnerTraits(0.55, 0.2, 1.0, 0.05, element_tau_s=0.5, pulses=True),
}
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)


@dataclass(frozen=True)
class FluxMap:
    """Where heat enters a pan.

    ``shape_m2`` is (r, theta) [1/m2]; its integral over the pan is
    ``captured_frac``, 1 for a centred pan, less ``wall_frac``, which washes the wall.
    """

    shape_m2: FloatArray
    captured_frac: float
    wall_frac: float = 0.0


@dataclass(frozen=True)
class BurnerPattern:
    """The pattern of a burner: all lengths in metres, shares of the heat in 0 to 1.

    ``ring_radius_m`` and ``ring_width_m`` (standard deviation) of the flames or
    the windings; ``skirt_frac`` spread evenly over ``outer_radius_m``;
    ``side_frac`` enters at the rim (flames washing the wall); ``turns`` of a
    coil's spiral over its disc.
    """

    kind: str
    ring_radius_m: float
    ring_width_m: float
    outer_radius_m: float
    skirt_frac: float = 0.0
    side_frac: float = 0.0
    inner_radius_m: float = 0.0
    turns: int = 5


def default_pattern(kind: str, *, radius_m: float) -> BurnerPattern:
    """Return a typical pattern for a burner of a given outer radius.

    kind : a name in ``BURNERS``
    radius_m : outer radius of flames or heated zone [m]
    Returns : ring, skirt and side shares; all of them assumed
    Raises : InputError for an unknown kind; OutOfRangeError if the radius is not above 0
    """
    if not radius_m > 0.0:
        raise OutOfRangeError(f"radius_m is {radius_m}; allowed: above 0 m")
    if kind not in BURNERS:
        raise InputError(f"burner kind is {kind!r}; allowed: {', '.join(BURNERS)}")
    one = BURNERS[kind]
    return BurnerPattern(
        kind,
        one.ring_frac * radius_m,
        one.width_frac * radius_m,
        one.outer_frac * radius_m,
        one.skirt_frac,
        one.side_frac,
        one.inner_frac * radius_m,
    )


def flux_map(
    pattern: BurnerPattern,
    *,
    pan_radius_m: float,
    offset_m: tuple[float, float] = (0.0, 0.0),
    n_r: int = 24,
    n_theta: int = 32,
    wall: bool = False,
) -> FluxMap:
    """Return where a burner's heat enters a pan of a given radius and position.

    pattern : BurnerPattern
    pan_radius_m : radius of the heated base [m]
    offset_m : (float, float) pan centre minus burner centre, x and y [m]
    n_r, n_theta : cells of the pan
    wall : whether the pan has a wall of its own that takes the share of the sides; else it enters
        the outermost ring
    Returns : FluxMap: shape per watt into the pan; multiply by power x efficiency
    OutOfRangeError: if the pan's radius is not above 0, or no heat meets the pan.

    Each cell is the mean of 4 x 4 Gauss points. The efficiency of a burner is that of a centred
    pan; moving a 26 cm pan by 5 cm on a gas ring of 8 cm loses a seventh of it.

    Source: Own parametric form; no source.
    """
    if not pan_radius_m > 0.0:
        raise OutOfRangeError(f"pan_radius_m is {pan_radius_m}; allowed: above 0 m")
    grid = (n_r, n_theta)
    centred, area = _cell_means(pattern, pan_radius_m, (0.0, 0.0), grid)
    whole = float((centred * area).sum())
    moved, _ = _cell_means(pattern, pan_radius_m, offset_m, grid)
    if not whole > 0.0:
        raise OutOfRangeError("no heat of this burner meets the pan; check the radii")
    body = moved / whole * (1.0 - pattern.side_frac)
    captured = float((moved * area).sum()) / whole
    if captured > 1.0:  # a wide pattern can meet a shifted ring better; never above the rating
        body, captured = body / captured, 1.0
    side = pattern.side_frac * captured  # the wall's share follows what the base captures
    if wall:
        return FluxMap(body, captured, side)
    body[-1] += side / (area[-1, 0] * n_theta)
    return FluxMap(body, captured)


def turned_down(pattern: BurnerPattern, *, level_frac: float) -> BurnerPattern:
    """Return the pattern at a knob level: gas flames draw in, everything else stays.

    pattern : BurnerPattern, at full power
    level_frac : share of the rated power, 0 to 1 [-]
    Returns : BurnerPattern: ring 20 % smaller, 40 % narrower and skirt 30 % smaller at the lowest
        level, in proportion between; the share of the sides follows the level
    OutOfRangeError: if the level lies outside 0 to 1.

    On a 5 mm cast iron base the hottest ring moves in by 12 mm from full to a fifth of the power
    with a ring of 13 cm.

    Assumed, no source.
    """
    if not 0.0 <= level_frac <= 1.0:
        raise OutOfRangeError(f"level_frac is {level_frac}; allowed: 0 to 1")
    if pattern.kind != "gas":
        return pattern
    return replace(
        pattern,
        ring_radius_m=pattern.ring_radius_m * (0.8 + 0.2 * level_frac),
        ring_width_m=pattern.ring_width_m * (0.6 + 0.4 * level_frac),
        outer_radius_m=pattern.outer_radius_m * (0.7 + 0.3 * level_frac),
        side_frac=pattern.side_frac * level_frac,
    )


def _cell_means(
    pattern: BurnerPattern,
    radius_m: float,
    offset_m: tuple[float, float],
    grid: tuple[int, int],
) -> tuple[FloatArray, FloatArray]:
    n_r, n_theta = grid
    dr, dt = radius_m / n_r, 2.0 * np.pi / n_theta
    r = (np.arange(n_r)[:, None] + 0.5 * (1.0 + _NODES)) * dr
    t = (np.arange(n_theta)[:, None] + 0.5 * (1.0 + _NODES)) * dt
    x = r[:, None, :, None] * np.cos(t[None, :, None, :]) + offset_m[0]
    y = r[:, None, :, None] * np.sin(t[None, :, None, :]) + offset_m[1]
    value = pattern_density(pattern, rho_m=np.hypot(x, y), angle_rad=np.arctan2(y, x))
    weight = _WEIGHTS[:, None] * _WEIGHTS[None, :] * r[:, None, :, None] * dr * dt / 4.0
    area = weight.sum(axis=(2, 3)) * np.ones((n_r, n_theta))
    return (value * weight).sum(axis=(2, 3)) / area, area


def pattern_density(
    pattern: BurnerPattern, *, rho_m: FloatArray, angle_rad: FloatArray
) -> FloatArray:
    """Return the density of a pattern around its own centre, without the rim's share.

    pattern : BurnerPattern
    rho_m, angle_rad : (...,) polar coordinates around the burner [m], [rad]
    Returns : (...,) density, about 1 when integrated over the plane [1/m2]

    Normalised to a few per cent only (a Gaussian ring narrower than a third of its radius is within
    0.1 %); ``flux_map`` normalises exactly.

    Source: Own parametric form; no source.
    """
    rho, angle = rho_m, angle_rad
    skirt = (rho < pattern.outer_radius_m) / (np.pi * pattern.outer_radius_m**2)
    if pattern.kind == "coil":
        main = _spiral(pattern, rho, angle)
    else:
        main = _ring(rho, pattern.ring_radius_m, pattern.ring_width_m)
    return np.asarray(pattern.skirt_frac * skirt + (1.0 - pattern.skirt_frac) * main)


def _ring(rho: FloatArray, radius_m: float, width_m: float) -> FloatArray:
    """Return a Gaussian ring; its plane integral is close to 1 (normalised later)."""
    peak = np.exp(-0.5 * ((rho - radius_m) / width_m) ** 2)
    return np.asarray(peak / ((2.0 * np.pi) ** 1.5 * radius_m * width_m))


def _spiral(pattern: BurnerPattern, rho: FloatArray, angle: FloatArray) -> FloatArray:
    """Return the density of an Archimedean spiral of ``turns`` blurred by the ring width."""
    pitch = (pattern.outer_radius_m - pattern.inner_radius_m) / pattern.turns
    phase = np.mod(rho - pattern.inner_radius_m - pitch * angle / (2.0 * np.pi), pitch)
    distance = np.minimum(phase, pitch - phase)
    wire = np.exp(-0.5 * (distance / pattern.ring_width_m) ** 2)
    inside = (rho > pattern.inner_radius_m) & (rho < pattern.outer_radius_m)
    mean = pattern.ring_width_m * np.sqrt(2.0 * np.pi) / pitch
    area = np.pi * (pattern.outer_radius_m**2 - pattern.inner_radius_m**2)
    return np.asarray(wire * inside / (mean * area))


def pan_power_w(level_frac: ArrayLike, *, rated_w: float, efficiency_frac: float) -> FloatArray:
    """Return the heat into a centred or shifted pan for knob levels.

    level_frac : (...,) share of the rated power, 0 to 1 [-]
    rated_w : rated power of the burner (fuel or electric) [W]
    efficiency_frac : share that reaches a centred pan [-]
    Returns : (...,) heat into the pan [W]
    OutOfRangeError: if efficiency or a level lies outside 0 to 1, or the power is negative.

    Induction 0.84, electric 0.74 to 0.80, gas 0.40 to 0.44 of the rating.

    Source: DOE figures as relayed by two secondary pages (job facts).
    """
    level = np.asarray(level_frac, dtype=np.float64)
    if not 0.0 <= efficiency_frac <= 1.0:
        raise OutOfRangeError(f"efficiency_frac is {efficiency_frac}; allowed: 0 to 1")
    if not (rated_w >= 0.0 and np.isfinite(rated_w)):
        raise OutOfRangeError(f"rated_w is {rated_w}; allowed: a finite value of 0 W or more")
    if not np.all((level >= 0.0) & (level <= 1.0)):
        raise OutOfRangeError("level_frac holds a value outside 0 to 1")
    return level * (rated_w * efficiency_frac)


def level_frac(time_s: ArrayLike, *, change_s: ArrayLike, level: ArrayLike) -> FloatArray:
    """Return the knob level at given times: the last change holds; 0 before the first.

    time_s : (...,) times asked for [s]
    change_s, level : (change,) when the knob is set, and to which share of the rating [s], [-]
    Returns : (...,) level [-]
    InputError: if changes are not in rising order or do not pair with levels.

    A change acts from its own instant on.
    """
    when = np.asarray(change_s, dtype=np.float64)
    what = np.asarray(level, dtype=np.float64)
    if when.shape != what.shape or when.ndim != 1:
        raise InputError(f"{when.size} change times do not pair with {what.size} levels")
    if np.any(np.diff(when) <= 0.0):
        raise InputError("change_s must rise from one change to the next")
    held = np.concatenate(([0.0], what))
    return np.asarray(held[np.searchsorted(when, np.asarray(time_s), side="right")])


def pulsed_level(
    level: ArrayLike, *, step_s: float, floor_frac: float, period_s: float
) -> FloatArray:
    """Return the level of an inverter that pulses below its lowest steady power.

    level : (step,) level set by the knob [-]
    step_s, period_s : time of a step and of a pulse with its pause [s]
    floor_frac : lowest steady level; below it the inverter runs at this level for a part of every
        period [-]
    Returns : (step,) mean level over each step [-]
    OutOfRangeError: if a time is not above 0 or the floor lies outside 0 to 1.

    The mean over a whole number of periods is the level set, exactly. A pulse of 2 s at 600 W
    swings a 2 mm steel base by about 5 K.

    Common practice, no source.
    """
    if not (step_s > 0.0 and period_s > 0.0 and 0.0 <= floor_frac <= 1.0):
        raise OutOfRangeError("step_s and period_s must be above 0 s, floor_frac within 0 to 1")
    wanted = np.asarray(level, dtype=np.float64)
    on_s = period_s * np.clip(wanted / max(floor_frac, 1e-9), 0.0, 1.0)
    start = np.arange(wanted.size) * step_s

    def run_s(until: NDArray[Any]) -> NDArray[Any]:
        whole, rest = np.divmod(until, period_s)
        return np.asarray(whole * on_s + np.minimum(rest, on_s))

    pulsed = floor_frac * (run_s(start + step_s) - run_s(start)) / step_s
    # differences of long sums: rounding may leave a trace below nothing
    pulsed = np.where(pulsed < 1e-9, 0.0, pulsed)
    return np.asarray(np.where(wanted < floor_frac, pulsed, wanted))
