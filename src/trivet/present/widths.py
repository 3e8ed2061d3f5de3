"""Error against temperature, one line a base, and whose share of the variance it is."""

from __future__ import annotations

import math
from collections.abc import Sequence

from trivet.present.texts import NONE, difference, joined, read_only, share, temperature
from trivet.records.design import Design
from trivet.records.dossier import Chart, Line, Mark, Table
from trivet.records.prediction import Budget, Prediction

MIN_SHARE = 0.01


def width_chart(design: Design, *, prediction: Prediction) -> Chart | None:
    """Return the 95 % half-width over temperature of each base in its best pan.

    Parameters
    ----------
    design : Design
        Bases and the bound of a reading.
    prediction : Prediction
        Its budgets.

    Returns
    -------
    Chart or None
        Kind ``widths``: lines in kelvin over kelvin, named base and pan, the
        dominant term of the hottest point in the label; None where nothing is
        measurable.
    """
    lines = []
    for base in design.bases:
        best = _best_pan(design, [one for one in prediction.budgets if one.base == base.name])
        if not best:
            continue
        tops = list(dict.fromkeys(_dominant(one) for one in best))
        label = f"{base.name}, {best[0].pan}: {joined(tops[:2])}"
        x = read_only([one.temperature_k for one in best])
        lines.append(Line(label, x, read_only([one.u95_k for one in best])))
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


def _dominant(budget: Budget) -> str:
    known = [line for line in budget.lines if math.isfinite(line.u_k)]
    return max(known, key=lambda line: line.u_k).term if known else "unknown"


def share_table(design: Design, *, prediction: Prediction) -> Table | None:
    """Return sensitivity and share of each term for the best case of each base."""
    rows: list[tuple[str, ...]] = []
    for base in design.bases:
        best = _best_pan(design, [one for one in prediction.budgets if one.base == base.name])
        if best:
            rows += _share_rows(best[-1], design)
    if not rows:
        return None
    note = (
        "Share: part of the variance in which the term takes part, alone and with others"
        " (Sobol index of total order); terms that err together show the share of both."
        " Rises: the number rises with the input. Terms under 1 % are left out; an"
        " unknown term is not in the sum."
    )
    columns = ("Base", "Term", "Standard uncertainty", "Share", "Number", "Shape", "Source")
    return Table("Terms by base, at its hottest readable point", columns, tuple(rows), note)


def _share_rows(budget: Budget, design: Design) -> list[tuple[str, ...]]:
    display = design.display
    name = f"{budget.base}, {budget.pan}, {temperature(budget.temperature_k, display)}"
    lines = sorted(
        budget.lines, key=lambda line: -line.u_k if math.isfinite(line.u_k) else math.inf
    )
    words = {1: "rises", -1: "falls", 0: NONE}
    return [
        (
            name,
            line.term,
            difference(line.u_k, display),
            share(line.total_share_frac, 0),
            words[line.sign],
            line.distribution,
            line.source,
        )
        for line in lines
        if not line.total_share_frac < MIN_SHARE
    ]
