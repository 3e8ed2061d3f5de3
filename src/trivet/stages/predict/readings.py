"""How wrong a reading can be: budgets by base contents, pan and temperature."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.contents import emissivity_range, film_share_frac, fits, layer_m, seen_of
from trivet.models.predicted import best_view, prediction_stream
from trivet.physics.heat.water import boiling_point_k
from trivet.records.design import Base, Design, Pan
from trivet.records.prediction import Budget, BudgetLine
from trivet.stages.predict.budget import (
    Drawn,
    FirstOrder,
    first_order,
    monte_carlo,
    unit_draws,
    variance_shares,
    why_they_differ,
)
from trivet.stages.predict.cases import COVERAGE_FACTOR, Cases, SeenCase
from trivet.stages.predict.terms import cases_of
from trivet.stages.predict.views import Eye, Seen
from trivet.units import kelvin

LIQUID_C = (60.0, 80.0, 95.0)  # own estimate: poaching, a simmer, short of the boil
SHARED_PART = "budgets"
"""The random stream whose budgets get shares of the variance too."""
HOT_C = (120.0, 180.0, 230.0, 300.0)  # own estimate: sweating, frying, searing, too hot


@dataclass(frozen=True)
class Wanted:
    """One budget that is asked for."""

    base: Base
    pan: Pan
    temperature_k: float


def wanted_budgets(design: Design) -> tuple[Wanted, ...]:
    """Return the budgets that a design calls for.

    Parameters
    ----------
    design : Design
        Bases, pans, bands, limits.

    Returns
    -------
    tuple of Wanted
        Every base in every pan that holds it, at 60, 80 and 95 C for liquids and at
        120, 180, 230 and 300 C else, with the ends of the bands and the limits that
        are of the same thing; nothing above the boiling point of water.
    """
    boiling_k = float(boiling_point_k(float(design.surroundings.altitude_m)))
    wanted = []
    for base in design.bases:
        for pan in design.pans:
            if not fits(base, pan=pan):
                continue
            of = seen_of(base, pan=pan)
            grid = LIQUID_C if of == "liquid" else HOT_C
            points = [kelvin(point) for point in grid]
            for band in design.bands:
                if band.of == of and (not band.bases or base.name in band.bases):
                    points += [float(band.low_k), float(band.high_k)]
            points += [float(limit.value_k) for limit in design.limits if limit.of == of]
            distinct = {round(point, 6): point for point in points}
            for _, point in sorted(distinct.items()):
                if of != "liquid" or point < boiling_k:
                    wanted.append(Wanted(base, pan, point))
    return tuple(wanted)


def error_budgets(
    design: Design,
    *,
    seen: Seen,
    wanted: Sequence[Wanted],
    part: str = SHARED_PART,
    shared: bool = True,
) -> tuple[Budget, ...]:
    """Return an error budget for each wanted case, at the burner where it is worst.

    Parameters
    ----------
    design : Design
        What is built.
    seen : Seen
        Heads and views.
    wanted : sequence of Wanted
        What to budget.
    part : str
        Name of the random stream.
    shared : bool
        Whether lines of the main budgets get their shares of the variance too.

    Returns
    -------
    tuple of Budget
        In the order wanted.

    Notes
    -----
    Every burner is seen by the head that sees most of the pan there; the burner with
    the largest first-order uncertainty stands for all.  20,000 draws.

    References
    ----------
    JCGM 100:2008; JCGM 101:2008.
    """
    places: dict[str, list[tuple[int, SeenCase]]] = {eye.head.name: [] for eye in seen.eyes}
    for number, burner_places in enumerate(places_of(design, seen, wanted)):
        for place in burner_places:
            places[place.view.head].append((number, place))
    best: dict[int, tuple[Eye, SeenCase, float]] = {}
    for eye in seen.eyes:
        own = places[eye.head.name]
        if not own:
            continue
        result = first_order(cases_of(design, eye=eye, places=[place for _, place in own]))
        for (number, place), u_k in zip(own, result.combined, strict=True):
            rank = float(u_k) if math.isfinite(u_k) else math.inf
            if number not in best or rank > best[number][2]:
                best[number] = (eye, place, rank)
    done: dict[int, Budget] = {}
    for eye in seen.eyes:
        chosen = [(n, place) for n, (own_eye, place, _) in sorted(best.items()) if own_eye is eye]
        if chosen:
            own_shares = shared and part == SHARED_PART
            done.update(
                _head_budgets(design, eye, chosen, wanted=wanted, part=part, shared=own_shares)
            )
    return tuple(
        done[number] if number in done else _unseen(one) for number, one in enumerate(wanted)
    )


def places_of(design: Design, seen: Seen, wanted: Sequence[Wanted]) -> Iterable[list[SeenCase]]:
    """Return for each wanted case its place on every burner that is seen."""
    known: dict[tuple[str, str], list[SeenCase]] = {}
    for one in wanted:
        key = (one.base.name, one.pan.name)
        if key not in known:
            known[key] = _seen_places(design, seen, one)
        yield [replace(place, temperature_k=one.temperature_k) for place in known[key]]


def _seen_places(design: Design, seen: Seen, one: Wanted) -> list[SeenCase]:
    spots = {burner.name: (float(burner.x_m), float(burner.y_m)) for burner in design.burners}
    found = [
        view
        for burner in design.burners
        if (view := best_view(seen.views, burner=burner.name, pan=one.pan.name)) is not None
    ]
    film_m = layer_m(one.base, pan=one.pan) if seen_of(one.base, pan=one.pan) == "pan" else 0.0
    places = []
    for eye in seen.eyes:
        own = [view for view in found if view.head == eye.head.name]
        if not own:
            continue
        angles = np.array([view.view_angle_rad for view in own])
        surface = emissivity_range(one.base, pan=one.pan, angle_rad=angles, band=eye.band)
        places += [
            SeenCase(
                view=view,
                temperature_k=one.temperature_k,
                pan_diameter_m=float(one.pan.diameter_m),
                film_m=film_m,
                emissivity=surface.at(number),
                emissivity_source=surface.source,
                blur_loss=seen.blur_losses[view],
                film_share_frac=film_share_frac(one.base, pan=one.pan, band=eye.band)
                if film_m > 0.0
                else 1.0,
                burner_m=spots[view.burner],
                base=one.base.name,
            )
            for number, view in enumerate(own)
        ]
    return places


def _head_budgets(
    design: Design,
    eye: Eye,
    chosen: list[tuple[int, SeenCase]],
    *,
    wanted: Sequence[Wanted],
    part: str,
    shared: bool,
) -> dict[int, Budget]:
    cases = cases_of(design, eye=eye, places=[place for _, place in chosen])
    linear = first_order(cases)
    generator = prediction_stream(design, name=f"{part}/{eye.head.name}")
    drawn = monte_carlo(
        cases, draws=unit_draws(cases.terms, generator=generator, pairs=cases.pairs)
    )
    shares = np.full_like(linear.contributions, np.nan)
    if shared:
        shares = variance_shares(
            cases, generator=prediction_stream(design, name=f"shares/{eye.head.name}")
        )
    apparent_k = cases.apparent_k
    return {
        number: _budget(
            design,
            wanted[number],
            _Row(row, place, cases, linear, drawn, float(apparent_k[row]), shares[:, row]),
        )
        for row, (number, place) in enumerate(chosen)
    }


@dataclass(frozen=True, eq=False)
class _Row:
    """One case among all of a head, with what the methods say of it."""

    at: int
    place: SeenCase
    cases: Cases
    linear: FirstOrder
    drawn: Drawn
    apparent_k: float
    shares: FloatArray


def _lines(row: _Row) -> tuple[BudgetLine, ...]:
    signed = row.linear.contributions[:, row.at]
    return tuple(
        BudgetLine(
            term.name,
            abs(float(signed[number])),
            term.distribution,
            row.place.emissivity_source if term.field == "emissivity" else term.source,
            float(row.shares[number]),
            int(np.sign(np.nan_to_num(signed[number]))),
        )
        for number, term in enumerate(row.cases.terms)
    )


def _budget(design: Design, one: Wanted, row: _Row) -> Budget:
    at, linear, drawn = row.at, row.linear, row.drawn
    lines, terms = _lines(row), row.cases.terms
    u_k = float(linear.combined[at])
    known = all(term.known for term in terms if term.needed)
    low_k, high_k = (float(drawn.low[at]), float(drawn.high[at])) if known else (math.nan,) * 2
    half_k = (high_k - low_k) / 2 if math.isfinite(high_k - low_k) else math.inf
    half_k = half_k if known else math.nan
    lost = float(drawn.unexplained_frac[at] + drawn.clipped_frac[at])
    worst_k = max(half_k, abs(low_k), abs(high_k), COVERAGE_FACTOR * u_k)
    why = _why_not(design, row, worst_k if known else math.nan)
    dominant = max(lines, key=lambda line: line.u_k if math.isfinite(line.u_k) else -1.0)
    part = f"{dominant.u_k:.1f} K of {u_k:.1f} K" if math.isfinite(u_k) else "of what is known"
    told = f"dominant: {dominant.term} ({part}), worst on burner {row.place.view.burner}"
    return Budget(
        base=one.base.name,
        pan=one.pan.name,
        of=seen_of(one.base, pan=one.pan),
        temperature_k=one.temperature_k,
        emissivity=row.place.emissivity[0],
        lines=lines,
        u_gum_k=u_k,
        u95_gum_k=COVERAGE_FACTOR * u_k,
        u95_mc_k=half_k,
        low_mc_k=low_k,
        high_mc_k=high_k,
        unexplained_frac=float(drawn.unexplained_frac[at]),
        measurable=not why,
        reason=f"{why}; {told}" if why else told,
        note=why_they_differ(
            u_k=u_k,
            u95_k=COVERAGE_FACTOR * u_k,
            drawn_sd_k=float(drawn.deviation[at]),
            interval_k=(low_k, high_k),
            lost=lost,
        ),
        second_order_k=float(linear.second_order[at]),
        correlated=tuple(
            f"{pair.first} and {pair.second}: {pair.coefficient:+.2f}, {pair.why}"
            for pair in row.cases.pairs
        ),
        clipped_frac=float(drawn.clipped_frac[at]),
        unknown=tuple(term.name for term in terms if not term.known and not term.needed),
        burner=row.place.view.burner,
    )


def _why_not(design: Design, row: _Row, worst_k: float) -> str:
    """Return why a reading of this case is not one, or nothing."""
    rules, card = design.estimation, row.cases.eye.card
    _, low, high = row.place.emissivity
    least = float(rules.min_emissivity_frac)
    if low < least:
        return (
            f"emissivity {low:.2f} to {high:.2f} is not known to be above {least:.2f}:"
            " the surface mirrors its surroundings"
        )
    pixels = math.pi / 4 * row.place.view.pixels_across**2
    if pixels < rules.min_pixels:
        return f"{pixels:.0f} pixels of pan, under the {rules.min_pixels} that a reading needs"
    if card.range_high_k is not None and row.apparent_k > float(card.range_high_k):
        return "above the sensor's range: the pixels saturate"
    if card.range_low_k is not None and row.apparent_k < float(card.range_low_k):
        return "below the sensor's range"
    if math.isnan(worst_k):
        return f"the accuracy of card {card.name} is unknown"
    bound_k = float(rules.u95_bound_delta_k)
    if worst_k > bound_k:
        size = f"{worst_k:.0f} K" if math.isfinite(worst_k) else "unbounded"
        return f"95 % error {size} exceeds the bound of {bound_k:.0f} K"
    return ""


def _unseen(one: Wanted) -> Budget:
    nan = math.nan
    return Budget(
        base=one.base.name,
        pan=one.pan.name,
        of=seen_of(one.base, pan=one.pan),
        temperature_k=one.temperature_k,
        emissivity=nan,
        lines=(),
        u_gum_k=nan,
        u95_gum_k=nan,
        u95_mc_k=nan,
        low_mc_k=nan,
        high_mc_k=nan,
        unexplained_frac=nan,
        measurable=False,
        reason="no head sees this pan on any burner",
        note="",
    )
