"""The alerts on the terminal: what each is for, and what it did."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from trivet.present.console_parts import (
    SIGNS,
    difference_text,
    rate_text,
    temperature_text,
    text_group,
    text_line,
    text_table,
)
from trivet.records.alertaccount import AlertCase, AlertRow, AlertStudy, RateRow, Share
from trivet.records.design import Design
from trivet.records.requirement import Alert
from trivet.records.tuning import TunedPoint, Tuning

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

SMOKE_ALARMS = (
    "Beside it: smoke alarms 5 ft from the stove went off in 8.7 % (41 of 469, ionisation),"
    " 11.3 % (53, dual) and 3.0 % (14, photoelectric) of cooks; exact 95 % intervals 6.3 to"
    " 11.7, 8.6 to 14.5 and 1.6 to 5.0 % (Lee and Pineda, CPSC 2010)."
)
MAX_CASES = 6
"""Of each alert."""
WITH_BAND = frozenset(
    {"level", "time_to_limit", "boil_dry", "ready", "below_band", "uneven", "housing_hot"}
)
CONDITIONS = {
    "loss_of_sight": "the burner heats and nothing can be said",
    "unattended": "the burner heats and nobody is there",
    "left_on": "the burner heats and no pan is on it",
    "link_lost": "the link is down",
}
RANKS = ("high", "medium", "low")
HALF_KPS = 0.05
LEADS = "lead 5 / 50 / 95 %>"


def show_alert_study(study: AlertStudy, *, design: Design) -> RenderableType:
    """Return the rationalisation sheet, the account, goals, faults and cases."""
    styles = ", ".join(f"{name} {count}" for name, count in study.styles) or "none"
    return text_group(
        _sheet(design),
        text_line(
            f"{study.cooks} cooks, {study.independent} independent (repeats of a plan count"
            f" once); ordinary ones: {styles}. Simulated evidence proves no safety claim."
            + ("" if study.cooks else " No proof cook is planned in cooks.toml or recorded.")
        ),
        *_accounts(study),
        _rates(study, design),
        text_line(SMOKE_ALARMS),
        text_table(
            "Goals",
            ("goal", "", "found"),
            [(one.text, f"{SIGNS[one.decision]} {one.decision}", one.found) for one in study.goals],
        ),
        _faults(study),
        _cases(study, design),
    )


def _sheet(design: Design) -> RenderableType:
    """Return every alert with what it is for and where it is set, one below the other."""
    from rich.table import Table
    from rich.text import Text

    sheet = Table.grid(padding=(0, 2))
    sheet.add_column(no_wrap=True)
    sheet.add_column()
    for one in design.alerts:
        about = f"{one.priority} priority, {_time(float(one.time_available_s))} to act"
        sheet.add_row(Text(one.name, style="bold"), Text(about))
        for word, text in _reasons(one, design):
            sheet.add_row(Text(f"  {word}"), Text(text))
    return text_group(text_line("Rationalisation sheet"), sheet, text_line(""))


def _reasons(one: Alert, design: Design) -> Iterator[tuple[str, str]]:
    yield "cause", one.cause
    yield "consequence", one.consequence
    yield "action", one.action
    if one.escalate_after_s > 0:
        yield "nobody acts", f"after {_time(float(one.escalate_after_s))}: {one.escalation}"
    else:
        yield "nobody acts", one.escalation or "it stays on; nothing more"
    yield "trips", _settings(one, design)


def _settings(one: Alert, design: Design) -> str:
    """Return set point, dead band and delays of an alert in words."""
    parts = [_set_point(one, design)]
    if one.kind in WITH_BAND:
        parts.append(f"dead band {difference_text(one.deadband_delta_k, design.display)}")
    parts.append(f"on after {_time(float(one.on_delay_s))}")
    parts.append(f"off after {_time(float(one.off_delay_s))}")
    if one.bases:
        parts.append(f"where {', '.join(one.bases)} is told")
    return "; ".join(parts)


def _set_point(one: Alert, design: Design) -> str:
    display = design.display
    match one.kind:
        case "level" | "time_to_limit":
            limit = design.limit(str(one.limit))
            at = temperature_text(float(limit.value_k), display)
            if limit.oil_point is not None:
                share = 100.0 * float(design.alerting.smoke_quantile_frac)
                at = (
                    f"the {share:.0f} % quantile of the told oil's {limit.oil_point} point ({at} if"
                )
                at += " none is told)"
            if one.kind == "time_to_limit":
                gate = temperature_text(float(one.gate_k), display)
                return f"{_time(float(one.lead_s))} before {at}, from {gate} on"
            own = one.set_point_k
            return f"at {at}" if own is None else f"at {temperature_text(float(own), display)}"
        case "boil_dry":
            off = difference_text(one.change_delta_k, display)
            return f"{off} off a plateau of {_time(float(one.plateau_s))} near the boiling point"
        case "uneven":
            return f"P95 - P5 at {difference_text(one.spread_delta_k, display)}"
        case "housing_hot":
            return f"housing at {temperature_text(float(one.set_point_k or 0.0), display)}"
        case "window_dirty":
            return f"{100.0 * one.loss_frac:.0f} % of the clean window's transmittance lost"
        case "battery_low":
            return f"{100.0 * one.charge_frac:.0f} % of the charge left"
        case "ready" | "below_band":
            return "in the told band" if one.kind == "ready" else "below the told band"
        case _:
            return CONDITIONS[one.kind]


def _time(seconds: float) -> str:
    if seconds >= 7200:
        return f"{seconds / 3600:.0f} h"
    return f"{seconds:.3g} s"


def _share(share: Share) -> str:
    if not share.of:
        return "no cook"
    return f"{share.count} of {share.of}, ≤ {100.0 * share.bound_frac:.1f} %"


def _accounts(study: AlertStudy) -> Iterator[Table]:
    """Yield what came in time and what came without cause, for each grade of evidence."""
    for grade in dict.fromkeys(one.evidence for one in study.rows):
        mine = [one for one in study.rows if one.evidence == grade]
        columns = ("alert", "missed or late>", "blind, told>", "impossible>", "censored>", LEADS)
        yield text_table(f"In time? ({grade})", columns, [_timely(one) for one in mine])
        often = ("alert", "nuisance>", "warned, then turned down>", "chatter>")
        yield text_table(f"Too often? ({grade})", often, [_often(one) for one in mine])


def _timely(one: AlertRow) -> tuple[str, ...]:
    counts = (str(one.blind), str(one.impossible), str(one.censored))
    return (one.alert, _share(one.missed), *counts, _leads(one.leads_s))


def _often(one: AlertRow) -> tuple[str, ...]:
    turned = _share(one.turned) if one.turned.of else "–"
    return (one.alert, _share(one.nuisance), turned, str(one.chatters))


def _leads(leads_s: tuple[float, float, float]) -> str:
    if math.isnan(leads_s[1]):
        return "–"
    return " / ".join(f"{lead:.0f}" for lead in leads_s) + " s"


def _rates(study: AlertStudy, design: Design) -> Table | None:
    rows = [
        (
            _span(one, design),
            _share(one.missed),
            str(one.blind),
            str(one.impossible),
            _leads(one.leads_s),
        )
        for one in study.rates
        if one.missed.of or one.impossible
    ]
    if not rows:
        return None
    columns = ("true rate at the latest moment", "missed or late>", "blind, told>", "impossible>")
    return text_table("Oil cooks before the pan limit (simulated)", (*columns, LEADS), rows)


def _span(one: RateRow, design: Design) -> str:
    """Return a span of rates; its ends lie half a tenth above those that the goals name."""
    high = rate_text(one.high_kps - HALF_KPS, design.display)
    if math.isinf(one.low_kps):
        return f"up to {high}"
    low = rate_text(one.low_kps - HALF_KPS, design.display)
    return f"above {low}" if math.isinf(one.high_kps) else f"{low} to {high}"


def _faults(study: AlertStudy) -> Table | None:
    if not study.faults:
        return None
    rows = [
        (
            one.fault,
            "never" if math.isinf(one.announced_s) else f"{one.announced_s:.1f} s",
            one.by,
            f"{one.within_s:.0f} s",
            str(one.lost),
            "● met" if one.announced_s <= one.within_s and not one.lost else "✕ not met",
        )
        for one in study.faults
    ]
    columns = ("fault", "announced>", "by", "declared>", "alerts lost>", "")
    return text_table("Faults put into an oil cook", columns, rows)


def _cases(study: AlertStudy, design: Design) -> RenderableType | None:
    """Return the cases alert by alert, the urgent ones first."""
    if not study.cases:
        return None
    ranks = {one.name: RANKS.index(one.priority) for one in design.alerts}
    lines = [f"Cases worth a look: {len(study.cases)}"]
    for name in sorted({one.alert for one in study.cases}, key=lambda alert: ranks[alert]):
        mine = sorted(
            (one for one in study.cases if one.alert == name),
            key=lambda one: (one.end == "blindness told" and not one.nuisance, one.end),
        )
        lines += [f"  {name}: {len(mine)}", *(_case(one) for one in mine[:MAX_CASES])]
        if len(mine) > MAX_CASES:
            lines.append(f"    and {len(mine) - MAX_CASES} more: --json lists them all")
    return text_line("\n".join(lines))


def _case(one: AlertCase) -> str:
    what = "nuisance" if one.nuisance else one.end
    times = (("on at", one.on_s), ("due by", one.due_s), ("lead", one.lead_s))
    said = ", ".join(f"{word} {value:.0f} s" for word, value in times if math.isfinite(value))
    if not math.isfinite(one.on_s):
        said = f"never on, {said}"
    return f"    {what} ({said})\n      {one.cook}, {one.burner}"


def show_tuning(found: Tuning) -> RenderableType:
    """Return the front of an alert's settings, the pick, and what to write into the design."""
    rows = [_point(one, "pick" if one == found.pick else "") for one in found.front]
    rows.append(_point(found.now, "as designed"))
    lines = "\n".join(f'{key} = "{text}"' for key, text in found.pick.values)
    return text_group(
        text_table(
            f"Settings of {found.alert}: {found.evaluations} tried on {len(found.cooks)}"
            f" calibration cooks ({found.independent} independent, due in {found.due})",
            ("", "settings", "lead, 5 %>", "missed>", "nuisance>", "chatter>", "turned>"),
            rows,
        ),
        text_line(
            "Lead: 5 % quantile, a missed or late cook counted as none. Missed: missed or late."
            " Turned: ordinary cooks warned of a limit, rightly at their rate, that turned down"
            f" by themselves.\nPick: {found.reason}. The design is not changed; to take it, write"
            f"\n{lines}\n"
            "Counts on the cooks that were searched flatter: judge the pick by 'trivet alerts',"
            " whose proof cooks this search has not seen."
        ),
    )


def _point(one: TunedPoint, mark: str) -> tuple[str, ...]:
    lead = f"{one.lead_s:.0f} s" if math.isfinite(one.lead_s) else "none due"
    words = ", ".join(f"{key} {text}" for key, text in one.values)
    counts = (one.missed, one.nuisance, one.chatters, one.turned)
    return (mark, words, lead, *(str(count) for count in counts))
