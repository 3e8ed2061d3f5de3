"""Terms of what lies between pan and sensor, of what is seen beside the pan, and of its film."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import STEFAN_BOLTZMANN_W_M2K4
from trivet.facts.pans import optical_table
from trivet.models.assumed import (
    AROUND_PAN_HALF_K,
    HALO_FEW_FRAC,
    HALO_MANY_FRAC,
    OIL_CONDUCTIVITY_W_MK,
    REFLECTED_HALF_K,
    TRANSMITTANCE_HALF,
    WINDOW_HALF_K,
    range_of,
)
from trivet.models.contents import table_band
from trivet.models.reflected import diffuse_share
from trivet.physics.geometry.coverage import ENOUGH_PIXELS_ACROSS, misplaced_loss_frac
from trivet.physics.radiation.film import OpticalConstants, film_transmittance
from trivet.physics.radiation.mie import mie_efficiencies, steam_transmittance
from trivet.physics.radiation.path import condensed_transmittance, reflected_temperature_k
from trivet.physics.radiation.planck import Band
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.sensorcard import Window
from trivet.records.surroundings import Steam
from trivet.stages.predict.cases import SeenCase, Term, term_of
from trivet.stages.predict.views import Eye

SCENE_K = 473.15  # own estimate: the middle of what is cooked at weights the band
CONDENSED_DROP_M = 50e-6  # own estimate: a droplet that is seen but does not yet run
CONDENSED_WAVELENGTH_M = 10.5e-6  # own estimate: the middle of the band in 8 to 14 um
Ends = tuple[FloatArray, FloatArray]


def mirrored_share(window: Window) -> float:
    """Return what a window is believed to mirror of the housing."""
    return 0.0 if window.reflectance_frac is None else float(window.reflectance_frac)


def path_terms(design: Design, *, eye: Eye, places: list[SeenCase]) -> tuple[Term, ...]:
    """Return the terms between pan and sensor.

    Parameters
    ----------
    design : Design
        Surroundings, steam, population.
    eye : Eye
        Head and window.
    places : list of SeenCase
        (case,) what is seen where.

    Returns
    -------
    tuple of Term
        Reflected temperature, window transmittance and temperature; where declared
        what the window mirrors, grease, condensation and steam.

    Notes
    -----
    Grease, condensation and steam only take signal away and are not corrected: their
    deviations are one-sided.  Their emission is at the temperature of the window or
    of the column.
    """
    one = np.ones(len(places))
    found = [
        _reflected(design, eye, places),
        *_window(design, eye, one),
        *_dirt(eye, one),
        *_steam(design, eye, places),
    ]
    return tuple(found)


def _range_source(what: str, figure: Figure) -> str:
    if figure.low is None:
        return f"{what}, {figure.origin}; half-width assumed"
    return f"{what}, {figure.origin}"


def _reflected(design: Design, eye: Eye, places: list[SeenCase]) -> Term:
    surroundings = design.surroundings
    believed, one = surroundings.reflected_k, np.ones(len(places))
    if not surroundings.mirrored:
        low, high = range_of(believed, otherwise=REFLECTED_HALF_K)
        ends = ((low - float(believed)) * one, (high - float(believed)) * one)
        source = _range_source("surroundings", believed)
        return term_of("reflected temperature", "reflected_k", ends, source)
    spots = [place.burner_m for place in places]
    low_k, high_k = surround_range_k(design, band=eye.band, spots=spots)
    names = ", ".join(thing.name for thing in surroundings.mirrored)
    return term_of(
        "reflected temperature",
        "reflected_k",
        (low_k - float(believed), high_k - float(believed)),
        f"view factors of {names} and the room, against the {believed.origin} belief",
    )


def surround_range_k(
    design: Design, *, band: Band, spots: list[tuple[float, float]]
) -> tuple[FloatArray, FloatArray]:
    """Return the coldest and hottest that pans at given spots can mirror. (spot,)

    Parameters
    ----------
    design : Design
        What the pans mirror and the room's air.
    band : Band
        Spectral response.
    spots : list of pair of float
        Middle of each pan on the cooktop. [m]

    Returns
    -------
    tuple of (spot,)
        Radiance-weighted mean of all things at the low and at the high end of
        their ranges, all at once. [K]

    Notes
    -----
    Taking all ends at once is the wide side: things overhead warm together.
    """
    known = {
        spot: [diffuse_share(thing, spot_m=spot) for thing in design.surroundings.mirrored]
        for spot in set(spots)
    }
    shares = np.array([known[spot] for spot in spots])
    room = design.surroundings.ambient_k
    ends = []
    for end in (0, 1):
        things = [_ends(thing.temperature_k)[end] for thing in design.surroundings.mirrored]
        ends.append(
            reflected_temperature_k(
                shares, temperature_k=np.array(things), rest_k=_ends(room)[end], band=band
            )
        )
    return ends[0], ends[1]


def _ends(figure: Figure) -> tuple[float, float]:
    if figure.low is None or figure.high is None:
        return float(figure), float(figure)
    return figure.low, figure.high


def _window(design: Design, eye: Eye, one: FloatArray) -> list[Term]:
    window = eye.head.window
    tau, lots = window.transmittance_frac, design.population.transmittance_frac
    clear = range_of(tau, otherwise=TRANSMITTANCE_HALF)
    if lots is not None:
        clear = float(tau) - float(lots), float(tau) + float(lots)
    clear = (max(clear[0], 1e-3), min(clear[1], 1.0))
    warm_k = window_half_k(design, window=window)
    assumed = warm_k == WINDOW_HALF_K.value
    terms = [
        term_of(
            "window transmittance",
            "transmittance",
            ((clear[0] - float(tau)) * one, (clear[1] - float(tau)) * one),
            _range_source(f"window of head {eye.head.name}", tau)
            if lots is None
            else f"spread of units, window of head {eye.head.name}",
        ),
        term_of(
            "window temperature",
            "window_k",
            warm_k * one,
            "half-width assumed" if assumed else "ranges of ambient, housing and window",
        ),
    ]
    mirror = window.reflectance_frac
    if mirror is not None and mirror.low is not None and mirror.high is not None:
        ends = ((mirror.low - float(mirror)) * one, (mirror.high - float(mirror)) * one)
        source = f"two faces of the window of head {eye.head.name}, {mirror.origin}"
        terms.append(term_of("window reflectance", "mirrored_frac", ends, source))
    return terms


def window_half_k(design: Design, *, window: Window) -> float:
    """Return the half-width of the window's temperature; assumed where no range is given. [K]"""
    surroundings = design.surroundings
    spread = math.hypot(
        surroundings.ambient_k.half_width,
        surroundings.housing_rise_delta_k.half_width,
        window.rise_delta_k.half_width,
    )
    return spread if spread > 0.0 else WINDOW_HALF_K.value


