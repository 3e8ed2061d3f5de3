"""Questions of a score beside temperatures: labels, places, unevenness, hands and steam."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.actual import drawn_moment
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.quality import Quality
from trivet.records.checks import Check, CheckScore
from trivet.records.estimate import UNSURE
from trivet.records.recording import LABELS
from trivet.records.scoring import GoalLine, ScoreDecision
from trivet.scoring.labels import WARM_DELTA_K, Looked, PanMoment
from trivet.scoring.registry import METRICS, Metric, metric
from trivet.scoring.resampling import resampled, seeded
from trivet.scoring.strata import SHINY_BELOW

Answer = tuple[str, float, float]
"""Part of the moments, by what was so; error or share; half-width stated for it (NaN: none)."""
LARGE_PX, SMALL_PX, MIN_PX = 20, 8, 0.5
"""Sizes between which labels are judged by overlap or by area; own estimate: under 8 pixels an
overlap says more of the grid than of the label. [px]"""
FALSE_PX = 3
"""From this size on a label of what is not there counts; own estimate: two are noise. [px]"""
COLD_DELTA_K = 2.0
"""A pan this near to the hob cannot be seen; own estimate: a frame's noise. [K]"""
CLEAR_DELTA_K = 40.0
"""From this height over the hob on a pan stands out clearly; own estimate. [K]"""
COMPACT_M = 0.03
"""Reach of the hottest 5 cm2 up to which they are one spot; own estimate: twice a disc's. [m]"""
K95_NORMAL = 1.96
"""Half-width of a 95 % interval in standard uncertainties, normal law."""
K95_PLANE = 2.45
"""The same for two coordinates of equal uncertainty: sqrt(-2 ln 0.05), Rayleigh law."""
MM = 1000.0  # definition: millimetres in a metre
FEWEST_COOKS = 20
"""Cooks from which a goal is judged; 20 without a failure prove 86 %."""


# -- labels ---------------------------------------------------------------------


@metric("check", "label-large", "", "higher", joined="mean", goal=0.8)
def _large_labels(looked: Looked) -> Iterator[Answer]:
    """Overlap (IoU) of labels, 20 px and more."""
    for one in looked.things:
        if one.size >= LARGE_PX:
            yield f"{one.word}{one.state}", one.overlap_frac, math.nan


@metric("check", "label-small", "", "higher", joined="mean", goal=0.65)
def _small_labels(looked: Looked) -> Iterator[Answer]:
    """Overlap (IoU) of labels, 8 to 20 px."""
    for one in looked.things:
        if SMALL_PX <= one.size < LARGE_PX:
            yield f"{one.word}{one.state}", one.overlap_frac, math.nan


@metric("check", "label-area", "px", "lower", joined="p95")
def _label_areas(looked: Looked) -> Iterator[Answer]:
    """Area of a label under 8 px, error."""
    for one in looked.things:
        if one.size < SMALL_PX and one.area_px >= MIN_PX:
            off = one.said_area_px - one.area_px
            yield f"{one.word}{one.state}", off, K95_NORMAL * one.said_area_u_px


@metric("check", "label-false", "", "lower", joined="mean")
def _false_labels(looked: Looked) -> Iterator[Answer]:
    """Label of 3 px and more that is not there, share of moments."""
    for one in looked.things:
        if one.size < SMALL_PX and one.area_px < MIN_PX:
            yield one.word, float(one.said.sum() >= FALSE_PX), math.nan


# -- place ----------------------------------------------------------------------


def _outlined(looked: Looked) -> Iterator[tuple[str, PanMoment]]:
    """Yield the moments at which a warm pan is said to stand somewhere, each with its part."""
    for one in looked.pans:
        if one.over_k < WARM_DELTA_K or not np.isfinite(one.shape.x_m[one.k]):
            continue
        shiny = one.bare and one.pan.bare_emissivity < SHINY_BELOW
        clear = "" if one.over_k >= CLEAR_DELTA_K else ", under 40 K over the hob"
        yield one.part + (", bare shiny pan" if shiny else clear), one


