"""Heat flux of burners into the base of a pan, and what the knob makes of it.

A map is normalised on the cells of the centred pan, so its integral is
power x efficiency by construction; a pan off its burner takes the share of the
pattern that still meets it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trivet.errors import InputError, OutOfRangeError

FloatArray = NDArray[np.float64]
BurnerKind = Literal["gas", "coil", "radiant", "induction"]
KINDS: tuple[BurnerKind, ...] = ("gas", "coil", "radiant", "induction")
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)


@dataclass(frozen=True)
class FluxMap:
    """Where heat enters a pan.

    ``shape_m2`` is (r, theta) [1/m2]; its integral over the pan is
    ``captured_frac``, 1 for a centred pan.
    """

    shape_m2: FloatArray
    captured_frac: float


@dataclass(frozen=True)
class BurnerPattern:
    """The pattern of a burner: all lengths in metres, shares of the heat in 0 to 1.

    ``ring_radius_m`` and ``ring_width_m`` (standard deviation) of the flames or
    the windings; ``skirt_frac`` spread evenly over ``outer_radius_m``;
    ``side_frac`` enters at the rim (flames washing the wall); ``turns`` of a
    coil's spiral over its disc.
    """

    kind: BurnerKind
    ring_radius_m: float
    ring_width_m: float
    outer_radius_m: float
    skirt_frac: float = 0.0
    side_frac: float = 0.0
    inner_radius_m: float = 0.0
    turns: int = 5


def default_pattern(kind: BurnerKind, *, radius_m: float) -> BurnerPattern:
    """Return a typical pattern for a burner of a given outer radius.

    Parameters
    ----------
    kind : {"gas", "coil", "radiant", "induction"}
    radius_m : float
        Outer radius of flames or heated zone. [m]

    Returns
    -------
    BurnerPattern
        Ring, skirt and side shares; all of them assumed.

    Raises
    ------
    InputError
        For an unknown kind.
    OutOfRangeError
        If the radius is not above 0.

    Notes
    -----
    The width of a gas ring is the least known: from 0.10 to 0.25 of the radius
    the spread of a 3 mm aluminium pan falls by about a third.

    References
    ----------
    Assumed, no source.
    """
    if not radius_m > 0.0:
        raise OutOfRangeError(f"radius_m is {radius_m}; allowed: above 0 m")
    if kind == "gas":
        return BurnerPattern("gas", 0.8 * radius_m, 0.15 * radius_m, 1.5 * radius_m, 0.35, 0.08)
    if kind == "coil":
        return BurnerPattern(
            "coil", 0.6 * radius_m, 0.03 * radius_m, radius_m, 0.3, inner_radius_m=0.2 * radius_m
        )
    if kind == "radiant":
        return BurnerPattern("radiant", 0.6 * radius_m, 0.35 * radius_m, radius_m, 0.6)
    if kind == "induction":
        return BurnerPattern("induction", 0.55 * radius_m, 0.2 * radius_m, radius_m, 0.05)
    raise InputError(f"burner kind is {kind!r}; allowed: {', '.join(KINDS)}")


def flux_map(
    pattern: BurnerPattern,
    *,
    pan_radius_m: float,
    offset_m: tuple[float, float] = (0.0, 0.0),
    n_r: int = 24,
    n_theta: int = 32,
) -> FluxMap:
    """Return where a burner's heat enters a pan of a given radius and position.

    Parameters
    ----------
    pattern : BurnerPattern
    pan_radius_m : float
        Radius of the heated base. [m]
    offset_m : (float, float)
        Pan centre minus burner centre, x and y. [m]
    n_r, n_theta : int
        Cells of the pan.

    Returns
    -------
    FluxMap
        Shape per watt into the pan; multiply by power x efficiency.

    Raises
    ------
    OutOfRangeError
        If the pan's radius is not above 0, or no heat meets the pan.

    Notes
    -----
    Each cell is the mean of 4 x 4 Gauss points.  The efficiency of a burner is
    that of a centred pan; moving a 26 cm pan by 5 cm on a gas ring of 8 cm
    loses a seventh of it.

    References
    ----------
    Own parametric form; no source.
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
    # the wall's share follows what the base captures
    body[-1] += pattern.side_frac * captured / (area[-1, 0] * n_theta)
    if captured > 1.0:  # a wide pattern can meet a shifted ring better; never above the rating
        body, captured = body / captured, 1.0
    return FluxMap(body, captured)


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

    Parameters
    ----------
    pattern : BurnerPattern
    rho_m, angle_rad : (...,)
        Polar coordinates around the burner. [m], [rad]

    Returns
    -------
    (...,)
        Density, about 1 when integrated over the plane. [1/m2]

    Notes
    -----
    Normalised to a few per cent only (a Gaussian ring narrower than a third of
    its radius is within 0.1 %); ``flux_map`` normalises exactly.

    References
    ----------
    Own parametric form; no source.
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


