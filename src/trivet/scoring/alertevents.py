"""What each kind of alert is about, as it was in truth: its event, and its cause at a moment."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.actual import Series, hottest_series, interpolated
from trivet.models.oilpoints import COMMON, limit_value_k
from trivet.records.benchsheet import ToldEntry
from trivet.records.design import Design
from trivet.records.requirement import Alert
from trivet.scoring.table import Rows

TRUE_RATE_SPAN_S = 10.0
"""Span of the true heating rate."""
RATE_MARGIN = 1.5
"""The cause of a predicted alert counts as there if the limit lies within this many leads."""
NEAR_K = 5.0
"""A cause this close counts as there; apart from the dead bands, so that no wide dead band can
excuse a nuisance. Assumed, no source."""
DRY_KG = 5e-4
"""Water left in a pot that counts as dry; assumed, no source."""
DRY_WITHIN_S = 30.0
"""A boil-dry alert is in time within this of the pot being dry, and no nuisance as long before."""
AWAY = "kitchen"


@dataclass(frozen=True)
class Due:
    """The event of an alert: when it came, and when the alert was due at the latest."""

    event_s: float
    """Infinite if it never came. [s]"""
    due_s: float
    """Infinite if the cook ended before. [s]"""
    rate_kps: float = math.nan


NO_EVENT = Due(math.inf, math.inf)


def due_of(one: Alert, rows: Rows, *, design: Design) -> Due:
    """Return when an alert was due on a burner, as truth, probes or events tell.

    Parameters
    ----------
    one : Alert
        Its kind decides what counts as the event.
    rows : Rows
        The burner of a proof cook.
    design : Design
        Limits.

    Returns
    -------
    Due
        Infinite times where the event did not come.

    Notes
    -----
    A limit of the pan is due ``time_available`` before the hottest 5 cm2 reach it. Where the
    cook stopped before, as oil does on the bench at 250 C, it is due when the surface passes
    the limit less that time at its present rate; a cook that stopped even before is censored,
    and so is a simulated one that ends on its way to the limit.
    """
    match one.kind:
        case "level" | "time_to_limit":
            return _limit_due(one, rows, design)
        case "boil_dry":
            return _dry_due(rows)
        case "uneven":
            return _uneven_due(one, rows)
        case _:
            return NO_EVENT


def _limit_due(one: Alert, rows: Rows, design: Design) -> Due:
    limit = design.limit(str(one.limit))
    words = {"smoke": "smoke", "autoignition": "ignition"}
    if limit.oil_point is not None:
        found = [
            event.time_s
            for event in rows.cook.reference.events
            if event.burner == rows.burner and event.event == words[limit.oil_point]
        ]
        if not found:
            return NO_EVENT
        # That oil smokes is told as it does; that it will smoke or ignite, in time to act.
        now = limit.oil_point == "smoke" and one.kind == "level"
        ahead = 0.0 if now else float(one.time_available_s)
        rate_kps = _rate_at(hottest_series(rows.actual, "pan"), found[0])
        return Due(found[0], found[0] - ahead, rate_kps)
    series = hottest_series(rows.actual, limit.of)
    if not series.known:
        return NO_EVENT
    time_s, value_k, rate = _rates(series)
    ahead = float(one.time_available_s)
    reached = np.flatnonzero(value_k >= float(limit.value_k))
    if reached.size:
        event = float(time_s[reached[0]])
        return Due(event, event - ahead, _rate_at(series, event - ahead))
    near = np.flatnonzero(value_k >= float(limit.value_k) - np.maximum(rate, 0.0) * ahead)
    if not near.size:
        return NO_EVENT
    if rows.actual.truth is not None:
        # The pan is known to the end: only one still on its way to the limit is censored.
        coming = near[-1] == time_s.size - 1
        return Due(float(time_s[-1]) + ahead, math.inf) if coming else NO_EVENT
    return Due(math.inf, float(time_s[near[0]]), float(rate[near[0]]))


def _rates(series: Series) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return moments, values and the rate over the ten seconds before. [s, K, K/s]"""
    known = np.isfinite(series.value_k)
    time_s, value_k = series.time_s[known], series.value_k[known]
    before = np.interp(time_s - TRUE_RATE_SPAN_S, time_s, value_k)
    span = np.minimum(TRUE_RATE_SPAN_S, time_s - time_s[0])
    rate = np.where(span > 0.5 * TRUE_RATE_SPAN_S, (value_k - before) / np.maximum(span, 1.0), 0.0)
    return time_s, value_k, rate


