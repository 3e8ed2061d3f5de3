"""Terms of what is seen beside the pan, and of the film on it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from trivet.kernels.geometry.coverage import ENOUGH_PIXELS_ACROSS
from trivet.kernels.geometry.occlusion import circle_overlap_m2
from trivet.records.design import Design
from trivet.stages.predict.cases import Place, Term
from trivet.stages.predict.views import Eye
from trivet.terms.assumed import (
    AROUND_PAN_HALF_K,
    HALO_FEW_FRAC,
    HALO_MANY_FRAC,
    OIL_CONDUCTIVITY_W_MK,
)

Floats = NDArray[np.float64]
STEFAN_BOLTZMANN = 5.670374419e-8
LEAST_SOURCE_FRAC = 0.05


def source_terms(
    design: Design, *, eye: Eye, places: list[Place]
) -> tuple[Floats, tuple[Term, ...]]:
    """Return the believed share of the signal from the pan, and the terms that err about it."""
    found = {place.view: _shares(design, eye, place) for place in places}
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


def _shares(design: Design, eye: Eye, place: Place) -> tuple[float, float, float]:
    """Return least and most loss by blur and halo, and most loss by a misplaced rim."""
    many = place.view.pixels_across >= ENOUGH_PIXELS_ACROSS
    halo = HALO_MANY_FRAC if many else HALO_FEW_FRAC
    least, most = place.blur_loss[0], place.blur_loss[1] + halo.value
    mount, radius, spread = eye.head.mount, place.pan_diameter_m / 2, design.population
    position, angle = spread.position_tolerance_m, spread.angle_tolerance_rad
    shift = math.sqrt(2.0) * float(mount.position_tolerance_m if position is None else position)
    turn = float(mount.angle_tolerance_rad if angle is None else angle)
    shift += float(mount.height_m) * math.tan(turn)
    inner = max(radius - place.view.footprint_m, radius / 2)
    kept = circle_overlap_m2(inner, other_radius_m=radius, distance_m=shift)
    return least, min(most, 0.9), 1.0 - kept / (math.pi * inner**2)


def film_term(design: Design, *, places: list[Place], emissivity: Floats) -> tuple[Floats, Term]:
    """Return the believed drop through a thin film, half of the full one, and its term.

    Film and pan each radiate their own share: only the film's share of the
    emissivity sees the drop, the pan shines through with the rest.
    """
    temperature = np.array([place.temperature_k for place in places])
    film = np.array([place.film_m for place in places])
    ambient = float(design.surroundings.ambient_k)
    loss = float(design.surroundings.convection_w_m2k) * (temperature - ambient)
    loss = loss + emissivity * STEFAN_BOLTZMANN * (temperature**4 - ambient**4)
    half = np.maximum(loss, 0.0) * film / OIL_CONDUCTIVITY_W_MK.value / 2
    half = half * np.array([place.film_share_frac for place in places])
    term = Term(
        "drop through the film",
        "step_k",
        -half,
        half,
        "rectangular",
        "loss to the room through the film, weighted by its own share of the glow;"
        " its middle is corrected",
    )
    return half, term
