"""What the design alone promises, on one page that a review can read."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

from trivet.models.predicted import best_views
from trivet.present.numbers import Formatter, interval, money, number, seconds, share
from trivet.present.parts import ALL
from trivet.records.business_result import BatteryLife, Economics
from trivet.records.design import Display
from trivet.records.dossier import Section, Table
from trivet.records.prediction import Prediction, UnitPopulation
from trivet.records.seeing import Seeing
from trivet.records.warning import WarningTimeline

MAX_CAUTIONS = 8
"""Own estimate: what still fits two screens; the whole prediction has all."""


def answer_section(prediction: Prediction, *, display: Display) -> Section:
    """Return the questions that a review asks first, with their answers."""
    show = Formatter(display)
    rows = (
        *_seen(prediction, show),
        *_measured(prediction, show),
        *_ranged(prediction, show),
        *_warned(prediction.warning),
        *_powered(prediction.battery),
        *_paid(prediction.economics),
    )
    title = "Prediction from the design alone"
    return Section(title, (), (Table(title, ("Question", "Answer"), rows, brief_rows=ALL),))


def first_cautions(prediction: Prediction) -> tuple[str, ...]:
    """Return the general caution and the design's own ones, which stand last, and what is left."""
    cautions = prediction.cautions
    own = [text for text in cautions[1:] if not text.startswith("Alert ")]  # the table has them
    shown = [*cautions[:1], *own[-(MAX_CAUTIONS - 1) :]]
    more = len(cautions) - len(shown)
    tail = f"{len(prediction.assumed)} figures are assumed"
    if more > 0:
        tail = f"{more} more cautions; {tail}"
    lines = [f"Caution: {text}" for text in shown]
    return (*lines, f"{tail}; --whole prints every table, --json the record.")


Answers = Iterator[tuple[str, str]]


def _seen(prediction: Prediction, show: Formatter) -> Answers:
    views = list(best_views(prediction.views).values())
    if views:
        rim = min(views, key=lambda one: one.rim_in_view_frac)
        pixels = min(views, key=lambda one: one.pixels_across)
        yield (
            "is it seen?",
            f"rim at worst {share(rim.rim_in_view_frac)},"
            f" margin {show.length(rim.margin_m)} ({rim.pan} on {rim.burner});"
            f" {number(pixels.pixels_across)} pixels across {pixels.pan}",
        )
    yield from _covered(prediction.seeing)


def _covered(seeing: Seeing) -> Answers:
    if seeing.unseen:
        yield "seen by no head?", ", ".join(seeing.unseen)
    one = seeing.tolerance
    if one is not None:
        worst = f"; most often lost: {one.worst_pan} on {one.worst_burner}"
        yield (
            "covered as mounted?",
            f"all pans in {one.ok_draws} of {one.draws} draws"
            f" ({interval(one.low_frac, one.high_frac, 2)} at 95 %)"
            f"{worst if one.worst_burner else ''}",
        )
    cut = [name for seam in seeing.seams for name in seam.burners_cut]
    if cut:
        yield "cut by a seam?", ", ".join(dict.fromkeys(cut))
    if seeing.shadows:
        most = max(seeing.shadows, key=lambda shadow: shadow.hidden_frac)
        yield (
            "hidden by another pan?",
            f"up to {share(most.hidden_frac)} of {most.pan} on {most.burner},"
            f" by {most.by_pan} on {most.by_burner}",
        )
    if seeing.search is not None:
        yield "where should it hang?", seeing.search.answer


def _measured(prediction: Prediction, show: Formatter) -> Answers:
    known = [one for one in prediction.budgets if one.measurable]
    if prediction.budgets:
        blind = sorted({one.pan for one in prediction.budgets} - {one.pan for one in known})
        never = f"; never {', '.join(blind)}" if blind else ""
        yield "is it measured?", f"{len(known)} of {len(prediction.budgets)} cases{never}"
    if known:
        worst = max(known, key=lambda one: one.u95_k)
        yield (
            "how wrong?",
            f"up to ±{show.difference(worst.u95_k)} at 95 %: {worst.base} in {worst.pan} at"
            f" {show.temperature(worst.temperature_k)}; {worst.reason}",
        )
    units = prediction.population
    if units is not None and units.errors:
        yield "a poor unit?", _poor_unit(units, show)


