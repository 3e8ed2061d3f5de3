"""The page of a score: goals first, then figures and pictures, a section a sheet."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np

from trivet.present.numbers import NONE, interval, plain, share
from trivet.present.parts import claim_section, tabulate
from trivet.records.calibration import ReporterChoice
from trivet.records.checks import SAID, CheckScore, ConfusionRow
from trivet.records.design import Design, Display
from trivet.records.dossier import Chart, ChartLine, Claim, Dossier, Grade, Section, Table
from trivet.records.scoring import STRATA, STRATUM_WORDS, PartScore, Score, ScoreSheet, StratumScore
from trivet.scoring.registry import METRICS, Metric

MAX_FAILED = 5
"""Own estimate: cooks that gave nothing and are named, enough to see a pattern."""
WORDS = STRATUM_WORDS | {name: one.meaning for name, one in METRICS["check"].items()}
"""Of strata and questions."""
FIGURE_NOTE = (
    "Errors in K. Valid: share of the heated moments with a reading of a surface that is there, "
    "withheld ones in the denominator. Covered: one drawn moment a cook. Over 15 K shown: cooks "
    "with such a reading, and the exact one-sided 95 % bound of their share. Lag: what the error "
    "does with a change of the heating rate; unevenness that grows with the rate counts in it."
)

CHECK_NOTE = (
    "Against what each pixel really saw and where each pan really stood, at twelve moments a cook "
    "and in the middle of each hand's stay. Median and P95 are of errors without their sign. "
    "Covered: one drawn moment a cook."
)
CONFUSION_NOTE = (
    "Dry pans while their apparent temperature is 45 to 90 °C, which dark and shiny ones share: "
    "cooks by what was said of the pan at most of these moments, with exact 95 % intervals."
)


def score_page(score: Score, *, design: Design, hashes: Mapping[str, str]) -> Dossier:
    """Return the content of a score's page.

    Parameters
    ----------
    score : Score
        Its sheets, each of one grade and condition.
    design : Design
        Whether it is invented, and in which steps its product shows readings.
    hashes : mapping
        What it rests on.

    Returns
    -------
    Dossier
        Goals as claims.
    """
    return Dossier(
        title=f"{score.design}: readings against what was so",
        subtitle="Each stratum is judged by itself.",
        invented=design.project.invented,
        summary=_summary(score),
        claims=tuple(score_claims(score)),
        sections=score_sections(score),
        cautions=(
            "Simulated and bench cooks are never pooled, nor cooks as designed and under a "
            "mismatch. A simulated score holds within the simulator.",
            _readout(design.display),
        ),
        hashes=tuple(hashes.items()),
    )


def _readout(display: Display) -> str:
    """Return what showing a reading in steps adds to its error."""
    if float(display.readout_step_delta_k) == 0.0:
        return "The display shows readings as they are."
    held = display.readout_hysteresis_delta_k.text
    return (
        f"The display shows readings in steps of {display.readout_step_delta_k.text}, held by a "
        f"hysteresis of {held}: that adds up to {display.readout_error_k:.1f} K, which no figure "
        "here holds."
    )


def _summary(score: Score) -> str:
    decided = Counter(one.decision for sheet in score.sheets for one in sheet.goals)
    return (
        f"Of {decided.total()} goals {decided['met']} are met, {decided['not met']} are not, and"
        f" {decided['too few']} need more cooks."
    )


def judged_sections(score: Score) -> tuple[Section, ...]:
    """Return the goals first, then every sheet, for the terminal."""
    return (claim_section(_summary(score), score_claims(score)), *score_sections(score))


def score_sections(score: Score) -> tuple[Section, ...]:
    """Return what the strata are, and a section a sheet."""
    strata = Section("Strata", (), (_strata(),))
    return (strata, *(score_section(one) for one in score.sheets))


def score_claims(score: Score) -> list[Claim]:
    """Return the goals of all sheets as claims."""
    return [
        Claim(
            id=f"{place}.{number}",
            text=f"{WORDS[one.stratum]}: {one.what}",
            decision=one.decision,
            reason=f"{one.found} ({one.text}); {sheet.condition}",
            limit=one.goal,
            evidence=f"{sheet.evidence}; asked: bench",
        )
        for place, sheet in enumerate(score.sheets, 1)
        for number, one in enumerate(sheet.goals, 1)
    ]


def score_section(sheet: ScoreSheet) -> Section:
    """Return figures and pictures of one grade and condition."""
    grade = sheet.evidence
    paragraphs = [
        f"{sheet.cooks} cooks, {sheet.independent} of them independent, on {sheet.units} sensor "
        f"unit{'s' if sheet.units != 1 else ''}; {len(sheet.failed)} gave nothing.",
        *sheet.failed[:MAX_FAILED],
    ]
    strata = [one.whole for one in sheet.strata]
    tables = (
        _figures("Figures by stratum", strata, grade, FIGURE_NOTE),
        _figures("The same by what else differs", sheet.parts, grade),
        _checks(sheet),
        _confusion(sheet),
    )
    shown = tuple(table for table in tables if table.rows)
    return Section(f"{sheet.condition} ({grade})", tuple(paragraphs), shown, score_charts(sheet))


def _strata() -> Table:
    return tabulate(
        "Strata",
        STRATA,
        {"Stratum": lambda one: one.name, "What it holds": lambda one: one.words},
        note="They come from the truth or the bench sheet, never from a reading.",
    )


def _figures(title: str, parts: Sequence[PartScore], grade: Grade, note: str = "") -> Table:
    return tabulate(
        title,
        parts,
        {
            "Stratum": lambda one: one.name + (f"; {one.part}" if one.part else ""),
            "Cooks": lambda one: str(one.cooks),
            **{
                one.heading[:1].upper() + one.heading[1:]: partial(figure_text, one)
                for one in METRICS["score"].values()
            },
        },
        note=note,
        evidence=grade,
    )


def figure_text(asked: Metric, one: PartScore) -> str:
    """Return one figure of a score, its interval and the cooks that tell; a dash for nothing."""
    found = one[asked.name]
    if math.isnan(found.value):
        return NONE
    scale, unit = (100.0, " %") if asked.unit == "fraction" else (1.0, "")
    form = "+.1f" if asked.sense == "neither" else ".1f"
    text = f"{plain(scale * found.value, form)}{' s' if asked.unit == 'time' else unit}"
    if math.isfinite(found.high) and found.of:
        text = f"{found.count} of {found.of}"
    elif found.of:
        text += f" ({found.of})"
    if math.isnan(found.high):
        return text
    high = f"{plain(scale * found.high, form)}{unit}"
    if math.isnan(found.low):
        return f"{text} (≤ {high})"
    return f"{text} ({plain(scale * found.low, form)} to {high})"


def _checks(sheet: ScoreSheet) -> Table:
    """Return the questions beside temperatures; errors keep their sign in the mean alone."""
    kinds = METRICS["check"]

    def value(one: CheckScore, value: float) -> str:
        return f"{value:.2f} {kinds[one.kind].unit}".strip()

    return tabulate(
        "Labels, places, unevenness",
        sheet.checks,
        {
            "Question": lambda one: kinds[one.kind].meaning + (f"; {one.part}" if one.part else ""),
            "Cooks": lambda one: str(one.cooks),
            "Moments": lambda one: str(one.moments),
            "Mean": lambda one: value(one, one.bias),
            "Median": lambda one: value(one, one.median),
            "P95": lambda one: value(one, one.p95),
            "Covered": lambda one: f"{one.covered} of {one.drawn}" if one.drawn else NONE,
            "Exact 95 %": lambda one: (
                interval(one.covered_low_frac, one.covered_high_frac) if one.drawn else NONE
            ),
        },
        note=CHECK_NOTE,
        evidence=sheet.evidence,
    )


def _confusion(sheet: ScoreSheet) -> Table:
    """Return counts of cooks by what was said, each with the exact 95 % interval of its share."""

    def count(one: ConfusionRow, at: int) -> str:
        if math.isnan(one.low_frac[at]):
            return str(one.counts[at])
        return f"{one.counts[at]} ({interval(one.low_frac[at], one.high_frac[at], 0)})"

    rows = tuple(
        (one.truth, one.evidence, str(one.cooks), *(count(one, at) for at in range(len(SAID))))
        for one in sheet.confusion
    )
    columns = ("Bare pan", "Rests on", "Cooks", *SAID)
    return Table("What is said of bare pans", columns, rows, CONFUSION_NOTE, sheet.evidence)


def reporters_section(choice: ReporterChoice) -> Section:
    """Return the reporters of one grade of evidence, best first, and what the choice rests on."""
    table = tabulate(
        "Reporters over calibration cooks, best first",
        choice.scores,
        {
            "Reporter": lambda one: one.reporter,
            "Cooks": lambda one: str(one.cooks),
            "Bias": lambda one: plain(one.bias_k, "+.2f"),
            "Spread": lambda one: plain(one.bias_spread_k, ".2f"),
            "Noise": lambda one: plain(one.noise_k, ".2f"),
            "Lag": lambda one: plain(one.lag_s, "+.1f"),
            "Hot side": lambda one: plain(one.hot_side_k, ".1f"),
            "Loss": lambda one: plain(one.loss, ".2f"),
        },
        note="Differences in K, lag in s, against the probes on the same surface.",
        evidence=choice.evidence,
    )
    costs = ", ".join(f"{name} {weight:g}" for name, weight in choice.weights.items())
    left_out = plain(choice.left_out_loss, ".2f")
    words = (
        f"Chosen: {choice.chosen}; {choice.reason}.",
        f"Mean loss of the choice on plans left out: {left_out}. Weights: {costs}.",
    )
    return Section(f"Reporters ({choice.evidence})", words, (table,))


def _share(value_frac: float) -> str:
    return NONE if math.isnan(value_frac) else share(value_frac)


def score_charts(sheet: ScoreSheet) -> tuple[Chart, ...]:
    """Return the pictures of a sheet: errors over what was so, coverage and width.

    Parameters
    ----------
    sheet : ScoreSheet
        One condition and grade.

    Returns
    -------
    tuple of Chart
        None where there is no reading at all.

    Notes
    -----
    Kept moments only: up to 200 a stratum.
    """
    judged = [one for one in sheet.strata if one.error_k.size]
    charts = (
        Chart(
            kind="scatter",
            title="Error against what was so",
            caption=f"{sheet.condition}: kept moments of all cooks, a panel a stratum.",
            x_label="what was so",
            y_label="error",
            lines=tuple(
                ChartLine(
                    STRATUM_WORDS[one.whole.name],
                    one.so_k,
                    one.error_k,
                    _band(one, -1),
                    _band(one, 1),
                )
                for one in judged
            ),
            evidence=sheet.evidence,
        ),
        Chart(
            kind="coverage",
            title="Do the 95 % intervals hold, and how wide are they?",
            caption=(
                f"{sheet.condition}: left, the share of drawn moments within their interval with "
                "its exact 95 % bounds; right, the median half-width."
            ),
            lines=tuple(
                ChartLine(
                    f"{one.whole.name} ({covered.of} cooks)",
                    np.array([covered.value]),
                    np.array([one.whole["u95"].value]),
                    np.array([covered.low]),
                    np.array([covered.high]),
                )
                for one in sheet.strata
                if (covered := one.whole["covered"]).of
            ),
            evidence=sheet.evidence,
        ),
    )
    told = (confusion_chart(sheet),) if sheet.confusion else ()
    return (charts if judged else ()) + told


def confusion_chart(sheet: ScoreSheet) -> Chart:
    """Return what was said of bare pans as a picture.

    Parameters
    ----------
    sheet : ScoreSheet
        With the words for its bare pans.

    Returns
    -------
    Chart
        A row a kind of pan and evidence, a column a word, cooks in the cells.
    """
    return Chart(
        kind="confusion",
        title="What is said of bare pans",
        caption=(
            f"{sheet.condition}: cooks with a dry pan at 45 to 90 °C in apparent temperature, by "
            "kind of pan and evidence (rows) and what was said of it (columns)."
        ),
        bars=tuple(
            (f"{one.truth} pan; {one.evidence}", float(count), word)
            for one in sheet.confusion
            for word, count in zip(SAID, one.counts, strict=True)
        ),
        evidence=sheet.evidence,
    )


def _band(one: StratumScore, side: int) -> np.ndarray[tuple[int], np.dtype[np.float64]] | None:
    """Return the P95 goal of a stratum as a level, where it has one."""
    goal = next(kind.p95_k for kind in STRATA if kind.name == one.whole.name)
    return None if math.isnan(goal) else np.array([side * goal])
