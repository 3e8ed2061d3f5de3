"""From the answers of many cooks to figures a question, resampled by cook, and their goals."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError
from trivet.models.actual import drawn_moment
from trivet.physics.statistics.agreement import cluster_bootstrap
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.checks import CHECKS, Check, CheckKind, CheckScore
from trivet.records.scoring import GoalLine, ScoreDecision
from trivet.scoring.labelcheck import Answers, kept

DRAWS = 500
FEWEST = 20


def checks_of(cook: str, plan: str, answers: Answers) -> tuple[Check, ...]:
    """Return the answers of one cook as records, rounded to what matters."""
    found = []
    for kind, part, values in kept(answers):
        stated = np.isfinite(values[:, 1]).all()
        found.append(
            Check(
                cook,
                plan,
                kind,
                part,
                tuple(round(float(x), 3) for x in values[:, 0]),
                tuple(round(float(x), 3) for x in values[:, 1]) if stated else (),
            )
        )
    return tuple(found)


def check_scores(checks: Sequence[Check], *, condition: str) -> tuple[CheckScore, ...]:
    """Return the figures of every question and part.

    Parameters
    ----------
    checks : sequence of Check
        Of all cooks.
    condition : str
        Which cooks they are; it seeds the resampling.

    Returns
    -------
    tuple of CheckScore
        In the order of CHECKS; NaN where nothing tells.

    Notes
    -----
    Figures are over all kept moments, of absolute errors; their intervals come from whole
    cooks drawn again, coverage from one drawn moment a cook.

    References
    ----------
    Clopper and Pearson (1934); Davison and Hinkley (1997), 3.8.
    """
    found = []
    for kind in CHECKS:
        mine = [one for one in checks if one.kind == kind.name]
        for part in sorted({one.part for one in mine}):
            found.append(_score(kind, part, [one for one in mine if one.part == part], condition))
    return tuple(found)


def _score(kind: CheckKind, part: str, mine: Sequence[Check], condition: str) -> CheckScore:
    values = np.concatenate([np.asarray(one.off) for one in mine])
    plans = np.repeat([one.plan for one in mine], [len(one.off) for one in mine])
    size = np.abs(values)

    def statistic(some: FloatArray) -> float:
        return float(some.mean() if kind.statistic == "mean" else np.quantile(some, 0.95))

    seed = hashlib.sha256(f"{condition}\n{kind.name}\n{part}".encode()).digest()[:8]
    try:
        low, high = cluster_bootstrap(
            size,
            cook=plans,
            generator=np.random.default_rng(int.from_bytes(seed, "big")),
            statistic=statistic,
            draws=DRAWS,
        )
    except NotEnoughDataError:
        low = high = math.nan
    drawn = _drawn(mine)
    ends = clopper_pearson(sum(drawn), len(drawn)) if drawn else (math.nan, math.nan)
    return CheckScore(
        kind=kind.name,
        part=part,
        cooks=len(set(plans.tolist())),
        moments=values.size,
        bias=float(values.mean()),
        median=float(np.median(size)),
        p95=float(np.quantile(size, 0.95)),
        found=statistic(size),
        low=low,
        high=high,
        covered=sum(drawn),
        drawn=len(drawn),
        covered_low_frac=ends[0],
        covered_high_frac=ends[1],
    )


def _drawn(mine: Sequence[Check]) -> list[int]:
    """Return whether the drawn moment's interval holds what was so, one draw a plan."""
    first: dict[str, int] = {}
    for one in mine:
        if one.u95 and one.plan not in first:
            k = drawn_moment(f"{one.cook} {one.kind} {one.part}", len(one.off))
            first[one.plan] = int(abs(one.off[k]) <= one.u95[k])
    return list(first.values())


def check_goals(scores: Sequence[CheckScore]) -> Iterator[GoalLine]:
    """Yield the goal of each question that has one, over each part.

    Parameters
    ----------
    scores : sequence of CheckScore
        Of one sheet.

    Yields
    ------
    GoalLine
        Met or not met where the interval over resampled cooks lies on one side of the goal.

    Notes
    -----
    Judged from 20 cooks.

    References
    ----------
    House rule.
    """
    kinds = {one.name: one for one in CHECKS}
    for one in scores:
        kind = kinds[one.kind]
        if math.isnan(kind.goal):
            continue
        few = one.cooks < FEWEST or math.isnan(one.low)
        good = one.low >= kind.goal if kind.at_least else one.high <= kind.goal
        bad = one.high < kind.goal if kind.at_least else one.low > kind.goal
        decision: ScoreDecision = "too few" if few else "met" if good else "not met"
        if not few and not good and not bad:
            decision = "too few"
        sign = "≥" if kind.at_least else "≤"
        interval = f"95 %: {one.low:.2f} to {one.high:.2f}" if not few else "no interval"
        yield GoalLine(
            kind.name,
            f"{kind.words}{': ' + one.part if one.part else ''}",
            f"{sign} {kind.goal:g} {kind.unit}".strip(),
            f"{one.found:.2f} {kind.unit}".strip(),
            decision,
            f"{interval}; {one.cooks} cooks",
        )
