"""The terms of an error budget: which input errs, by how much, with which distribution."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from trivet.kernels.coverage import ENOUGH_PIXELS_ACROSS
from trivet.kernels.measurement import Sight, sighted_apparent_k
from trivet.kernels.occlusion import circle_overlap_m2
from trivet.kernels.planck import band_radiance_slope
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.prediction import PanView
from trivet.stages.predict.views import Eye
from trivet.terms.assumed import (
    AROUND_PAN_HALF_K,
    AROUND_PAN_K,
    HALO_FEW_FRAC,
    HALO_MANY_FRAC,
    OIL_CONDUCTIVITY_W_MK,
    REFLECTED_HALF_K,
    TRANSMITTANCE_HALF,
    WINDOW_HALF_K,
    range_of,
)

Floats = NDArray[np.float64]
Field = Literal[
    "offset_k",
    "gain",
    "emissivity",
    "reflected_k",
    "transmittance",
    "window_k",
    "source_frac",
    "around_k",
    "step_k",
]
STEFAN_BOLTZMANN = 5.670374419e-8
LEAST_SOURCE_FRAC = 0.05


@dataclass(frozen=True, eq=False)
class Term:
    """One term for every case: deviation of an input from what the product believes.

    ``low`` and ``high`` (case,) are the ends of a rectangular deviation, or minus
    and plus one standard deviation of a normal one; NaN where the card is silent.
    """

    name: str
    field: Field
    low: Floats
    high: Floats
    distribution: Literal["rectangular", "normal"]
    source: str

    @property
    def standard_uncertainty(self) -> Floats:
        """Standard deviation of the input. (case,)"""
        half = (self.high - self.low) / 2
        return half / math.sqrt(3.0) if self.distribution == "rectangular" else half


@dataclass(frozen=True, eq=False)
class Cases:
    """What one head sees, case by case: temperatures and what the product believes. (case,)

    ``step_k`` is the believed drop from the pan to the film's surface.
    """

    eye: Eye
    temperature_k: Floats
    sight: Sight
    step_k: Floats
    terms: tuple[Term, ...]

    @property
    def apparent_k(self) -> Floats:
        """What the sensor states when nothing errs. (case,)"""
        return sighted_apparent_k(
            self.temperature_k - self.step_k, sight=self.sight, band=self.eye.band
        )


@dataclass(frozen=True)
class Place:
    """One case before its terms are known: a view, a temperature, a surface."""

    view: PanView
    temperature_k: float
    pan_diameter_m: float
    film_m: float
    """Thickness of a film read as the pan; 0 where there is none."""
    emissivity: tuple[float, float, float]
    """Believed value, low and high."""
    emissivity_source: str
    blur_loss: tuple[float, float]
    """Least and most share of the signal that blur takes from beside the pan."""


def cases_of(design: Design, *, eye: Eye, places: list[Place]) -> Cases:
    """Return the cases of one head with all their terms.

    Parameters
    ----------
    design : Design
        Surroundings and window.
    eye : Eye
        Head and card.
    places : list of Place
        (case,) what is seen where.

    Returns
    -------
    Cases
        Thirteen terms and what the product believes.

    Notes
    -----
    The product is taken to correct the middle of one-sided errors: halo, edge and
    the drop through a film.  Steam, fouling beyond the stated transmittance and a
    pan that is not uniform are not in the budget.
    """
    temperature_k = np.array([place.temperature_k for place in places])
    share, share_terms = _source_terms(eye, places)
    value, low, high = np.array([place.emissivity for place in places]).T
    step_k, step_term = _film_term(design, places, value)
    surroundings, window = design.surroundings, eye.head.window
    housing_k = float(surroundings.ambient_k) + float(surroundings.housing_rise_delta_k)
    sight = Sight(
        emissivity=value,
        reflected_k=float(surroundings.reflected_k),
        transmittance=float(window.transmittance_frac),
        window_k=housing_k + float(window.rise_delta_k),
        source_frac=share,
        around_k=AROUND_PAN_K.value,
        housing_k=housing_k,
    )
    apparent_k = sighted_apparent_k(temperature_k - step_k, sight=sight, band=eye.band)
    one = np.ones(len(places))
    terms = (
        *_sensor_terms(design, eye, apparent_k),
        Term(
            "emissivity",
            "emissivity",
            low - value,
            high - value,
            "rectangular",
            "of what lies in the pan",
        ),
        *_path_terms(design, eye, one),
        *share_terms,
        step_term,
    )
    return Cases(eye, temperature_k, sight, step_k, terms)


def _sensor_terms(design: Design, eye: Eye, apparent_k: Floats) -> tuple[Term, ...]:
    card, one = eye.card, np.ones_like(apparent_k)
    offset, gain = card.accuracy_delta_k, card.accuracy_gain_frac
    unknown = offset is None and gain is None
    offset_k = math.nan if unknown else float(offset or 0.0)
    gain_frac = float(gain or 0.0)
    slope = band_radiance_slope(float(card.netd_at_k), band=eye.band)
    noise = float(card.netd_delta_k) * slope / band_radiance_slope(apparent_k, band=eye.band)
    drift = _drift_half_k(design, eye)
    step = float(card.step_delta_k) / 2
    silent = "" if gain is not None else "; the card states no gain error of its own"
    return (
        Term(
            "sensor offset",
            "offset_k",
            -offset_k * one,
            offset_k * one,
            "rectangular",
            f"accuracy of card {card.name}" + ("" if not unknown else ": unknown"),
        ),
        Term(
            "sensor gain",
            "gain",
            -gain_frac * one,
            gain_frac * one,
            "rectangular",
            f"card {card.name}, of scene minus housing{silent}",
        ),
        Term(
            "noise of one pixel",
            "offset_k",
            -noise,
            noise,
            "normal",
            f"NETD of card {card.name}, scaled by the slope of radiance to the scene",
        ),
        Term(
            "drift with housing",
            "offset_k",
            -drift * one,
            drift * one,
            "rectangular",
            f"card {card.name} times the housing's rise, not corrected",
        ),
        Term(
            "output step",
            "offset_k",
            -step * one,
            step * one,
            "rectangular",
            f"half a step of card {card.name}",
        ),
    )


def _drift_half_k(design: Design, eye: Eye) -> float:
    """Return the half-width of the offset that the warm housing brings. [K]"""
    drift = eye.card.housing_drift_per_k
    if drift is None:
        return 0.0
    most = max(abs(float(drift)), abs(drift.low or 0.0), abs(drift.high or 0.0))
    return most * abs(float(design.surroundings.housing_rise_delta_k))


def _path_terms(design: Design, eye: Eye, one: Floats) -> tuple[Term, ...]:
    surroundings, window = design.surroundings, eye.head.window
    reflected, tau = surroundings.reflected_k, window.transmittance_frac
    mirror = range_of(reflected, otherwise=REFLECTED_HALF_K)
    clear = range_of(tau, otherwise=TRANSMITTANCE_HALF)
    clear = (max(clear[0], 1e-3), min(clear[1], 1.0))
    warm_k = _window_half_k(
        surroundings.ambient_k, surroundings.housing_rise_delta_k, window.rise_delta_k
    )
    return (
        Term(
            "reflected temperature",
            "reflected_k",
            (mirror[0] - float(reflected)) * one,
            (mirror[1] - float(reflected)) * one,
            "rectangular",
            _range_source("surroundings", reflected),
        ),
        Term(
            "window transmittance",
            "transmittance",
            (clear[0] - float(tau)) * one,
            (clear[1] - float(tau)) * one,
            "rectangular",
            _range_source(f"window of head {eye.head.name}", tau),
        ),
        Term(
            "window temperature",
            "window_k",
            -warm_k * one,
            warm_k * one,
            "rectangular",
            "ranges of ambient, housing and window"
            if warm_k != WINDOW_HALF_K.value
            else "half-width assumed",
        ),
    )


def _window_half_k(*figures: Figure) -> float:
    spread = math.sqrt(sum(figure.half_width**2 for figure in figures))
    return spread if spread > 0.0 else WINDOW_HALF_K.value


def _range_source(what: str, figure: Figure) -> str:
    if figure.low is None:
        return f"{what}, {figure.origin}; half-width assumed"
    return f"{what}, {figure.origin}"


def _source_terms(eye: Eye, places: list[Place]) -> tuple[Floats, tuple[Term, ...]]:
    """Return the believed share of the signal from the pan, and the terms that err about it."""
    found = {place.view: _shares(eye, place) for place in places}
    loss = np.array([found[place.view] for place in places])
    edge = loss[:, 2]
    middle = (loss[:, 0] + loss[:, 1]) / 2
    share = np.maximum(1.0 - middle - edge / 2, LEAST_SOURCE_FRAC)
    half = np.minimum((loss[:, 1] - loss[:, 0]) / 2, np.minimum(1.0 - share, share - 0.01))
    half_edge = np.minimum(edge / 2, np.minimum(1.0 - share - half, share - half - 0.005))
    half_edge = np.maximum(half_edge, 0.0)
    around = AROUND_PAN_HALF_K.value * np.ones(len(places))
    return share, (
        Term(
            "size of source",
            "source_frac",
            -half,
            half,
            "rectangular",
            f"blur of card {eye.card.name}, and halo assumed",
        ),
        Term(
            "registration and edge",
            "source_frac",
            -half_edge,
            half_edge,
            "rectangular",
            "tolerances of the mount, one pixel trimmed at the rim",
        ),
        Term(
            "temperature around the pan",
            "around_k",
            -around,
            around,
            "rectangular",
            "assumed: hob and grate beside the pan",
        ),
    )


def _shares(eye: Eye, place: Place) -> tuple[float, float, float]:
    """Return least and most loss by blur and halo, and most loss by a misplaced rim."""
    many = place.view.pixels_across >= ENOUGH_PIXELS_ACROSS
    halo = HALO_MANY_FRAC if many else HALO_FEW_FRAC
    least, most = place.blur_loss[0], place.blur_loss[1] + halo.value
    mount, radius = eye.head.mount, place.pan_diameter_m / 2
    shift = math.sqrt(2.0) * float(mount.position_tolerance_m)
    shift += float(mount.height_m) * math.tan(float(mount.angle_tolerance_rad))
    inner = max(radius - place.view.footprint_m, radius / 2)
    kept = circle_overlap_m2(inner, other_radius_m=radius, distance_m=shift)
    return least, min(most, 0.9), 1.0 - kept / (math.pi * inner**2)


def _film_term(design: Design, places: list[Place], emissivity: Floats) -> tuple[Floats, Term]:
    """Return the believed drop through a thin film, half of the full one, and its term."""
    temperature = np.array([place.temperature_k for place in places])
    film = np.array([place.film_m for place in places])
    ambient = float(design.surroundings.ambient_k)
    loss = float(design.surroundings.convection_w_m2k) * (temperature - ambient)
    loss = loss + emissivity * STEFAN_BOLTZMANN * (temperature**4 - ambient**4)
    half = np.maximum(loss, 0.0) * film / OIL_CONDUCTIVITY_W_MK.value / 2
    term = Term(
        "drop through the film",
        "step_k",
        -half,
        half,
        "rectangular",
        "loss to the room through the film's mean thickness; its middle is corrected",
    )
    return half, term
