"""Error budgets: bars of the terms, one chart a base, first order beside Monte Carlo."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from trivet.present.texts import NONE, difference, joined, share, temperature
from trivet.present.widths import share_table, width_chart
from trivet.records.design import Design, Display
from trivet.records.dossier import Chart, Section, Table
from trivet.records.prediction import Budget, BudgetLine, Prediction

SHOWN_CASES = 3
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def budget_section(design: Design, *, prediction: Prediction) -> Section:
    """Return the table of all budgets and a chart for each base."""
    charts = [
        chart
        for base in design.bases
        if (chart := _base_chart(design, base.name, _of_base(prediction, base.name))) is not None
    ]
    words = [
        "Half-widths hold 95 %. The first-order column follows the guide to the expression of"
        " uncertainty, the Monte Carlo column draws every term from its distribution; where"
        " they differ by more than 5 % the remark says why.",
    ]
    blind = [
        base.name
        for base in design.bases
        if _of_base(prediction, base.name)
        and not any(one.measurable for one in _of_base(prediction, base.name))
    ]
    tables = [
        table
        for base in design.bases
        if (budgets := _of_base(prediction, base.name))
        for table in _base_tables(design, base.name, budgets)
    ]
    words += _what_counts(prediction)
    widths = width_chart(design, prediction=prediction)
    shares = share_table(design, prediction=prediction)
    words += [f"Base {name}: not measurable with any pan of the set." for name in blind]
    return Section(
        "Error budget of a single reading",
        tuple(words),
        (*tables, *([shares] if shares else []), _range_table(design, prediction)),
        (*([widths] if widths else []), *charts),
    )


def _what_counts(prediction: Prediction) -> list[str]:
    """Return which terms err together, which are unknown, and where curvature was counted."""
    words = []
    pairs = dict.fromkeys(pair for one in prediction.budgets for pair in one.correlated)
    if pairs:
        words.append(f"Counted as correlated: {'; '.join(pairs)}.")
    unknown = dict.fromkeys(term for one in prediction.budgets for term in one.unknown)
    if unknown:
        words.append(
            f"Not in the sum, because the sensor card does not give their size: {joined(unknown)}."
            " The half-widths are a lower bound in that respect."
        )
    curved = [one for one in prediction.budgets if one.measurable and one.second_order_k > 0]
    most = max((one.second_order_k / max(one.u_gum_k, 1e-9) for one in curved), default=0.0)
    words.append(
        f"Terms of second order reach {share(most, 0)} of the combined uncertainty of readable"
        " cases; they are counted from a third of the first order on, where they add 5 %."
    )
    clipped = max((one.clipped_frac for one in prediction.budgets if one.measurable), default=0.0)
    if clipped > 0:
        words.append(f"Up to {share(clipped)} of the draws of a readable case are clipped.")
    return words


def _of_base(prediction: Prediction, base: str) -> list[Budget]:
    return [one for one in prediction.budgets if one.base == base]


def _dominant(budget: Budget) -> BudgetLine | None:
    lines = [line for line in budget.lines if math.isfinite(line.u_k)]
    return max(lines, key=lambda line: line.u_k, default=None)


def _base_tables(design: Design, base: str, budgets: Sequence[Budget]) -> list[Table]:
    """Return half-widths by temperature, then what dominates and where nothing is measured."""
    display = design.display
    heats = sorted({one.temperature_k for one in budgets})
    cases: dict[tuple[str, str], dict[float, Budget]] = {}
    for one in budgets:
        cases.setdefault((one.pan, one.of), {})[one.temperature_k] = one
    widths = tuple(
        (pan, of.replace("_", " "), *(_half_widths(case.get(heat), display) for heat in heats))
        for (pan, of), case in cases.items()
    )
    columns = ("Pan", "Of", *(temperature(heat, display) for heat in heats))
    unit = "°F" if display.temperature == "degF" else "K"
    note = f"±{unit}: first order / Monte Carlo. A dash: no budget at that temperature."
    whys = tuple(
        (pan, _dominants(case, display), _blind(case, display), _remarks(case))
        for (pan, _), case in cases.items()
    )
    heads = ("Pan", "Dominant term", "Not measurable", "Remark")
    return [
        Table(f"Base {base}: 95 % half-width", columns, widths, note, "predicted"),
        Table(f"Base {base}: what dominates", heads, whys, evidence="predicted"),
    ]


def _half_widths(one: Budget | None, display: Display) -> str:
    if one is None:
        return NONE
    if not one.measurable:
        return "not measurable"
    first = difference(one.u95_gum_k, display).split(" ")[0]
    return f"{first} / {difference(one.u95_mc_k, display).split(' ')[0]}"


def _spans(heats: Sequence[float], case: dict[float, Budget], display: Display) -> str:
    """Return temperatures as a range where no other lies between them, else one by one."""
    known = sorted(case)
    first, last = known.index(min(heats)), known.index(max(heats))
    if len(heats) > 1 and last - first + 1 == len(heats):
        return f"{temperature(known[first], display)} to {temperature(known[last], display)}"
    return joined(temperature(heat, display) for heat in sorted(heats))


def _dominants(case: dict[float, Budget], display: Display) -> str:
    """Return the dominant terms of the measurable temperatures, each with its range."""
    terms: dict[str, list[float]] = {}
    for heat, one in sorted(case.items()):
        if one.measurable and (top := _dominant(one)) is not None:
            terms.setdefault(top.term, []).append(heat)
    texts = []
    for term, heats in terms.items():
        us = [_u_of(case[heat], term) for heat in heats]
        ends = dict.fromkeys(difference(u, display) for u in (min(us), max(us)))
        texts.append(f"{term} (u {' to '.join(ends)}, {_spans(heats, case, display)})")
    return "; ".join(texts) or NONE


def _u_of(budget: Budget, term: str) -> float:
    return next(line.u_k for line in budget.lines if line.term == term)


def _blind(case: dict[float, Budget], display: Display) -> str:
    """Return where nothing is measured and why; reasons that differ in figures are joined."""
    reasons: dict[str, list[float]] = {}
    for heat, one in sorted(case.items()):
        if not one.measurable:
            reasons.setdefault(_NUMBER.sub("#", _main_reason(one)), []).append(heat)
    texts = []
    for heats in reasons.values():
        said = [_main_reason(case[heat]) for heat in heats]
        at = f" (at {temperature(heats[0], display)})" if len(set(said)) > 1 else ""
        texts.append(f"{_spans(heats, case, display)}: {said[0]}{at}")
    return "; ".join(texts) or "measurable throughout"


def _main_reason(budget: Budget) -> str:
    return budget.reason.split(";")[0]


def _remarks(case: dict[float, Budget]) -> str:
    notes = dict.fromkeys(one.note for one in case.values() if one.note and one.measurable)
    worst = max((one.unexplained_frac for one in case.values() if one.measurable), default=0.0)
    if worst > 0:
        notes[f"up to {share(worst)} of draws explained by no temperature"] = None
    return "; ".join(notes) or NONE


def _range_table(design: Design, prediction: Prediction) -> Table:
    display = design.display
    rows = tuple(
        (
            one.head,
            one.limit,
            temperature(one.limit_k, display),
            temperature(one.apparent_at_limit_k, display),
            temperature(one.range_high_k, display),
            difference(one.headroom_k, display, 0),
            _range_remark(one.headroom_k),
        )
        for one in prediction.ranges
    )
    columns = (
        "Head",
        "Limit",
        "Limit at",
        "Sensor then reads",
        "Range ends at",
        "Headroom",
        "Remark",
    )
    note = "The sensor's own reading at the limit: through the window, emissivity 0.95."
    return Table("Limits against the sensor's range", columns, rows, note, "predicted")


def _range_remark(headroom_k: float) -> str:
    if not math.isfinite(headroom_k):
        return "range not stated by the card"
    if headroom_k < 0:
        return "cannot be measured: the alert must trip below the range's end"
    return "inside the range"


def _base_chart(design: Design, base: str, budgets: Sequence[Budget]) -> Chart | None:
    measurable = [one for one in budgets if one.measurable]
    if not measurable:
        return None
    top_k = max(one.temperature_k for one in measurable)
    hottest = [one for one in measurable if math.isclose(one.temperature_k, top_k)]
    shown = sorted(hottest, key=lambda one: -one.u95_mc_k)[:SHOWN_CASES]
    at = temperature(top_k, design.display)
    bars = tuple((line.term, float(line.u_k), one.pan) for one in shown for line in one.lines)
    totals = tuple(
        row
        for one in shown
        for row in (
            ("combined standard uncertainty", one.u_gum_k, one.pan),
            ("95 % half-width, first order", one.u95_gum_k, one.pan),
            ("95 % half-width, Monte Carlo", one.u95_mc_k, one.pan),
        )
    )
    return Chart(
        "budget",
        f"Error budget: base {base} at {at}",
        _budget_caption(budgets, shown, hottest),
        x_label="standard uncertainty of the temperature",
        bars=bars,
        totals=totals,
        evidence="predicted",
    )


def _budget_caption(
    budgets: Sequence[Budget], shown: Sequence[Budget], hottest: Sequence[Budget]
) -> str:
    tops = {one.pan: top.term for one in shown if (top := _dominant(one)) is not None}
    text = ""
    if len(set(tops.values())) == 1:
        text = f"Dominant: {next(iter(tops.values()))}."
    elif tops:
        text = f"Dominant: {'; '.join(f'{term} (pan {pan})' for pan, term in tops.items())}."
    if len(hottest) > len(shown):
        text += f" The widest {len(shown)} of {len(hottest)} pans are drawn; the table has all."
    blind = dict.fromkeys(one.pan for one in budgets if not one.measurable)
    lost = [pan for pan in blind if pan not in {one.pan for one in hottest}]
    if lost:
        text += f" Not measurable at this temperature: {joined(lost)}."
    return text.strip()
