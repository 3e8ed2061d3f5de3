"""One day of the product, state by state, and how its cells run empty; many draws at once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import DAY_S, ZERO_C_K
from trivet.errors import InputError, OutOfRangeError

Drawn = float | FloatArray


@dataclass(frozen=True, eq=False)
class DayFigures:
    """What happens on a day; each a number or (draw,).

    ``measure_w`` is drawn by sensor and processor while settling and measuring,
    ``compute_w`` on top of it. ``duty_frac`` is the share of the time awake in which
    the sensor runs, booting included, in periods of ``cycle_s``. Energies of polls,
    messages and sounds come on top of the power of the state they happen in.
    """

    cooking_s: Drawn
    cooks: Drawn
    sleep_w: Drawn
    measure_w: Drawn
    compute_w: Drawn = 0.0
    standby_w: Drawn = 0.0
    boot_s: Drawn = 0.0
    boot_w: Drawn = 0.0
    settle_s: Drawn = 0.0
    after_s: Drawn = 0.0
    false_wakes: Drawn = 0.0
    false_s: Drawn = 0.0
    duty_frac: Drawn = 1.0
    cycle_s: Drawn = 60.0
    poll_j: Drawn = 0.0
    poll_s: Drawn = 0.0
    message_j: Drawn = 0.0
    message_s: Drawn = 0.0
    sound_j: Drawn = 0.0


@dataclass(frozen=True, eq=False)
class StateDay:
    """Time in one state on a day [s] and what the load takes in it [J]; (draw,) each."""

    name: str
    time_s: FloatArray
    energy_j: FloatArray


def state_days(day: DayFigures) -> tuple[StateDay, ...]:
    """Return hours and energy of each state on a day.

    Parameters
    ----------
    day : DayFigures
        Numbers or (draw,).

    Returns
    -------
    tuple of StateDay
        sleep, standby, poll, wake, settle, measure, compute, send, sound; the times of
        sleep, wake, settle and measure fill the day. [s, J]

    Raises
    ------
    OutOfRangeError
        If a duty is outside 0 to 1, a cycle not positive, or a figure negative.

    Notes
    -----
    A wake begins each cook, each false alarm and each period of a duty cycle; of each
    time awake the first part is booting, the next settling. A sensor that settles in
    4 min and runs 15 s of each minute never measures settled. More hours awake than a
    day holds are cut to a day.
    """
    _checked(day)
    duty = np.asarray(day.duty_frac, dtype=np.float64)
    awake = np.minimum(
        np.asarray(day.cooking_s, dtype=np.float64) + day.cooks * np.asarray(day.after_s), DAY_S
    )
    false = np.minimum(np.asarray(day.false_wakes) * (day.boot_s + np.asarray(day.false_s)), DAY_S)
    running = awake * duty
    periods = np.where(duty < 1.0, awake / np.asarray(day.cycle_s), 0.0)
    wakes = np.maximum(np.asarray(day.cooks, dtype=np.float64), periods)
    once = np.where(wakes > 0.0, running / np.maximum(wakes, 1e-12), 0.0)
    boot = wakes * np.minimum(once, day.boot_s) + day.false_wakes * np.asarray(day.boot_s)
    seeing = np.maximum(running - wakes * np.minimum(once, day.boot_s), 0.0)
    settle = np.minimum(wakes * np.asarray(day.settle_s), seeing)
    measure = seeing - settle + day.false_wakes * np.asarray(day.false_s)
    on = np.minimum(running + false, DAY_S)
    sleep = DAY_S - on
    polls = np.where(np.asarray(day.poll_s) > 0.0, sleep / np.maximum(day.poll_s, 1e-9), 0.0)
    sent = np.where(np.asarray(day.message_s) > 0.0, running / np.maximum(day.message_s, 1e-9), 0.0)
    none = np.zeros_like(sleep)
    rows = (
        ("sleep", sleep, day.sleep_w * sleep),
        ("standby", none + DAY_S * (np.asarray(day.standby_w) > 0.0), day.standby_w * DAY_S + none),
        ("poll", none, day.poll_j * polls),
        ("wake", boot, day.boot_w * boot),
        ("settle", settle, day.measure_w * settle),
        ("measure", measure, day.measure_w * measure),
        ("compute", none, day.compute_w * (settle + measure)),
        ("send", none, day.message_j * sent),
        ("sound", none, day.sound_j + none),
    )
    return tuple(StateDay(name, np.asarray(time), np.asarray(joule)) for name, time, joule in rows)


def _checked(day: DayFigures) -> None:
    for name, value in vars(day).items():
        if not np.all(np.asarray(value) >= 0.0):
            raise OutOfRangeError(f"{name}: allowed 0 or more, found {np.min(value)}")
    if not np.all(np.asarray(day.duty_frac) <= 1.0):
        raise OutOfRangeError(
            f"duty_frac is {np.max(day.duty_frac)}: allowed 0 to 1 (a fraction, not percent)"
        )
    if not np.all(np.asarray(day.cycle_s) > 0.0):
        raise OutOfRangeError("cycle_s: allowed more than 0")


def load_j_per_day(states: tuple[StateDay, ...]) -> FloatArray:
    """Return the energy of a day at the load.

    Parameters
    ----------
    states : tuple of StateDay
        Of :func:`state_days`.

    Returns
    -------
    (draw,)
        Sum over the states. [J]

    Notes
    -----
    Behind the converter; at 85 % the cells give 1.18 times as much.
    """
    return np.asarray(sum(one.energy_j for one in states), dtype=np.float64)


def remind_day(days: FloatArray, *, respond_p95_s: float, generator: np.random.Generator) -> float:
    """Return the day on which to remind so that 95 % of users charge in time.

    Parameters
    ----------
    days : (draw,)
        Days that a charge lasts. [d]
    respond_p95_s : float
        Time within which 95 % of users charge once reminded. [s]
    generator : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    float
        Day, 0 where even a reminder at once comes too late for more than 5 %. [d]

    Notes
    -----
    Responses are exponential: half of the users within 23 % of that time. At 4,000
    draws good to 1 % of the days.

    References
    ----------
    The largest D with P(D + response <= life) of 95 %: the fifth percentile of
    life less response.
    """
    mean_d = respond_p95_s / DAY_S / -float(np.log(0.05))
    response = generator.exponential(1.0, size=days.shape) * mean_d
    spare = np.where(np.isfinite(days), days, 1e9) - response
    return max(float(np.quantile(spare, 0.05)), 0.0)


YEAR_D = 365.25  # the Julian year

SelfDischarge = Literal["linear", "exponential"]


def shelf_factor(temperature_k: float | FloatArray, *, doubling_k: float) -> FloatArray:
    """Return how much faster cells lose charge on the shelf than at 20 C.

    Parameters
    ----------
    temperature_k : float or (...,)
        Temperature of the cells. [K]
    doubling_k : float
        Warming that doubles the loss. [K]

    Returns
    -------
    (...,)
        Factor, 1 at 20 C. [-]

    Notes
    -----
    30 K above 20 C make 1 % a year 8 %.

    References
    ----------
    Doubling rule, from memory, common practice.
    """
    rise = np.asarray(temperature_k, dtype=np.float64) - (20.0 + ZERO_C_K)
    return np.asarray(2.0 ** (rise / doubling_k), dtype=np.float64)


def days_left(
    available_j: float | FloatArray,
    *,
    load_j_per_day: float | FloatArray,
    shelf_per_year: float | FloatArray,
    law: SelfDischarge,
) -> FloatArray:
    """Return the day on which dE/dt = -load - self-discharge is at nothing.

    Parameters
    ----------
    available_j : (...,)
        Energy to begin with. [J]
    load_j_per_day : (...,)
        What the cells give a day, converter counted. [J]
    shelf_per_year : (...,)
        Share lost on the shelf, at the cells' temperature. [1/y]
    law : {"linear", "exponential"}
        Linear: of the energy to begin with; exponential: of what is left.

    Returns
    -------
    (...,)
        Days, infinite without any loss. [d]

    Raises
    ------
    InputError
        If the law is unknown.

    Notes
    -----
    3 % a year shorten 61 years to 21.6 by the linear law and to 35 by the exponential one.

    References
    ----------
    Energy balance, closed form of both laws.
    """
    if law not in ("linear", "exponential"):
        raise InputError(f"self_discharge is {law!r}: allowed linear or exponential")
    energy = np.asarray(available_j, dtype=np.float64)
    load = np.asarray(load_j_per_day, dtype=np.float64)
    rate = np.asarray(shelf_per_year, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        if law == "linear":
            total = load + energy * rate / YEAR_D
            return np.asarray(np.where(total > 0.0, energy / total, math.inf))
        decay = -np.log1p(-np.minimum(rate, 1.0 - 1e-12)) / YEAR_D
        plain = np.where(load > 0.0, energy / load, math.inf)
        decayed = np.where(load > 0.0, np.log1p(decay * energy / load) / decay, math.inf)
        return np.asarray(np.where(decay > 0.0, decayed, plain))
