"""Error budgets: bars of the terms, one chart a base, first order beside Monte Carlo."""

from __future__ import annotations

import math
from collections.abc import Sequence

from trivet.records.design import Design
from trivet.records.dossier import Chart, Section, Table
from trivet.records.prediction import Budget, BudgetLine, Prediction
from trivet.stages.dossier.words import difference, share, temperature

SHOWN_CASES = 3


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
    words += [f"Base {name}: not measurable with any pan of the set." for name in blind]
    return Section(
        "Error budget of a single reading",
        tuple(words),
        (_budget_table(design, prediction), _range_table(design, prediction)),
        tuple(charts),
    )


def _of_base(prediction: Prediction, base: str) -> list[Budget]:
    return [one for one in prediction.budgets if one.base == base]


def _dominant(budget: Budget) -> BudgetLine | None:
    lines = [line for line in budget.lines if math.isfinite(line.u_k)]
    return max(lines, key=lambda line: line.u_k, default=None)


def _budget_table(design: Design, prediction: Prediction) -> Table:
    display = design.display
    rows = []
    for one in prediction.budgets:
        where = (one.base, one.pan, one.of, temperature(one.temperature_k, display))
        emissivity = f"{one.emissivity:.2f}" if math.isfinite(one.emissivity) else "unknown"
        if not one.measurable:
            blank = ("not measurable", "not measurable", "–")
            rows.append((*where, emissivity, *blank, one.reason))
            continue
        top = _dominant(one)
        first = f"{top.term} ({difference(top.u_k, display)})" if top else one.reason
        remarks = [one.note] if one.note else []
        if one.unexplained_frac > 0:
            remarks.append(f"{share(one.unexplained_frac)} of draws explained by no temperature")
        rows.append(
            (
                *where,
                emissivity,
                f"±{difference(one.u95_gum_k, display)}",
                f"±{difference(one.u95_mc_k, display)}",
                first,
                "; ".join(remarks) or "–",
            )
        )
    columns = (
        "Base",
        "Pan",
        "Of",
        "At",
        "Emissivity",
        "95 % first order",
        "95 % Monte Carlo",
        "Dominant term (its u)",
        "Remark",
    )
    return Table("All budgets", columns, tuple(rows), evidence="predicted")


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
    tops = dict.fromkeys(
        f"{top.term} (pan {one.pan})" for one in shown if (top := _dominant(one)) is not None
    )
    text = f"Dominant: {'; '.join(tops)}." if tops else ""
    if len(hottest) > len(shown):
        text += f" The widest {len(shown)} of {len(hottest)} pans are drawn; the table has all."
    blind = {one.pan: one.reason for one in budgets if not one.measurable}
    for pan, reason in blind.items():
        text += f" Pan {pan}: not measurable ({reason})."
    return text.strip()
