"""The prediction on one page that a review can read; everything else on demand."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING

from trivet.models.predicted import best_views
from trivet.present.console_business import (
    battery_words,
    cash_words,
    money_words,
    show_battery,
    show_money,
    show_warning,
)
from trivet.present.console_parts import (
    difference_text,
    share_text,
    text_group,
    text_line,
    text_table,
)
from trivet.present.console_production import unit_answers
from trivet.present.console_seeing import seeing_answers
from trivet.records.design import Display
from trivet.records.prediction import Budget, Prediction
from trivet.units import show_length, show_temperature

if TYPE_CHECKING:
    from rich.console import RenderableType

MAX_CAUTIONS = 8


def prediction_page(prediction: Prediction, *, display: Display) -> RenderableType:
    """Return the answers, the errors by base, warning, battery, money and the first cautions."""
    cautions = prediction.cautions
    shown = _first(cautions)
    more = len(cautions) - len(shown)
    tail = f"{len(prediction.assumed)} figures are assumed"
    if more > 0:
        tail = f"{more} more cautions; {tail}"
    return text_group(
        text_table(
            "Prediction from the design alone",
            ("question", "answer"),
            [*_answers(prediction, display)],
        ),
        _errors(prediction, display),
        show_warning(prediction.warning, display=display) if prediction.warning else None,
        show_battery(prediction.battery, display=display) if prediction.battery.options else None,
        show_money(prediction.economics) if prediction.economics.tornado else None,
        *[text_line(f"Caution: {text}") for text in shown],
        text_line(f"{tail}; --whole prints every table, --json the record."),
    )


def _first(cautions: tuple[str, ...]) -> list[str]:
    """Return the general caution and then the design's own ones, which stand last."""
    own = [text for text in cautions[1:] if not text.startswith("Alert ")]  # the table has them
    return [*cautions[:1], *own[-(MAX_CAUTIONS - 1) :]]


def _answers(prediction: Prediction, display: Display) -> Iterator[tuple[str, str]]:
    views = list(best_views(prediction.views).values())
    if views:
        rim = min(views, key=lambda one: one.rim_in_view_frac)
        pixels = min(views, key=lambda one: one.pixels_across)
        yield (
            "is it seen?",
            f"rim at worst {share_text(rim.rim_in_view_frac)},"
            f" margin {show_length(rim.margin_m, display.length)} ({rim.pan} on {rim.burner});"
            f" {pixels.pixels_across:.1f} pixels across {pixels.pan}",
        )
    yield from seeing_answers(prediction.seeing)
    known = [one for one in prediction.budgets if one.measurable]
    if prediction.budgets:
        blind = sorted({one.pan for one in prediction.budgets} - {one.pan for one in known})
        never = f"; never {', '.join(blind)}" if blind else ""
        yield "is it measured?", f"{len(known)} of {len(prediction.budgets)} cases{never}"
    if known:
        worst = max(known, key=lambda one: one.u95_k)
        yield (
            "how wrong?",
            f"up to ±{difference_text(worst.u95_k, display)} at 95 %: {_case(worst, display)};"
            f" {worst.reason}",
        )
    yield from unit_answers(prediction, display)
    for one in prediction.ranges:
        if one.headroom_k < 0.0:
            short = difference_text(-one.headroom_k, display)
            yield "in range?", f"{one.limit} lies {short} above the range of {one.head}"
        elif math.isnan(one.headroom_k):
            yield "in range?", f"{one.limit}: unknown, the card of {one.head} states no range"
    yield from _soon(prediction)
    life = prediction.battery
    yield "how long a charge? (P10 / P50 / P90)", battery_words(life)
    if life.message is not None:
        message = life.message
        yield (
            "what is sent?",
            f"{message.payload_bytes} bytes in {1e3 * message.airtime_s:.2g} ms,"
            f" {message.j_per_day:.2g} J a day; {'fits' if message.fits else 'does not fit'}",
        )
    yield "what does it earn?", money_words(prediction.economics)
    yield "what does the cash do?", cash_words(prediction.economics)
    costs = prediction.economics.per_burner
    if costs:
        words = ", ".join(f"{one.name} {one.per_burner_year}" for one in costs)
        yield "a burner and year", f"{words} ({prediction.economics.currency})"


def _soon(prediction: Prediction) -> Iterator[tuple[str, str]]:
    warning = prediction.warning
    if warning is None:
        return
    half, most = warning.first_reading_at_s(0.5), warning.first_reading_at_s(0.95)
    settle = f"; settles {warning.settle_s:.0f} s" if warning.settle_s > 0.0 else ""
    reads = "never" if math.isinf(most) else f"{half:.0f} s half the time, {most:.0f} s for 95 %"
    yield "how soon does it read?", f"{reads}, woken by {warning.kind}{settle}"
    for alert in dict.fromkeys(one.alert for one in warning.cases):
        outcomes = Counter(one.outcome for one in warning.cases if one.alert == alert)
        words = ", ".join(f"{outcome} at {count}" for outcome, count in outcomes.items())
        yield f"does {alert} come in time?", f"{words} of {outcomes.total()} heating rates"


def _case(one: Budget, display: Display) -> str:
    return f"{one.base} in {one.pan} at {show_temperature(one.temperature_k, display.temperature)}"


def _errors(prediction: Prediction, display: Display) -> RenderableType:
    """Return a row for each base and what is seen of it."""
    rows = []
    keys = dict.fromkeys((one.base, one.of) for one in prediction.budgets)
    for base, of in keys:
        own = [one for one in prediction.budgets if (one.base, one.of) == (base, of)]
        known = sorted((one for one in own if one.measurable), key=lambda one: one.u95_k)
        terms = Counter(_dominant(one) for one in known)
        blind = sorted({one.pan for one in own} - {one.pan for one in known})
        rows.append(
            (
                base,
                of.replace("_", " "),
                f"{len(known)} of {len(own)}",
                _span(known, display),
                terms.most_common(1)[0][0] if terms else "–",
                ", ".join(blind) or "–",
            )
        )
    columns = ("base", "of", "measurable>", "95 % half-width>", "led by", "never measurable in")
    return text_table("Error by base, over pans and temperatures (predicted)", columns, rows)


def _span(known: list[Budget], display: Display) -> str:
    if not known:
        return "–"
    low, high = known[0].u95_k, known[-1].u95_k
    return f"±{difference_text(low, display)} to ±{difference_text(high, display)}"


def _dominant(budget: Budget) -> str:
    lines = [line for line in budget.lines if math.isfinite(line.u_k)]
    return max(lines, key=lambda line: line.u_k).term if lines else "unknown"
