"""Per quantity: bias, share of the bench inside the simulated band, and what that proves."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import EvidenceError, InputError, NotEnoughDataError
from trivet.physics.statistics.intervals import (
    lower_bound_frac,
    sample_size,
    upper_bound_frac,
)
from trivet.records.credibility import (
    CONTENT_FRAC,
    MIN_COOKS,
    MIN_DRAWS,
    WANTED_FRAC,
    Agreement,
    Condition,
    Credibility,
    Gap,
    TopicVerdict,
    TwinPair,
    TwinRow,
)
from trivet.records.design import Design
from trivet.scoring.registry import METRICS

BENCH_CAUTION = (
    "Simulation alone proves no safety claim. Agreement on these cooks says nothing of conditions "
    "that they do not cover, and bench and simulated cooks are never pooled."
)
MADE = (
    "every bench folder is marked synthetic: this is a rehearsal of the comparison and no evidence "
    "about any kitchen"
)


def credibility(
    design: Design,
    *,
    pairs: Sequence[TwinPair],
    planned: Sequence[Condition],
    left_out: Sequence[str],
) -> Credibility:
    """Return how far simulated cooks agree with recorded ones.

    Parameters
    ----------
    design : Design
        The project's design.
    pairs : sequence of TwinPair
        Recorded cooks, all of one grade of evidence, each with its simulated twins.
    planned : sequence of Condition
        Of the project's planned cooks: what the bench ought to cover.
    left_out : sequence of str
        Recorded cooks that could not be paired, and why.

    Returns
    -------
    Credibility
        Rows, one verdict a quantity, and the conditions that only one side has.

    Raises
    ------
    NotEnoughDataError
        If no recorded cook could be paired, or none has a quantity to compare.
    EvidenceError
        If measured folders and folders marked as made come together.
    InputError
        If a cook has fewer than 39 twins.

    Notes
    -----
    The band between the k-th least and k-th greatest of n twins holds a further
    cook of the same kind with probability (n + 1 - 2 k) / (n + 1): 95 % exactly
    for 39 and their extremes, whatever the distribution.  A cook counts as inside
    when all its values of a quantity do.  "Inside" needs 90 % of the cooks;
    "outside" that the exact one-sided 95 % bound excludes 90 %.  29 cooks without
    a miss would prove 90 %; of 6 inside, the bound is 61 %.

    References
    ----------
    Wilks, Ann. Math. Statist. 12 (1941) 91 (limits from order statistics);
    Clopper and Pearson, Biometrika 26 (1934) 404.
    """
    if not pairs:
        raise NotEnoughDataError(
            "no recorded cook shares its conditions with anything that can be simulated:\n  "
            + "\n  ".join(left_out)
        )
    if len({one.evidence for one in pairs}) > 1:
        raise EvidenceError("measured cooks and folders marked synthetic were put together")
    draws = min(len(one.simulated) for one in pairs)
    if draws < MIN_DRAWS:
        raise InputError(f"{draws} simulated twins a cook; a 95 % band needs {MIN_DRAWS} or more")
    rows, notes = _rows(pairs)
    if not rows:
        raise NotEnoughDataError(
            "the recorded cooks have no quantity to compare: probes on the pan or in the liquid, "
            "and a rise past 60 C, are needed"
        )
    recorded = [condition for one in pairs for condition in one.conditions]
    evidence = pairs[0].evidence
    return Credibility(
        project=design.project.name,
        bench_evidence=evidence,
        simulated_evidence="simulated",
        draws=draws,
        cooks=tuple(one.cook for one in pairs),
        verdicts=tuple(
            _verdict(topic, rows) for topic in METRICS["credibility"] if _of(topic, rows)
        ),
        rows=tuple(rows),
        gaps=_gaps(recorded, planned),
        left_out=tuple(left_out),
        notes=(*([MADE] if evidence != "bench" else []), *notes),
        caution=BENCH_CAUTION,
    )


def _rows(pairs: Sequence[TwinPair]) -> tuple[list[TwinRow], list[str]]:
    """Return every value beside its band, and notes of values that have none."""
    rows: list[TwinRow] = []
    said = dict.fromkeys(note for pair in pairs for note in pair.notes)
    notes = [
        f"{', '.join(pair.cook for pair in pairs if note in pair.notes)}: {note}" for note in said
    ]
    for pair in pairs:
        for at, asked in enumerate(pair.questions):
            values = pair.simulated[:, at]
            known = values[~np.isnan(values)]
            name = f"{pair.cook}: {asked.topic} of the {asked.of} on {asked.burner}"
            if math.isnan(pair.bench[at]):
                notes.append(f"{name}: no value on the bench")
            elif known.size < MIN_DRAWS:
                notes.append(
                    f"{name}: only {known.size} of {values.size} twins have one; not compared"
                )
            else:
                low, middle, high = _band(known)
                value = float(pair.bench[at])
                rows.append(
                    TwinRow(pair.cook, asked, value, low, middle, high, bool(low <= value <= high))
                )
    return rows, notes


def _band(values: FloatArray) -> tuple[float, float, float]:
    """Return the ends that hold 95 % of further values, and the middle."""
    ordered = np.sort(values)
    cut = int((1.0 - CONTENT_FRAC) / 2.0 * (values.size + 1) + 1e-9)
    return float(ordered[cut - 1]), float(ordered[values.size // 2]), float(ordered[-cut])


def _of(topic: str, rows: Sequence[TwinRow]) -> list[TwinRow]:
    return [row for row in rows if row.question.topic == topic]


def _verdict(topic: str, rows: Sequence[TwinRow]) -> TopicVerdict:
    own = _of(topic, rows)
    cooks = {row.cook: True for row in own}
    for row in own:
        cooks[row.cook] &= row.inside
    n, inside = len(cooks), sum(cooks.values())
    low = lower_bound_frac(inside, n)
    high = upper_bound_frac(inside, n)
    agreement = _agreement(inside, n, high)
    apart = [row.middle - row.bench for row in own if math.isfinite(row.middle)]
    return TopicVerdict(
        topic=topic,
        cooks=n,
        inside=inside,
        low_frac=low,
        high_frac=high,
        bias=float(np.mean(apart)) if apart else math.nan,
        half_band=float(np.mean([(row.high - row.low) / 2.0 for row in own])),
        agreement=agreement,
        text=_text(agreement, inside, n, (low, high)),
    )


def _agreement(inside: int, n: int, high_frac: float) -> Agreement:
    if n < MIN_COOKS:
        return "too few"
    if inside / n >= WANTED_FRAC:
        return "inside"
    return "outside" if high_frac < WANTED_FRAC else "undecided"


def _text(agreement: Agreement, inside: int, n: int, bounds: tuple[float, float]) -> str:
    """Return share and exact bound as a sentence."""
    share = f"{inside} of {n} cooks inside the 95 % band"
    if agreement == "outside":
        return f"{share}: at most {100 * bounds[1]:.0f} %, {100 * WANTED_FRAC:.0f} % are asked for"
    proven = "" if bounds[0] >= WANTED_FRAC else _wanted(inside, n)
    ends = f"at least {100 * bounds[0]:.0f} %"
    if agreement == "too few":
        return f"{share}, {ends}; nothing is decided on fewer than {MIN_COOKS}"
    if agreement == "undecided":
        return f"{share}, {100 * bounds[0]:.0f} to {100 * bounds[1]:.0f} %"
    return f"{share}, {ends}{proven}"


def _wanted(inside: int, n: int) -> str:
    if inside < n:
        return f"; {100 * WANTED_FRAC:.0f} % are not proven"
    need = sample_size(1.0 - WANTED_FRAC, confidence=0.95)
    return f"; {need} without a miss would prove {100 * WANTED_FRAC:.0f} %"


def _gaps(bench: Sequence[Condition], simulated: Sequence[Condition]) -> tuple[Gap, ...]:
    """Return the levels that only one side has, in order of factor and level."""
    recorded, planned = set(bench), set(simulated)
    alone = [Gap(one.factor, one.level, "bench") for one in recorded - planned]
    alone += [Gap(one.factor, one.level, "simulated") for one in planned - recorded]
    return tuple(sorted(alone, key=lambda gap: (gap.only, gap.factor, gap.level)))
