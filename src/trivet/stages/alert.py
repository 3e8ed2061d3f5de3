"""From estimates to alerts: drives the device's alert machine, moment by moment.

The rules are in ``device/alertmachine.py`` and nowhere else; this stage turns a
design's alerts into the machine's settings and an estimate into its words.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trivet.device import alertmachine as machine
from trivet.device.alertmemory import restored_states, saved_states
from trivet.device.alertsettings import (
    AT_RANGE,
    COOL,
    HEAT_ON,
    NO_READING,
    Ints,
    settings_array,
)
from trivet.errors import InputError
from trivet.quality import Quality
from trivet.records.alertlog import AlertChange, AlertLog, DeviceState
from trivet.records.cook import Told
from trivet.records.design import Contents, Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.requirement import Alert
from trivet.stages.devicesettings import alert_settings

LOW_BATTERY_FRAC = 0.10
"""Share of the charge under which the device says so; common practice, no source."""
TICK_S = 1.0
"""While frames stay away the device still looks at its clock this often."""
DEVICE = "device"

_HIDING = (
    Quality.STALE
    | Quality.SATURATED
    | Quality.WINDOW
    | Quality.HAND
    | Quality.LID
    | Quality.STEAM
    | Quality.COVERED
)
_NOTES = {
    machine.BY_READING: "",
    machine.BY_RANGE: "at or above range",
    machine.BY_RATE: "by heating rate",
    machine.BY_BLINDNESS: "",
}


def alert(
    estimate: Estimate, *, design: Design, told: Told, state: DeviceState | None = None
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
    state : DeviceState, optional
        Battery, link, and the machine's memory from before a restart.

    Returns
    -------
    AlertLog
        Changes by time, and the machine's memory at the end.

    Raises
    ------
    InputError
        If the times are not strictly rising or the memory does not fit.

    Notes
    -----
    Causal: the log of a truncated estimate is a prefix of the whole log. The
    reading that acts is the hottest part of the pan, to 0.1 K, also while the
    sensor settles. Where frames stay away for longer than the design's
    ``stale_after``, the machine is told once a second that it cannot see.

    References
    ----------
    The rules of ``trivet.device.alertmachine``.
    """
    now = state or DeviceState()
    rows = tuple(alert_settings(one, design=design) for one in design.alerts)
    table = settings_array(rows)
    count = len(estimate.burners)
    if now.machine:
        states = restored_states(now.machine, settings=table, burners=count)
    else:
        states = tuple(machine.cold_start(len(rows)) for _ in range(count))
    ticks_s, source = _ticks(estimate.time_s, float(design.estimation.stale_after_s))
    changes: list[tuple[float, int, int, AlertChange]] = []
    for place, (burner, memory) in enumerate(zip(estimate.burners, states, strict=True)):
        acting = [i for i, one in enumerate(design.alerts) if _acts(one, burner, design, told)]
        reading, word = _words(burner, source)
        part = _taken(memory, acting)
        found = machine.burner_changes(
            np.floor(ticks_s * 1000.0 + 0.5).astype(np.int64),
            reading_dk=reading,
            word=word,
            settings=table[acting],
            state=part,
        )
        _put_back(memory, part, acting)
        for moment, index, on, cause in found.tolist():
            which = acting[index]
            change = AlertChange(
                time_s=float(ticks_s[moment]),
                burner=burner.burner,
                alert=design.alerts[which].name,
                state="on" if on else "off",
                note=_NOTES[cause] if on else "",
            )
            changes.append((change.time_s, place, which, change))
    changes.sort(key=lambda entry: entry[:3])
    first = float(estimate.time_s[0]) if estimate.time_s.size else 0.0
    return AlertLog(
        changes=(*_device_changes(now, first), *(entry[3] for entry in changes)),
        machine=saved_states(states, settings=table),
    )


def _acts(one: Alert, burner: BurnerEstimate, design: Design, told: Told) -> bool:
    """Return whether an alert acts on a burner, by what the cook told."""
    if not one.bases:
        return True
    if "base_contents" not in design.told.channels:
        return False
    wanted: set[Contents] = {base.contents for base in design.bases if base.name in one.bases}
    contents = told.about(burner.burner).base_contents
    return contents is not None and (contents in wanted or contents in one.bases)


def _ticks(time_s: NDArray[np.float64], stale_after_s: float) -> tuple[NDArray[np.float64], Ints]:
    """Return the machine's moments and the frame behind each, -1 - frame where stale."""
    if time_s.size and not np.all(np.isfinite(time_s)):
        raise InputError("the estimate's times are not all finite")
    if np.any(np.diff(time_s) <= 0.0):
        place = int(np.argmin(np.diff(time_s)))
        raise InputError(f"the estimate's times do not rise after moment {place}")
    times, sources = [time_s], [np.arange(time_s.size, dtype=np.int64)]
    for gap in np.flatnonzero(np.diff(time_s) > stale_after_s):
        missed = np.arange(time_s[gap] + stale_after_s, time_s[gap + 1], TICK_S)
        times.append(missed)
        sources.append(np.full(missed.size, -1 - gap, dtype=np.int64))
    every, source = np.concatenate(times), np.concatenate(sources)
    order = np.argsort(every, kind="stable")
    return every[order], source[order]


def _words(burner: BurnerEstimate, source: Ints) -> tuple[Ints, Ints]:
    """Return a burner's readings and state words at the machine's moments."""
    hottest = burner.hottest_k
    reading = np.full(hottest.shape, NO_READING, dtype=np.int64)
    given = np.isfinite(hottest)
    reading[given] = np.floor(hottest[given] * 10.0 + 0.5).astype(np.int64)
    reading[np.isposinf(hottest)] = AT_RANGE
    reading = np.minimum(reading, AT_RANGE)
    flags = burner.flags.astype(np.int64)
    cool = (flags & int(Quality.ABSENT | Quality.COLD) != 0) & (flags & int(_HIDING) == 0)
    word = HEAT_ON * burner.heat_on.astype(np.int64) + COOL * (cool & ~burner.heat_on)
    frame = np.where(source >= 0, source, -1 - source)
    stale = source < 0
    # A stale burner keeps its heat, and is not known to be cool.
    return np.where(stale, NO_READING, reading[frame]), np.where(
        stale, word[frame] & ~COOL, word[frame]
    )


def _taken(memory: machine.MachineState, acting: list[int]) -> machine.MachineState:
    return machine.MachineState(memory.alerts[acting], memory.ring[acting], memory.last_ms.copy())


def _put_back(memory: machine.MachineState, part: machine.MachineState, acting: list[int]) -> None:
    memory.alerts[acting] = part.alerts
    memory.ring[acting] = part.ring
    memory.last_ms[:] = part.last_ms


def _device_changes(state: DeviceState, time_s: float) -> tuple[AlertChange, ...]:
    """Return what the device says about itself."""
    found = []
    if state.battery_frac < LOW_BATTERY_FRAC:
        note = f"{100.0 * state.battery_frac:.0f} % of the charge left"
        found.append(AlertChange(time_s, DEVICE, "battery_low", "on", note))
    if not state.link:
        found.append(AlertChange(time_s, DEVICE, "link_lost", "on", "alerts sound locally only"))
    return tuple(found)
