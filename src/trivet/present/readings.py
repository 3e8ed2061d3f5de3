"""Traces of the proof cooks: reading with its band, gaps with their reason, truth, alerts."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.present.numbers import NONE, Formatter, number, read_only, seconds, share
from trivet.present.parts import tabulate
from trivet.quality import Quality, reason
from trivet.records.alertlog import AlertChange
from trivet.records.design import Design, Limit
from trivet.records.dossier import Chart, ChartLine, Mark, Section, ShownCook, Span, Table
from trivet.records.estimate import BurnerEstimate
from trivet.records.requirement import OF_WORDS, Evidence
from trivet.records.verdict import ProofCook
from trivet.scoring.alertmetrics import covers
from trivet.scoring.table import Rows, reported, table

DEVICE = "device"
"""The alert log's word for what the device says about itself."""
COOKED: tuple[Evidence, ...] = ("simulated", "bench")
MAX_POINTS = 500  # own estimate: more than the pixels of a chart's line
MAX_CHARTS = 24  # own estimate: a page of so many traces stays near 2 MB
MAX_COOK_ROWS = 60  # own estimate: three screens
MERGE_FRAC = 0.004  # own estimate: a break shorter than this part of a cook is no wider than a line
UNSTATED = "no reason stated"


def trace_section(design: Design, *, cooks: Sequence[ShownCook]) -> Section:
    """Return a trace of the first repeat of each plan, burner by burner."""
    first: dict[tuple[str, str], ShownCook] = {}
    for one in cooks:
        first.setdefault((one.cook.evidence, one.cook.plan), one)
    charts = [
        trace_chart(design, one, burner)
        for one in first.values()
        for burner in one.cook.estimate.burners
        if _worth_drawing(one.cook, burner)
    ]
    words = [
        "Where the product withholds its number the trace has a gap, and the reason stands"
        " below it: a gap is no reading, never a cool one. Truth and reference are of the"
        " same surface as the reading."
    ]
    if len(first) < len(cooks):
        words.append(
            f"Drawn: the first repeat of each cook, {len(first)} of {len(cooks)} recordings."
        )
    if len(charts) > MAX_CHARTS:
        words.append(f"Of {len(charts)} traces the first {MAX_CHARTS} are drawn.")
    if not cooks:
        words.append("No proof cook was run or recorded.")
    tables = tuple(table for grade in COOKED if (table := _cook_table(cooks, grade)) is not None)
    return Section("Proof cooks", tuple(words), tables, tuple(charts[:MAX_CHARTS]))


def _cook_table(cooks: Sequence[ShownCook], grade: Evidence) -> Table | None:
    rows = [
        (shown.cook, one)
        for shown in cooks
        for one in shown.cook.estimate.burners
        if shown.cook.evidence == grade and _worth_drawing(shown.cook, one)
    ]
    if not rows:
        return None
    note = "With a reading: counted share of all moments of this one cook; no rate is claimed."
    if len(rows) > MAX_COOK_ROWS:
        note = f"The first {MAX_COOK_ROWS} of {len(rows)} rows. {note}"
    return tabulate(
        "Proof cooks",
        rows[:MAX_COOK_ROWS],
        {
            "Cook": lambda row: row[0].name,
            "Burner": lambda row: row[1].burner,
            "Length": lambda row: _length(row[0].estimate.time_s),
            "Moments": lambda row: number(row[0].estimate.time_s.size, 0),
            "With a reading": lambda row: _valid_share(row[1]),
            "Withheld most for": lambda row: _withheld(row[1], 1),
            "Alerts": lambda row: _alert_counts(row[0], row[1].burner),
        },
        note=note,
        evidence=grade,
    )


def _length(time_s: FloatArray) -> str:
    return seconds(float(time_s[-1] - time_s[0])) if time_s.size else "0 s"


def _valid_share(one: BurnerEstimate) -> str:
    good = one.valid
    return share(float(good.mean()), 0) if good.size else "no moment"


def _withheld(one: BurnerEstimate, most: int) -> str:
    lost = Counter(withheld_reasons(one)).most_common(most)
    return ", ".join(f"{word} ({count} moments)" for word, count in lost) or NONE


