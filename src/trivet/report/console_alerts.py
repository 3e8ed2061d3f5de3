"""The alerts on the terminal: what each is for, and what it did."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trivet.records.alertaccount import AlertCase, AlertRow, AlertStudy, Share
from trivet.records.design import Design
from trivet.records.requirement import Alert
from trivet.records.tuning import TunedPoint, Tuning
from trivet.report.console_parts import (
    SIGNS,
    difference_text,
    temperature_text,
    text_group,
    text_line,
    text_table,
)

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

SMOKE_ALARMS = (
    "Beside it: smoke alarms 5 ft from the stove went off in 8.7 % (41 of 469, ionisation),"
    " 11.3 % (53, dual) and 3.0 % (14, photoelectric) of cooks; exact 95 % intervals 6.3 to"
    " 11.7, 8.6 to 14.5 and 1.6 to 5.0 % (Lee and Pineda, CPSC 2010)."
)
MOST_CASES = 40


def show_alert_study(study: AlertStudy, *, design: Design) -> RenderableType:
    """Return the rationalisation sheet, the account, goals, faults and cases."""
    styles = ", ".join(f"{name} {count}" for name, count in study.styles) or "none"
    return text_group(
        _sheet(design),
        _settings(design),
        text_line(
            f"{study.cooks} cooks, {study.independent} independent (repeats of a plan count"
            f" once); ordinary ones: {styles}. Simulated evidence proves no safety claim."
        ),
        _account(study),
        text_line(SMOKE_ALARMS),
        text_table(
            "Goals",
            ("goal", "", "found"),
            [(one.text, f"{SIGNS[one.decision]} {one.decision}", one.found) for one in study.goals],
        ),
        _faults(study),
        _cases(study),
    )


def _sheet(design: Design) -> Table:
    rows = [
        (
            one.name,
            one.priority,
            one.cause,
            one.consequence,
            one.action,
            _time(float(one.time_available_s)),
            one.escalation or "none",
        )
        for one in design.alerts
    ]
    columns = ("alert", "priority", "cause", "consequence", "action", "time>", "escalation")
    return text_table("Rationalisation sheet", columns, rows)


def _settings(design: Design) -> Table:
    display = design.display
    rows = [
        (
            one.name,
            one.kind,
            _set_point(one, design),
            difference_text(one.deadband_delta_k, display),
            _time(float(one.on_delay_s)),
            _time(float(one.off_delay_s)),
            _time(float(one.escalate_after_s)) if one.escalate_after_s > 0 else "–",
            ", ".join(one.bases) or "all",
        )
        for one in design.alerts
    ]
    columns = ("alert", "kind", "set point", "dead band>", "on>", "off>", "escalates>", "bases")
    return text_table("Settings", columns, rows)


def _set_point(one: Alert, design: Design) -> str:
    display = design.display
    match one.kind:
        case "level" | "time_to_limit":
            limit = design.limit(str(one.limit))
            at = temperature_text(float(limit.value_k), display)
            if limit.oil_point is not None:
                share = 100.0 * float(design.alerting.smoke_quantile_frac)
                at = f"{share:.0f} % quantile of the told oil's {limit.oil_point} point, else {at}"
            if one.kind == "time_to_limit":
                return f"{_time(float(one.lead_s))} before {at}"
            own = one.set_point_k
            return at if own is None else temperature_text(float(own), display)
        case "boil_dry":
            off = difference_text(one.change_delta_k, display)
            return f"{off} off a plateau of {_time(float(one.plateau_s))}"
        case "uneven":
            return difference_text(one.spread_delta_k, display)
        case "housing_hot":
            return temperature_text(float(one.set_point_k or 0.0), display)
        case "window_dirty":
            return f"{100.0 * one.loss_frac:.0f} % lost"
        case "battery_low":
            return f"{100.0 * one.charge_frac:.0f} % left"
        case "ready" | "below_band":
            return "the told band"
        case _:
            return one.kind.replace("_", " ")


def _time(seconds: float) -> str:
    if seconds >= 7200:
        return f"{seconds / 3600:.0f} h"
    return f"{seconds:.3g} s"


def _share(share: Share) -> str:
    if not share.of:
        return "no cook"
    return f"{share.count} of {share.of}, ≤ {100.0 * share.bound_frac:.1f} %"


def _account(study: AlertStudy) -> Table:
    columns = (
        "alert",
        "evidence",
        "missed or late>",
        "blindness told>",
        "impossible>",
        "censored>",
        "lead 5 / 50 / 95 %>",
        "nuisance>",
        "chatter>",
    )
    return text_table(
        "What they did (upper bounds at 95 %)", columns, [_row(one) for one in study.rows]
    )


def _row(one: AlertRow) -> tuple[str, ...]:
    known = not math.isnan(one.leads_s[1])
    return (
        one.alert,
        one.evidence,
        _share(one.missed),
        str(one.blind),
        str(one.impossible),
        str(one.censored),
        " / ".join(f"{lead:.0f}" for lead in one.leads_s) + " s" if known else "–",
        _share(one.nuisance),
        str(one.chatters),
    )


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


def _cases(study: AlertStudy) -> Table | None:
    if not study.cases:
        return None
    title = f"Cases worth a look: {len(study.cases)}"
    if len(study.cases) > MOST_CASES:
        title += f", the first {MOST_CASES}"
    columns = ("alert", "what", "cook", "burner", "on>", "due>", "lead>")
    return text_table(title, columns, [_case(one) for one in study.cases[:MOST_CASES]])


def _case(one: AlertCase) -> tuple[str, ...]:
    what = "nuisance" if one.nuisance else one.end
    numbers = (one.on_s, one.due_s, one.lead_s)
    return (
        one.alert,
        what,
        one.cook,
        one.burner,
        *(f"{value:.0f} s" if math.isfinite(value) else "–" for value in numbers),
    )


def show_tuning(found: Tuning) -> RenderableType:
    """Return the front of an alert's settings, the pick, and what to write into the design."""
    rows = [_point(one, "pick" if one == found.pick else "") for one in found.front]
    rows.append(_point(found.now, "as designed"))
    lines = "\n".join(f'{key} = "{text}"' for key, text in found.pick.values)
    return text_group(
        text_table(
            f"Settings of {found.alert}: {found.evaluations} tried on {len(found.cooks)}"
            f" calibration cooks ({found.independent} independent, due in {found.due})",
            ("", "settings", "lead, 5 %>", "missed or late>", "nuisance>", "chatter>"),
            rows,
        ),
        text_line(
            f"Pick: {found.reason}. The design is not changed; to take it, write\n{lines}\n"
            "Counts on the cooks that were searched flatter: judge the pick by 'trivet alerts',"
            " whose proof cooks this search has not seen."
        ),
    )


def _point(one: TunedPoint, mark: str) -> tuple[str, ...]:
    lead = f"{one.lead_s:.0f} s" if math.isfinite(one.lead_s) else "none due"
    words = ", ".join(f"{key} {text}" for key, text in one.values)
    return (mark, words, lead, str(one.missed), str(one.nuisance), str(one.chatters))
