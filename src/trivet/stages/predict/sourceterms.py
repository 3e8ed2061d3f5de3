"""Terms of what is seen beside the pan, and of the film on it."""

from __future__ import annotations

import math

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.assumed import (
    AROUND_PAN_HALF_K,
    HALO_FEW_FRAC,
    HALO_MANY_FRAC,
    OIL_CONDUCTIVITY_W_MK,
)
from trivet.physics.geometry.coverage import ENOUGH_PIXELS_ACROSS, misplaced_loss_frac
from trivet.records.design import Design
from trivet.stages.predict.cases import Place, Term
from trivet.stages.predict.views import Eye

STEFAN_BOLTZMANN = 5.670374419e-8
MIN_SOURCE_FRAC = 0.05
TRIMMED_PX = 1.0
RADIUS_95 = math.sqrt(-2.0 * math.log(0.05))


def source_terms(
    design: Design, *, eye: Eye, places: list[Place]
) -> tuple[FloatArray, tuple[Term, ...]]:
    """Return the believed share of the signal from the pan, and the terms that err about it."""
    each = {place.view: place for place in places}
    found = {view: _shares(design, eye, place) for view, place in each.items()}
    loss = np.array([found[place.view] for place in places])
    edge = loss[:, 2]
    middle = (loss[:, 0] + loss[:, 1]) / 2
    share = np.maximum(1.0 - middle - edge / 2, MIN_SOURCE_FRAC)
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
            "mount's errors in place and angles at 95 %, times the blurred edge, one pixel trimmed",
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
    edge = misplaced_loss_frac(
        place.pan_diameter_m / 2 / place.view.footprint_m,
        inside_px=TRIMMED_PX,
        offset_px=misplaced_m(design, eye=eye, spot_m=place.burner_m) / place.view.footprint_m,
        sigma_px=float(eye.card.blur_px),
    )
    return least, min(most, 0.9), float(edge)


def misplaced_m(design: Design, *, eye: Eye, spot_m: tuple[float, float]) -> float:
    """Return how far a pan's picture lies from where it is believed to be, at 95 %. [m]

    Parameters
    ----------
    design : Design
        Tolerances of the population, where they replace those of the mount.
    eye : Eye
        Head and mount.
    spot_m : pair of float
        Middle of the pan on the cooktop.

    Notes
    -----
    Rectangular errors of three coordinates and three angles, as variances on the
    cooktop: both coordinates, the height by the distance from below the lens, two tips
    by the distance from the lens, the turn by the distance aside.  2.448 is the 95 %
    radius of a round normal.  5 mm and 1 deg at 0.70 m: 20 mm at 0.24 m aside.
    """
    mount, spread = eye.head.mount, design.population
    position, angle = spread.position_tolerance_m, spread.angle_tolerance_rad
    place = float(mount.position_tolerance_m if position is None else position)
    turn = float(mount.angle_tolerance_rad if angle is None else angle)
    aside = math.hypot(spot_m[0] - eye.pose.x_m, spot_m[1] - eye.pose.y_m)
    up = max(eye.pose.height_m, 1e-3)
    tipped = (up + aside**2 / up) * turn  # away from below the lens; less across
    squares = 2.0 * place**2 + (place * aside / up) ** 2
    squares += tipped**2 + (up * turn) ** 2 + (aside * turn) ** 2
    return RADIUS_95 * math.sqrt(squares / 3.0 / 2.0)


def film_term(
    design: Design, *, places: list[Place], emissivity: FloatArray
) -> tuple[FloatArray, Term]:
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