def pan_power_w(
    level_frac: ArrayLike, *, rated_w: float, efficiency_frac: float, captured_frac: float = 1.0
) -> FloatArray:
    """Return the heat into a centred or shifted pan for knob levels.

    Parameters
    ----------
    level_frac : (...,)
        Share of the rated power, 0 to 1. [-]
    rated_w : float
        Rated power of the burner (fuel or electric). [W]
    efficiency_frac : float
        Share that reaches a centred pan. [-]
    captured_frac : float
        Only for reporting totals; the shape of ``flux_map`` already carries it. [-]

    Returns
    -------
    (...,)
        Heat into the pan. [W]

    Raises
    ------
    OutOfRangeError
        If efficiency or a level lies outside 0 to 1, or the power is negative.

    Notes
    -----
    Induction 0.84, electric 0.74 to 0.80, gas 0.40 to 0.44 of the rating.

    References
    ----------
    DOE figures as relayed by two secondary pages (job facts).
    """
    level = np.asarray(level_frac, dtype=np.float64)
    if not 0.0 <= efficiency_frac <= 1.0:
        raise OutOfRangeError(f"efficiency_frac is {efficiency_frac}; allowed: 0 to 1")
    if not (rated_w >= 0.0 and np.isfinite(rated_w)):
        raise OutOfRangeError(f"rated_w is {rated_w}; allowed: a finite value of 0 W or more")
    if not np.all((level >= 0.0) & (level <= 1.0)):
        raise OutOfRangeError("level_frac holds a value outside 0 to 1")
    return level * (rated_w * efficiency_frac * captured_frac)


def level_frac(time_s: ArrayLike, *, change_s: ArrayLike, level: ArrayLike) -> FloatArray:
    """Return the knob level at given times: the last change holds; 0 before the first.

    Parameters
    ----------
    time_s : (...,)
        Times asked for. [s]
    change_s, level : (change,)
        When the knob is set, and to which share of the rating. [s], [-]

    Returns
    -------
    (...,)
        Level. [-]

    Raises
    ------
    InputError
        If changes are not in rising order or do not pair with levels.

    Notes
    -----
    A change acts from its own instant on.

    References
    ----------
    None.
    """
    when = np.asarray(change_s, dtype=np.float64)
    what = np.asarray(level, dtype=np.float64)
    if when.shape != what.shape or when.ndim != 1:
        raise InputError(f"{when.size} change times do not pair with {what.size} levels")
    if np.any(np.diff(when) <= 0.0):
        raise InputError("change_s must rise from one change to the next")
    held = np.concatenate(([0.0], what))
    return np.asarray(held[np.searchsorted(when, np.asarray(time_s), side="right")])


def limited_level(
    level: ArrayLike, *, step_s: float, period_s: float, duty_frac: float, after_s: float
) -> FloatArray:
    """Return the level of a radiant zone whose limiter cycles once the glass is hot.

    Parameters
    ----------
    level : (step,)
        Level set by the knob. [-]
    step_s : float
        Time of a step. [s]
    period_s, duty_frac : float
        Cycle of the limiter and its share of on time. [s], [-]
    after_s : float
        Time from switching on to the first cut. [s]

    Returns
    -------
    (step,)
        Level that reaches the heater. [-]

    Raises
    ------
    OutOfRangeError
        If a time is not above 0 or the duty lies outside 0 to 1.

    Notes
    -----
    The limiter of real zones acts on the glass, not on time: this is the
    pattern it makes, for estimators to be tried on, and no control model.  A
    duty of 0.6 instead of 0.7 takes a seventh off the mean heat.

    References
    ----------
    Cycling on boil-dry, warped bases and missing pans: a range owner manual.
    """
    if not (step_s > 0.0 and period_s > 0.0 and after_s >= 0.0):
        raise OutOfRangeError("step_s and period_s must be above 0 s, after_s 0 s or more")
    if not 0.0 <= duty_frac <= 1.0:
        raise OutOfRangeError(f"duty_frac is {duty_frac}; allowed: 0 to 1")
    set_level = np.asarray(level, dtype=np.float64)
    on_for = np.zeros(set_level.size)
    for n in range(1, set_level.size):
        on_for[n] = on_for[n - 1] + step_s if set_level[n] > 0.0 else 0.0
    phase = np.mod(on_for - after_s, period_s) / period_s
    # the first cut comes at after_s, so a cycle begins with its off part
    cut = (on_for >= after_s) & (phase < 1.0 - duty_frac)
    return np.where(cut, 0.0, set_level)
