"""From estimates to alerts: drives the device's alert machine, moment by moment.

The rules are in ``device/alertmachine.py`` and nowhere else; this stage turns a
design's alerts into the machine's settings and an estimate into its words.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.device import alertmachine as machine
from trivet.device import alertrules as judging
from trivet.device.alertmemory import restored_states, saved_states
from trivet.device.alertpot import ARMED_NOW, DISARMED_NOW
from trivet.device.alertrules import NOT_KNOWN, UNBOUNDED_MS
from trivet.device.alertwords import (
    AT_RANGE,
    COOL,
    GATE_DK,
    HANDLED,
    LINK_LOST,
    NO_VALUE,
    PERSON,
    SET_DK,
    SIGNALS,
    heard_signals,
    settings_array,
    since_last,
    state_words,
    ticks,
)
from trivet.models.alert_settings import acts_on, alert_settings, told_band
from trivet.quality import Quality, has
from trivet.records.alertlog import (
    DEVICE,
    AlertChange,
    AlertLog,
    AlertWord,
    DeviceState,
    Watch,
)
from trivet.records.benchsheet import Told, ToldEntry
from trivet.records.design import Design, TargetBand
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.requirement import DEVICE_KINDS, OF_WORDS, Alert

_WORDS: dict[int, AlertWord] = {
    judging.OFF_NOW: "off",
    judging.ON_NOW: "on",
    judging.ESCALATED_NOW: "escalated",
    ARMED_NOW: "armed",
    DISARMED_NOW: "not armed",
}
_NOTES = {
    judging.BY_READING: "",
    judging.BY_RANGE: "at or above range",
    judging.BY_RATE: "by heating rate",
    judging.BY_BLINDNESS: "",
    judging.BY_FALL: "the pot shines: its reading fell off the boil",
}


@dataclass(frozen=True)
class _Unit:
    """A burner or the device itself: which alerts act on it, and what it shows them."""

    name: str
    acting: tuple[int, ...]
    signals: IntArray
    word: IntArray


def alert(
    estimate: Estimate,
    *,
    design: Design,
    told: Told,
    watch: Watch | None = None,
    state: DeviceState | None = None,
) -> AlertLog:
    """Return every change of every alert, in the order in which the product would act.

    Parameters
    ----------
    estimate : Estimate
        What the product knows, (time,) a burner. [s, K]
    design : Design
        Its alerts and limits.
    told : Told
        What the cook told; counts only through the design's told channels.
    watch : Watch, optional
        What the device knows of itself, at the estimate's moments; a healthy device in a
        kitchen of which nothing is known when left out.
    state : DeviceState, optional
        Charge, link, window, and the machine's memory from before a restart.

    Returns
    -------
    AlertLog
        Changes as they come, and the machine's memory at the end.

    Raises
    ------
    InputError
        If a time is not finite or comes twice, or the memory does not fit.

    Notes
    -----
    Causal: the log of a truncated estimate is a prefix of the whole log. The
    reading that acts is the hottest part of the pan, to 0.1 K, also while the
    sensor settles. Where frames stay away for longer than the design's
    ``stale_after``, the machine is told once a second that it cannot see; where they
    repeat themselves for as long, or show no kitchen, likewise.

    References
    ----------
    The rules of ``trivet.device.alertmachine``.
    """
    now = state or DeviceState()
    seen = watch or _healthy(estimate, now)
    ticks_s, source = ticks(estimate.time_s, float(design.estimation.stale_after_s))
    tables = _tables(estimate, design, told)
    if now.machine:
        states = restored_states(now.machine, settings=tables)
    else:
        states = tuple(machine.cold_start(len(design.alerts)) for _ in tables)
    own = states[-1].common
    device = _device(seen, design, window_loss_frac=now.window_loss_frac)
    units = (*_burners(estimate, design, told, watch=seen, memory=own), device)
    changes = [
        (int(row[0]), place, unit.acting[row[1]], row)
        for place, (unit, memory) in enumerate(zip(units, states, strict=True))
        for row in _stepped(unit, memory, tables[place], ticks_s=ticks_s, source=source).tolist()
    ]
    changes.sort(key=lambda entry: entry[:3])
    return AlertLog(
        changes=tuple(
            _change(
                float(ticks_s[tick]),
                units[place].name,
                design.alerts[which],
                row[2:],
                tables[place, which].tolist(),
            )
            for tick, place, which, row in changes
        ),
        machine=saved_states(states, settings=tables),
    )


def _stepped(
    unit: _Unit,
    memory: machine.MachineState,
    settings: IntArray,
    *,
    ticks_s: FloatArray,
    source: IntArray,
) -> IntArray:
    """Return what changes on one unit, (change, column); its memory is carried on.

    While frames stay away a burner's signals are unknown; the device knows itself.
    """
    acting = list(unit.acting)
    part = machine.MachineState(memory.alerts[acting], memory.ring[acting], memory.common)
    found = machine.burner_changes(
        milliseconds(ticks_s),
        signals=at_ticks(unit.signals, source, stale=None if unit.name == DEVICE else NO_VALUE),
        word=at_ticks(unit.word, source, stale=None, drop=COOL),
        settings=settings[acting],
        state=part,
    )
    memory.alerts[acting], memory.ring[acting] = part.alerts, part.ring
    return found


def _healthy(estimate: Estimate, state: DeviceState) -> Watch:
    no = np.zeros(estimate.time_s.size, dtype=np.bool_)
    return Watch(
        time_s=estimate.time_s,
        repeated=no,
        even=no,
        housing_k=np.full(no.size, np.nan),
        battery_frac=np.full(no.size, state.battery_frac),
        link=np.full(no.size, state.link),
        person=no,
    )


def _tables(estimate: Estimate, design: Design, told: Told) -> IntArray:
    """Return the settings of every unit, (unit, alert, column)."""
    about = [told.about(one.burner) for one in estimate.burners] + [ToldEntry()]
    rows = [
        tuple(alert_settings(one, design=design, told=each) for one in design.alerts)
        for each in about
    ]
    return np.stack([settings_array(one) for one in rows])


def _burners(
    estimate: Estimate, design: Design, told: Told, *, watch: Watch, memory: IntArray
) -> list[_Unit]:
    """Return the burners as the machine takes them; its memory is carried on."""
    blind, age_ms = _blind(watch, design, memory), _hand_age_ms(estimate, memory)
    near, just = (
        (age_ms >= 0) & (age_ms <= 1000.0 * float(span))
        for span in (design.alerting.hand_counts_s, design.alerting.handled_s)
    )
    units = []
    for burner in estimate.burners:
        about = told.about(burner.burner)
        acting = tuple(
            at for at, one in enumerate(design.alerts) if acts_on(one, design=design, told=about)
        )
        seen = burner_signals(burner, band=told_band(design, about), blind=blind)
        word = burner_words(burner, person=watch.person | near, handled=just, blind=blind)
        units.append(_Unit(burner.burner, acting, seen, word))
    return units


def _device(watch: Watch, design: Design, *, window_loss_frac: float) -> _Unit:
    """Return the device itself as the machine takes it."""
    rows = np.full((SIGNALS, watch.time_s.size), NO_VALUE, dtype=np.int64)
    rows[0] = _deci_kelvin(watch.housing_k)
    rows[1] = np.round(1000.0 * watch.battery_frac)
    rows[2] = round(1000.0 * window_loss_frac)
    acting = tuple(at for at, one in enumerate(design.alerts) if one.kind in DEVICE_KINDS)
    return _Unit(DEVICE, acting, rows, (LINK_LOST * ~watch.link).astype(np.int64))


def _blind(watch: Watch, design: Design, memory: IntArray) -> BoolArray:
    """Return where frames repeat themselves for longer than one may be old, or show nothing."""
    time_ms = milliseconds(watch.time_s)
    age, last = since_last(~watch.repeated, time_ms, int(memory[judging.FRESH_MS]))
    memory[judging.FRESH_MS] = last
    stale_ms = 1000.0 * float(design.estimation.stale_after_s)
    return np.asarray(watch.repeated & (age > stale_ms) | watch.even)


def _hand_age_ms(estimate: Estimate, memory: IntArray) -> IntArray:
    """Return how long ago a hand was seen over any burner; negative where not known."""
    seen = np.zeros(estimate.time_s.size, dtype=np.bool_)
    for burner in estimate.burners:
        seen |= has(burner.flags, Quality.HAND)
    time_ms = milliseconds(estimate.time_s)
    age, last = since_last(seen, time_ms, int(memory[judging.HAND_MS]))
    memory[judging.HAND_MS] = last
    return age


def _change(
    time_s: float, unit: str, one: Alert, change: list[int], settings: list[int]
) -> AlertChange:
    """Return a change as the log tells it, from the machine's columns and the settings."""
    what, cause, left, low, high, rate = change
    word = _WORDS[what]
    note = _NOTES[cause] if word == "on" else ""
    if word == "escalated":
        note = one.escalation
    if word == "not armed":
        note = "no plateau near the boiling point is seen: a dry pot would not be noticed"
    known = word == "on" and left != NOT_KNOWN
    if known:
        note += _impossible(one, settings, rate)
    bounded = known and low != NOT_KNOWN
    return AlertChange(
        time_s=time_s,
        burner=unit,
        alert=one.name,
        state=word,
        note=note,
        left_s=left / 1000.0 if known else None,
        left_low_s=low / 1000.0 if bounded else None,
        left_high_s=(math.inf if high == UNBOUNDED_MS else high / 1000.0) if bounded else None,
        rate_kps=rate / 1000.0 if known else None,
    )


