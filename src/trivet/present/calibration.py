"""Calibration: what was fitted, with its uncertainty; what stayed nominal, and why."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from trivet.present.numbers import NONE, UNKNOWN, Formatter, listed, plain, with_u
from trivet.present.parts import tabulate
from trivet.records.calibration import (
    DRIFT_TERMS,
    POSE_TERMS,
    Calibration,
    HeadCalibration,
    SurfaceCalibration,
)
from trivet.records.design import Design
from trivet.records.dossier import Section, Table

TERM_WORDS = {
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
"""What each fitted term is."""

Row = tuple[str, str, str, str, str, str]
"""Head, term, value, standard uncertainty, fitted or nominal, why."""


def calibration_section(
    design: Design, *, calibrations: Sequence[Calibration], moved: Sequence[str] = ()
) -> Section:
    """Return the terms of each calibration; grades of evidence stay apart.

    ``moved`` says of each mount that stands elsewhere than the design has it what to do.
    """
    show = Formatter(design.display)
    words = [
        "Fitted terms come from cooks kept for calibration, never from proof cooks. A term"
        " that the data could not carry stays at the design's nominal value, and says why."
    ]
    tables: list[Table] = []
    for one in calibrations:
        words += _words(one)
        rows = [row for head in one.heads for row in _head_rows(show, head)]
        columns = ("Head", "Term", "Value", "Standard uncertainty", "Fitted or nominal", "Why")
        tables.append(Table("Heads", columns, tuple(rows), evidence=one.evidence))
        if one.surfaces:
            tables.append(_surface_table(show, one))
    if not calibrations:
        words.append("No calibration was made.")
    words += [f"To do: {text}" for text in moved]
    return Section("Calibration", tuple(words), tuple(tables))


def _words(one: Calibration) -> Iterator[str]:
    count = len(one.recordings)
    source = f"{count} recording{'s' if count != 1 else ''}" if count else "no recording"
    yield f"Grade {one.evidence}: from {source}."
    if one.refusals:
        yield f"Refused ({one.evidence}): {'; '.join(one.refusals)}."
    if one.units:
        named = listed((unit or "one without a name" for unit in one.units), 99)
        yield f"Made on sensor unit ({one.evidence}): {named}."
    if one.advice:
        yield f"To do ({one.evidence}): {'; '.join(one.advice)}."


def _head_rows(show: Formatter, head: HeadCalibration) -> Iterator[Row]:
    fits = (
        (POSE_TERMS, head.pose, show.length(head.pose.residual_rms_m, 1)),
        (DRIFT_TERMS, head.drift, show.difference(head.drift.residual_rms_k, 2)),
    )
    for terms, part, rms in fits:
        misfit = f"misfit {rms} rms" if rms != UNKNOWN else ""
        for place, term in enumerate(terms):
            value, u = float(part.value[place]), _root(float(part.covariance[place, place]))
            why = _sentence(part.reason, misfit) if place == 0 else "as above"
            yield (
                head.head,
                TERM_WORDS[term],
                *_shown(value, u, term, show),
                part.how,
                why or NONE,
            )
    tau = with_u(head.transmittance, head.transmittance_u)
    why = head.transmittance_reason or NONE
    yield (head.head, "window transmittance", *tau, head.transmittance_how, why)
    if math.isfinite(head.reflected_k):
        reflected = show.temperature(head.reflected_k), show.difference(head.reflected_u_k)
        yield (head.head, "reflected", *reflected, "fitted", head.reflected_reason)
    if head.pixels is not None:
        left = show.difference(head.pixels.residual_rms_k, 2)
        yield (head.head, "pixels, residual", NONE, left, "fitted", head.pixels.reason)
    yield (head.head, "gain", "1", plain(head.gain_u, ".3f"), NONE, NONE)


def _shown(value: float, u: float, term: str, show: Formatter) -> tuple[str, str]:
    """Return a term and its standard uncertainty in the unit that the term has."""
    if term.endswith("_m"):
        return show.length(value, 1), show.length(u, 1)
    if term.endswith("_rad"):
        return with_u(math.degrees(value), math.degrees(u), "°")
    if term in ("offset_k", "wake_k"):
        return show.difference(value, 2), show.difference(u, 2)
    return with_u(value, u, " s" if term.endswith("_s") else "")


def _surface_table(show: Formatter, one: Calibration) -> Table:
    return tabulate(
        "Surfaces",
        one.surfaces,
        {
            "Contents": lambda surface: surface.contents,
            "Finish": lambda surface: surface.finish or "any",
            "Emissivity": lambda surface: " ± ".join(
                with_u(surface.emissivity, surface.emissivity_u)
            ),
            "Film": _film,
            "Covers": lambda surface: _span(surface, show),
            "Cooks": lambda surface: str(surface.cooks),
            "Chi² / dof": lambda surface: plain(surface.reduced_chi2, ".2f"),
            "Fitted or nominal": lambda surface: surface.how,
            "Why": lambda surface: surface.reason or NONE,
        },
        evidence=one.evidence,
    )


def _film(one: SurfaceCalibration) -> str:
    if not math.isfinite(one.film_m):
        return NONE
    return f"{1e6 * one.film_m:.0f} ± {1e6 * one.film_u_m:.0f} µm"


def _span(one: SurfaceCalibration, show: Formatter) -> str:
    if not (math.isfinite(one.span_low_k) and math.isfinite(one.span_high_k)):
        return NONE
    return f"{show.temperature(one.span_low_k)} to {show.temperature(one.span_high_k)}"


def _root(variance: float) -> float:
    return math.sqrt(variance) if variance >= 0 else math.nan


def _sentence(*parts: str) -> str:
    return "; ".join(part.rstrip(".") for part in parts if part)
