"""What the sensor sees in a pan with given base contents, and how well it radiates."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trivet.arrays import FloatArray
from trivet.facts.pans import optical_table, surface
from trivet.models.assumed import (
    COVERED_LOW_FRAC,
    EMISSIVITY_HALF,
    FILM_DOUBT_FRAC,
    OPAQUE_FILM_M,
    WATER_EMISSIVITY_HALF,
    range_of,
)
from trivet.physics.radiation.film import (
    OpticalConstants,
    film_emissivity,
    film_shares,
    mixed_emissivity,
    surface_band_emissivity,
)
from trivet.physics.radiation.planck import Band, band_from_response, flat_band
from trivet.records.design import Base, Pan
from trivet.records.requirement import Of

TABLE_BAND_M = (8e-6, 14e-6)  # the band of facts/surfaces.csv and of the optical constants
OIL_WEIGHT_K, WATER_WEIGHT_K = 473.15, 353.15  # own estimate: 200 C and 80 C, as is cooked


@dataclass(frozen=True)
class EmissivityRange:
    """Band emissivity of what is seen, one number a burner, and where it comes from."""

    value: FloatArray
    low: FloatArray
    high: FloatArray
    source: str

    def at(self, burner: int) -> tuple[float, float, float]:
        """Return value, low and high at one burner."""
        return float(self.value[burner]), float(self.low[burner]), float(self.high[burner])


def layer_m(base: Base, *, pan: Pan) -> float:
    """Return the height of the contents over the pan's base; less in a wall that leans out. [m]

    A cylinder or a frustum, exact: 1 L stands 15.1 mm high in 290 mm with an upright wall
    and 14.7 mm with one of 15 deg.
    """
    volume, radius = float(base.volume_m3), float(pan.diameter_m) / 2
    lean = math.tan(float(pan.flare_rad))
    if lean * volume < 1e-6 * radius**3:  # a cylinder, to a millionth of the radius
        return volume / (math.pi * radius**2)
    return float((math.cbrt(radius**3 + 3.0 * volume * lean / math.pi) - radius) / lean)


def fits(base: Base, *, pan: Pan) -> bool:
    """Return whether the contents stay below the pan's rim."""
    return layer_m(base, pan=pan) < float(pan.depth_m)


def seen_of(base: Base, *, pan: Pan) -> Of:
    """Return what the temperature is of: the surface that the sensor sees.

    Water is opaque from 0.1 mm; oil and melted butter from about 0.5 mm, below
    which pan and film are read as the pan.
    """
    if base.contents == "water" and float(base.volume_m3) > 0.0:
        return "liquid"
    if base.contents in ("oil", "butter") and layer_m(base, pan=pan) >= OPAQUE_FILM_M.value:
        return "oil"
    return "pan"


def bare_range(pan: Pan) -> tuple[float, float, float, str]:
    """Return value, low, high and source of a pan's bare emissivity."""
    if pan.emissivity_frac is None:
        entry = surface(pan.finish)
        text = f"finish {entry.name}, {entry.grade}: {entry.source}"
        return entry.emissivity, entry.low, entry.high, text
    low, high = range_of(pan.emissivity_frac, otherwise=EMISSIVITY_HALF)
    value = float(pan.emissivity_frac)
    return value, max(low, 1e-3), min(high, 1.0), f"pan {pan.name}, {pan.emissivity_frac.origin}"


def emissivity_range(base: Base, *, pan: Pan, angle_rad: FloatArray, band: Band) -> EmissivityRange:
    """Return the emissivity of given contents in a given pan, a burner each.

    Parameters
    ----------
    base, pan : Base, Pan
        What is there.
    angle_rad : (burner,)
        View angles. [rad]
    band : Band
        Of the sensor.

    Returns
    -------
    EmissivityRange
        Value, low and high.

    Notes
    -----
    Thin oil is a film of the volume over the wetted share of the base, 50 to
    100 % of it wetted; 5 mL in 260 mm is 94 um evenly spread.  On polished steel
    that spans about 0.47 to 0.84, on seasoned iron 0.87 to 0.96.
    """
    angle = np.asarray(angle_rad, float)
    narrow = table_band(band)
    of = seen_of(base, pan=pan)
    if of == "liquid":
        value = np.asarray(
            surface_band_emissivity(
                _constants("water"), angle_rad=angle, temperature_k=WATER_WEIGHT_K, band=narrow
            )
        )
        half = WATER_EMISSIVITY_HALF.value
        return EmissivityRange(value, value - half, np.minimum(value + half, 1.0), "water, Fresnel")
    if of == "oil":
        return _deep_fat(base, angle, narrow)
    if base.contents in ("oil", "butter") and float(base.volume_m3) > 0.0:
        return _film(base, pan, angle, narrow)
    mean, low, high, source = bare_range(pan)
    one = np.ones_like(angle)
    return EmissivityRange(mean * one, low * one, high * one, source)


