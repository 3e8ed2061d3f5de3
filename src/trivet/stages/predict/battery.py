"""Days of a charge from the design's states and its cooking hours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trivet.kernels.energy import DAY_S, YEAR_D, Cell, PowerState, battery_life
from trivet.records.business import Battery
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.prediction import BatteryLife
from trivet.terms.assumed import COOKING_SIGMA, SELF_DISCHARGE_DOUBLING_K

Floats = NDArray[np.float64]
DRAWS = 2000
TICK_S = 1.0
PIECES = 4
# Share of the energy at 20 C that is left; from memory, shaky: alkaline loses in the cold,
# lithium cells hardly in a kitchen.
DERATING: dict[str, tuple[tuple[float, float], ...]] = {
    "alkaline": ((253.15, 0.4), (273.15, 0.75), (293.15, 1.0)),
    "lithium-iron-disulfide": ((253.15, 0.9), (293.15, 1.0)),
    "lithium-ion": ((253.15, 0.6), (273.15, 0.85), (293.15, 1.0)),
}


@dataclass(frozen=True)
class _Draw:
    """One set of figures for a ledger."""

    cooking_s: float
    cell_k: float
    energy_j: float
    sleep_w: float
    measure_w: float


def battery_days(design: Design, *, generator: np.random.Generator) -> BatteryLife:
    """Return how many days a charge lasts, and what eats it.

    Parameters
    ----------
    design : Design
        Battery, diary and surroundings.
    generator : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    BatteryLife
        Days at the tenth, fiftieth and ninetieth percentile; a draw with cells above
        their limit lasts 0 days.  Mean power is drawn from the cells.

    Notes
    -----
    Ranges are drawn triangular about their value; cooking hours without a range are
    log-normal with 25 %.  The cells are taken as warm as the housing all day: right
    while cooking, too warm for self-discharge at rest.  Polls are made while asleep;
    messages while measuring.  Computing, messages, polls and
    sounds are energies a day, booked in one second each.
    2,000 draws: P10 good to 2 % of the days.

    References
    ----------
    Energy balance of :func:`trivet.kernels.energy.battery_life`.
    """
    battery, stop_k = design.battery, float(design.battery.temperature_limit_k)
    surroundings = design.surroundings
    cell_k = _drawn(surroundings.ambient_k, generator) + _drawn(
        surroundings.housing_rise_delta_k, generator
    )
    cooking_s = _cooking_s(design.diary.cooking_per_day_s, generator)
    energy, sleep, measure = (
        _drawn(figure, generator)
        for figure in (battery.energy_j, battery.sleep_w, battery.measure_w)
    )
    days = np.array(
        [
            _days(battery, _Draw(*map(float, row)))
            for row in zip(cooking_s, cell_k, energy, sleep, measure, strict=True)
        ]
    )
    p10, p50, p90 = (float(one) for one in np.quantile(days, [0.1, 0.5, 0.9]))
    nominal_k = float(surroundings.ambient_k) + float(surroundings.housing_rise_delta_k)
    states = _states(
        battery,
        _Draw(
            min(float(design.diary.cooking_per_day_s), DAY_S),
            nominal_k,
            float(battery.energy_j),
            float(battery.sleep_w),
            float(battery.measure_w),
        ),
    )
    ledger = battery_life(
        states,
        cell=_cell(battery, float(battery.energy_j)),
        converter_frac=float(battery.converter_efficiency_frac),
        temperature_k=min(nominal_k, stop_k),
    )
    return BatteryLife(
        days_p10=p10,
        days_p50=p50,
        days_p90=p90,
        mean_w=ledger.load_j_per_day / DAY_S,
        shares=tuple(one for one in ledger.shares if one[1] > 0.0),
        note=_note(design, cell_k, nominal_k, stop_k),
    )


def _note(design: Design, cell_k: Floats, nominal_k: float, stop_k: float) -> str:
    diary = design.diary.cooking_per_day_s
    spread = (
        f"log-normal with {COOKING_SIGMA.text}" if diary.low is None else "triangular in its range"
    )
    parts = [f"cooking hours drawn {spread}"]
    over = float(np.mean(cell_k > stop_k))
    if nominal_k > stop_k:
        parts.insert(
            0,
            f"hard stop: the cells at {nominal_k - 273.15:.0f} °C lie above their limit of"
            f" {stop_k - 273.15:.0f} °C; move or shield them",
        )
    elif over > 0.0:
        parts.insert(0, f"hard stop: in {over:.1%} of draws the cells lie above their limit")
    if float(design.battery.duty_frac) < 1.0:
        parts.append("the sensor rests between readings: settling after each wake is not counted")
    return "; ".join(parts)


def _days(battery: Battery, draw: _Draw) -> float:
    if draw.cell_k > float(battery.temperature_limit_k):
        return 0.0
    return battery_life(
        _states(battery, draw),
        cell=_cell(battery, draw.energy_j),
        converter_frac=float(battery.converter_efficiency_frac),
        temperature_k=draw.cell_k,
    ).days


def _cell(battery: Battery, energy_j: float) -> Cell:
    return Cell(
        energy_j=energy_j,
        self_discharge_per_year=float(battery.self_discharge_per_s) * YEAR_D * DAY_S,
        doubling_k=SELF_DISCHARGE_DOUBLING_K.value,
        derating=DERATING[battery.chemistry],
        stop_k=float(battery.temperature_limit_k),
    )


def _states(battery: Battery, draw: _Draw) -> tuple[PowerState, ...]:
    """Return the states of a day; energies a piece become a power over one second."""
    active_s = draw.cooking_s * float(battery.duty_frac)
    rest_s = max(DAY_S - active_s - PIECES * TICK_S, 0.0)
    active_s = min(active_s, DAY_S - PIECES * TICK_S)
    message_j = _pieces(active_s, battery.message_every_s) * float(battery.message_j)
    poll_j = _pieces(rest_s, battery.poll_every_s) * float(battery.poll_j)
    return (
        PowerState("measure", draw.measure_w, active_s),
        PowerState("compute", float(battery.compute_w) * active_s / TICK_S, TICK_S),
        PowerState("sleep", draw.sleep_w, rest_s),
        PowerState("message", message_j / TICK_S, TICK_S),
        PowerState("poll", poll_j / TICK_S, TICK_S),
        PowerState("sound", float(battery.sound_j) / TICK_S, TICK_S),
    )


def _pieces(span_s: float, every_s: Figure) -> float:
    return span_s / float(every_s) if float(every_s) > 0.0 else 0.0


def _drawn(figure: Figure, generator: np.random.Generator) -> Floats:
    """Return draws of a figure: triangular in its range, or the figure itself."""
    low, high = figure.low, figure.high
    if low is None or high is None or not low < high:
        return np.full(DRAWS, float(figure))
    return generator.triangular(low, float(figure), high, DRAWS)


def _cooking_s(figure: Figure, generator: np.random.Generator) -> Floats:
    if figure.low is not None:
        drawn = _drawn(figure, generator)
    else:
        normal = generator.standard_normal(DRAWS)
        drawn = float(figure) * np.exp(COOKING_SIGMA.value * normal)
    return np.minimum(drawn, DAY_S)
