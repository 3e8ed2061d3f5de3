"""Like with like: what a reading is of, what lies in the pan, when a limit is reached."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.records.alertlog import AlertChange
from trivet.records.design import Design
from trivet.records.dossier import ShownCook
from trivet.records.estimate import BurnerEstimate
from trivet.records.recording import BurnerTruth, ProbeSeries
from trivet.records.requirement import OF_WORDS, Alert, Of


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


def contents_of(design: Design, cook: ShownCook, burner: str) -> str:
    """Return what lies in a burner's pan, as truth or the bench sheet say; empty if unsaid."""
    truth = truth_of(cook, burner)
    if truth is not None:
        return next((base.contents for base in design.bases if base.name == truth.base), "")
    sheet = cook.recording.reference.sheet
    return next((one.contents for one in sheet if one.burner == burner), "")


def guards(design: Design, alert: Alert, *, contents: str) -> bool:
    """Return whether an alert is meant for a burner with these contents."""
    meant = {base.contents for base in design.bases if base.name in alert.bases}
    return not alert.bases or contents in meant or contents in alert.bases


def surface_truth_k(
    truth: BurnerTruth, of: Of, *, contents: str, hottest: bool = False
) -> FloatArray:
    """Return the true temperature of a surface: its visible mean where it is the one seen. [K]"""
    if of in ("pan", "hidden_pan") and hottest:
        return truth.hottest_k
    whole = np.full(truth.time_s.shape, np.nan)
    match of:
        case "pan" | "hidden_pan":
            whole = truth.pan_k
        case "oil" if contents in ("oil", "butter"):
            whole = truth.contents_k
        case "liquid" if contents == "water":
            whole = truth.contents_k
        case "food":
            whole = truth.food_k
    return np.where(truth.seen_of == OF_WORDS.index(of), truth.seen_k, whole)


def like_truth_k(
    truth: BurnerTruth, one: BurnerEstimate, *, time_s: FloatArray, contents: str
) -> FloatArray:
    """Return at each moment the truth of what the reading is of; where none, of what is seen."""
    result = np.interp(time_s, truth.time_s, truth.seen_k, left=np.nan, right=np.nan)
    for index, word in enumerate(OF_WORDS):
        here = one.valid & (one.of == index)
        if here.any():
            own = surface_truth_k(truth, word, contents=contents)
            result[here] = np.interp(time_s[here], truth.time_s, own, left=np.nan, right=np.nan)
    return result


def reaches_s(
    cook: ShownCook, burner: str, *, of: Of, limit_k: float, contents: str
) -> float | None:
    """Return when truth, or the hottest probe of the surface, first reaches a limit. [s]"""
    truth = truth_of(cook, burner)
    if truth is not None:
        series = [(truth.time_s, surface_truth_k(truth, of, contents=contents, hottest=True))]
    else:
        touched = "pan" if of == "hidden_pan" else of
        probes = [one for one in probes_of(cook, burner) if one.probe.touches == touched]
        series = [(one.time_s, one.temperature_k) for one in probes]
    moments = [
        float(time_s[np.argmax(value_k >= limit_k)])
        for time_s, value_k in series
        if bool(np.any(value_k >= limit_k))
    ]
    return min(moments, default=None)


def on_since_s(changes: Sequence[AlertChange], *, burner: str, alert: str, at_s: float) -> float:
    """Return since when an alert is on at a moment without a break, NaN if it is off. [s]"""
    since = math.nan
    for change in changes:
        mine = (change.burner, change.alert) == (burner, alert) and change.switches
        if mine and change.time_s <= at_s:
            since = change.time_s if change.state == "on" else math.nan
    return since
