"""Limits against the range of each sensor, and how soon each alert can come."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trivet.models.contents import bare_range, fits, seen_of
from trivet.physics.radiation.measurement import sighted_apparent_k
from trivet.records.design import Base, Design, Limit, Pan
from trivet.records.prediction import AlertMargin, Budget, RangeCheck
from trivet.records.requirement import Alert
from trivet.stages.predict.readings import Wanted, error_budgets
from trivet.stages.predict.views import Eye, Seen, window_sight
from trivet.units import celsius


def range_checks(design: Design, *, eyes: Sequence[Eye]) -> tuple[RangeCheck, ...]:
    """Return how far each limit lies inside each sensor's range.

    Parameters
    ----------
    design : Design
        Limits and surroundings.
    eyes : sequence of Eye
        The heads.

    Returns
    -------
    tuple of RangeCheck
        Headroom is range minus limit: what a black surface behind a clear window
        needs.  NaN where the card states no range.

    Notes
    -----
    A window of 0.86 before a surface of 0.95 lowers what a sensor states of 371 C by
    about 44 K.  The headroom does not count on that: it would be gone with a better
    window or a blacker pan.
    """
    checks = []
    for eye in eyes:
        high = eye.card.range_high_k
        high_k = math.nan if high is None else float(high)
        for limit in design.limits:
            limit_k = float(limit.value_k)
            apparent = sighted_apparent_k(
                limit_k, sight=window_sight(design, eye=eye), band=eye.band
            )
            checks.append(
                RangeCheck(
                    head=eye.head.name,
                    limit=limit.name,
                    limit_k=limit_k,
                    range_high_k=high_k,
                    headroom_k=high_k - limit_k,
                    apparent_at_limit_k=float(apparent),
                )
            )
    return tuple(checks)


@dataclass(frozen=True)
class _Trip:
    """One alert at one rate: where it should and would trip if nothing erred."""

    alert: Alert
    limit: Limit
    rate_kps: float
    needed_k: float
    nominal_k: float


def alert_margins(design: Design, *, seen: Seen) -> tuple[AlertMargin, ...]:
    """Return what is left of the time to each limit at each heating rate.

    Parameters
    ----------
    design : Design
        Alerts, limits, heating rates.
    seen : Seen
        The heads and what they see.

    Returns
    -------
    tuple of AlertMargin
        Alert by alert, rate by rate.  ``possible`` is about physics: the needed trip
        lies above the alert's gate, the border of ordinary cooking; ``lead_s`` is
        what the design leaves: NaN where the alert cannot trip at all.

    Notes
    -----
    The trip is late by the 95 % error of a reading too low on the darkest pan,
    by one frame and by the on-delay.  The pan is one temperature: in preheat its
    hottest part runs ahead of the mean by 50 K (thick aluminium) to over 300 K
    (thin steel).  60 s before 371 C at 1, 2, 3 and 4.4 K/s are 311, 251, 191 and
    107 C.
    """
    trips = [trip for alert in design.alerts for trip in _trips(design, alert)]
    pan = max(design.pans, key=lambda one: bare_range(one)[0])
    asked: list[Wanted] = []
    spans: list[slice] = []
    for trip in trips:
        before = len(asked)
        asked += [Wanted(base, pan, trip.nominal_k) for base in _bases(design, trip, pan)]
        spans.append(slice(before, len(asked)))
    budgets = error_budgets(design, seen=seen, wanted=asked, part="margins")
    return tuple(
        _margin(design, seen.eyes, trip, budgets[span])
        for trip, span in zip(trips, spans, strict=True)
    )


def _trips(design: Design, alert: Alert) -> list[_Trip]:
    if alert.limit is None:
        return []
    limit = design.limit(alert.limit)
    trips = []
    for rate in design.heating_rates_kps:
        needed_k = float(limit.value_k) - float(rate) * float(alert.lead_s)
        if alert.kind == "level":
            nominal_k = float(limit.value_k if alert.set_point_k is None else alert.set_point_k)
        else:
            nominal_k = max(needed_k, float(alert.gate_k))
        trips.append(_Trip(alert, limit, float(rate), needed_k, nominal_k))
    return trips


def _bases(design: Design, trip: _Trip, pan: Pan) -> list[Base]:
    """Return the bases that an alert acts for and whose temperature is the limit's."""
    held = [base for base in design.bases if fits(base, pan=pan)]
    named = trip.alert.bases
    told = [b for b in held if not named or b.contents in named or b.name in named]
    like = [base for base in told if seen_of(base, pan=pan) == trip.limit.of]
    return like or told or held


