"""The answers of a score beside temperatures as texts, the same on the terminal and on the page."""

from __future__ import annotations

import math

from trivet.records.checks import CHECKS, SAID, CheckScore, ConfusionRow

CHECK_FIGURES = ("question", "cooks", "moments", "mean", "median", "P95", "covered", "exact 95 %")
CONFUSION_FIGURES = ("bare pan", "rests on", "cooks", *SAID)
_UNITS = {one.name: one.unit for one in CHECKS}
_WORDS = {one.name: one.words for one in CHECKS}


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
