"""Battery life from a ledger of states, with derating and self-discharge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import DAY_S, ZERO_C_K
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.economics.shelflife import (
    YEAR_D,
    SelfDischarge,
    days_left,
    shelf_factor,
)

__all__ = [
    "YEAR_D",
    "BatteryLife",
    "BatteryLifeRange",
    "Cell",
    "EnergySpread",
    "PowerState",
    "battery_life",
    "battery_life_range",
    "energy_from_charge_j",
]

LITHIUM_STOP_K = 60.0 + ZERO_C_K


@dataclass(frozen=True)
class PowerState:
    """One state of the device: what it draws at the load and how long a day.

    ``power_w`` is drawn behind the converter, as power = voltage x current.
    """

    name: str
    power_w: float
    time_s_per_day: float


@dataclass(frozen=True)
class Cell:
    """A pack of cells.

    Parameters
    ----------
    energy_j : float
        Energy of a fresh pack at 20 C and light load. [J]
    usable_frac : float
        Share left to use above the device's cut-off voltage. [-]
    self_discharge_per_year : float
        Share lost a year at 20 C. [1/y]
    self_discharge : {"linear", "exponential"}
        Linear: a constant drain of the fresh energy; exponential: a share of
        what is left.
    doubling_k : float
        The self-discharge doubles with every rise by this much. [K]
    derating : tuple of (temperature_k, frac)
        Usable energy relative to 20 C, linear between points, held outside.
    low_k, stop_k : float
        Rated temperatures; the upper is a hard stop. [K]
    """

    energy_j: float
    usable_frac: float = 1.0
    self_discharge_per_year: float = 0.01
    self_discharge: SelfDischarge = "linear"
    doubling_k: float = 10.0
    derating: tuple[tuple[float, float], ...] = ()
    low_k: float = -40.0 + ZERO_C_K
    stop_k: float = LITHIUM_STOP_K


@dataclass(frozen=True)
class BatteryLife:
    """Days a pack lasts and what eats it; shares are of the cell's energy, sum 1."""

    days: float
    largest_state: str
    shares: tuple[tuple[str, float], ...]
    load_j_per_day: float


@dataclass(frozen=True)
class BatteryLifeRange:
    """Percentiles of the days, and the share of draws past the hard stop."""

    p10_days: float
    p50_days: float
    p90_days: float
    stopped_frac: float


@dataclass(frozen=True)
class EnergySpread:
    """Relative standard deviations of the ledger's figures, and K of temperature."""

    power_frac: float = 0.10
    time_frac: float = 0.25
    energy_frac: float = 0.05
    temperature_k: float = 5.0


def energy_from_charge_j(charge_ah: float, *, voltage_v: float) -> float:
    """Return the energy of a charge at a mean discharge voltage.

    Parameters
    ----------
    charge_ah : float
        Rated charge, positive. [A h]
    voltage_v : float
        Mean voltage over the discharge, not the open-circuit one. [V]

    Returns
    -------
    float
        Energy. [J]

    Raises
    ------
    OutOfRangeError
        If either is not positive.

    Notes
    -----
    3.0 A h at 1.5 V is 16.2 kJ (4.5 W h); the open-circuit voltage of a
    lithium AA (1.8 V) would claim 20 % too much.

    References
    ----------
    Definition.
    """
    if not (charge_ah > 0.0 and voltage_v > 0.0):
        raise OutOfRangeError(f"charge {charge_ah} A h and voltage {voltage_v} V must be positive")
    return charge_ah * 3600.0 * voltage_v


def _checked(states: Sequence[PowerState], cell: Cell, converter_frac: float) -> None:
    if not states:
        raise InputError("no states: a ledger needs at least one")
    for state in states:
        if not (state.power_w >= 0.0 and 0.0 <= state.time_s_per_day <= DAY_S):
            raise OutOfRangeError(
                f"state {state.name}: power {state.power_w} W for {state.time_s_per_day} s a day; "
                f"allowed 0 or more, and 0 to {DAY_S:.0f} s (a duty of 1)"
            )
    total = sum(state.time_s_per_day for state in states)
    if total > DAY_S * (1.0 + 1e-9):
        raise OutOfRangeError(f"the states fill {total:.0f} s of a day of {DAY_S:.0f} s")
    if not 0.0 < converter_frac <= 1.0:
        raise OutOfRangeError(f"converter_frac is {converter_frac}: allowed more than 0, up to 1")
    if not (cell.energy_j > 0.0 and 0.0 < cell.usable_frac <= 1.0):
        raise OutOfRangeError(f"cell: energy {cell.energy_j} J, usable {cell.usable_frac}")
    if not 0.0 <= cell.self_discharge_per_year < 1.0:
        raise OutOfRangeError(
            f"self_discharge_per_year is {cell.self_discharge_per_year}: allowed 0 up to 1"
        )
    if cell.self_discharge not in ("linear", "exponential"):
        raise InputError(
            f"self_discharge is {cell.self_discharge!r}: allowed linear or exponential"
        )


def _available_j(cell: Cell, temperature_k: float) -> float:
    derated = 1.0
    if cell.derating:
        points = sorted(cell.derating)
        derated = float(np.interp(temperature_k, [p[0] for p in points], [p[1] for p in points]))
    return cell.energy_j * cell.usable_frac * derated


def _days(available_j: float, load_j_per_day: float, cell: Cell, temperature_k: float) -> float:
    rate = cell.self_discharge_per_year * float(
        shelf_factor(temperature_k, doubling_k=cell.doubling_k)
    )
    days = days_left(
        available_j, load_j_per_day=load_j_per_day, shelf_per_year=rate, law=cell.self_discharge
    )
    return float(days)