def _rate_at(series: Series, at_s: float) -> float:
    if not series.known:
        return math.nan
    time_s, _, rate = _rates(series)
    # Of a moment before the burner was lit, the first rate that there is.
    return float(np.interp(max(at_s, float(time_s[0]) + TRUE_RATE_SPAN_S), time_s, rate))


def _dry_due(rows: Rows) -> Due:
    if rows.actual.truth is None or rows.actual.contents != "water":
        return NO_EVENT
    dry = np.flatnonzero(rows.actual.truth.contents_kg <= DRY_KG)
    if not dry.size:
        return NO_EVENT
    event = float(rows.actual.truth.time_s[dry[0]])
    ends = float(rows.actual.truth.time_s[-1]) < event + DRY_WITHIN_S
    return Due(event, math.inf if ends else event + DRY_WITHIN_S)


def _uneven_due(one: Alert, rows: Rows) -> Due:
    if rows.actual.truth is None:
        return NO_EVENT
    spread = rows.actual.truth.pan_p95_k - rows.actual.truth.pan_p5_k
    wide = np.flatnonzero(spread >= float(one.spread_delta_k))
    if not wide.size:
        return NO_EVENT
    event = float(rows.actual.truth.time_s[wide[0]])
    return Due(event, event + 2.0 * float(one.on_delay_s) + TRUE_RATE_SPAN_S)


def cause_there(
    one: Alert, rows: Rows, at_s: float, *, design: Design, ordinary: bool = False
) -> bool | None:
    """Return whether an alert's cause was there when it came on, None if nothing tells.

    Parameters
    ----------
    one : Alert
        The alert.
    rows : Rows
        The burner of a proof cook.
    at_s : float
        When it came on. [s]
    design : Design
        Limits, bands, told channels.
    ordinary : bool
        The cook is attended and ordinary: an alert set below its limit is then a nuisance
        unless the surface comes to the limit itself in 1.5 times the time available.

    Returns
    -------
    bool or None
        Loss of sight is its own cause.

    Notes
    -----
    A level alert's is there if the surface came within 5 K of the set point; a predicted
    alert's if its true rate over the slope window reaches that within 1.5 leads, or the surface
    comes there in that time; a dry pot's if the pot was dry within 30 s. The set point of an
    oil is that of the told one.
    """
    match one.kind:
        case "level" | "time_to_limit":
            if ordinary and one.kind == "level" and one.set_point_k is not None:
                return _limit_came(one, rows, at_s, design)
            return _limit_there(one, rows, at_s, design)
        case "boil_dry":
            if rows.actual.truth is None:
                return None
            return _dry_due(rows).event_s <= at_s + DRY_WITHIN_S
        case "uneven":
            return _uneven_there(one, rows, at_s)
        case "ready" | "below_band":
            return _band_there(one, rows, at_s, design)
        case "unattended":
            return _away(rows, at_s, float(one.on_delay_s))
        case "left_on":
            return None if rows.actual.truth is None else False
        case _:
            return True


