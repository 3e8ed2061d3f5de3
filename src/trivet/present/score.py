"""The page of a score: goals first, then figures and pictures, a section a sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from trivet.records.checks import CHECKS, SAID, CheckScore, ConfusionRow
from trivet.records.design import Design, Display
from trivet.records.dossier import Chart, Claim, Dossier, Line, Section, Table
from trivet.records.scoring import STRATA, STRATUM_WORDS, PartScore, Score, ScoreSheet, StratumScore
from trivet.records.verdict import Decision

_DECISIONS: dict[str, Decision] = {"met": "met", "not met": "not met", "too few": "not proven"}
FIGURES = (
    "stratum",
    "cooks",
    "valid",
    "bias",
    "limits of agreement",
    "median",
    "P95",
    "covered",
    "exact 95 %",
    "interval score",
    "median U95",
    "over 15 K shown",
    "of over 15 K withheld",
    "within 15 K withheld",
    "longest blind",
    "lag",
)
NOTE = (
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

CHECK_FIGURES = ("question", "cooks", "moments", "mean", "median", "P95", "covered", "exact 95 %")
CONFUSION_FIGURES = ("bare pan", "rests on", "cooks", *SAID)
_UNITS = {one.name: one.unit for one in CHECKS}
_WORDS = {one.name: one.words for one in CHECKS}


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
        Goals as claims; "too few" stands as not proven.

    Notes
    -----
    Nothing is computed here.

    References
    ----------
    House rule.
    """
    met = sum(one.decision == "met" for sheet in score.sheets for one in sheet.goals)
    missed = sum(one.decision == "not met" for sheet in score.sheets for one in sheet.goals)
    total = sum(len(sheet.goals) for sheet in score.sheets)
    return Dossier(
        title=f"{score.design}: readings against what was so",
        subtitle="Strata come from the truth or the bench sheet, never from a reading.",
        invented=design.project.invented,
        summary=(
            f"Of {total} goals {met} are met, {missed} are not, and {total - met - missed} "
            "need more cooks."
        ),
        claims=tuple(_claims(score)),
        sections=tuple(_section(one) for one in score.sheets),
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


def _claims(score: Score) -> list[Claim]:
    return [
        Claim(
            id=f"{place}.{number}",
            text=f"{STRATUM_WORDS[one.stratum]}: {one.what}",
            decision=_DECISIONS[one.decision],
            reason=f"{one.found} ({one.text}); {sheet.condition}",
            limit=one.goal,
            evidence=f"{sheet.evidence}; asked: bench",
        )
        for place, sheet in enumerate(score.sheets, 1)
        for number, one in enumerate(sheet.goals, 1)
    ]


def _section(sheet: ScoreSheet) -> Section:
    grade = sheet.evidence
    paragraphs = [
        f"{sheet.cooks} cooks, {sheet.independent} of them independent, on {sheet.units} sensor "
        f"unit{'s' if sheet.units != 1 else ''}; {len(sheet.failed)} gave nothing.",
        *sheet.failed[:5],
    ]
    tables = [
        Table(
            "Figures by stratum",
            FIGURES,
            tuple(figure_row(one.whole) for one in sheet.strata),
            NOTE,
            grade,
        )
    ]
    if sheet.parts:
        rows = tuple(figure_row(one) for one in sheet.parts)
        tables.append(Table("The same by what else differs", FIGURES, rows, "", grade))
    if sheet.checks:
        rows = tuple(check_row(one) for one in sheet.checks)
        tables.append(Table("Labels, places, unevenness", CHECK_FIGURES, rows, CHECK_NOTE, grade))
    if sheet.confusion:
        rows = tuple(confusion_row(one) for one in sheet.confusion)
        tables.append(
            Table("What is said of bare pans", CONFUSION_FIGURES, rows, CONFUSION_NOTE, grade)
        )
    return Section(
        f"{sheet.condition} ({grade})", tuple(paragraphs), tuple(tables), score_charts(sheet)
    )


def figure_row(one: PartScore) -> tuple[str, ...]:
    """Return the figures of a stratum or part as texts, in the order of FIGURES.

    Parameters
    ----------
    one : PartScore
        Its figures.

    Returns
    -------
    tuple of str
        A dash where nothing tells.
    """
    name = STRATUM_WORDS[one.name] + (f"; {one.part}" if one.part else "")
    limits = "–"
    if math.isfinite(one.low_loa_k):
        limits = f"{one.low_loa_k:+.1f} to {one.high_loa_k:+.1f}"
    exact = "–"
    if one.drawn:
        exact = f"{100 * one.covered_low_frac:.1f} to {100 * one.covered_high_frac:.1f} %"
    return (
        name,
        str(one.cooks),
        _percent(one.valid_frac),
        _number(one.bias_k, "+.1f"),
        limits,
        _number(one.median_k, ".1f"),
        _number(one.p95_k, ".1f"),
        f"{one.covered} of {one.drawn}",
        exact,
        _number(one.interval_score_k, ".0f"),
        _number(one.median_u95_k, ".1f"),
        f"{one.large_cooks} (≤ {_percent(one.large_high_frac)})",
        _percent(one.flagged_frac),
        _percent(one.false_flag_frac),
        f"{one.blind_s:.0f} s",
        f"{one.lag_s:+.1f} s ({one.lag_cooks})" if one.lag_cooks else "–",
    )


def _number(value: float, form: str) -> str:
    return "–" if math.isnan(value) else format(value, form)


def _percent(value: float) -> str:
    return "–" if math.isnan(value) else f"{100 * value:.1f} %"


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
                Line(
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
                Line(
                    f"{one.whole.name} ({one.whole.drawn} cooks)",
                    np.array([one.whole.covered / one.whole.drawn]),
                    np.array([one.whole.median_u95_k]),
                    np.array([one.whole.covered_low_frac]),
                    np.array([one.whole.covered_high_frac]),
                )
                for one in sheet.strata
                if one.whole.drawn
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


def check_row(one: CheckScore) -> tuple[str, ...]:
    """Return the figures of one question as texts, in the order of CHECK_FIGURES.

    Parameters
    ----------
    one : CheckScore
        Errors keep their sign in the mean, not in median and P95.

    Returns
    -------
    tuple of str
        A dash where nothing tells.
    """
    unit = f" {_UNITS[one.kind]}" if _UNITS[one.kind] else ""
    exact = "–"
    if one.drawn:
        exact = f"{100 * one.covered_low_frac:.0f} to {100 * one.covered_high_frac:.0f} %"
    return (
        _WORDS[one.kind] + (f"; {one.part}" if one.part else ""),
        str(one.cooks),
        str(one.moments),
        *(f"{value:.2f}{unit}" for value in (one.bias, one.median, one.p95)),
        f"{one.covered} of {one.drawn}" if one.drawn else "–",
        exact,
    )


def confusion_row(one: ConfusionRow) -> tuple[str, ...]:
    """Return one row of the matrix as texts, in the order of CONFUSION_FIGURES.

    Parameters
    ----------
    one : ConfusionRow
        Counts of cooks with exact bounds.

    Returns
    -------
    tuple of str
        Each count with the exact 95 % interval of its share.

    References
    ----------
    Clopper and Pearson (1934).
    """
    cells = (
        f"{count} ({100 * low:.0f} to {100 * high:.0f} %)" if not math.isnan(low) else str(count)
        for count, low, high in zip(one.counts, one.low_frac, one.high_frac, strict=True)
    )
    return one.truth, one.evidence, str(one.cooks), *cells