def _alert_counts(cook: ProofCook, burner: str) -> str:
    changes = [one for one in cook.alerts.changes if one.burner == burner and one.state == "on"]
    alerts = Counter(change.alert for change in changes)
    return ", ".join(f"{name} {count}×" for name, count in sorted(alerts.items())) or "none"


def _worth_drawing(cook: ProofCook, one: BurnerEstimate) -> bool:
    """Whether a pan was there in truth, on the sheet, or in the product's eyes."""
    stood = cook.truth.burners if cook.truth else cook.reference.sheet
    return one.burner in {row.burner for row in stood} or bool(one.valid.any())


def withheld_reasons(one: BurnerEstimate) -> Iterator[str]:
    """Yield the reason of each moment without a number."""
    for flags in one.flags[~one.valid]:
        word = reason(Quality(int(flags)))
        yield UNSTATED if word == "ok" else word.replace("_", " ")


def trace_chart(design: Design, shown: ShownCook, one: BurnerEstimate) -> Chart:
    """Return the trace of one burner of a cook."""
    cook = shown.cook
    time_s = cook.estimate.time_s
    found = reported(table(cook, design=design))
    rows = next((rows for rows in found if rows.burner == one.burner), None)
    spans = [*_gaps(one, time_s), *_alert_spans(cook.alerts.changes, one.burner, time_s)]
    lines = [*_readings(one, time_s), *_references(cook, one.burner)]
    error = ""
    if rows is not None and rows.actual.truth is not None:
        # The truth of what the reading is of; where there is none, of what is seen.
        like_k = np.where(rows.of >= 0, rows.so_k, rows.seen_k)
        lines += _truths(rows, like_k)
        error = _largest_error(design, one, like_k)
    marks = tuple(
        Mark(change.time_s, f"{change.alert} on")
        for change in cook.alerts.changes
        if change.burner == one.burner and change.state == "on"
    )
    return Chart(
        "trace",
        f"Cook {cook.name}, burner {one.burner}",
        f"{_caption(one, time_s)}.{error}{_stopped(cook)}",
        x_label="time",
        y_label="temperature",
        lines=(*lines, *_limits(design, shown, one.burner, rows)),
        marks=marks,
        spans=tuple(spans),
        evidence=cook.evidence,
    )


def _thin(size: int) -> slice:
    return slice(None, None, max(1, math.ceil(size / MAX_POINTS)))


def _readings(one: BurnerEstimate, time_s: FloatArray) -> list[ChartLine]:
    keep = _thin(time_s.size)
    good = one.valid
    reported = np.where(good, one.reported_k, np.nan)
    half = np.where(good, one.u95_k, np.nan)
    hottest = np.where(np.isfinite(one.hottest_k), one.hottest_k, np.nan)
    x = read_only(time_s[keep])
    return [
        ChartLine(
            "reported, with its 95 % interval",
            x,
            read_only(reported[keep]),
            read_only((reported - half)[keep]),
            read_only((reported + half)[keep]),
            "reading",
        ),
        ChartLine("hottest part, for alerts", x, read_only(hottest[keep]), style="hottest"),
    ]


def _truths(rows: Rows, like_k: FloatArray) -> list[ChartLine]:
    truth = rows.actual.truth
    assert truth is not None
    keep, own = _thin(rows.time_s.size), _thin(truth.time_s.size)
    read = read_only(rows.time_s[keep]), read_only(like_k[keep])
    hottest = read_only(truth.time_s[own]), read_only(truth.hottest_k[own])
    return [
        ChartLine("truth of the surface read", *read, style="truth"),
        ChartLine("truth, hottest part of the pan", *hottest, style="truth"),
    ]


def _references(cook: ProofCook, burner: str) -> Iterator[ChartLine]:
    """Yield the probes on a burner of a bench cook."""
    for series in cook.reference.probes if cook.truth is None else ():
        if series.probe.burner != burner:
            continue
        keep = _thin(series.time_s.size)
        value, half = series.temperature_k[keep], 2 * series.u_k[keep]
        touches = series.probe.touches.replace("_", " ")
        yield ChartLine(
            f"reference {series.probe.column} on {touches}",
            read_only(series.time_s[keep]),
            read_only(value),
            read_only(value - half),
            read_only(value + half),
            "reference",
        )