def _limit_there(one: Alert, rows: Rows, at_s: float, design: Design) -> bool | None:
    limit = design.limit(str(one.limit))
    value_k = limit_value_k(limit, design=design, told=_told(rows, design))
    series = hottest_series(rows.actual, limit.of)
    if not series.known or (limit.oil_point is not None and rows.actual.truth is not None):
        # The product acts on the hottest part, and oil there is as hot as the pan.
        series = hottest_series(rows.actual, "pan")
    before = np.linspace(at_s - float(one.slope_window_s) - float(one.on_delay_s), at_s, 41)
    past = interpolated(series.time_s, series.value_k, before)
    if not np.isfinite(past).any():
        return None
    if one.kind == "level":
        point = value_k if one.set_point_k is None else float(one.set_point_k)
        return bool(np.nanmax(past) >= point - NEAR_K)
    horizon = RATE_MARGIN * float(one.lead_s)
    after = interpolated(series.time_s, series.value_k, np.linspace(at_s, at_s + horizon, 181))
    comes_close = float(np.nanmax(np.append(past, after))) >= value_k - NEAR_K
    return comes_close or _ahead_k(before, past, horizon) >= value_k - NEAR_K


def _limit_came(one: Alert, rows: Rows, at_s: float, design: Design) -> bool | None:
    """Return whether the surface came to the limit itself, before or soon after an alert."""
    limit = design.limit(str(one.limit))
    series = hottest_series(rows.actual, "pan")
    horizon = at_s + RATE_MARGIN * float(one.time_available_s)
    seen = series.value_k[series.time_s <= horizon]
    if not np.isfinite(seen).any():
        return None
    return bool(np.nanmax(seen) >= float(limit.value_k) - NEAR_K)


def _told(rows: Rows, design: Design) -> ToldEntry:
    """Return what a cook tells about the oil in truth's pan."""
    if rows.actual.truth is None or rows.actual.contents not in COMMON:
        return ToldEntry(base_contents=rows.actual.contents)
    base = design.base(rows.actual.truth.base)
    name = base.oil or COMMON[base.contents]
    return ToldEntry(base_contents=rows.actual.contents, oil=name, uses=base.uses)


def _ahead_k(time_s: FloatArray, value_k: FloatArray, horizon_s: float) -> float:
    """Return the straight-line value a horizon ahead of the last moment. [K]"""
    known = np.isfinite(value_k)
    if known.sum() < 3:
        return -math.inf
    slope, last = np.polyfit(time_s[known] - time_s[-1], value_k[known], 1)
    return float(last + slope * horizon_s)


def _uneven_there(one: Alert, rows: Rows, at_s: float) -> bool | None:
    if rows.actual.truth is None:
        return None
    spread = rows.actual.truth.pan_p95_k - rows.actual.truth.pan_p5_k
    near = np.abs(rows.actual.truth.time_s - at_s) <= float(one.on_delay_s) + 1.0
    return bool(spread[near].max(initial=0.0) >= float(one.spread_delta_k) - NEAR_K)


def _band_there(one: Alert, rows: Rows, at_s: float, design: Design) -> bool | None:
    truth = rows.actual.truth
    fitting = [
        band
        for band in design.bands
        if not band.bases or (truth is not None and truth.base in band.bases)
    ]
    if not fitting:
        return None
    answers = []
    for band in fitting:
        series = hottest_series(rows.actual, band.of)
        now = interpolated(series.time_s, series.value_k, np.array([at_s]))[0]
        mean = interpolated(*_mean(rows), np.array([at_s]))[0]
        if one.kind == "ready":
            answers.append(mean - NEAR_K <= band.high_k and now + NEAR_K >= band.low_k)
        else:
            answers.append(mean <= band.low_k + NEAR_K)
    return any(answers)


def _mean(rows: Rows) -> tuple[FloatArray, FloatArray]:
    if rows.actual.truth is not None:
        return rows.actual.truth.time_s, rows.actual.truth.pan_k
    series = hottest_series(rows.actual, "pan")
    return series.time_s, series.value_k


def _away(rows: Rows, at_s: float, for_s: float) -> bool | None:
    """Return whether nobody was there for so long before a moment, by the cook's events."""
    there_since, known = 0.0, False
    away = False
    for event in rows.cook.reference.events:
        if event.value != AWAY or event.time_s > at_s:
            continue
        known, away, there_since = True, event.event == "person_out", event.time_s
    # Answers of the channel count for a while, so the alert may come that much later.
    return bool(known and away and at_s - there_since >= for_s - 1.0)