def _margin(
    design: Design, eyes: Sequence[Eye], trip: _Trip, budgets: Sequence[Budget]
) -> AlertMargin:
    limit_k = float(trip.limit.value_k)
    error_k = max((_late_k(budget) for budget in budgets), default=math.nan)
    latency_s = float(trip.alert.on_delay_s) + max(1.0 / float(e.card.frame_rate_hz) for e in eyes)
    silent = _cannot_trip(design, eyes, trip)
    trip_k = math.nan if silent else trip.nominal_k + error_k + trip.rate_kps * latency_s
    lead_s = (limit_k - trip_k) / trip.rate_kps
    possible = trip.needed_k >= float(trip.alert.gate_k)
    return AlertMargin(
        alert=trip.alert.name,
        limit=trip.limit.name,
        rate_kps=trip.rate_kps,
        needed_trip_k=trip.needed_k,
        trip_k=trip_k,
        lead_s=lead_s,
        possible=possible,
        note=silent or _note(trip, error_k, latency_s, lead_s, possible),
        error_k=error_k,
        latency_s=latency_s,
    )


def _late_k(budget: Budget) -> float:
    """Return by how much a reading may be too low at 95 %; NaN where unknown."""
    if math.isnan(budget.low_mc_k) or math.isnan(budget.u95_gum_k):
        return math.inf
    return max(budget.u95_gum_k, -budget.low_mc_k)


def _cannot_trip(design: Design, eyes: Sequence[Eye], trip: _Trip) -> str:
    """Return why a sensor saturates below the trip, or nothing."""
    for eye in eyes:
        high = eye.card.range_high_k
        if high is None:
            continue
        sight = window_sight(design, eye=eye, emissivity=1.0)
        stated_k = float(sighted_apparent_k(trip.nominal_k, sight=sight, band=eye.band))
        if not stated_k < float(high):
            return (
                f"never by its number: at the trip of {celsius(trip.nominal_k):.0f} °C head"
                f" {eye.head.name} saturates at {celsius(float(high)):.0f} °C; set it lower"
            )
    return ""


def _note(trip: _Trip, error_k: float, latency_s: float, lead_s: float, possible: bool) -> str:
    asked_s = float(trip.alert.lead_s)
    parts = []
    if not possible:
        parts.append(
            f"physically impossible: {asked_s:.0f} s ahead the pan is at"
            f" {celsius(trip.needed_k):.0f} °C, below the gate of"
            f" {celsius(float(trip.alert.gate_k)):.0f} °C and no different from ordinary cooking"
        )
    if not math.isfinite(lead_s):
        parts.append("no worst case: the error of the reading is unknown")
    elif lead_s <= 0.0:
        parts.append("may trip only after the limit")
    elif lead_s < asked_s:
        parts.append(f"leaves {lead_s:.0f} s of the {asked_s:.0f} s asked for")
    else:
        parts.append(f"leaves {lead_s:.0f} s")
    low_k = f"up to {error_k:.0f} K" if math.isfinite(error_k) else "by an unknown amount"
    parts.append(f"reading {low_k} low, {latency_s:.2g} s late")
    low = trip.limit.value_k.low
    if low is not None and math.isfinite(lead_s):
        early_s = lead_s - (float(trip.limit.value_k) - low) / trip.rate_kps
        parts.append(f"{early_s:.0f} s to the limit's low end of {celsius(low):.0f} °C")
    return "; ".join(parts)
