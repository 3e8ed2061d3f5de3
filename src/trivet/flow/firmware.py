"""What is shipped: the firmware's reading beside the estimate's, and the hand-off of both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from trivet.errors import HandoffRefusedError
from trivet.flow.project import ProjectFolder, once
from trivet.flow.steps import (
    alerted,
    calibrated,
    decided,
    device_state,
    grades,
    hashes,
    proof_entries,
    read,
    recorded,
)
from trivet.records.alertlog import DeviceState, Watch
from trivet.records.bundle import FirmwareBundle, ReplayedCook
from trivet.records.recording import ProductInput
from trivet.records.requirement import Evidence

MAX_REPLAYED = 8
"""Whole cooks in a bundle; each takes about 1 MB of text (own estimate)."""
REPLAYED_FAULTS = ("dropped frames", "stuck frame", "lens covered")
TROUBLED_LOSS_FRAC = 0.2
"""Loss of the window in the cook whose device is in trouble; own estimate: well past any limit."""


def handed_off(project: ProjectFolder, *, unproven: bool) -> FirmwareBundle:
    """Return what is handed to the firmware; refused without a passing verdict.

    Raises
    ------
    HandoffRefusedError
        If the verdict on the estimate's reading, or that on the firmware's, does not pass.
    """
    from trivet.stages.handoff import handoff

    verdict = decided(project)
    if not unproven and verdict.passes:
        ours = [one for one in decided(project, "device").requirements if one.decision != "met"]
        if ours:
            raise HandoffRefusedError(
                "the verdict passes on the estimate, but not on the reading that is shipped ("
                + ", ".join(f"{one.id} {one.decision}" for one in ours)
                + "): see 'trivet prove --reader device'"
            )
    return handoff(
        project.design,
        calibration=calibrated(project, _grade(project)),
        verdict=verdict,
        hashes=hashes(project, verdict),
        cooks=replayed_cooks(project),
        compared=device_compared(project),
        unproven=unproven,
    )


def _grade(project: ProjectFolder) -> Evidence:
    return "bench" if "bench" in grades(project) else "simulated"


def replayed_cooks(project: ProjectFolder) -> tuple[ReplayedCook, ...]:
    """Return proof cooks with the alerts of the firmware's own reading.

    One cook of each plan, up to eight; the first once more with each fault from its middle
    on, and with a device in trouble.
    """
    from trivet.stages.alert.injection import faulty_input
    from trivet.stages.firmware_reading import as_words

    given: dict[str, tuple[str, ProductInput]] = {}
    for entry in proof_entries(project):
        if entry.group not in given and len(given) < MAX_REPLAYED:
            given[entry.group] = (entry.name, as_words(recorded(project, entry).inputs))
    named = dict(given.values())
    for name, inputs in list(named.items())[:1]:
        middle_s = float(np.mean(inputs.heads[0].time_s[[0, -1]]))
        for fault in REPLAYED_FAULTS:
            named[f"{name}, {fault}"] = faulty_input(inputs, fault, at_s=middle_s)
    cooks = [_replayed(project, name, inputs) for name, inputs in named.items()]
    for name, inputs in list(named.items())[:1]:
        cooks.append(_replayed(project, f"{name}, device in trouble", inputs, in_trouble))
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
    project: ProjectFolder,
    name: str,
    inputs: ProductInput,
    changed: Callable[[Watch], Watch] | None = None,
) -> ReplayedCook:
    from trivet.stages.alert import alert, watching
    from trivet.stages.firmware_reading import as_words, device_estimate

    design, calibration = project.design, calibrated(project, _grade(project))
    state = device_state(design, calibration)
    if changed:
        state = DeviceState(window_loss_frac=TROUBLED_LOSS_FRAC)
    whole = as_words(inputs)
    watch = watching(whole, design=design, state=state)
    watch = changed(watch) if changed else watch
    said = device_estimate(whole, design=design, calibration=calibration)
    return ReplayedCook(
        name=name,
        inputs=whole,
        alerts=alert(said, design=design, told=whole.told, watch=watch, state=state),
        watch=watch,
        window_loss_frac=state.window_loss_frac,
    )


@once
def device_compared(project: ProjectFolder) -> tuple[str, ...]:
    """Return how the firmware's reading differs from its exact twin and from the estimate."""
    from trivet.stages import firmware_reading as own

    lines, twins, pairs, exact, hosts = [], [], [], [], []
    seen = set()
    for entry in project.each("firmware", proof_entries(project)):
        recording = recorded(project, entry)
        step_s = float(np.median(np.diff(recording.inputs.heads[0].time_s)))
        mine, host = read(project, entry, "device"), read(project, entry)
        pairs.append((mine, host))
        lines.append(own.estimate_difference(entry.name, device=mine, host=host))
        log, others = alerted(project, entry, mine), alerted(project, entry, host)
        hosts.append(own.alert_difference(log, other=others, frame_s=step_s))
        if entry.group in seen:
            continue
        seen.add(entry.group)
        twins.append(
            own.twin_difference(
                recording.inputs,
                design=project.design,
                calibration=calibrated(project, recording.evidence),
            )
        )
        others = alerted(project, entry, twins[-1].exact)
        exact.append(own.alert_difference(log, other=others, frame_s=step_s))
    return (
        own.twin_line(twins),
        own.alert_line(exact, against="double precision"),
        own.flips_line(pairs),
        own.alert_line(hosts, against="those of the estimate"),
        *lines,
    )
