"""What is shipped beside what was proven: whole cooks for the checker, and how readings differ."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from trivet.models.windowloss import window_loss_frac
from trivet.records.alertlog import DeviceState, Watch
from trivet.records.bundle import ReplayedCook
from trivet.records.recording import ProductInput
from trivet.records.requirement import Evidence

if TYPE_CHECKING:
    from trivet.flow.chain import Chain

MAX_REPLAYED = 8
"""Whole cooks in a bundle; each takes about 1 MB of text."""
FAULTS = ("dropped frames", "stuck frame", "lens covered")


def replayed_cooks(chain: Chain) -> tuple[ReplayedCook, ...]:
    """Return proof cooks with the alerts of the firmware's own reading.

    One cook of each plan, up to eight; the first once more with each fault from its middle
    on, and with a device in trouble.
    """
    from trivet.stages.alert.injection import faulty_input
    from trivet.stages.devicereading import as_words

    sights: dict[str, tuple[str, ProductInput]] = {}
    for entry in chain.proof_cooks:
        if entry.group not in sights and len(sights) < MAX_REPLAYED:
            sights[entry.group] = (entry.name, as_words(chain.recording(entry).inputs))
    named = dict(sights.values())
    for name, inputs in list(named.items())[:1]:
        middle_s = float(np.mean(inputs.heads[0].time_s[[0, -1]]))
        for fault in FAULTS:
            named[f"{name}, {fault}"] = faulty_input(inputs, fault, at_s=middle_s)
    cooks = [_replayed(chain, name, inputs) for name, inputs in named.items()]
    for name, inputs in list(named.items())[:1]:
        cooks.append(_replayed(chain, f"{name}, device in trouble", inputs, in_trouble))
    return tuple(cooks)


def in_trouble(watch: Watch) -> Watch:
    """Return what a device knows whose link drops, whose cells empty, while people come and go."""
    share = np.linspace(0.0, 1.0, watch.time_s.size)
    return replace(
        watch,
        link=(share < 0.3) | (share > 0.6),
        battery_frac=0.15 - 0.1 * share,
        person=(share * 5.0) % 1.0 < 0.3,
    )


def _replayed(
    chain: Chain,
    name: str,
    inputs: ProductInput,
    changed: Callable[[Watch], Watch] | None = None,
) -> ReplayedCook:
    from trivet.stages.alert import alert, watching
    from trivet.stages.devicereading import as_words, device_estimate

    grade: Evidence = "bench" if "bench" in chain.grades else "simulated"
    design, calibration = chain.design, chain.calibration(grade)
    loss = 0.2 if changed else window_loss_frac(design, calibration)
    state = DeviceState(window_loss_frac=loss)
    whole = as_words(inputs)
    watch = watching(whole, design=design, state=state)
    watch = changed(watch) if changed else watch
    read = device_estimate(whole, design=design, calibration=calibration)
    return ReplayedCook(
        name=name,
        inputs=whole,
        alerts=alert(read, design=design, told=whole.told, watch=watch, state=state),
        watch=watch,
        window_loss_frac=state.window_loss_frac,
    )


def device_compared(chain: Chain) -> tuple[str, ...]:
    """Return how the firmware's reading differs from its exact twin and from the estimate."""
    from trivet.flow.chain import Chain
    from trivet.stages import devicereading as own

    device = Chain(chain.folder, fresh=chain.fresh, tell=chain.tell, reader="device")
    lines, twins, pairs, exact, hosts = [], [], [], [], []
    seen = set()
    cooks = chain.proof_cooks
    for done, entry in enumerate(cooks):
        chain.tell("firmware", done, len(cooks))
        recording = chain.recording(entry)
        step_s = float(np.median(np.diff(recording.inputs.heads[0].time_s)))
        mine, host = chain.device_estimate(entry), chain.host_estimate(entry)
        pairs.append((mine, host))
        lines.append(own.estimate_difference(entry.name, device=mine, host=host))
        log = device.alerts(entry)
        others = chain.alerts_of(entry, host)
        hosts.append(own.alert_difference(log, other=others, frame_s=step_s))
        if entry.group in seen:
            continue
        seen.add(entry.group)
        calibration = chain.calibration(recording.evidence)
        twins.append(
            own.twin_difference(recording.inputs, design=chain.design, calibration=calibration)
        )
        others = chain.alerts_of(entry, twins[-1].exact)
        exact.append(own.alert_difference(log, other=others, frame_s=step_s))
    chain.tell("firmware", len(cooks), len(cooks))
    return (
        own.twin_line(twins),
        own.alert_line(exact, against="double precision"),
        own.flips_line(pairs),
        own.alert_line(hosts, against="those of the estimate"),
        *lines,
    )