@metric("check", "pan-centre", "mm", "lower", joined="p95", goal=8.0)
def _centre(looked: Looked) -> Iterator[Answer]:
    """Middle of the pan, error."""
    for part, one in _outlined(looked):
        x_m = one.shape.x_m[one.k] - one.pan.x_m[one.m]
        y_m = one.shape.y_m[one.k] - one.pan.y_m[one.m]
        yield part, MM * float(np.hypot(x_m, y_m)), math.nan


@metric("check", "pan-diameter", "%", "lower", joined="p95", goal=8.0)
def _diameter(looked: Looked) -> Iterator[Answer]:
    """Diameter of the pan, error."""
    for part, one in _outlined(looked):
        ratio = one.shape.diameter_m[one.k] / one.pan.diameter_m - 1.0
        yield part, 100.0 * float(ratio), math.nan


@metric("check", "cold-pan", "", "higher", joined="mean", goal=0.99)
def _cold_pan(looked: Looked) -> Iterator[Answer]:
    """Cold pan said to be uncertain, share of moments."""
    for one in looked.pans:
        if abs(one.over_k) < COLD_DELTA_K:
            part = "never yet warm" if one.m == 0 else "cooled"
            yield part, float(one.said.present[one.k] == UNSURE), math.nan


# -- unevenness of the metal, where no liquid of 0.1 mm and more hides it ---------


def _uneven(looked: Looked) -> Iterator[PanMoment]:
    for one in looked.pans:
        if one.bare and np.isfinite(one.said.nonuniformity_k[one.k]):
            yield one


@metric("check", "uneven", "K", "lower", joined="p95", goal=0.5)
def _spread(looked: Looked) -> Iterator[Answer]:
    """P95 - P5 over the pan, error."""
    for one in _uneven(looked):
        off = float(one.said.nonuniformity_k[one.k] - one.pan.spread_k[one.m])
        yield "", off, K95_NORMAL * float(one.shape.nonuniformity_u_k[one.k])


@metric("check", "rings", "K", "lower", joined="p95")
def _rings(looked: Looked) -> Iterator[Answer]:
    """Radial profile, error."""
    for one in _uneven(looked):
        said, so = one.shape.ring_k[one.k], one.pan.ring_k[one.m]
        if np.isfinite(said).all():
            yield "", float(np.abs(said - np.mean(said) - (so - so.mean())).max()), math.nan


@metric("check", "sectors", "K", "lower", joined="p95")
def _sectors(looked: Looked) -> Iterator[Answer]:
    """Azimuthal profile, error."""
    for one in _uneven(looked):
        said, so = one.shape.sector_delta_k[one.k], one.pan.sector_delta_k[one.m]
        if np.isfinite(said).all():
            yield "", float(np.abs(said - so).max()), math.nan


@metric("check", "hot-spot", "mm", "lower", joined="p95")
def _hot_spot(looked: Looked) -> Iterator[Answer]:
    """Place of the hot spot, error."""
    for one in _uneven(looked):
        compact = one.pan.hot_reach_m[one.m] <= COMPACT_M
        x_m = one.shape.hot_x_m[one.k] - one.pan.hot_x_m[one.m]
        y_m = one.shape.hot_y_m[one.k] - one.pan.hot_y_m[one.m]
        part = "one spot" if compact else "hot in several places"
        u95_mm = MM * K95_PLANE * float(one.shape.hot_u_m[one.k])
        yield part, MM * float(np.hypot(x_m, y_m)), u95_mm


@metric("check", "hot-rate", "K/s", "lower", joined="p95")
def _hot_rate(looked: Looked) -> Iterator[Answer]:
    """Rate of the hottest part, error."""
    for one in _uneven(looked):
        if np.isfinite(one.shape.hot_kps[one.k]):
            off = float(one.shape.hot_kps[one.k] - one.pan.hot_kps[one.m])
            yield "", off, K95_NORMAL * float(one.shape.hot_u_kps[one.k])


# -- hands and steam --------------------------------------------------------------


@metric("check", "hand", "", "higher", joined="mean", goal=0.95)
def _hands(looked: Looked) -> Iterator[Answer]:
    """Hand noticed within 2 s, share of hands."""
    for one in looked.hands:
        yield f"over a {'warm' if one.warm else 'cold'} pan", float(one.noticed), math.nan