def _limits(design: Design, shown: ShownCook, burner: str, rows: Rows | None) -> list[ChartLine]:
    """Return the limits that an alert of this cook guards, and the band that was told."""
    time_s = shown.cook.estimate.time_s
    if not time_s.size:
        return []
    ends = read_only([float(time_s[0]), float(time_s[-1])])
    guarded = {
        alert.limit
        for alert in design.alerts
        if not alert.bases or (rows is not None and covers(alert, rows, design))
    }
    lines = [_limit_line(one, ends) for one in design.limits if one.name in guarded]
    told = shown.told.about(burner).target_band
    for band in design.bands:
        if band.name == told:
            low, high = read_only([band.low_k] * 2), read_only([band.high_k] * 2)
            middle = read_only([(band.low_k + band.high_k) / 2] * 2)
            lines.append(ChartLine(f"target band {band.name}", ends, middle, low, high, "band"))
    return lines


def _limit_line(limit: Limit, ends: FloatArray) -> ChartLine:
    value = limit.value_k
    low, high = getattr(value, "low", None), getattr(value, "high", None)
    of = limit.of.replace("_", " ")
    return ChartLine(
        f"limit {limit.name} (of {of})",
        ends,
        read_only([float(value)] * 2),
        None if low is None else read_only([low] * 2),
        None if high is None else read_only([high] * 2),
        "limit",
    )


def _gaps(one: BurnerEstimate, time_s: FloatArray) -> list[Span]:
    """Return the stretches without a number, by reason, from every frame."""
    good = one.valid
    if not time_s.size or good.all():
        return []
    step = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    merge = MERGE_FRAC * float(time_s[-1] - time_s[0])
    words = list(withheld_reasons(one))
    at = np.flatnonzero(~good)
    spans: list[Span] = []
    latest: dict[str, int] = {}
    for word, index in zip(words, at, strict=True):
        start = float(time_s[index])
        end = float(time_s[index + 1]) if index + 1 < time_s.size else start + step
        place = latest.get(word)
        if place is not None and start - spans[place].end <= merge:
            spans[place] = Span(spans[place].start, end, word, "gap")
        else:
            latest[word] = len(spans)
            spans.append(Span(start, end, word, "gap"))
    return spans


def _alert_spans(changes: Sequence[AlertChange], burner: str, time_s: FloatArray) -> Iterator[Span]:
    end = float(time_s[-1]) if time_s.size else 0.0
    started: dict[str, float] = {}
    for change in changes:
        if change.burner not in (burner, DEVICE) or not change.switches:
            continue
        if change.state == "on":
            started.setdefault(change.alert, change.time_s)
        elif change.alert in started:
            yield Span(started.pop(change.alert), change.time_s, change.alert, "alert")
    for alert, start in started.items():
        yield Span(start, max(end, start), alert, "alert")


def _caption(one: BurnerEstimate, time_s: FloatArray) -> str:
    good = one.valid
    step = float(np.median(np.diff(time_s))) if time_s.size > 1 else 0.0
    shown = share(float(good.mean()), 0) if good.size else "none"
    text = f"A reading in {shown} of {good.size} moments"
    lost = Counter(withheld_reasons(one))
    if lost:
        parts = [f"{word} {seconds(count * step)}" for word, count in lost.most_common()]
        text += f"; withheld: {', '.join(parts)}"
    of = Counter(OF_WORDS[index] for index in one.of[good] if index >= 0)
    if of:
        text += f". The reading is of: {', '.join(word.replace('_', ' ') for word in sorted(of))}"
    return text


def _largest_error(design: Design, one: BurnerEstimate, like_k: FloatArray) -> str:
    show = Formatter(design.display)
    error = one.reported_k - like_k
    judged = np.abs(error[one.valid & np.isfinite(error)])
    if not judged.size:
        return ""
    return f" Largest error while shown: {show.difference(float(judged.max()))}."


def _stopped(cook: ProofCook) -> str:
    if cook.truth is not None and cook.truth.stopped:
        return f" The simulation ended early: {cook.truth.stopped.rstrip('.')}."
    return ""