def battery_life(
    states: Sequence[PowerState],
    *,
    cell: Cell,
    converter_frac: float = 1.0,
    temperature_k: float = 20.0 + ZERO_C_K,
) -> BatteryLife:
    """Return the days a pack lasts and which state eats most.

    Parameters
    ----------
    states : sequence of PowerState
        Draw and time a day of each state; the times may not exceed a day.
    cell : Cell
        The pack.
    converter_frac : float
        Efficiency between cell and load, 0 < eff <= 1. [-]
    temperature_k : float
        Temperature of the pack. [K]

    Returns
    -------
    BatteryLife
        Days, the largest eater (a state or "self-discharge"), shares.

    Raises
    ------
    OutOfRangeError
        If the temperature is outside the cell's rating (60 C is a hard stop
        for lithium), a duty exceeds 1, or an efficiency is impossible.
    InputError
        If there are no states or the self-discharge law is unknown.

    Notes
    -----
    Pulses are averaged: voltage sag under load is only in ``usable_frac``.
    10 ms at 10 mA each 20 min over a 4 uA sleep averages 4.08 uA, 61.5 years
    from 2,200 mA h without self-discharge and 21.6 with 3 % a year: below
    some 10 uA the self-discharge decides. Ten kelvin double it.

    References
    ----------
    Energy balance; the doubling rule is from memory, common practice.
    """
    _checked(states, cell, converter_frac)
    if not cell.low_k <= temperature_k <= cell.stop_k:
        raise OutOfRangeError(
            f"the pack at {temperature_k - ZERO_C_K:.1f} C is outside its rating of "
            f"{cell.low_k - ZERO_C_K:.0f} to {cell.stop_k - ZERO_C_K:.0f} C: a hard stop, "
            "move or shield the pack"
        )
    drawn = {s.name: s.power_w * s.time_s_per_day / converter_frac for s in states}
    load = sum(drawn.values())
    available = _available_j(cell, temperature_k)
    days = _days(available, load, cell, temperature_k)
    if math.isinf(days):
        return BatteryLife(days, "self-discharge", (("self-discharge", 1.0),), load)
    shares = {name: joule * days / available for name, joule in drawn.items()}
    shares["self-discharge"] = max(0.0, 1.0 - sum(shares.values()))
    ordered = tuple(sorted(shares.items(), key=lambda entry: -entry[1]))
    return BatteryLife(days=days, largest_state=ordered[0][0], shares=ordered, load_j_per_day=load)


def battery_life_range(
    states: Sequence[PowerState],
    *,
    cell: Cell,
    generator: np.random.Generator,
    spread: EnergySpread | None = None,
    converter_frac: float = 1.0,
    temperature_k: float = 20.0 + ZERO_C_K,
    draws: int = 4000,
) -> BatteryLifeRange:
    """Return P10, P50 and P90 of the days under uncertain figures.

    Parameters
    ----------
    states : sequence of PowerState
        Draw and time a day; in a full day the longest state gives way.
    cell : Cell
        The pack.
    generator : numpy.random.Generator
        Source of randomness.
    spread : EnergySpread, optional
        Relative standard deviations (log-normal) and K of temperature (normal).
    converter_frac : float
        Efficiency between cell and load. [-]
    temperature_k : float
        Mean temperature of the pack. [K]
    draws : int
        Draws. [-]

    Returns
    -------
    BatteryLifeRange
        Percentiles of the days; a draw past the hard stop lasts 0 days.

    Raises
    ------
    OutOfRangeError
        As :func:`battery_life`.

    Notes
    -----
    At 4,000 draws P10 and P90 are good to about 2 % of the days.

    References
    ----------
    JCGM 101:2008 (propagation of distributions).
    """
    battery_life(states, cell=cell, converter_frac=converter_frac, temperature_k=temperature_k)
    chosen = spread or EnergySpread()
    z = generator.standard_normal((2 * len(states) + 2, draws))
    power = np.array([s.power_w for s in states])[:, None]
    time = np.array([s.time_s_per_day for s in states])[:, None]
    n = len(states)
    powers = power * np.exp(chosen.power_frac * z[:n])
    times = _times_of_draws(time * np.exp(chosen.time_frac * z[n : 2 * n]), time)
    loads = np.sum(powers * times, axis=0) / converter_frac
    energies = np.exp(chosen.energy_frac * z[2 * n])
    temperatures = temperature_k + chosen.temperature_k * z[2 * n + 1]
    days = _days_of_draws(loads, energies, temperatures, cell)
    p10, p50, p90 = np.quantile(days, [0.1, 0.5, 0.9])
    return BatteryLifeRange(
        float(p10), float(p50), float(p90), float(np.mean(temperatures > cell.stop_k))
    )


def _times_of_draws(times: FloatArray, stated: FloatArray) -> FloatArray:
    """Return times that never exceed a day; in a full diary the longest state gives way."""
    filled = float(stated.sum())
    if filled < 0.999 * DAY_S:
        times *= np.minimum(1.0, DAY_S / np.maximum(times.sum(axis=0), 1e-300))
        return times
    rest = int(np.argmax(stated))
    times[rest] = 0.0
    others = np.maximum(times.sum(axis=0), 1e-300)
    times *= np.minimum(1.0, filled / others)
    times[rest] = np.maximum(0.0, filled - others)
    return times


def _days_of_draws(
    loads: FloatArray,
    energies: FloatArray,
    temperatures: FloatArray,
    cell: Cell,
) -> FloatArray:
    days = np.zeros(loads.size)
    for i, (load, scale, kelvin) in enumerate(zip(loads, energies, temperatures, strict=True)):
        if kelvin <= cell.stop_k:
            days[i] = _days(
                _available_j(cell, float(kelvin)) * float(scale), float(load), cell, float(kelvin)
            )
    return days
