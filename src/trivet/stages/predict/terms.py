"""Every case of a head with the terms of its error budget."""

from __future__ import annotations

import numpy as np

from trivet.models.assumed import AROUND_PAN_K
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.records.design import Design
from trivet.stages.predict.cases import Cases, Pair, Place, Term
from trivet.stages.predict.correlation import declared_pairs
from trivet.stages.predict.endofline import after_end_of_line
from trivet.stages.predict.pathterms import mirrored_share, path_terms
from trivet.stages.predict.sensorterms import sensor_terms
from trivet.stages.predict.sourceterms import film_term, source_terms
from trivet.stages.predict.views import Eye

STEAM_K = 333.15
__all__ = ["Cases", "Pair", "Place", "Term", "cases_of"]


def cases_of(design: Design, *, eye: Eye, places: list[Place]) -> Cases:
    """Return the cases of one head with all their terms.

    Parameters
    ----------
    design : Design
        Surroundings, window, population, end of line.
    eye : Eye
        Head and card.
    places : list of Place
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
    surroundings, window = design.surroundings, eye.head.window
    housing_k = float(surroundings.ambient_k) + float(surroundings.housing_rise_delta_k)
    sight = LineOfSight(
        emissivity=value,
        reflected_k=float(surroundings.reflected_k),
        transmittance=float(window.transmittance_frac),
        window_k=housing_k + float(window.rise_delta_k),
        source_frac=share,
        around_k=AROUND_PAN_K.value,
        housing_k=housing_k,
        mirrored_frac=mirrored_share(window),
        column_k=STEAM_K if surroundings.steam is None else float(surroundings.steam.temperature_k),
    )
    apparent_k = sighted_apparent_k(temperature_k - step_k, sight=sight, band=eye.band)
    emissivity = Term(
        "emissivity",
        "emissivity",
        low - value,
        high - value,
        "rectangular",
        "of what lies in the pan",
    )
    terms = (
        *sensor_terms(design, eye=eye, apparent_k=apparent_k),
        emissivity,
        *path_terms(design, eye=eye, places=places),
        *share_terms,
        step_term,
    )
    cases = Cases(eye, temperature_k, sight, step_k, terms, declared_pairs(design, eye=eye))
    return cases if design.end_of_line is None else after_end_of_line(design, cases=cases)