def _dirt(eye: Eye, one: FloatArray) -> list[Term]:
    window, terms = eye.head.window, []
    tau = float(window.transmittance_frac)
    if window.grease_m is not None:
        thin, thick = _ends(window.grease_m)
        passed = film_transmittance(
            np.array([thick, thin]),
            film=_constants("oil"),
            temperature_k=SCENE_K,
            band=table_band(eye.band),
        )
        ends = (tau * (passed[0] - 1.0) * one, tau * (passed[1] - 1.0) * one)
        source = (
            f"{thin * 1e6:.1f} to {thick * 1e6:.1f} um of grease on the window,"
            f" {window.grease_m.origin}; not corrected"
        )
        terms.append(term_of("grease on the window", "transmittance", ends, source, needed=False))
    if window.condensed_frac is not None:
        few, many = _ends(window.condensed_frac)
        passed = condensed_transmittance(
            np.array([many, few]), extinction_efficiency=_drop_efficiency()
        )
        ends = (tau * (passed[0] - 1.0) * one, tau * (passed[1] - 1.0) * one)
        source = (
            f"droplets on {few:.1%} to {many:.1%} of the window,"
            f" {window.condensed_frac.origin}; not corrected"
        )
        terms.append(term_of("condensation", "transmittance", ends, source, needed=False))
    return terms