def _poor_unit(units: UnitPopulation, show: Formatter) -> str:
    worst = max(units.errors, key=lambda one: one.p95_k)
    words = (
        f"95th-percentile unit up to ±{show.difference(worst.p95_k)}, middle unit"
        f" ±{show.difference(worst.median_k)}: {worst.base} in {worst.pan}"
    )
    if not math.isnan(worst.p95_calibrated_k):
        words += (
            f"; after the end of the line ±{show.difference(worst.p95_calibrated_k)},"
            f" yield {share(units.yield_frac)}, {units.cost_per_good_unit}"
            f" {units.currency} and {seconds(units.time_s)} for a good unit"
        )
    if not math.isnan(worst.p95_recalibrated_k):
        words += f"; in the kitchen ±{show.difference(worst.p95_recalibrated_k)}"
    return words


def _ranged(prediction: Prediction, show: Formatter) -> Answers:
    for one in prediction.ranges:
        if one.headroom_k < 0.0:
            short = show.difference(-one.headroom_k)
            yield "in range?", f"{one.limit} lies {short} above the range of {one.head}"
        elif math.isnan(one.headroom_k):
            yield "in range?", f"{one.limit}: unknown, the card of {one.head} states no range"


def _warned(warning: WarningTimeline | None) -> Answers:
    if warning is None:
        return
    half, most = (seconds(warning.first_reading_at_s(part)) for part in (0.5, 0.95))
    settle = f"; settles {seconds(warning.settle_s)}" if warning.settle_s > 0.0 else ""
    reads = "never" if most == "never" else f"{half} half the time, {most} for 95 %"
    yield "how soon does it read?", f"{reads}, woken by {warning.kind}{settle}"
    for alert in dict.fromkeys(one.alert for one in warning.cases):
        outcomes = Counter(one.outcome for one in warning.cases if one.alert == alert)
        words = ", ".join(f"{outcome} at {count}" for outcome, count in outcomes.items())
        yield f"does {alert} come in time?", f"{words} of {outcomes.total()} heating rates"


def _powered(life: BatteryLife) -> Answers:
    days = " / ".join(number(one, 0) for one in (life.days_p10, life.days_p50, life.days_p90))
    parts = [f"{days} days"]
    if life.largest:
        parts.append(f"most by '{life.largest}' ({share(life.shares[0][1])})")
    if math.isfinite(life.remind_day):
        parts.append(f"remind on day {life.remind_day:.0f}")
    if life.claim:
        parts.append(f"claim of {number(life.claim_days, 0)} days {life.claim.split(':')[0]}")
    yield "how long a charge? (P10 / P50 / P90)", "; ".join(parts)
    if life.message is not None:
        message = life.message
        yield (
            "what is sent?",
            f"{message.payload_bytes} bytes in {1e3 * message.airtime_s:.2g} ms,"
            f" {message.j_per_day:.2g} J a day; {'fits' if message.fits else 'does not fit'}",
        )


def _paid(ledger: Economics) -> Answers:
    units, month = ledger.break_even_units, ledger.break_even_month
    even = "never" if units is None else f"{number(units, 0)} units"
    when = "not in the plan" if month is None else f"in month {month}"
    yield (
        "what does it earn?",
        f"contribution {money(ledger.contribution, ledger.currency)}"
        f" ({share(ledger.contribution_frac)}); break-even {even}, {when}",
    )
    rates = ", ".join(share(rate) for rate in ledger.irr_per_year) or "none"
    trough = money(ledger.cash_trough, ledger.currency)
    loss = f"; P(loss) {share(ledger.loss_frac)}" if ledger.draws else ""
    yield (
        "what does the cash do?",
        f"trough {trough} in month {ledger.trough_month};"
        f" NPV {money(ledger.npv, ledger.currency)}; IRR {rates}{loss}",
    )
    if ledger.per_burner:
        words = (
            f"{one.name} {money(one.per_burner_year, ledger.currency)}" for one in ledger.per_burner
        )
        yield "a burner and year", ", ".join(words)