def _steam_said(one: PanMoment) -> float:
    return float(int(one.said.flags[one.k]) & int(Quality.STEAM) != 0)


def _steam_frac(one: PanMoment) -> float:
    """Return the share of what is inside a rim that steam hides; NaN where nothing is seen."""
    if one.area_px is None or not one.area_px.sum():
        return math.nan
    return float(one.area_px[LABELS.index("steam")] / one.area_px.sum())


@metric("check", "steam", "", "higher", joined="mean", goal=0.95)
def _steam(looked: Looked) -> Iterator[Answer]:
    """Steam over half the pan noticed, share of moments."""
    for one in looked.pans:
        if _steam_frac(one) >= 0.5:
            yield "", _steam_said(one), math.nan


@metric("check", "steam-false", "", "lower", joined="mean", goal=0.02)
def _false_steam(looked: Looked) -> Iterator[Answer]:
    """Steam said over a dry pan, share of moments."""
    for one in looked.pans:
        if one.bare and not _steam_frac(one) > 0.0:
            yield "", _steam_said(one), math.nan


# -- from one cook's answers to figures and goals -----------------------------------


def asked(cook: str, plan: str, looked: Looked) -> Iterator[Check]:
    """Yield the answers of one cook to every question, rounded to what matters."""
    for kind, question in METRICS["check"].items():
        parts: dict[str, list[tuple[float, float]]] = {}
        for part, off, u95 in question.function(looked):
            parts.setdefault(part, []).append((round(off, 3), round(u95, 3)))
        for part, values in parts.items():
            off, u95 = zip(*values, strict=True)
            yield Check(cook, plan, kind, part, off, u95 if np.isfinite(u95).all() else ())


def check_scores(checks: Sequence[Check], *, condition: str) -> tuple[CheckScore, ...]:
    """Return the figures of every question and part over all cooks; NaN where nothing tells.

    Figures are over all kept moments, of absolute errors; their intervals come from whole
    cooks drawn again (Davison and Hinkley, 1997, 3.8), seeded by the condition; coverage from
    one drawn moment a cook, with its exact interval (Clopper and Pearson, 1934).
    """
    found = []
    for kind in METRICS["check"].values():
        mine = [one for one in checks if one.kind == kind.name]
        for part in sorted({one.part for one in mine}):
            found.append(_score(kind, part, [one for one in mine if one.part == part], condition))
    return tuple(found)


def _score(kind: Metric, part: str, mine: Sequence[Check], condition: str) -> CheckScore:
    values = np.concatenate([np.asarray(one.off) for one in mine])
    plans = np.repeat([one.plan for one in mine], [len(one.off) for one in mine])
    size = np.abs(values)

    def statistic(some: FloatArray) -> float:
        return float(some.mean() if kind.joined == "mean" else np.quantile(some, 0.95))

    generator = seeded(condition, kind.name, part)
    low, high = resampled(size, cook=plans.tolist(), generator=generator, statistic=statistic)
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
    """Yield the goal of each question that has one, over each part; judged from 20 cooks.

    Met or not met where the interval over resampled cooks lies on one side of the goal.
    """
    for one in scores:
        kind = METRICS["check"][one.kind]
        if math.isnan(kind.goal):
            continue
        few = one.cooks < FEWEST_COOKS or math.isnan(one.low)
        up = kind.sense == "higher"
        good = one.low >= kind.goal if up else one.high <= kind.goal
        bad = one.high < kind.goal if up else one.low > kind.goal
        decision: ScoreDecision = "too few"
        if not few and (good or bad):
            decision = "met" if good else "not met"
        interval = f"95 %: {one.low:.2f} to {one.high:.2f}" if not few else "no interval"
        yield GoalLine(
            kind.name,
            f"{kind.meaning}{': ' + one.part if one.part else ''}",
            f"{'≥' if up else '≤'} {kind.goal:g} {kind.unit}".strip(),
            f"{one.found:.2f} {kind.unit}".strip(),
            decision,
            f"{interval}; {one.cooks} cooks",
        )
