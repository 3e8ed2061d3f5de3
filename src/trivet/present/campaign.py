"""A campaign: the plan of its cooks and what so many can show, then what they gave."""

from __future__ import annotations

import math

from trivet.present.numbers import NONE, Formatter, interval, listed, number, share
from trivet.present.parts import tabulate
from trivet.records.campaign import CampaignPlan, PlannedMatrix, Spread, Sweep
from trivet.records.design import Display
from trivet.records.dossier import Section, Table

SHOWN_NAMES = 8  # own estimate: enough to see how names are made
INDEPENDENT = (
    "Repeats and named seeds of one combination are draws of one kitchen and count as one cook."
)


def plan_section(plan: CampaignPlan) -> Section:
    """Return the parts of a campaign, its factors, and what so many cooks can show."""
    cooks = tabulate(
        "Planned cooks",
        plan.parts,
        {
            "Part": lambda one: one.name,
            "Purpose": lambda one: one.purpose,
            "Run of allowed": _allowed,
            "Pairs of levels met": _pairs,
            "Cooks": lambda one: number(one.cooks, 0),
            "Runs": lambda one: number(one.simulations, 0),
        },
    )
    tables = [table for table in (cooks, _factors(plan), _bounds(plan)) if table.rows]
    return Section("Campaign", (f"Proof cooks: {listed(plan.names, SHOWN_NAMES)}",), tuple(tables))


def _factors(plan: CampaignPlan) -> Table:
    return tabulate(
        "Factors",
        [(one.name, *factor) for one in plan.parts for factor in one.factors.items()],
        {
            "Matrix": lambda row: row[0],
            "Factor": lambda row: row[1],
            "Levels": lambda row: ", ".join(row[2]),
        },
    )


def _bounds(plan: CampaignPlan) -> Table:
    return tabulate(
        "What so many independent cooks can show (95 %, within the simulator)",
        [*(one for one in plan.parts if one.purpose == "proof"), plan.total],
        {
            "Part": lambda one: one.name,
            "Cooks": lambda one: str(one.cooks),
            "Misses, if none misses": lambda one: f"at most {share(one.miss_bound_frac)}",
            "Bias found 4 times in 5": lambda one: (
                "none from one cook" if math.isnan(one.bias_sd) else f"{one.bias_sd:.2f} spreads"
            ),
        },
        note=f"A spread is the standard deviation of the error from cook to cook. {INDEPENDENT}",
    )


def _allowed(one: PlannedMatrix) -> str:
    if not one.factors:
        return NONE
    worst = f" + {one.worst} worst" if one.worst else ""
    return f"{number(one.runs, 0)} of {number(one.full - one.excluded, 0)}{worst}"


def _pairs(one: PlannedMatrix) -> str:
    if not one.factors or not one.pairs_possible:
        return NONE
    rarest = f", each {one.pair_fewest} times or more" if one.pair_fewest > 1 else ""
    return f"{one.pairs_covered} of {one.pairs_possible}{rarest}"


def sweep_section(sweep: Sweep, *, display: Display) -> Section:
    """Return the rates of a campaign with their exact bounds, and the cooks that failed."""
    failed = tabulate(
        f"Cooks that gave nothing: {sweep.failed}",
        sweep.first_failed,
        {"Cook": lambda one: one.cook, "Why": lambda one: one.error},
    )
    words = (
        f"{number(sweep.done, 0)} of {number(sweep.planned, 0)} simulations,"
        f" {number(sweep.rows, 0)} rows.",
        INDEPENDENT,
        "Simulated evidence, within the simulator: no safety requirement rests on it.",
    )
    shown = tuple(
        table
        for table in (_rates(sweep), _spreads(sweep, Formatter(display)), failed)
        if table.rows
    )
    return Section(f"Campaign ({sweep.evidence})", words, shown)


def _rates(sweep: Sweep) -> Table:
    return tabulate(
        "How often",
        sweep.rates,
        {
            "What": lambda one: one.name,
            "How often": lambda one: f"{one.failures} of {one.cooks}",
            "Rate": lambda one: share(one.value_frac),
            "Exact 95 % bounds": lambda one: interval(one.low_frac, one.high_frac),
            "Of": lambda one: f"{one.of} ({sweep.evidence})",
        },
        evidence=sweep.evidence,
    )


def _spreads(sweep: Sweep, show: Formatter) -> Table:
    def figure(one: Spread, value: float) -> str:
        return show.difference(value) if one.unit == "K" else share(value)

    return tabulate(
        "Cooks, each at its worst",
        sweep.spreads,
        {
            "Figure": lambda one: one.name,
            "Cooks": lambda one: str(one.cooks),
            "Middle": lambda one: figure(one, one.median),
            "95 % of cooks are no worse than": lambda one: figure(one, one.p95),
            "Worst": lambda one: figure(one, one.worst),
        },
        evidence=sweep.evidence,
    )
