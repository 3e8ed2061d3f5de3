"""From a cold, sleeping unit to the alert: what is left of each lead."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.assumed import HOT_SPOT_BESIDE_FRAC
from trivet.models.predicted import best_view
from trivet.models.sensing import frame_s, settling_of
from trivet.physics.sensor.warning import (
    HOT_SPOT_M2,
    FirstReading,
    Starts,
    first_reading_s,
    needed_trip_k,
    seen_of_hottest,
    settling_k,
    spot_share_frac,
)
from trivet.records.business_result import BatteryLife
from trivet.records.design import Design
from trivet.records.prediction import AlertMargin
from trivet.records.requirement import Alert, Of
from trivet.records.warning import Outcome, WakeStep, WarningCase, WarningTimeline
from trivet.stages.predict.views import Seen
from trivet.units import celsius

WAKE_STARTS = 20_000  # own estimate: a share of the starts is good to 0.2 points


@dataclass(frozen=True)
class _Sleeper:
    """What the cold unit does in 95 % of the starts, and what it sees of the hottest part."""

    awake_s: float
    """Of a start at a given rate: waking. [s]"""
    reading_s: float
    start_k: float
    hot_ratio: float
    seen_frac: float
    """Rise of the reading for one kelvin of the hottest part."""
    settle_s: float
    settle_k: float


def warning_timeline(
    design: Design,
    *,
    seen: Seen,
    margins: Sequence[AlertMargin],
    generator: np.random.Generator,
) -> WarningTimeline:
    """Return how soon a cold, sleeping unit reads, and what that leaves of each lead.

    Parameters
    ----------
    design : Design
        Waking, alerts, limits, heating rates.
    seen : Seen
        Heads and views.
    margins : sequence of AlertMargin
        Error and latency of each alert at each rate, settled.
    generator : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    WarningTimeline
        Steps of waking, percentiles of the first reading over the phase of the looks
        and the heating rate, and a case for each alert and rate.

    Notes
    -----
    Rates are those of the hottest 5 cm2, drawn evenly between the least and the
    largest of the design. A case takes 95 % of the starts at its own rate, the error
    at 95 % with what the sensor's settling adds, one frame and the on-delay; the
    largest declared ratio of hottest part to mean; the pan starts at the room's
    temperature. Settling widens intervals; it never silences a level alert.
    60 s before 371 C at 1, 2, 3 and 4.4 K/s: 311, 251, 191 and 107 C.

    References
    ----------
    :mod:`trivet.physics.sensor.warning`.
    """
    rates = np.array([float(rate) for rate in design.heating_rates_kps])
    drawn = _wake(design, _rates(rates, generator), generator)
    settle_s, settle_k = settling_of(design)
    cases = []
    for margin in margins:
        alert = next(one for one in design.alerts if one.name == margin.alert)
        own = _wake(design, np.full(WAKE_STARTS // 10, margin.rate_kps), generator)
        sleeper = _sleeper(design, seen, own, of=design.limit(margin.limit).of)
        cases.append(_case(design, alert, margin, sleeper))
    return WarningTimeline(
        kind=design.wake.kind,
        steps=_steps(drawn, float(design.wake.boot_s)),
        first_reading_s=tuple(_percentile(drawn.reading_s, one / 100) for one in range(1, 100)),
        settle_s=settle_s,
        settle_k=settle_k,
        start_k=float(design.surroundings.ambient_k),
        cases=tuple(cases),
        notes=_notes(design, settle_s, settle_k),
    )


def _rates(rates: FloatArray, generator: np.random.Generator) -> FloatArray:
    return np.asarray(generator.uniform(rates.min(), rates.max(), WAKE_STARTS))


def _wake(design: Design, rate_kps: FloatArray, generator: np.random.Generator) -> FirstReading:
    wake, count = design.wake, rate_kps.size
    seen = wake.seen_rise
    share = np.full(count, float(seen))
    if seen.low is not None and seen.high is not None and seen.low < seen.high:
        share = generator.triangular(seen.low, float(seen), seen.high, count)
    starts = Starts(
        rate_kps=rate_kps,
        seen_rise=np.maximum(share, 1e-6),
        phase_frac=generator.random(count),
        caught=generator.random(count) < float(wake.catch_frac),
    )
    return first_reading_s(
        starts,
        kind=wake.kind,
        trip_k=float(wake.trip_delta_k),
        lag_s=float(wake.lag_s),
        poll_s=float(design.battery.poll_every_s),
        boot_s=float(wake.boot_s),
        frame_s=frame_s(design),
    )


def _percentile(values: FloatArray, share: float) -> float:
    """Return the value that a share of the draws does not exceed; infinite where they do."""
    return float(np.sort(values)[max(math.ceil(share * values.size) - 1, 0)])


def _steps(drawn: FirstReading, boot_s: float) -> tuple[WakeStep, ...]:
    rows = (
        ("wake level passed", drawn.tripped_s),
        ("awake", drawn.awake_s),
        ("booted", drawn.awake_s + boot_s),
        ("first reading", drawn.reading_s),
    )
    return tuple(
        WakeStep(name, *(_percentile(values, share) for share in (0.05, 0.50, 0.95)))
        for name, values in rows
    )


def _sleeper(design: Design, seen: Seen, drawn: FirstReading, *, of: Of) -> _Sleeper:
    """Return what is seen of the hottest part of the pan; oil and liquids mix, so have none."""
    settle_s, settle_k = settling_of(design)
    ratio = 1.0
    if of in ("pan", "hidden_pan"):
        ratios = [pan.hot_spot_ratio for pan in design.pans]
        ratio = max(float(one) if one.high is None else one.high for one in ratios)
    return _Sleeper(
        awake_s=_percentile(drawn.awake_s, 0.95),
        reading_s=_percentile(drawn.reading_s, 0.95),
        start_k=float(design.surroundings.ambient_k),
        hot_ratio=ratio,
        seen_frac=min(
            (
                seen_of_hottest(
                    ratio,
                    spot_share=_spot_share(design, seen, burner.name),
                    beside_frac=HOT_SPOT_BESIDE_FRAC.value,
                )
                for burner in design.burners
            ),
            default=1.0,
        ),
        settle_s=settle_s,
        settle_k=settle_k,
    )


def _spot_share(design: Design, seen: Seen, burner: str) -> float:
    """Return the share of a pixel's signal that 5 cm2 fill, in the burner's best view."""
    shares = []
    for pan in design.pans:
        view = best_view(seen.views, burner=burner, pan=pan.name)
        if view is None or not view.footprint_m > 0.0:
            continue
        eye = next(one for one in seen.eyes if one.head.name == view.head)
        shares.append(
            spot_share_frac(
                math.sqrt(HOT_SPOT_M2),
                footprint_m=view.footprint_m,
                blur_px=float(eye.card.blur_px),
            )
        )
    return min(shares, default=0.0)


def _case(design: Design, alert: Alert, margin: AlertMargin, sleeper: _Sleeper) -> WarningCase:
    limit_k, rate = float(design.limit(margin.limit).value_k), margin.rate_kps
    lead_s, start_k = float(alert.lead_s), sleeper.start_k
    needed_k = float(needed_trip_k(limit_k, rate_kps=rate, lead_s=lead_s))
    settled_trip_k = margin.trip_k - margin.error_k - rate * margin.latency_s
    ready_s = sleeper.reading_s + float(alert.on_delay_s)
    if alert.kind == "time_to_limit":
        ready_s += float(alert.slope_window_s)
    # The reading trails the hottest part, and may be low; settling is taken at the trip.
    hot_k = start_k + (settled_trip_k + margin.error_k - start_k) / sleeper.seen_frac
    lag_k = (hot_k - start_k) * (1.0 - sleeper.seen_frac)
    since_s = (hot_k - start_k) / rate - sleeper.awake_s
    extra_k = float(
        settling_k(max(since_s, 0.0), offset_k=sleeper.settle_k, settle_s=sleeper.settle_s)
    )
    error_k = margin.error_k + extra_k
    hot_k = start_k + (settled_trip_k + error_k - start_k) / sleeper.seen_frac
    trip_at_s = max((hot_k - start_k) / rate + margin.latency_s, ready_s)
    limit_at_s = (limit_k - start_k) / rate
    lead_left_s = limit_at_s - trip_at_s
    needed_at_s = (needed_k - start_k) / rate
    case = WarningCase(
        alert=alert.name,
        limit=margin.limit,
        limit_k=limit_k,
        rate_kps=rate,
        lead_asked_s=lead_s,
        needed_trip_k=needed_k,
        needed_at_s=needed_at_s,
        needed_mean_k=start_k + (needed_k - start_k) / sleeper.hot_ratio,
        needed_set_k=start_k
        + (needed_k - rate * margin.latency_s - start_k) * sleeper.seen_frac
        - error_k,
        settling_k=extra_k,
        error_k=error_k,
        lag_k=lag_k,
        latency_s=margin.latency_s,
        trip_k=start_k + rate * trip_at_s,
        trip_at_s=trip_at_s,
        limit_at_s=limit_at_s,
        lead_s=lead_left_s,
        outcome="in time",
        reason="",
    )
    outcome, reason = _outcome(alert, case, ready_s)
    return replace(case, outcome=outcome, reason=reason)


def _outcome(alert: Alert, case: WarningCase, ready_s: float) -> tuple[Outcome, str]:
    """Return what is left of the lead and why; what physics forbids comes first."""
    at = f"{celsius(case.needed_trip_k):.0f} °C"
    if case.needed_at_s < 0.0:
        return "impossible", (
            f"from cold to the limit takes {case.limit_at_s:.0f} s, less than the"
            f" {case.lead_asked_s:.0f} s asked for: no product can warn so early"
        )
    if case.needed_trip_k < float(alert.gate_k):
        return "ordinary cooking", (
            f"{case.lead_asked_s:.0f} s ahead the hottest part is at {at}, below the gate of"
            f" {celsius(float(alert.gate_k)):.0f} °C: no different from ordinary cooking"
        )
    if not math.isfinite(case.lead_s):
        return "never", "it cannot trip by its number, or its error is unknown"
    left = f"{max(case.lead_s, 0.0):.0f} s of {case.lead_asked_s:.0f} s are left"
    why = (
        f"reading up to {case.error_k:.0f} K low ({case.settling_k:.0f} K of it settling),"
        f" {case.lag_k:.0f} K behind the hottest part, {case.latency_s:.2g} s late"
    )
    if case.lead_s >= case.lead_asked_s:
        return "in time", f"{left}; {why}"
    if case.needed_at_s < ready_s:
        return "asleep", (
            f"needed {case.needed_at_s:.0f} s after burner on, ready after {ready_s:.0f} s; {left}"
        )
    if case.lead_s <= 0.0:
        return "too late", f"may trip only after the limit; {why}"
    return "short", f"{left}; a set point of {celsius(case.needed_set_k):.0f} °C would do; {why}"


def _notes(design: Design, settle_s: float, settle_k: float) -> tuple[str, ...]:
    wake = design.wake
    words = {
        "polling": f"It looks every {float(design.battery.poll_every_s):.3g} s.",
        "motion": f"A motion detector catches {float(wake.catch_frac):.0%} of the starts.",
        "thermal-trip": "A comparator is always on.",
    }
    notes = [words[wake.kind]]
    if settle_s > 0.0:
        size = "by an unknown amount" if math.isnan(settle_k) else f"by up to {settle_k:.1f} K"
        notes.append(
            f"For {settle_s:.0f} s after waking the sensor settles: intervals are wider {size};"
            " level alerts act all the same."
        )
    if wake.kind != "thermal-trip" and not float(design.battery.poll_every_s) > 0.0:
        notes.append("Without looks, a start that nothing catches is never seen.")
    return tuple(notes)


def warning_cautions(
    design: Design, *, warning: WarningTimeline, life: BatteryLife
) -> tuple[str, ...]:
    """Return what a reader must be told of waking and of the battery.

    Parameters
    ----------
    design : Design
        Its battery and radio.
    warning : WarningTimeline
        First readings.
    life : BatteryLife
        Claim and message.

    Returns
    -------
    tuple of str
        Plain sentences.
    """
    found = []
    first = warning.first_reading_at_s(0.95)
    if math.isinf(first):
        found.append("More than 5 % of starts are never seen: nothing wakes the unit.")
    if life.claim.startswith(("refuted", "not supported")):
        found.append(f"The claimed life of a charge is {life.claim}.")
    if life.message is not None and not life.message.fits:
        found.append(
            f"A message of {life.message.payload_bytes} bytes does not fit the radio's"
            f" {design.radio.most_bytes if design.radio else 0}."
        )
    if "hard stop" in life.note:
        found.append(f"Battery: {life.note.split(';')[0]}.")
    return tuple(found)
