"""The account of the alerts over many cooks, and the search for their settings."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from typing import Any

import numpy as np

from trivet.present.alerts import sheet_tables
from trivet.present.numbers import NONE, Formatter, listed, seconds
from trivet.present.parts import tabulate
from trivet.records.alertaccount import AlertCase, AlertRow, AlertStudy, FaultRow, RateRow
from trivet.records.alertlog import TunedPoint, Tuning
from trivet.records.design import Design
from trivet.records.dossier import Chart, ChartLine, Mark, Section, Table
from trivet.scoring.registry import METRICS, Metric

SMOKE_ALARMS = (
    "Beside it: smoke alarms 5 ft from the stove went off in 8.7 % (41 of 469, ionisation),"
    " 11.3 % (53, dual) and 3.0 % (14, photoelectric) of cooks; exact 95 % intervals 6.3 to"
    " 11.7, 8.6 to 14.5 and 1.6 to 5.0 % (Lee and Pineda, CPSC 2010)."
)
MAX_CASES = 6
"""Of each alert; own estimate: what fits a screen beside the rest."""
RANKS = ("high", "medium", "low")
HALF_KPS = 0.05
"""Definition: spans of rates end half a tenth above those that the goals name. [K/s]"""
TIMELY = ("missed", "blind", "impossible", "censored", "leads")
BY_RATE = ("missed", "blind", "impossible", "leads")
"""Figures of these tables; another one has all the others."""


def study_sections(study: AlertStudy, *, design: Design) -> tuple[Section, ...]:
    """Return the rationalisation sheet, then the account: rows, rates, goals, faults, cases."""
    styles = ", ".join(f"{name} {count}" for name, count in study.styles) or "none"
    words = (
        f"{study.cooks} cooks, {study.independent} independent (repeats of a plan count"
        f" once); ordinary ones: {styles}. Simulated evidence proves no safety claim."
        + ("" if study.cooks else " No proof cook is planned in cooks.toml or recorded."),
        SMOKE_ALARMS,
    )
    goals = tabulate(
        "Goals",
        study.goals,
        {
            "Goal": lambda one: one.text,
            "Decision": lambda one: one.decision,
            "Found": lambda one: one.found,
        },
    )
    tables = (*_accounts(study), *_rates(study, design), goals, *_faults(study))
    return (
        Section("Alerts", (), sheet_tables(design)),
        Section("What the alerts did", words, (*tables, *_cases(study, design))),
    )


def _figure(asked: Metric, one: AlertRow | RateRow) -> str:
    """Return a figure of the account as its unit asks: a count, leads, or a share."""
    found = one[asked.name]
    if asked.unit == "count":
        return str(found.count)
    if asked.unit == "time":
        if math.isnan(found.value):
            return NONE
        return f"{found.low:.0f} / {found.value:.0f} / {found.high:.0f} s"
    if not found.of:
        return "no cook"
    return f"{found.count} of {found.of}, ≤ {100.0 * found.high:.1f} %"


def _columns(names: Iterable[str]) -> dict[str, Callable[[Any], str]]:
    asked = (METRICS["alert"][name] for name in names)
    return {one.heading.capitalize(): partial(_figure, one) for one in asked}


def _accounts(study: AlertStudy) -> Iterator[Table]:
    """Yield what came in time and what came without cause, for each grade of evidence."""
    for grade in dict.fromkeys(one.evidence for one in study.rows):
        mine = [one for one in study.rows if one.evidence == grade]
        yield tabulate(
            "In time?",
            mine,
            {"Alert": lambda one: one.alert, **_columns(TIMELY)},
            evidence=grade,
        )
        yield tabulate(
            "Too often?",
            mine,
            {
                "Alert": lambda one: one.alert,
                **_columns(name for name in METRICS["alert"] if name not in TIMELY),
            },
            evidence=grade,
        )


def _rates(study: AlertStudy, design: Design) -> Iterator[Table]:
    rows = [one for one in study.rates if one["missed"].of or one["impossible"].count]
    if rows:
        yield tabulate(
            "Oil cooks before the pan limit",
            rows,
            {
                "True rate at the latest moment": lambda one: _span(one, design),
                **_columns(BY_RATE),
            },
            evidence="simulated",
        )


def _span(one: RateRow, design: Design) -> str:
    show = Formatter(design.display)
    high = show.heating_rate(one.high_kps - HALF_KPS)
    if math.isinf(one.low_kps):
        return f"up to {high}"
    low = show.heating_rate(one.low_kps - HALF_KPS)
    return f"above {low}" if math.isinf(one.high_kps) else f"{low} to {high}"


def _faults(study: AlertStudy) -> Iterator[Table]:
    if study.faults:
        yield tabulate(
            "Faults put into an oil cook",
            study.faults,
            {
                "Fault": lambda one: one.fault,
                "Announced": lambda one: seconds(one.announced_s),
                "By": lambda one: one.by,
                "Declared": lambda one: seconds(one.within_s),
                "Alerts lost": lambda one: str(one.lost),
                "Decision": _announced,
            },
        )


def _announced(one: FaultRow) -> str:
    return "met" if one.announced_s <= one.within_s and not one.lost else "not met"


def ranks_of(design: Design) -> dict[str, int]:
    """Return the rank of each alert, urgent ones first."""
    return {one.name: RANKS.index(one.priority) for one in design.alerts}


def _cases(study: AlertStudy, design: Design) -> Iterator[Table]:
    """Yield the cases alert by alert, the urgent ones first."""
    if not study.cases:
        return
    ranks = ranks_of(design)
    shown: list[AlertCase] = []
    for name in sorted({one.alert for one in study.cases}, key=lambda alert: ranks[alert]):
        mine = [one for one in study.cases if one.alert == name]
        mine.sort(key=lambda one: (one.end == "blindness told" and not one.nuisance, one.end))
        shown += mine[:MAX_CASES]
    more = len(study.cases) - len(shown)
    yield tabulate(
        f"Cases worth a look: {len(study.cases)}",
        shown,
        {
            "Alert": lambda one: one.alert,
            "What": lambda one: "nuisance" if one.nuisance else one.end,
            "On at": lambda one: seconds(one.on_s),
            "Due by": lambda one: seconds(one.due_s),
            "Lead": lambda one: seconds(one.lead_s) if math.isfinite(one.lead_s) else NONE,
            "Cook": lambda one: one.cook,
            "Burner": lambda one: one.burner,
        },
        note=f"{more} more of the same alerts: --json lists them all." if more else "",
    )


def tuning_section(found: Tuning) -> Section:
    """Return the front of an alert's settings, the pick, and what to write into the design."""
    rows: Sequence[tuple[str, TunedPoint]] = [
        *(("pick" if one == found.pick else "", one) for one in found.front),
        ("as designed", found.now),
    ]
    table = tabulate(
        f"Settings of {found.alert}: {found.evaluations} tried on {len(found.cooks)}"
        f" calibration cooks ({found.independent} independent, due in {found.due})",
        rows,
        {
            "": lambda row: row[0],
            "Settings": lambda row: listed((f"{key} {text}" for key, text in row[1].values), 99),
            "Lead, 5 %": lambda row: (
                seconds(row[1].lead_s) if math.isfinite(row[1].lead_s) else "none due"
            ),
            "Missed": lambda row: str(row[1].missed),
            "Nuisance": lambda row: str(row[1].nuisance),
            "Chatter": lambda row: str(row[1].chatters),
            "Turned": lambda row: str(row[1].turned),
        },
        note=(
            "Lead: 5 % quantile, a missed or late cook counted as none. Missed: missed or late."
            " Turned: ordinary cooks warned of a limit, rightly at their rate, that turned down"
            " by themselves."
        ),
    )
    lines = "\n".join(f'{key} = "{text}"' for key, text in found.pick.values)
    words = (
        f"Pick: {found.reason}. The design is not changed; to take it, write\n{lines}",
        "Counts on the cooks that were searched flatter: judge the pick by 'trivet alerts',"
        " whose proof cooks this search has not seen.",
    )
    return Section(f"Settings of {found.alert}", words, (table,), (front_chart(found),))


def front_chart(found: Tuning) -> Chart:
    """Return the picture of a front: lead against cooks with a nuisance or chatter."""

    def line(label: str, points: Sequence[TunedPoint], style: str) -> ChartLine:
        x = np.array([point.bothered for point in points], dtype=np.float64)
        y = np.array([point.lead_s for point in points], dtype=np.float64)
        return ChartLine(label, x, y, style=style)  # type: ignore[arg-type]

    return Chart(
        "front",
        f"Settings of {found.alert}",
        f"{found.evaluations} settings tried on {len(found.cooks)} calibration cooks; no point of"
        " the front is beaten in lead, misses, nuisances, chatter and needless warnings at once."
        " Proof cooks unseen.",
        x_label="nuisances, chatters and cooks warned that turned down by themselves",
        y_label="lead, 5 % quantile",
        lines=(
            line("front", found.front, "reading"),
            line("as designed", (found.now,), "limit"),
            line("pick", (found.pick,), "truth"),
        ),
        marks=(Mark(float(found.pick.bothered), "pick"),),
        evidence="simulated",
    )
