"""Error budgets: half-widths, what dominates them, and the sensor's range."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Sequence

from trivet.present.numbers import NONE, UNKNOWN, Formatter, joined, read_only, share
from trivet.present.parts import ALL, tabulate
from trivet.records.design import Design
from trivet.records.dossier import Chart, ChartLine, Mark, Section, Table
from trivet.records.prediction import Budget, Prediction

SHOWN_CASES = 3  # own estimate: panels that fit side by side with legible figures
MIN_SHOWN_SHARE = 0.01
"""Own estimate: a term under 1 % of the variance changes no decision."""
_FIGURES = re.compile(r"\d+(?:\.\d+)?")


def budget_section(design: Design, *, prediction: Prediction) -> Section:
    """Return the tables of all budgets, error against temperature, and a chart for each base."""
    show = Formatter(design.display)
    budgets = {base.name: _of_base(prediction, base.name) for base in design.bases}
    known = {name: own for name, own in budgets.items() if own}
    tables = [_error_table(prediction, show)]
    for name, own in known.items():
        tables += _base_tables(design, name, own)
    shares = _share_table(design, prediction)
    widths = _width_chart(design, prediction)
    drawn = [_base_chart(design, name, own) for name, own in known.items()]
    blind = [name for name, own in known.items() if not any(one.measurable for one in own)]
    words = [
        "Half-widths hold 95 %. The first-order column follows the guide to the expression of"
        " uncertainty, the Monte Carlo column draws every term from its distribution; where"
        " they differ by more than 5 % the remark says why.",
        *_what_counts(prediction),
        *(f"Base {name}: not measurable with any pan of the set." for name in blind),
    ]
    return Section(
        "Error budget of a single reading",
        tuple(words),
        (*tables, *([shares] if shares else []), _range_table(design, prediction)),
        tuple(chart for chart in (widths, *drawn) if chart is not None),
    )


def _what_counts(prediction: Prediction) -> Iterator[str]:
    """Yield which terms err together, which are unknown, and where curvature was counted."""
    pairs = dict.fromkeys(pair for one in prediction.budgets for pair in one.correlated)
    if pairs:
        yield f"Counted as correlated: {'; '.join(pairs)}."
    unknown = dict.fromkeys(term for one in prediction.budgets for term in one.unknown)
    if unknown:
        yield (
            f"Not in the sum, because the sensor card does not give their size: {joined(unknown)}."
            " The half-widths are a lower bound in that respect."
        )
    known = [one for one in prediction.budgets if one.measurable]
    curved = [one for one in known if one.second_order_k > 0]
    most = max((one.second_order_k / max(one.u_gum_k, 1e-9) for one in curved), default=0.0)
    yield (
        f"Terms of second order reach {share(most, 0)} of the combined uncertainty of readable"
        " cases; they are counted from a third of the first order on, where they add 5 %."
    )
    clipped = max((one.clipped_frac for one in known), default=0.0)
    if clipped > 0:
        yield f"Up to {share(clipped)} of the draws of a readable case are clipped."


def _of_base(prediction: Prediction, base: str) -> list[Budget]:
    return [one for one in prediction.budgets if one.base == base]


def dominant_term(budget: Budget) -> str:
    """Return the name of the largest term of a budget."""
    lines = [line for line in budget.lines if math.isfinite(line.u_k)]
    return max(lines, key=lambda line: line.u_k).term if lines else UNKNOWN


def _error_table(prediction: Prediction, show: Formatter) -> Table:
    """Return a row for each base and what is seen of it, over pans and temperatures."""
    cases: dict[tuple[str, str], list[Budget]] = {}
    for one in prediction.budgets:
        cases.setdefault((one.base, one.of), []).append(one)

    def known(own: list[Budget]) -> list[Budget]:
        return sorted((one for one in own if one.measurable), key=lambda one: one.u95_k)

    def ends(own: list[Budget]) -> str:
        if not own:
            return NONE
        return f"±{show.difference(own[0].u95_k)} to ±{show.difference(own[-1].u95_k)}"

    def leads(own: list[Budget]) -> str:
        return Counter(dominant_term(one) for one in own).most_common(1)[0][0] if own else NONE

    def blind(own: list[Budget]) -> str:
        return ", ".join(sorted({x.pan for x in own} - {x.pan for x in known(own)})) or NONE

    return tabulate(
        "Error by base, over pans and temperatures",
        list(cases.values()),
        {
            "Base": lambda own: own[0].base,
            "Of": lambda own: own[0].of.replace("_", " "),
            "Cases": lambda own: str(len(own)),
            "Measurable": lambda own: str(len(known(own))),
            "95 % half-width": lambda own: ends(known(own)),
            "Led by": lambda own: leads(known(own)),
            "Never measurable in": blind,
        },
        evidence="predicted",
        brief_rows=ALL,
    )


def _base_tables(design: Design, base: str, budgets: Sequence[Budget]) -> list[Table]:
    """Return half-widths by temperature, then what dominates and where nothing is measured."""
    show = Formatter(design.display)
    heats = sorted({one.temperature_k for one in budgets})
    cases: dict[tuple[str, str], dict[float, Budget]] = {}
    for one in budgets:
        cases.setdefault((one.pan, one.of), {})[one.temperature_k] = one
    rows = tuple(
        (pan, of.replace("_", " "), *(_half_widths(case.get(heat), show) for heat in heats))
        for (pan, of), case in cases.items()
    )
    columns = ("Pan", "Of", *(show.temperature(heat) for heat in heats))
    unit = "°F" if show.display.temperature == "degF" else "K"
    note = f"±{unit}: first order / Monte Carlo. A dash: no budget at that temperature."
    return [
        Table(f"Base {base}: 95 % half-width", columns, rows, note, "predicted"),
        tabulate(
            f"Base {base}: what dominates",
            cases.items(),
            {
                "Pan": lambda item: item[0][0],
                "Dominant term": lambda item: _dominants(item[1], show),
                "Not measurable": lambda item: _blind(item[1], show),
                "Remark": lambda item: _remarks(item[1]),
            },
            evidence="predicted",
        ),
    ]


def _half_widths(one: Budget | None, show: Formatter) -> str:
    if one is None:
        return NONE
    if not one.measurable:
        return "not measurable"
    first = show.difference(one.u95_gum_k).split(" ")[0]
    return f"{first} / {show.difference(one.u95_mc_k).split(' ')[0]}"


def _spans(heats: Sequence[float], case: dict[float, Budget], show: Formatter) -> str:
    """Return temperatures as a range where no other lies between them, else one by one."""
    known = sorted(case)
    first, last = known.index(min(heats)), known.index(max(heats))
    if len(heats) > 1 and last - first + 1 == len(heats):
        return f"{show.temperature(known[first])} to {show.temperature(known[last])}"
    return joined(show.temperature(heat) for heat in sorted(heats))


def _dominants(case: dict[float, Budget], show: Formatter) -> str:
    """Return the dominant terms of the measurable temperatures, each with its range."""
    terms: dict[str, dict[float, float]] = {}
    for heat, one in sorted(case.items()):
        if one.measurable:
            term = dominant_term(one)
            u_k = max((line.u_k for line in one.lines if line.term == term), default=math.nan)
            terms.setdefault(term, {})[heat] = u_k
    texts = []
    for term, us in terms.items():
        ends = dict.fromkeys(show.difference(u) for u in (min(us.values()), max(us.values())))
        texts.append(f"{term} (u {' to '.join(ends)}, {_spans(list(us), case, show)})")
    return "; ".join(texts) or NONE


def _blind(case: dict[float, Budget], show: Formatter) -> str:
    """Return where nothing is measured and why; reasons that differ in figures are joined."""
    reasons: dict[str, list[float]] = {}
    for heat, one in sorted(case.items()):
        if not one.measurable:
            reasons.setdefault(_FIGURES.sub("#", _main_reason(one)), []).append(heat)
    texts = []
    for heats in reasons.values():
        said = [_main_reason(case[heat]) for heat in heats]
        at = f" (at {show.temperature(heats[0])})" if len(set(said)) > 1 else ""
        texts.append(f"{_spans(heats, case, show)}: {said[0]}{at}")
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
    show = Formatter(design.display)
    return tabulate(
        "Limits against the sensor's range",
        prediction.ranges,
        {
            "Head": lambda one: one.head,
            "Limit": lambda one: one.limit,
            "Limit at": lambda one: show.temperature(one.limit_k),
            "Sensor then reads": lambda one: show.temperature(one.apparent_at_limit_k),
            "Range ends at": lambda one: show.temperature(one.range_high_k),
            "Headroom": lambda one: show.difference(one.headroom_k, 0),
            "Remark": lambda one: _range_remark(one.headroom_k),
        },
        note="The sensor's own reading at the limit: through the window, emissivity 0.95.",
        evidence="predicted",
    )


def _range_remark(headroom_k: float) -> str:
    if not math.isfinite(headroom_k):
        return "range not stated by the card"
    if headroom_k < 0:
        return "cannot be measured: the alert must trip below the range's end"
    return "inside the range"


def _base_chart(design: Design, base: str, budgets: Sequence[Budget]) -> Chart | None:
    show = Formatter(design.display)
    measurable = [one for one in budgets if one.measurable]
    if not measurable:
        return None
    top_k = max(one.temperature_k for one in measurable)
    hottest = [one for one in measurable if math.isclose(one.temperature_k, top_k)]
    shown = sorted(hottest, key=lambda one: -one.u95_mc_k)[:SHOWN_CASES]
    at = show.temperature(top_k)
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
    tops = {one.pan: dominant_term(one) for one in shown}
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


def _width_chart(design: Design, prediction: Prediction) -> Chart | None:
    """Return the 95 % half-width over temperature of each base in its best pan.

    None where nothing is measurable; the label names the terms that dominate.
    """
    lines = []
    for base in design.bases:
        best = _best_pan(design, _of_base(prediction, base.name))
        if not best:
            continue
        tops = list(dict.fromkeys(dominant_term(one) for one in best))
        label = f"{base.name}, {best[0].pan}: {joined(tops[:2])}"
        x = read_only([one.temperature_k for one in best])
        lines.append(ChartLine(label, x, read_only([one.u95_k for one in best])))
    if not lines:
        return None
    bound_k = float(design.estimation.u95_bound_delta_k)
    caption = (
        "Half-width that holds 95 % of readings, the wider of both methods and the longer side;"
        " each base in the pan in which it is read best, named with the terms that dominate."
        " Points that are not measurable are left out."
    )
    return Chart(
        "widths",
        "Error against temperature",
        caption,
        x_label="temperature",
        y_label="95 % half-width",
        lines=tuple(lines),
        marks=(Mark(bound_k, "bound of a reading"),),
        evidence="predicted",
    )


def _best_pan(design: Design, budgets: Sequence[Budget]) -> list[Budget]:
    """Return the measurable budgets of the pan with most of them, of those the narrowest."""
    found: list[list[Budget]] = []
    for pan in design.pans:
        own = [one for one in budgets if one.pan == pan.name and one.measurable]
        if own:
            found.append(sorted(own, key=lambda one: one.temperature_k))
    return min(found, key=lambda own: (-len(own), own[-1].u95_k), default=[])


def _share_table(design: Design, prediction: Prediction) -> Table | None:
    """Return sensitivity and share of each term for the best case of each base."""
    show = Formatter(design.display)
    cases = [
        (best[-1], line)
        for base in design.bases
        if (best := _best_pan(design, _of_base(prediction, base.name)))
        for line in sorted(
            best[-1].lines, key=lambda one: -one.u_k if math.isfinite(one.u_k) else math.inf
        )
        if not line.total_share_frac < MIN_SHOWN_SHARE
    ]
    if not cases:
        return None
    words = {1: "rises", -1: "falls", 0: NONE}
    return tabulate(
        "Terms by base, at its hottest readable point",
        cases,
        {
            "Base": lambda case: (
                f"{case[0].base}, {case[0].pan}, {show.temperature(case[0].temperature_k)}"
            ),
            "Term": lambda case: case[1].term,
            "Standard uncertainty": lambda case: show.difference(case[1].u_k),
            "Share": lambda case: share(case[1].total_share_frac, 0),
            "Number": lambda case: words[case[1].sign],
            "Shape": lambda case: case[1].distribution,
            "Source": lambda case: case[1].source,
        },
        note=(
            "Share: part of the variance in which the term takes part, alone and with others"
            " (Sobol index of total order); terms that err together show the share of both."
            " Rises: the number rises with the input. Terms under 1 % are left out; an"
            " unknown term is not in the sum."
        ),
    )
