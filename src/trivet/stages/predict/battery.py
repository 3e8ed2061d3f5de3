"""Days of a charge from the design's states, its cells and its cooking diary."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import DAY_S
from trivet.facts.parts import CellKind, cell_kind
from trivet.models.assumed import COOKING_SIGMA, COOKS_PER_DAY, SELF_DISCHARGE_DOUBLING_K
from trivet.models.sensing import frame_s, frames_w, settling_of
from trivet.physics.economics.energy import (
    YEAR_D,
    DayFigures,
    StateDay,
    days_left,
    load_j_per_day,
    remind_day,
    shelf_factor,
    state_days,
)
from trivet.physics.sensor.warning import settling_k
from trivet.records.business_result import BatteryLife, BatteryOption
from trivet.records.design import Design
from trivet.records.energy import Battery
from trivet.records.figures import Figure
from trivet.stages.predict.message import message_j, sized_message

LIFE_DRAWS = 4000  # own estimate: the tenth percentile is good to 2 % of the days


@dataclass(frozen=True, eq=False)
class _Drawn:
    """The figures of all draws, and the nominal ones as a draw of one."""

    day: DayFigures
    energy_j: FloatArray
    cell_k: FloatArray
    """Cells while cooking. [K]"""
    rest_k: FloatArray
    """Cells between cooks. [K]"""
    converter_frac: FloatArray


def battery_days(design: Design, *, generator: np.random.Generator) -> BatteryLife:
    """Return how many days a charge lasts, what eats it, and what would change that.

    Parameters
    ----------
    design : Design
        Battery, waking, radio, diary and surroundings.
    generator : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    BatteryLife
        Percentiles of the days; a draw with cells above their limit lasts 0 days.
        Mean power is drawn from the cells, at the nominal figures.

    Raises
    ------
    InputError
        If neither a message's energy nor a radio is given, or the diary is empty.

    Notes
    -----
    Ranges are drawn triangular about their value; cooking hours without a range are
    log-normal with 25 %.  Cells are as warm as the housing while cooking, which sets
    what they can give and the hard stop, and as warm as the room at rest; shelf loss
    is weighted by the hours of both.  Booting and settling take part of each cook.
    4,000 draws: P10 good to 2 % of the days.

    References
    ----------
    Energy balance of :func:`trivet.physics.economics.energy.days_left`.
    """
    battery, kind = design.battery, cell_kind(design.battery.chemistry)
    stop_k = min(float(battery.temperature_limit_k), kind.high_k)
    drawn, nominal = _drawn(design, generator), _nominal(design)
    days = _days(battery, drawn, kind, stop_k)
    sure = replace(nominal, cell_k=np.minimum(nominal.cell_k, stop_k))
    states = state_days(nominal.day)
    load_w = float(np.ravel(load_j_per_day(states) / sure.converter_frac)[0]) / DAY_S
    shares = _shares(battery, sure, kind, states)
    p10, p50, p90 = (float(one) for one in np.quantile(days, [0.1, 0.5, 0.9]))
    remind = remind_day(days, respond_p95_s=float(battery.respond_s), generator=generator)
    claim_days, met, claim = _claim(battery, days)
    return BatteryLife(
        days_p10=p10,
        days_p50=p50,
        days_p90=p90,
        mean_w=load_w,
        shares=shares,
        note=_note(design, drawn.cell_k, float(nominal.cell_k[0]), stop_k),
        days=tuple(float(one) for one in np.quantile(days, np.arange(1, 100) / 100)),
        largest=shares[0][0] if shares else "",
        hours_per_day=_hours(design, states, load_w),
        law=battery.self_discharge_law,
        capacity_frac=float(_capacity(kind, sure.cell_k)[0]),
        capacity_source=f"{kind.name}, {kind.grade}: {kind.source}",
        remind_day=remind,
        remind_left_frac=max(0.0, 1.0 - remind / p10) if p10 > 0.0 else 0.0,
        claim_days=claim_days,
        claim_met_frac=met,
        claim=claim,
        charge_h=_charge_h(battery),
        aged_days_p50=_aged(battery, days, kind),
        message=sized_message(design, running_s=float(np.ravel(_running(nominal.day))[0])),
        options=_options(design, drawn, kind, stop_k),
    )


# ------------------------------------------------------------------- figures
def _drawn(design: Design, generator: np.random.Generator) -> _Drawn:
    surroundings, battery, wake = design.surroundings, design.battery, design.wake
    rest_k = _spread(surroundings.ambient_k, generator)
    cell_k = rest_k + _spread(surroundings.housing_rise_delta_k, generator)
    cooking_s, cooks = _cooking(design, generator)
    energy, sleep, measure, compute, converter, sound, after = (
        _spread(figure, generator)
        for figure in (
            battery.energy_j,
            battery.sleep_w,
            battery.measure_w,
            battery.compute_w,
            battery.converter_efficiency_frac,
            battery.sound_j,
            wake.awake_after_s,
        )
    )
    day = replace(
        _figures(design),
        cooking_s=cooking_s,
        cooks=cooks,
        sleep_w=sleep,
        measure_w=measure,
        compute_w=compute * float(design.diary.burners) + frames_w(design),
        sound_j=sound,
        after_s=after,
        boot_w=measure if wake.boot_draw_w is None else float(wake.boot_draw_w),
    )
    usable = 1.0 - float(battery.cut_off_frac)
    return _Drawn(day, energy * usable, cell_k, rest_k, np.minimum(converter, 1.0))


def _nominal(design: Design) -> _Drawn:
    surroundings, battery = design.surroundings, design.battery
    rest = np.array([float(surroundings.ambient_k)])
    return _Drawn(
        _figures(design),
        np.array([float(battery.energy_j) * (1.0 - float(battery.cut_off_frac))]),
        rest + float(surroundings.housing_rise_delta_k),
        rest,
        np.array([float(battery.converter_efficiency_frac)]),
    )


def _figures(design: Design) -> DayFigures:
    """Return the nominal figures of a day."""
    battery, wake = design.battery, design.wake
    cooking_s, cooks = _diary(design)
    return DayFigures(
        cooking_s=min(cooking_s, DAY_S),
        cooks=cooks,
        sleep_w=float(battery.sleep_w),
        measure_w=float(battery.measure_w),
        compute_w=float(battery.compute_w) * float(design.diary.burners) + frames_w(design),
        standby_w=0.0 if wake.kind == "polling" else float(wake.standby_w),
        boot_s=float(wake.boot_s) + frame_s(design),
        boot_w=float(battery.measure_w if wake.boot_draw_w is None else wake.boot_draw_w),
        settle_s=settling_of(design)[0],
        after_s=float(wake.awake_after_s),
        false_wakes=float(wake.false_per_day),
        false_s=float(wake.false_awake_s),
        duty_frac=float(battery.duty_frac),
        cycle_s=max(float(battery.duty_cycle_s), 1e-3),
        poll_j=float(battery.poll_j),
        poll_s=0.0 if wake.kind == "thermal-trip" else float(battery.poll_every_s),
        message_j=message_j(design),
        message_s=float(battery.message_every_s),
        sound_j=float(battery.sound_j),
    )


def _diary(design: Design) -> tuple[float, float]:
    """Return cooking time [s] and cooks on a day."""
    diary = design.diary
    if diary.cooks_per_day is not None and diary.cook_s is not None:
        cooks = float(diary.cooks_per_day)
        return cooks * float(diary.cook_s), cooks
    cooks = COOKS_PER_DAY.value if diary.cooks_per_day is None else float(diary.cooks_per_day)
    return float(diary.cooking_per_day_s or 0.0), cooks


def _cooking(design: Design, generator: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Return cooking time [s] and cooks on a day. (draw,)"""
    diary = design.diary
    total_s, cooks = _diary(design)
    if diary.cooks_per_day is not None and diary.cook_s is not None:
        number = _hours_spread(diary.cooks_per_day, generator)
        return np.minimum(number * _hours_spread(diary.cook_s, generator), DAY_S), number
    hours = diary.cooking_per_day_s
    drawn = np.zeros(LIFE_DRAWS) if hours is None else _hours_spread(hours, generator)
    return np.minimum(drawn, DAY_S), np.full(LIFE_DRAWS, cooks if total_s > 0.0 else 0.0)


