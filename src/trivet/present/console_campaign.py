"""The plan of a campaign, and what it gave, as tables on the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trivet.present.console_parts import (
    difference_text,
    share_text,
    text_group,
    text_line,
    text_table,
)
from trivet.records.campaign import CampaignPlan, PlannedMatrix, Spread, Sweep
from trivet.records.design import Display

if TYPE_CHECKING:
    from rich.console import RenderableType

SHOWN_NAMES = 8
_INDEPENDENT = (
    "Repeats and named seeds of one combination are draws of one kitchen and count as one cook."
)


def show_plan(plan: CampaignPlan) -> RenderableType:
    """Return the parts of a campaign, what so many cooks can show, and the first names."""
    cooks = text_table(
        "Planned cooks",
        ("part", "purpose", "run of allowed>", "pairs of levels met>", "cooks>", "runs>"),
        [_part_row(one) for one in plan.parts],
    )
    proof = [one for one in plan.parts if one.purpose == "proof"]
    rows = [
        (
            one.name,
            str(one.cooks),
            f"at most {share_text(one.miss_bound_frac)}",
            "none from one cook" if math.isnan(one.bias_sd) else f"{one.bias_sd:.2f} spreads",
        )
        for one in (*proof, plan.total)
    ]
    bounds = text_table(
        "What so many independent cooks can show (95 %, within the simulator)",
        ("part", "cooks>", "misses, if none misses>", "bias found 4 times in 5>"),
        rows,
    )
    factors = text_table(
        "Factors",
        ("matrix", "factor", "levels"),
        [
            (one.name, name, ", ".join(levels))
            for one in plan.parts
            for name, levels in one.factors.items()
        ],
    )
    more = len(plan.names) - SHOWN_NAMES
    names = [*plan.names[:SHOWN_NAMES], *([f"and {more} more"] if more > 0 else [])]
    return text_group(
        cooks,
        factors if any(one.factors for one in plan.parts) else None,
        bounds,
        text_line("A spread is the standard deviation of the error from cook to cook."),
        text_line(_INDEPENDENT),
        text_line("\n  ".join(["Proof cooks:", *names])),
    )


def _part_row(one: PlannedMatrix) -> tuple[str, ...]:
    counts = (f"{one.cooks:,}", f"{one.simulations:,}")
    if not one.factors:
        return (one.name, one.purpose, "–", "–", *counts)
    allowed = f"{one.runs:,} of {one.full - one.excluded:,}"
    if one.worst:
        allowed += f" + {one.worst} worst"
    pairs = f"{one.pairs_covered} of {one.pairs_possible}"
    if one.pair_fewest > 1:
        pairs += f", each {one.pair_fewest} times or more"
    return (one.name, one.purpose, allowed, pairs if one.pairs_possible else "–", *counts)


def show_sweep(sweep: Sweep, *, display: Display) -> RenderableType:
    """Return the rates of a campaign with their exact bounds, and the cooks that failed."""
    rates = text_table(
        f"Campaign ({sweep.evidence}): {sweep.done:,} of {sweep.planned:,} simulations,"
        f" {sweep.rows:,} rows",
        ("what", "how often>", "rate>", "exact 95 % bounds>", "of"),
        [
            (
                one.name,
                f"{one.failures} of {one.cooks}",
                share_text(one.value_frac),
                f"{share_text(one.low_frac)} to {share_text(one.high_frac)}",
                f"{one.of} ({sweep.evidence})",
            )
            for one in sweep.rates
        ],
    )
    spreads = text_table(
        f"Cooks, each at its worst ({sweep.evidence})",
        ("figure", "cooks>", "middle>", "95 % of cooks are no worse than>", "worst>"),
        [_spread_row(one, display) for one in sweep.spreads],
    )
    failed = text_table(
        f"Cooks that gave nothing: {sweep.failed}",
        ("cook", "why"),
        [(one.cook, one.error) for one in sweep.first_failed],
    )
    return text_group(
        rates,
        spreads if sweep.spreads else None,
        failed if sweep.failed else None,
        text_line(_INDEPENDENT),
        text_line("Simulated evidence, within the simulator: no safety requirement rests on it."),
    )


def _spread_row(one: Spread, display: Display) -> tuple[str, ...]:
    values = (one.median, one.p95, one.worst)
    shown = (difference_text(x, display) if one.unit == "K" else share_text(x) for x in values)
    return (one.name, str(one.cooks), *shown)