def _deep_fat(base: Base, angle: FloatArray, band: Band) -> EmissivityRange:
    if base.contents == "butter":
        entry, one = surface("butter-foam"), np.ones_like(angle)
        text = f"{entry.name}, {entry.grade}: {entry.source}"
        return EmissivityRange(entry.emissivity * one, entry.low * one, entry.high * one, text)
    entry = surface("deep-oil")
    value = np.asarray(
        surface_band_emissivity(
            _constants("oil"), angle_rad=angle, temperature_k=OIL_WEIGHT_K, band=band
        )
    )
    low, high = value + entry.low - entry.emissivity, value + entry.high - entry.emissivity
    text = f"deep oil, Fresnel with the spread of the library, {entry.grade}"
    return EmissivityRange(value, low, np.minimum(high, 1.0), text)


def _film(base: Base, pan: Pan, angle: FloatArray, band: Band) -> EmissivityRange:
    mean_m = layer_m(base, pan=pan)
    bare, bare_low, bare_high, _ = bare_range(pan)
    half_wet = (1.0 + COVERED_LOW_FRAC.value) / 2
    doubt = FILM_DOUBT_FRAC.value
    mean = np.array([mean_m])
    value = _patchy(mean / half_wet, covered=half_wet, bare=bare, angle=angle, band=band)[0]
    doubted = np.array([1.0 - doubt, 1.0 + doubt]) * mean_m
    corners = np.concatenate(
        [
            _patchy(doubted / covered, covered=covered, bare=below, angle=angle, band=band)
            for covered in (COVERED_LOW_FRAC.value, 1.0)
            for below in (bare_low, bare_high)
        ]
    )
    low, high = corners.min(axis=0), corners.max(axis=0)
    text = f"film of {mean_m * 1e6:.0f} um, {COVERED_LOW_FRAC.value:.0%} to 100 % wetted"
    if base.contents == "butter":
        high = np.maximum(high, surface("butter-foam").high)
        value, text = (low + high) / 2, f"{text}, or foam"
    return EmissivityRange(value, low, high, text)


def film_share_frac(base: Base, *, pan: Pan, band: Band) -> float:
    """Return the share of the glow that comes from a thin film itself, the rest from the pan."""
    mean_m = layer_m(base, pan=pan)
    if mean_m <= 0.0 or base.contents not in ("oil", "butter"):
        return 0.0
    wetted = (1.0 + COVERED_LOW_FRAC.value) / 2
    bare = bare_range(pan)[0]
    shares = film_shares(
        np.array([mean_m / wetted]),
        film=_constants("oil"),
        substrate=bare,
        temperature_k=OIL_WEIGHT_K,
        band=table_band(band),
    )
    film, below = float(shares.film[0]), float(shares.substrate[0])
    return wetted * film / (wetted * (film + below) + (1.0 - wetted) * bare)


def _patchy(
    thickness_m: FloatArray, *, covered: float, bare: float, angle: FloatArray, band: Band
) -> FloatArray:
    """Return (thickness, burner) emissivities of a film that wets a share of the base."""
    wet = film_emissivity(
        thickness_m[:, None],
        film=_constants("oil"),
        substrate=bare,
        temperature_k=OIL_WEIGHT_K,
        band=band,
        angle_rad=angle,
    )
    return np.asarray(mixed_emissivity(covered, covered_emissivity=wet, bare_emissivity=bare))


@lru_cache(maxsize=4)
def _constants(name: str) -> OpticalConstants:
    table = optical_table(name)
    return OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


def table_band(band: Band) -> Band:
    """Return the part of a band that the library's emissivities and constants are of."""
    low = max(float(band.wavelength_m[0]), TABLE_BAND_M[0])
    high = min(float(band.wavelength_m[-1]), TABLE_BAND_M[1])
    if not low < high:
        return band
    return flat_band(low, high) if band.wavelength_m.size == 2 else _cut(band, low, high)


@lru_cache(maxsize=32)
def _cut(band: Band, low_m: float, high_m: float) -> Band:
    """Return a response curve between two wavelengths."""
    inner = band.wavelength_m[(band.wavelength_m > low_m) & (band.wavelength_m < high_m)]
    wavelength = np.concatenate([[low_m], inner, [high_m]])
    response = np.interp(wavelength, band.wavelength_m, band.response)
    return band_from_response(wavelength, response) if response.any() else band