def _hours_spread(figure: Figure, generator: np.random.Generator) -> FloatArray:
    if figure.low is not None:
        return _spread(figure, generator)
    spread = generator.lognormal(0.0, COOKING_SIGMA.value, LIFE_DRAWS)
    return np.asarray(float(figure) * spread)


def _spread(figure: Figure, generator: np.random.Generator) -> FloatArray:
    """Return draws of a figure, triangular in its range, or itself where it has none."""
    if figure.low is None or figure.high is None or not figure.low < figure.high:
        return np.full(LIFE_DRAWS, float(figure))
    return np.asarray(generator.triangular(figure.low, float(figure), figure.high, LIFE_DRAWS))


# ---------------------------------------------------------------------- days
def _capacity(kind: CellKind, cell_k: FloatArray) -> FloatArray:
    at, share = zip(*kind.capacity, strict=True)
    return np.asarray(np.interp(cell_k, at, share))


def _shelf_per_year(battery: Battery, drawn: _Drawn) -> FloatArray:
    warm = np.minimum(np.asarray(drawn.day.cooking_s) / DAY_S, 1.0)
    doubling = SELF_DISCHARGE_DOUBLING_K.value
    factor = warm * shelf_factor(drawn.cell_k, doubling_k=doubling)
    factor = factor + (1.0 - warm) * shelf_factor(drawn.rest_k, doubling_k=doubling)
    return np.asarray(float(battery.self_discharge_per_s) * YEAR_D * DAY_S * factor)


