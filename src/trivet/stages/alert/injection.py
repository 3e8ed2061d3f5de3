"""Faults put into what the product sees, to find out whether and when it says so."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.records.alertaccount import FaultRow
from trivet.records.alertlog import AlertChange, AlertLog, DeviceState, Watch
from trivet.records.design import Design
from trivet.records.estimate import Estimate
from trivet.records.recording import HeadFrames, ProductInput
from trivet.stages.alert.stage import alert

HOT_K = 80.0
"""Rise of the housing under a fault; assumed, no source."""
COVER_NOISE_K = 0.1
"""What noise leaves of a covered lens; assumed, no source."""
JUMP_S = 20.0
"""A clock jumps back by this much."""

RESTART_S = 5.0
"""How long a restart takes; own estimate."""
Read = Callable[[ProductInput], tuple[Estimate, Watch, DeviceState]]
"""What the estimate says of an input, and what the device knows of itself then."""


def _stuck(head: HeadFrames, from_then: BoolArray) -> HeadFrames:
    """Return frames of which the first of the fault repeats itself."""
    first = int(np.argmax(from_then))
    frames = np.where(from_then[:, None, None], head.apparent_k[first], head.apparent_k)
    return replace(head, apparent_k=frames.astype(np.float32))


def _dropped(head: HeadFrames, from_then: BoolArray) -> HeadFrames:
    """Return frames of which none comes from the fault on, but the very last."""
    kept = ~from_then
    kept[-1] = True
    return head.part(kept)


def _hot(head: HeadFrames, from_then: BoolArray) -> HeadFrames:
    """Return frames whose housing is far too hot."""
    return replace(head, sensor_k=head.sensor_k + HOT_K * from_then)


def _covered(head: HeadFrames, from_then: BoolArray) -> HeadFrames:
    """Return frames that show the inside of a cover at the housing's temperature."""
    noise = np.random.default_rng(1).normal(0.0, COVER_NOISE_K, head.apparent_k.shape)
    plain = head.sensor_k[:, None, None] + noise
    frames = np.where(from_then[:, None, None], plain, head.apparent_k)
    return replace(head, apparent_k=frames.astype(np.float32))


IN_FRAMES: dict[str, Callable[[HeadFrames, BoolArray], HeadFrames]] = {
    "stuck frame": _stuck,
    "dropped frames": _dropped,
    "housing over temperature": _hot,
    "lens covered": _covered,
}
LINK, CLOCK, RESTART = "link lost", "clock jumps back", "brown-out and restart"
FAULTS = (*IN_FRAMES, LINK, CLOCK, RESTART)


def faulty_input(inputs: ProductInput, fault: str, *, at_s: float) -> ProductInput:
    """Return an input with a fault in its frames from a moment on.

    Parameters
    ----------
    inputs : ProductInput
        Of a sound cook.
    fault : str
        One of IN_FRAMES; others leave the frames as they are.
    at_s : float
        From when. [s]

    Returns
    -------
    ProductInput
        To be read and alerted on anew.

    Notes
    -----
    The fault lasts to the end of the cook.

    References
    ----------
    Fault injection as IEC 61508-7:2010, B.6.10, describes it.
    """
    if fault not in IN_FRAMES:
        return inputs
    heads = tuple(IN_FRAMES[fault](head, head.time_s >= at_s) for head in inputs.heads)
    return replace(inputs, heads=heads)


def unlinked(watch: Watch, *, at_s: float) -> Watch:
    """Return what the device knows with the link lost from a moment on."""
    return replace(watch, link=watch.link & (watch.time_s < at_s))


def jumped_back(time_s: FloatArray, *, at_s: float) -> FloatArray:
    """Return times of a clock that jumps back at a moment."""
    return time_s - JUMP_S * (time_s >= at_s)


def fault_row(
    fault: str,
    inputs: ProductInput,
    *,
    before: AlertLog,
    at_s: float,
    design: Design,
    read: Read,
) -> FaultRow:
    """Return what the product announces of a fault, and which alerts it makes miss.

    Parameters
    ----------
    fault : str
        One of FAULTS.
    inputs : ProductInput
        Of a sound cook.
    before : AlertLog
        What the product says of the sound cook.
    at_s : float
        From when the fault is there. [s]
    design : Design
        Its alerts, and within how long it announces.
    read : callable
        Reads an input anew.
    """
    log = _faulty(fault, inputs, at_s=at_s, design=design, read=read)
    # A clock that jumped back stamps what follows that much earlier.
    shift = JUMP_S if fault == CLOCK else 0.0
    kinds = {one.name: one.kind for one in design.alerts}
    telling = {LINK: "link_lost", "housing over temperature": "housing_hot"}
    kind = telling.get(fault, "loss_of_sight")
    after = log.changes[sum(c.time_s < at_s for c in before.changes) :]
    said = next((c for c in after if c.state == "on" and kinds[c.alert] == kind), None)
    silent = fault in (CLOCK, RESTART)
    return FaultRow(
        fault=fault,
        announced_s=0.0 if silent else (said.time_s + shift - at_s if said else math.inf),
        by="nothing to say: alerts stay, delays begin anew" if silent else _by(said),
        within_s=float(design.alerting.announce_within_s),
        lost=_lost(log, before, at_s, kinds),
    )


def _by(change: AlertChange | None) -> str:
    return change.alert if change else "nothing"


def _lost(log: AlertLog, before: AlertLog, at_s: float, kinds: Mapping[str, str]) -> int:
    """Return how many alerts of the sound cook are gone, on burners not announced as unseen."""
    on = [c for c in log.changes if c.state == "on"]
    given = {(c.burner, c.alert) for c in on}
    blind = {c.burner for c in on if kinds[c.alert] == "loss_of_sight"}
    wanted = {
        (c.burner, c.alert)
        for c in before.changes
        if c.state == "on" and c.time_s >= at_s and c.burner != "device"
    }
    return sum(one not in given and one[0] not in blind for one in wanted)


def _faulty(
    fault: str, inputs: ProductInput, *, at_s: float, design: Design, read: Read
) -> AlertLog:
    """Return what the product says of a cook with a fault from a moment on."""
    changed = faulty_input(inputs, fault, at_s=at_s)
    if fault == RESTART:
        return _restarted(changed, at_s=at_s, design=design, read=read)
    said, watch, state = read(changed)
    if fault == LINK:
        watch = unlinked(watch, at_s=at_s)
    if fault == CLOCK:
        time_s = jumped_back(said.time_s, at_s=at_s)
        said, watch = replace(said, time_s=time_s), replace(watch, time_s=time_s)
    return alert(said, design=design, told=inputs.told, watch=watch, state=state)


def _restarted(inputs: ProductInput, *, at_s: float, design: Design, read: Read) -> AlertLog:
    """Return the log over a restart: the reading begins anew, the machine's memory is kept."""
    changes: tuple[AlertChange, ...] = ()
    memory = b""
    for first, last in ((-math.inf, at_s), (at_s + RESTART_S, math.inf)):
        heads = tuple(one.part((one.time_s >= first) & (one.time_s < last)) for one in inputs.heads)
        said, watch, state = read(replace(inputs, heads=heads))
        now = replace(state, machine=memory)
        log = alert(said, design=design, told=inputs.told, watch=watch, state=now)
        changes, memory = (*changes, *log.changes), log.machine
    return AlertLog(changes, memory)
