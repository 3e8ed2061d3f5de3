"""Like with like: the truth or reference of what a reading is of, and what base a burner has."""

from __future__ import annotations

import re

import numpy as np

from trivet.quality import BLOCKING
from trivet.records.arrays import FloatArray
from trivet.records.dossier import ShownCook
from trivet.records.estimate import BurnerEstimate
from trivet.records.recording import BurnerTruth, ProbeSeries
from trivet.records.requirement import OF_WORDS, Of


def plan_of(cook: ShownCook) -> str:
    """Return the name of the plan that a cook repeats."""
    return re.sub(r"-r\d+$", "", cook.recording.name)


def truth_of(cook: ShownCook, burner: str) -> BurnerTruth | None:
    """Return a burner's truth, where the cook is simulated."""
    burners = cook.truth.burners if cook.truth else ()
    return next((one for one in burners if one.burner == burner), None)


def probes_of(cook: ShownCook, burner: str) -> list[ProbeSeries]:
    """Return the reference probes of a bench cook that belong to a burner."""
    if cook.truth is not None:
        return []
    return [one for one in cook.recording.reference.probes if one.probe.burner == burner]


def bases_of(cook: ShownCook, burner: str) -> set[str]:
    """Return the words by which a burner's base is known: its name, its contents."""
    truth = truth_of(cook, burner)
    words = {truth.base} if truth else set()
    told = cook.recording.sight.told.about(burner).base_contents
    words |= {told} if told else set()
    sheet = cook.recording.reference.sheet
    return words | {str(one.contents) for one in sheet if one.burner == burner}


def valid_moments(one: BurnerEstimate) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return where a number may be shown: finite, and no blocking flag."""
    blocked = (one.flags & np.uint32(int(BLOCKING))) != 0
    return np.asarray(np.isfinite(one.reported_k) & ~blocked, dtype=np.bool_)


def surface_truth_k(truth: BurnerTruth, of: Of, *, hottest: bool = False) -> FloatArray:
    """Return the true temperature of a surface over the truth's time. [K]"""
    match of:
        case "pan" | "hidden_pan":
            return truth.hottest_k if hottest else truth.pan_k
        case "oil" | "liquid":
            return truth.contents_k
        case "food":
            return truth.food_k
    return np.full(truth.time_s.shape, np.nan)


def like_truth_k(truth: BurnerTruth, one: BurnerEstimate, time_s: FloatArray) -> FloatArray:
    """Return at each moment the truth of what the reading is of; where none, of what is seen."""
    result = np.interp(time_s, truth.time_s, truth.seen_k, left=np.nan, right=np.nan)
    for index, word in enumerate(OF_WORDS):
        here = valid_moments(one) & (one.of == index)
        if here.any():
            own = surface_truth_k(truth, word)
            result[here] = np.interp(time_s[here], truth.time_s, own, left=np.nan, right=np.nan)
    return result


def reaches_s(cook: ShownCook, burner: str, *, of: Of, limit_k: float) -> float | None:
    """Return when truth, or the hottest probe of the surface, first reaches a limit. [s]"""
    truth = truth_of(cook, burner)
    if truth is not None:
        series = [(truth.time_s, surface_truth_k(truth, of, hottest=True))]
    else:
        probes = [one for one in probes_of(cook, burner) if one.probe.touches == of]
        series = [(one.time_s, one.temperature_k) for one in probes]
    moments = [
        float(time_s[np.argmax(value_k >= limit_k)])
        for time_s, value_k in series
        if bool(np.any(value_k >= limit_k))
    ]
    return min(moments, default=None)