def _days(battery: Battery, drawn: _Drawn, kind: CellKind, stop_k: float) -> FloatArray:
    """Return the days of each draw, 0 where the cells are above their limit."""
    days = days_left(
        drawn.energy_j * _capacity(kind, drawn.cell_k),
        load_j_per_day=load_j_per_day(state_days(drawn.day)) / drawn.converter_frac,
        shelf_per_year=_shelf_per_year(battery, drawn),
        law=battery.self_discharge_law,
    )
    return np.asarray(np.where(drawn.cell_k > stop_k, 0.0, days))


def _shares(
    battery: Battery, sure: _Drawn, kind: CellKind, states: tuple[StateDay, ...]
) -> tuple[tuple[str, float], ...]:
    """Return states and their shares of the cells' energy, largest first, no empty ones."""
    days = float(_days(battery, sure, kind, math.inf)[0])
    available = float((sure.energy_j * _capacity(kind, sure.cell_k))[0])
    if not math.isfinite(days) or available <= 0.0:
        return ()
    eta = float(sure.converter_frac[0])
    parts = {one.name: float(np.ravel(one.energy_j)[0]) / eta * days / available for one in states}
    parts["self-discharge"] = max(0.0, 1.0 - sum(parts.values()))
    ordered = sorted(parts.items(), key=lambda entry: -entry[1])
    return tuple((name, share) for name, share in ordered if share > 0.0)


def _running(day: DayFigures) -> FloatArray:
    awake = np.asarray(day.cooking_s) + day.cooks * np.asarray(day.after_s)
    return np.asarray(awake * day.duty_frac, dtype=np.float64)


def _hours(
    design: Design, states: tuple[StateDay, ...], load_w: float
) -> tuple[tuple[str, float], ...]:
    rows = [(one.name, float(np.ravel(one.time_s)[0]) / 3600.0) for one in states]
    charger = design.battery.charge_w
    if charger is not None and float(charger) > 0.0:
        rows.append(("charge", load_w * 24.0 / float(charger)))
    return tuple(row for row in rows if row[1] > 0.0)


def _charge_h(battery: Battery) -> float:
    if battery.charge_w is None or not float(battery.charge_w) > 0.0:
        return math.nan
    return float(battery.energy_j) / float(battery.charge_w) / 3600.0


def _aged(battery: Battery, days: FloatArray, kind: CellKind) -> float:
    """Return the median days at the end of service, faded by one full cycle a charge."""
    if kind.fade_per_cycle_frac is None:
        return math.nan
    median = float(np.quantile(days, 0.5))
    if not 0.0 < median < math.inf:
        return median
    cycles = float(battery.service_s) / DAY_S / median
    return median * math.exp(-kind.fade_per_cycle_frac[0] * cycles)


