"""Calibration: what was fitted, with its uncertainty; what stayed nominal, and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

from trivet.present.texts import NONE, UNKNOWN, difference, length, minus, temperature
from trivet.records.calibration import (
    DRIFT_TERMS,
    POSE_TERMS,
    Calibration,
    DriftCalibration,
    HeadCalibration,
    PoseCalibration,
    SurfaceCalibration,
)
from trivet.records.design import Design, Display
from trivet.records.dossier import Grade, Section, Table

LABELS = {
    "x_m": "place x",
    "y_m": "place y",
    "height_m": "height",
    "tilt_rad": "tilt",
    "pan_rad": "pan angle",
    "roll_rad": "roll",
    "offset_k": "offset",
    "per_housing_k": "per kelvin of housing",
    "per_housing_rate_s": "per housing rate",
    "wake_k": "offset after wake",
}


def calibration_section(design: Design, *, calibrations: Sequence[Calibration]) -> Section:
    """Return the terms of each calibration; grades of evidence stay apart."""
    words = [
        "Fitted terms come from cooks kept for calibration, never from proof cooks. A term"
        " that the data could not carry stays at the design's nominal value, and says why."
    ]
    tables: list[Table] = []
    for one in calibrations:
        grade: Grade = one.evidence
        count = len(one.recordings)
        source = f"{count} recording{'s' if count != 1 else ''}" if count else "no recording"
        words.append(f"Grade {grade}: from {source}.")
        if one.refusals:
            words.append(f"Refused ({grade}): {'; '.join(one.refusals)}.")
        if one.units:
            named = ", ".join(unit or "one without a name" for unit in one.units)
            words.append(f"Made on sensor unit ({grade}): {named}.")
        if one.advice:
            words.append(f"To do ({grade}): {'; '.join(one.advice)}.")
        tables.append(_head_table(design.display, one, grade))
        if one.surfaces:
            tables.append(_surface_table(design.display, one, grade))
    if not calibrations:
        words.append("No calibration was made.")
    return Section("Calibration", tuple(words), tuple(tables))


def _head_table(display: Display, one: Calibration, grade: Grade) -> Table:
    rows = [row for head in one.heads for row in _head_rows(display, head)]
    columns = ("Head", "Term", "Value", "Standard uncertainty", "Fitted or nominal", "Why")
    return Table(f"Heads ({grade})", columns, tuple(rows), evidence=grade)


def _head_rows(display: Display, head: HeadCalibration) -> list[tuple[str, ...]]:
    rows = [*_pose_rows(display, head.head, head.pose)]
    rows += _drift_rows(display, head.head, head.drift)
    rows.append(
        (
            head.head,
            "window transmittance",
            f"{head.transmittance:.3f}",
            f"{head.transmittance_u:.3f}",
            head.transmittance_how,
            head.transmittance_reason or NONE,
        )
    )
    if math.isfinite(head.reflected_k):
        value = temperature(head.reflected_k, display)
        u = difference(head.reflected_u_k, display, 1)
        rows.append((head.head, "reflected", value, u, "fitted", head.reflected_reason))
    rows.append((head.head, "gain", "1", f"{head.gain_u:.3f}", NONE, NONE))
    return rows


def _pose_rows(display: Display, head: str, pose: PoseCalibration) -> list[tuple[str, ...]]:
    misfit = ""
    if math.isfinite(pose.residual_rms_m):
        misfit = f"misfit on the cooktop {length(pose.residual_rms_m, display, 1)} rms"
    rows: list[tuple[str, ...]] = []
    for place, term in enumerate(POSE_TERMS):
        value = float(pose.value[place])
        u = _root(float(pose.covariance[place, place]))
        shown = partial(_place, display=display, angle=term.endswith("_rad"))
        why = _sentence(pose.reason, misfit) if place == 0 else "as above"
        rows.append((head, LABELS[term], shown(value), shown(u), pose.how, why or NONE))
    return rows


def _drift_rows(display: Display, head: str, drift: DriftCalibration) -> list[tuple[str, ...]]:
    misfit = ""
    if math.isfinite(drift.residual_rms_k):
        misfit = f"misfit {difference(drift.residual_rms_k, display, 2)} rms"
    rows: list[tuple[str, ...]] = []
    for place, term in enumerate(DRIFT_TERMS):
        value = float(drift.value[place])
        u = _root(float(drift.covariance[place, place]))
        kelvin = term in ("offset_k", "wake_k")
        texts = (
            (difference(value, display, 2), difference(u, display, 2))
            if kelvin
            else (_plain(value, term), _plain(u, term))
        )
        why = _sentence(drift.reason, misfit) if place == 0 else "as above"
        rows.append((head, LABELS[term], *texts, drift.how, why or NONE))
    return rows


def _surface_table(display: Display, one: Calibration, grade: Grade) -> Table:
    rows = tuple(_surface_row(display, surface) for surface in one.surfaces)
    columns = (
        "Contents",
        "Finish",
        "Emissivity",
        "Film",
        "Covers",
        "Cooks",
        "Chi² / dof",
        "Fitted or nominal",
        "Why",
    )
    return Table(f"Surfaces ({grade})", columns, rows, evidence=grade)


def _surface_row(display: Display, one: SurfaceCalibration) -> tuple[str, ...]:
    film = NONE
    if math.isfinite(one.film_m):
        film = f"{1e6 * one.film_m:.0f} ± {1e6 * one.film_u_m:.0f} µm"
    span = NONE
    if math.isfinite(one.span_low_k) and math.isfinite(one.span_high_k):
        low, high = temperature(one.span_low_k, display), temperature(one.span_high_k, display)
        span = f"{low} to {high}"
    return (
        one.contents,
        one.finish or "any",
        f"{one.emissivity:.3f} ± {one.emissivity_u:.3f}",
        film,
        span,
        str(one.cooks),
        f"{one.reduced_chi2:.2f}" if math.isfinite(one.reduced_chi2) else NONE,
        one.how,
        one.reason or NONE,
    )


def _root(variance: float) -> float:
    return math.sqrt(variance) if variance >= 0 else math.nan


def _place(value: float, *, display: Display, angle: bool) -> str:
    if not math.isfinite(value):
        return UNKNOWN
    text = minus(f"{math.degrees(value):.2f}°") if angle else length(value, display, 1)
    return text


def _sentence(*parts: str) -> str:
    return "; ".join(part.rstrip(".") for part in parts if part)


def _plain(value: float, term: str) -> str:
    if not math.isfinite(value):
        return UNKNOWN
    return minus(f"{value:.2f} s" if term.endswith("_s") else f"{value:.4f}")