def _impossible(one: Alert, row: list[int], rate_mkps: int) -> str:
    """Return that the wanted lead cannot be had at a heating rate, above the gate."""
    above_dk = row[SET_DK] - row[GATE_DK]
    most_s = 100.0 * above_dk / rate_mkps
    if rate_mkps <= 0 or most_s >= float(one.lead_s):
        return ""
    return (
        f"; {float(one.lead_s):.0f} s ahead are impossible at {rate_mkps / 1000.0:.1f} K/s:"
        f" from the gate to the limit it takes {most_s:.0f} s"
    )


# ---------------------------------------------- an estimate in the machine's whole numbers
def milliseconds(time_s: FloatArray) -> IntArray:
    """Return moments in whole milliseconds."""
    return np.floor(time_s * 1000.0 + 0.5).astype(np.int64)


def burner_signals(
    burner: BurnerEstimate, *, band: TargetBand | None, blind: BoolArray
) -> IntArray:
    """Return a burner's signals at its frames, (signal, time). [0.1 K]"""
    rows = (
        burner.hottest_k,
        burner.reported_k,
        burner.nonuniformity_k,
        burner.apparent_k,
        burner.u95_k,
    )
    return heard_signals(
        np.stack([_deci_kelvin(row) for row in rows]),
        flags=burner.flags.astype(np.int64),
        of=burner.of.astype(np.int64),
        band_of=None if band is None else OF_WORDS.index(band.of),
        blind=blind,
    )


def _deci_kelvin(value_k: FloatArray) -> IntArray:
    out = np.full(value_k.shape, NO_VALUE, dtype=np.int64)
    given = np.isfinite(value_k)
    out[given] = np.floor(value_k[given] * 10.0 + 0.5).astype(np.int64)
    out[np.isposinf(value_k)] = AT_RANGE
    return np.minimum(out, AT_RANGE)


def burner_words(
    burner: BurnerEstimate, *, person: BoolArray, handled: BoolArray, blind: BoolArray
) -> IntArray:
    """Return a burner's state words at its frames."""
    return state_words(
        burner.flags.astype(np.int64),
        present=burner.present.astype(np.int64),
        heat_on=burner.heat_on,
        marks=PERSON * person + HANDLED * handled,
        blind=blind,
    )


def at_ticks(values: IntArray, source: IntArray, *, stale: int | None, drop: int = 0) -> IntArray:
    """Return values at the machine's moments; at stale ones a fixed value or those kept."""
    frame = np.where(source >= 0, source, -1 - source)
    taken = values[..., frame]
    return np.where(source < 0, (taken & ~drop) if stale is None else stale, taken)
