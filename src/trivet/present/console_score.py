"""Scores and trials of reporters as tables on the terminal; differences are in K."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trivet.present.console_parts import share_text, text_group, text_line, text_table
from trivet.present.score import CHECK_FIGURES, CONFUSION_FIGURES, check_row, confusion_row
from trivet.records.reporting import ReporterChoice
from trivet.records.scoring import STRATA, PartScore, Score, ScoreSheet

if TYPE_CHECKING:
    from rich.console import RenderableType

SIGNS = {"met": "● met", "not met": "✕ not met", "too few": "◇ too few"}


def show_score(score: Score) -> RenderableType:
    """Return goals and figures, a pair of tables a sheet; differences are in K."""
    parts: list[RenderableType] = []
    for sheet in score.sheets:
        parts += [text_line(_title(sheet)), _goals(sheet), _figures(sheet)]
        if sheet.parts:
            parts.append(_parts(sheet))
        if sheet.checks:
            parts.append(_checks(sheet))
        if sheet.confusion:
            parts.append(_confusion(sheet))
        if sheet.failed:
            parts.append(text_line("\n  ".join(["Gave nothing:", *sheet.failed[:5]])))
    names = ["Strata:", *(f"{one.name}: {one.words}" for one in STRATA)]
    return text_group(
        *parts,
        text_line("\n  ".join(names)),
        text_line("Strata come from truth or bench sheet; differences in K. Nothing is pooled."),
        text_line("A simulated score holds within the simulator."),
    )


def show_reporters(choice: ReporterChoice) -> RenderableType:
    """Return the reporters of one grade of evidence, best first, and what the choice rests on."""
    table = text_table(
        f"Reporters over calibration cooks ({choice.evidence}), best first",
        ("reporter", "cooks>", "bias>", "spread>", "noise>", "lag>", "hot side>", "loss>"),
        [
            (
                one.reporter,
                str(one.cooks),
                _number(one.bias_k, "+.2f"),
                _number(one.bias_spread_k, ".2f"),
                _number(one.noise_k, ".2f"),
                _number(one.lag_s, "+.1f"),
                _number(one.hot_side_k, ".1f"),
                _number(one.loss, ".2f"),
            )
            for one in choice.scores
        ],
    )
    costs = ", ".join(f"{name} {weight:g}" for name, weight in choice.weights.items())
    left_out = _number(choice.left_out_loss, ".2f")
    return text_group(
        table,
        text_line(f"Chosen: {choice.chosen}; {choice.reason}."),
        text_line(f"Mean loss of the choice on plans left out: {left_out}. Weights: {costs}."),
        text_line("Differences in K, lag in s, against the probes on the same surface."),
    )


def _title(sheet: ScoreSheet) -> str:
    return (
        f"{sheet.condition} ({sheet.evidence}): {sheet.cooks} cooks, "
        f"{sheet.independent} independent, {sheet.units} sensor units"
    )


def _goals(sheet: ScoreSheet) -> RenderableType:
    rows = [
        (one.stratum, one.what, one.goal, one.found, SIGNS[one.decision]) for one in sheet.goals
    ]
    columns = ("stratum", "what", "goal>", "found>", f"({sheet.evidence})")
    return text_table(f"Goals ({sheet.evidence})", columns, rows)


def _figures(sheet: ScoreSheet) -> RenderableType:
    whole = [one.whole for one in sheet.strata]
    grade = sheet.evidence
    return text_group(
        text_table(f"Errors of valid readings, K ({grade})", _ERRORS, [_errors(x) for x in whole]),
        text_table(f"What is shown and withheld ({grade})", _SHOWN, [_shown(x) for x in whole]),
    )


def _parts(sheet: ScoreSheet) -> RenderableType:
    rows = [_errors(one) for one in sheet.parts]
    return text_table(f"The same by what else differs ({sheet.evidence})", _ERRORS, rows)


def _checks(sheet: ScoreSheet) -> RenderableType:
    rows = [check_row(one) for one in sheet.checks]
    columns = (CHECK_FIGURES[0], *(f"{word}>" for word in CHECK_FIGURES[1:]))
    return text_table(f"Labels, places, unevenness ({sheet.evidence})", columns, rows)


def _confusion(sheet: ScoreSheet) -> RenderableType:
    columns = (*CONFUSION_FIGURES[:2], *(f"{word}>" for word in CONFUSION_FIGURES[2:]))
    rows = [confusion_row(one) for one in sheet.confusion]
    return text_table(
        f"What is said of bare pans at 45 to 90 °C apparent, cooks ({sheet.evidence})",
        columns,
        rows,
    )


_ERRORS = ("stratum", "cooks>", "valid>", "bias>", "median>", "P95>", "U95>", "covered>")


def _errors(one: PartScore) -> tuple[str, ...]:
    return (
        one.name if not one.part else f"{one.name}; {one.part}",
        str(one.cooks),
        share_text(one.valid_frac),
        _number(one.bias_k, "+.1f"),
        _number(one.median_k, ".1f"),
        _number(one.p95_k, ".1f"),
        _number(one.median_u95_k, ".1f"),
        f"{one.covered} of {one.drawn}",
    )


_SHOWN = (
    "stratum",
    "cooks with > 15 K shown>",
    "of > 15 K withheld>",
    "within 15 K withheld>",
    "longest blind>",
    "lag>",
)


def _shown(one: PartScore) -> tuple[str, ...]:
    return (
        one.name,
        f"{one.large_cooks} (≤ {share_text(one.large_high_frac)})",
        "–" if math.isnan(one.flagged_frac) else share_text(one.flagged_frac),
        "–" if math.isnan(one.false_flag_frac) else share_text(one.false_flag_frac),
        f"{one.blind_s:.0f} s",
        f"{one.lag_s:+.1f} s" if one.lag_cooks else "–",
    )


def _number(value: float, form: str) -> str:
    return "–" if math.isnan(value) else format(value, form)
