"""Terms of the sensor, and every case of a head with the terms of its error budget."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.device.fixedpoint import NODE_STEP_K, STEPS_PER_K
from trivet.models.assumed import AROUND_PAN_K
from trivet.physics.radiation.measurement import sighted_apparent_k
from trivet.physics.radiation.planck import band_radiance_slope
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.stages.predict.cases import Cases, Pair, SeenCase, Term, term_of
from trivet.stages.predict.endofline import after_end_of_line
from trivet.stages.predict.pathterms import (
    film_term,
    mirrored_share,
    path_terms,
    source_terms,
    window_half_k,
)
from trivet.stages.predict.views import Eye, window_sight
from trivet.units import show_difference

ROUNDINGS = 3
"""Frame, drift and mean: what the firmware rounds before it inverts."""
SETTLING_CONSTANTS = 3.0
"""Own estimate: time constants in a card's settling time; 5 % of the offset is left then."""


def sensor_terms(design: Design, *, eye: Eye, apparent_k: FloatArray) -> tuple[Term, ...]:
    """Return the sensor's terms; what a card does not say is unknown, never zero.

    Parameters
    ----------
    design : Design
        Population, housing, time since wake.
    eye : Eye
        Head and card.
    apparent_k : (case,)
        What the sensor states. [K]

    Returns
    -------
    tuple of Term
        Offset, gain, noise, drift with housing, drift after wake, self-heating,
        output step, stored constants, words of the firmware; all but the gain in kelvin of the
        stated number.

    Notes
    -----
    Without any accuracy no budget can be stated; without a figure for drift,
    settling, self-heating or constants the term is named as unknown and left out.
    """
    return (
        *_accuracy(design, eye, np.ones_like(apparent_k)),
        _noise(eye, apparent_k),
        *_drifts(design, eye, np.ones_like(apparent_k)),
        *_steps(eye, np.ones_like(apparent_k)),
        firmware_words(eye, apparent_k=apparent_k),
    )


def firmware_words(eye: Eye, *, apparent_k: FloatArray) -> Term:
    """Return what the firmware's own words and table cost, at most, of the stated number.

    Frame, drift and mean are each rounded to a step; the table's straight lines lie beside
    the curve by h2/8 L''/L', which is taken by differences of the band's slope.
    """
    warmer = band_radiance_slope(apparent_k + 1.0, band=eye.band)
    colder = band_radiance_slope(apparent_k - 1.0, band=eye.band)
    bend = (warmer - colder) / (warmer + colder)
    half = ROUNDINGS / (2.0 * STEPS_PER_K) + NODE_STEP_K**2 / 8.0 * bend
    text = (
        f"own calculation: {ROUNDINGS} roundings to 1/{STEPS_PER_K} K and a table of nodes "
        f"{NODE_STEP_K:g} K apart; docs/handoff.md"
    )
    return _step("firmware's words", half, text)


def _step(name: str, half: FloatArray, source: str) -> Term:
    return term_of(name, "offset_k", half, source, needed=False)


def _accuracy(design: Design, eye: Eye, one: FloatArray) -> tuple[Term, Term]:
    card, units = eye.card, design.population
    own_offset, own_gain = units.offset_delta_k is not None, units.gain_frac is not None
    offset = units.offset_delta_k if own_offset else card.accuracy_delta_k
    gain = units.gain_frac if own_gain else card.accuracy_gain_frac
    unknown = offset is None and gain is None
    offset_k = math.nan if unknown else float(offset or 0.0)
    gain_frac = float(gain or 0.0)
    silent = "" if gain is not None else "; the card states no gain error of its own"
    said = "spread of units, " if own_offset else "accuracy of "
    slope = "spread of units, " if own_gain else ""
    return (
        term_of(
            "sensor offset",
            "offset_k",
            offset_k * one,
            f"{said}card {card.name}" + ("" if not unknown else ": unknown"),
        ),
        term_of(
            "sensor gain",
            "gain",
            gain_frac * one,
            f"{slope}card {card.name}, of scene minus housing{silent}",
        ),
    )


def _noise(eye: Eye, apparent_k: FloatArray) -> Term:
    card = eye.card
    slope = band_radiance_slope(float(card.netd_at_k), band=eye.band)
    noise = float(card.netd_delta_k) * slope / band_radiance_slope(apparent_k, band=eye.band)
    text = f"NETD of card {card.name}, scaled by the slope of radiance to the scene"
    return term_of("noise of one pixel", "offset_k", noise, text, shape="normal")


def most_drift_per_k(eye: Eye) -> float:
    """Return the largest drift with the housing that a card leaves open; NaN where silent."""
    drift = eye.card.housing_drift_per_k
    return math.nan if drift is None else _largest(drift)


def _largest(figure: Figure) -> float:
    return max(abs(float(figure)), abs(figure.low or 0.0), abs(figure.high or 0.0))


