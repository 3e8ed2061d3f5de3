"""One cook: what was recorded, what was read, what the alerts did, and what to remark."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from trivet.present.numbers import NONE, Formatter, number, share
from trivet.present.parts import tabulate
from trivet.present.readings import withheld_reasons
from trivet.records.alertlog import AlertLog
from trivet.records.design import Display
from trivet.records.dossier import Section, Table
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import Note, Recording
from trivet.records.requirement import OF_WORDS


def recording_section(recording: Recording) -> Section:
    """Return what a recording holds, and what its import found."""
    heads = tabulate(
        "Frames",
        recording.inputs.heads,
        {
            "Head": lambda one: one.head,
            "Frames": lambda one: number(one.time_s.size, 0),
            "Length": lambda one: (
                f"{one.time_s[-1] - one.time_s[0]:.1f} s" if one.time_s.size else "0 s"
            ),
            "Pixels": lambda one: " × ".join(str(size) for size in one.apparent_k.shape[1:]),
            "Pixels with a value": lambda one: (
                share(float(np.isfinite(one.apparent_k).mean())) if one.apparent_k.size else "none"
            ),
        },
    )
    reference = recording.reference
    words = f"{len(reference.probes)} reference probes, {len(reference.events)} events."
    title = f"{recording.name}: {recording.purpose}, {recording.evidence}"
    tables = (heads, _remarks(recording.notes)) if recording.notes else (heads,)
    return Section(title, (words,), tables)


def remarks_section(notes: Sequence[Note]) -> Section:
    """Return what is legal but unwise, where, and what to do."""
    if not notes:
        return Section("Check", ("Nothing to remark.",))
    return Section("Check", (), (_remarks(notes),))


def _remarks(notes: Sequence[Note]) -> Table:
    return tabulate(
        "Remarks",
        notes,
        {
            "What": lambda one: one.what,
            "Where": lambda one: one.where,
            "What to do": lambda one: one.advice,
        },
    )


def estimate_section(estimate: Estimate, *, display: Display) -> Section:
    """Return a row a burner: last reading, share of moments with one, why not otherwise."""
    show = Formatter(display)
    table = tabulate(
        "Readings by burner",
        estimate.burners,
        {
            "Burner": lambda one: one.burner,
            "Head": lambda one: one.head,
            "Moments": lambda one: number(one.reported_k.size, 0),
            "With a reading": lambda one: (
                share(float(one.valid.mean())) if one.reported_k.size else "none"
            ),
            "Last reading": lambda one: _last(one, show),
            "Of": _last_of,
            "Highest": lambda one: _highest(one, show),
            "Withheld for": _withheld,
        },
    )
    return Section("Estimate", (), (table,))


def _last(one: BurnerEstimate, show: Formatter) -> str:
    good = one.valid
    if not good.size:
        return "no moment"
    if not good[-1]:
        return f"no reading: {list(withheld_reasons(one))[-1]}"
    half = show.difference(float(one.u95_k[-1]))
    return f"{show.temperature(float(one.reported_k[-1]))} ± {half}"


def _last_of(one: BurnerEstimate) -> str:
    good = one.valid
    shown = bool(good.size and good[-1] and one.of[-1] >= 0)
    return OF_WORDS[one.of[-1]].replace("_", " ") if shown else NONE


def _highest(one: BurnerEstimate, show: Formatter) -> str:
    good = one.valid
    return show.temperature(float(np.max(one.reported_k[good]))) if good.any() else "no reading"


def _withheld(one: BurnerEstimate) -> str:
    lost = Counter(withheld_reasons(one)).most_common(3)
    return ", ".join(f"{word} {count}" for word, count in lost) or NONE


def alert_log_section(log: AlertLog) -> Section:
    """Return every change of every alert."""
    if not log.changes:
        return Section("Alerts", ("No alert changed.",))
    table = tabulate(
        "Changes",
        log.changes,
        {
            "Time": lambda one: f"{one.time_s:.1f} s",
            "Burner": lambda one: one.burner,
            "Alert": lambda one: one.alert,
            "State": lambda one: one.state,
            "Note": lambda one: one.note or NONE,
        },
    )
    return Section("Alerts", (), (table,))