@lru_cache(maxsize=1)
def _drop_efficiency() -> float:
    wavelength = np.array([CONDENSED_WAVELENGTH_M])
    size = np.pi * CONDENSED_DROP_M / wavelength
    return float(mie_efficiencies(size, index=_constants("water").index(wavelength))[0][0])


def _steam(design: Design, eye: Eye, places: list[SeenCase]) -> list[Term]:
    steam = design.surroundings.steam
    if steam is None:
        return []
    over = np.array([not steam.bases or place.base in steam.bases for place in places], float)
    thin, thick = _ends(steam.water_kg_m3)
    passed = steam_passes(steam, water_kg_m3=np.array([thick, thin]), band=eye.band)
    source = (
        f"{thin * 1e3:.2g} to {thick * 1e3:.2g} g/m3 of"
        f" {float(steam.droplet_diameter_m) * 1e6:.0f} um droplets over"
        f" {float(steam.path_m) * 1e3:.0f} mm, {steam.water_kg_m3.origin}; not corrected"
    )
    ends = ((passed[0] - 1.0) * over, (passed[1] - 1.0) * over)
    return [term_of("steam column", "column_frac", ends, source, needed=False)]


def steam_passes(steam: Steam, *, water_kg_m3: FloatArray, band: Band) -> FloatArray:
    """Return the transmittance of the declared column at given water contents. (...)"""
    return steam_transmittance(
        water_kg_m3 * float(steam.path_m),
        diameter_m=float(steam.droplet_diameter_m),
        water=_constants("water"),
        temperature_k=SCENE_K,
        band=table_band(band),
    )


@lru_cache(maxsize=2)
def _constants(name: str) -> OpticalConstants:
    table = optical_table(name)
    return OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


MIN_SOURCE_FRAC = 0.05  # own estimate: below it the budget is unbounded anyway
TRIMMED_PX = 1.0  # own estimate: the pixel at the rim that a reading leaves out
RADIUS_95 = math.sqrt(-2.0 * math.log(0.05))  # Rayleigh distribution


def source_terms(
    design: Design, *, eye: Eye, places: list[SeenCase]
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
    around_source = "assumed: hob and grate beside the pan"
    edge_source = (
        "mount's errors in place and angles at 95 %, times the blurred edge, one pixel trimmed"
    )
    halo_source = f"blur of card {eye.card.name}, and halo assumed"
    return share, (
        term_of("size of source", "source_frac", half, halo_source),
        term_of("registration and edge", "source_frac", half_edge, edge_source),
        term_of("temperature around the pan", "around_k", around, around_source),
    )


def _shares(design: Design, eye: Eye, place: SeenCase) -> tuple[float, float, float]:
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
    design: Design, *, places: list[SeenCase], emissivity: FloatArray
) -> tuple[FloatArray, Term]:
    """Return the believed drop through a thin film, half of the full one, and its term.

    Film and pan each radiate their own share: only the film's share of the
    emissivity sees the drop, the pan shines through with the rest.
    """
    temperature = np.array([place.temperature_k for place in places])
    film = np.array([place.film_m for place in places])
    ambient = float(design.surroundings.ambient_k)
    loss = float(design.surroundings.convection_w_m2k) * (temperature - ambient)
    loss = loss + emissivity * STEFAN_BOLTZMANN_W_M2K4 * (temperature**4 - ambient**4)
    half = np.maximum(loss, 0.0) * film / OIL_CONDUCTIVITY_W_MK.value / 2
    half = half * np.array([place.film_share_frac for place in places])
    term = term_of(
        "drop through the film",
        "step_k",
        half,
        "loss to the room through the film, weighted by its own share of the glow;"
        " its middle is corrected",
    )
    return half, term