def _drifts(design: Design, eye: Eye, one: FloatArray) -> tuple[Term, ...]:
    card, per_k = eye.card, most_drift_per_k(eye)
    drift = per_k * abs(float(design.surroundings.housing_rise_delta_k))
    heating, settle, wake = card.self_heating_delta_k, card.settle_s, card.settle_delta_k
    if settle is None or wake is None:
        left, told = math.nan, f"card {card.name} does not say how it settles: unknown"
    else:
        awake_s = float(settle if design.estimation.awake_s is None else design.estimation.awake_s)
        rate = SETTLING_CONSTANTS / float(settle) if float(settle) > 0.0 else math.inf
        left = _largest(wake) * math.exp(-rate * awake_s) if awake_s > 0.0 else _largest(wake)
        told = f"card {card.name}, {awake_s:.0f} s after wake of {float(settle):.0f} s to settle"
    varies = math.nan if heating is None else heating.half_width * per_k
    return (
        _step(
            "drift with housing",
            drift * one,
            f"card {card.name} "
            + ("does not say: unknown" if math.isnan(drift) else "times the housing's rise")
            + ("" if math.isnan(drift) else ", not corrected"),
        ),
        _step("drift after wake", left * one, told),
        _step(
            "self-heating",
            varies * one,
            f"card {card.name} does not say: unknown"
            if math.isnan(varies)
            else f"what varies of card {card.name}'s own warming, times its drift",
        ),
    )


def _steps(eye: Eye, one: FloatArray) -> tuple[Term, Term]:
    card, stored = eye.card, eye.card.constants_delta_k
    step = float(card.step_delta_k) / 2
    if stored is None:
        text = f"card {card.name} does not say: unknown"
    else:
        high = "" if stored.high is None else f"; up to {show_difference(stored.high)} published"
        text = f"card {card.name}, stored in few bits{high}"
    return (
        _step("output step", step * one, f"half a step of card {card.name}"),
        _step("stored constants", (math.nan if stored is None else float(stored)) * one, text),
    )


COLUMN_K = 333.15  # own estimate: a column of steam mixed with the air of the kitchen


def cases_of(design: Design, *, eye: Eye, places: list[SeenCase]) -> Cases:
    """Return the cases of one head with all their terms.

    Parameters
    ----------
    design : Design
        Surroundings, window, population, end of line.
    eye : Eye
        Head and card.
    places : list of SeenCase
        (case,) what is seen where.

    Returns
    -------
    Cases
        All terms, those that err together, and what the product believes.

    Notes
    -----
    The product is taken to correct the middle of one-sided errors: halo, edge and
    the drop through a film.  Steam, grease and condensation are not corrected, and
    are in the budget only where the design declares them.  A pan that is not
    uniform is not in the budget.
    """
    temperature_k = np.array([place.temperature_k for place in places])
    share, share_terms = source_terms(design, eye=eye, places=places)
    value, low, high = np.array([place.emissivity for place in places]).T
    step_k, step_term = film_term(design, places=places, emissivity=value)
    steam = design.surroundings.steam
    sight = replace(
        window_sight(design, eye=eye, emissivity=value),
        source_frac=share,
        around_k=AROUND_PAN_K.value,
        mirrored_frac=mirrored_share(eye.head.window),
        column_k=COLUMN_K if steam is None else float(steam.temperature_k),
    )
    apparent_k = sighted_apparent_k(temperature_k - step_k, sight=sight, band=eye.band)
    ends = (low - value, high - value)
    emissivity = term_of("emissivity", "emissivity", ends, "of what lies in the pan")
    terms = (
        *sensor_terms(design, eye=eye, apparent_k=apparent_k),
        emissivity,
        *path_terms(design, eye=eye, places=places),
        *share_terms,
        step_term,
    )
    cases = Cases(eye, temperature_k, sight, step_k, terms, declared_pairs(design, eye=eye))
    return cases if design.end_of_line is None else after_end_of_line(design, cases=cases)


def declared_pairs(design: Design, *, eye: Eye) -> tuple[Pair, ...]:
    """Return the pairs of terms that err together: the housing's, then the design's.

    Parameters
    ----------
    design : Design
        Its ranges and declared correlations.
    eye : Eye
        Head and card.

    Returns
    -------
    tuple of Pair
        A declared pair replaces the program's own one.

    Notes
    -----
    A housing warmer than believed warms the window and shifts the offset of a
    sensor whose drift has a known sign.  With u_h of the housing's temperature, u_w
    of the window's, drift k and rise h the coefficient is
    (u_h / u_w) k u_h / sqrt((k u_h)^2 + (h u_k)^2): 0.57 for a drift of 0 to 0.2, a
    rise of 5 to 30 K and an ambient of 18 to 30 C.
    """
    found = {frozenset((one.first, one.second)): one for one in _housing(design, eye)}
    for one in design.correlations:
        key = frozenset((one.first, one.second))
        found[key] = Pair(one.first, one.second, float(one.coefficient), one.note or "declared")
    return tuple(found.values())


def _housing(design: Design, eye: Eye) -> list[Pair]:
    drift, rise = eye.card.housing_drift_per_k, design.surroundings.housing_rise_delta_k
    if drift is None or drift.low is None or drift.low * (drift.high or 0.0) < 0.0:
        return []
    warm = math.hypot(design.surroundings.ambient_k.half_width, rise.half_width)
    moved = math.hypot(float(drift) * warm, float(rise) * drift.half_width)
    window = window_half_k(design, window=eye.head.window)
    if warm == 0.0 or moved == 0.0:
        return []
    sign = math.copysign(1.0, float(drift))
    together = sign * min(warm / window, 1.0) * abs(float(drift)) * warm / moved
    why = "the housing's temperature moves both"
    return [Pair("drift with housing", "window temperature", together, why)]