def _claim(battery: Battery, days: FloatArray) -> tuple[float, float, str]:
    if battery.claim_s is None:
        return math.nan, math.nan, ""
    claim = float(battery.claim_s) / DAY_S
    met = float(np.mean(days >= claim))
    low, high = (float(one) for one in np.quantile(days, [0.1, 0.9]))
    numbers = (
        f"{claim:.0f} days are claimed, 80 % of users get {low:.0f} to {high:.0f};"
        f" {met:.0%} of users get what is claimed"
    )
    if met >= 0.9:
        return claim, met, f"supported: {numbers}"
    if met <= 0.1:
        return claim, met, f"refuted: {numbers}"
    return claim, met, f"not supported: {numbers}, 90 % are needed"


# ------------------------------------------------------------------- options
def _options(
    design: Design, drawn: _Drawn, kind: CellKind, stop_k: float
) -> tuple[BatteryOption, ...]:
    """Return the same battery with one thing changed, and what it costs in sight and time."""
    day, stay_s = drawn.day, 600.0
    cycle_s = float(design.battery.duty_cycle_s)
    rows: list[tuple[str, DayFigures, float, str]] = [
        ("as designed", day, float(design.battery.duty_frac), ""),
        (
            "off at once when the burners are off",
            replace(day, after_s=0.0),
            float(design.battery.duty_frac),
            "nobody watches the hob while it cools down",
        ),
        (
            "awake for 10 min after each cook",
            replace(day, after_s=stay_s),
            float(design.battery.duty_frac),
            "the hob is watched until it is cold",
        ),
        (
            "awake all day",
            replace(day, cooking_s=DAY_S, cooks=0.0, duty_frac=1.0),
            1.0,
            "settled when a burner goes on; nothing to wake",
        ),
    ]
    rows += [
        (
            f"sensor on {duty:.0%} of each {cycle_s:.0f} s",
            replace(day, duty_frac=duty),
            duty,
            "",
        )
        for duty in (0.5, 0.25)
        if duty < float(design.battery.duty_frac)
    ]
    return tuple(
        _option(
            design, name, _days(design.battery, replace(drawn, day=one), kind, stop_k), duty, note
        )
        for name, one, duty, note in rows
    )


def _option(design: Design, name: str, days: FloatArray, duty: float, note: str) -> BatteryOption:
    settle_s, offset_k = settling_of(design)
    cycle_s = float(design.battery.duty_cycle_s)
    error_k = 0.0
    if duty < 1.0:
        error_k = float(settling_k(duty * cycle_s, offset_k=offset_k, settle_s=settle_s))
        if duty * cycle_s < settle_s:
            note = (
                f"never settled: {duty * cycle_s:.0f} s on, {settle_s:.0f} s to settle;"
                " the product must know the time since waking"
            )
    low, middle = (float(one) for one in np.quantile(days, [0.1, 0.5]))
    return BatteryOption(name, low, middle, error_k, (1.0 - duty) * cycle_s, note)


def _note(design: Design, cell_k: FloatArray, nominal_k: float, stop_k: float) -> str:
    battery, diary = design.battery, design.diary
    hours = diary.cooking_per_day_s if diary.cooks_per_day is None else diary.cooks_per_day
    ranged = hours is not None and hours.low is not None
    spread = "triangular in its range" if ranged else f"log-normal with {COOKING_SIGMA.text}"
    parts = [f"cooking hours drawn {spread}", f"self-discharge is {battery.self_discharge_law}"]
    over = float(np.mean(cell_k > stop_k))
    if nominal_k > stop_k:
        parts.insert(
            0,
            f"hard stop: the cells at {nominal_k - 273.15:.0f} °C lie above their limit of"
            f" {stop_k - 273.15:.0f} °C; move or shield them",
        )
    elif over > 0.0:
        parts.insert(0, f"hard stop: in {over:.1%} of draws the cells lie above their limit")
    if float(battery.duty_frac) < 1.0:
        on_s = float(battery.duty_frac) * float(battery.duty_cycle_s)
        parts.append(f"the sensor rests between readings and settles anew for {on_s:.0f} s each")
    if design.radio is None and battery.message_j is not None and not float(battery.message_j):
        parts.append("messages cost nothing by the design")
    return "; ".join(parts)
