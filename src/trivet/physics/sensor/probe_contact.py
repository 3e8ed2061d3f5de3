"""What a contact thermometer reads less than the surface it is fixed to, and how late.

Three resistances stand between the pan and the room: the pan's own constriction around the bead,
the contact under the bead, and the wire, which is a cooling fin. The junction sits between contact
and fin and reads low by a fixed share of (surface - air).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import k0, k1

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError, ProbeLogError


@dataclass(frozen=True)
class ProbeWire:
    """The pair of wires that leaves the bead.

    diameter_m : diameter of one conductor [m]
    conductivity_w_mk : mean of the two conductors: type K about 25, T about 200 (copper and
        constantan), J about 45, N about 20 (from memory) [W/m/K]
    film_w_m2k : heat transfer from bare wire to air; 20 to 60 for thin wire [W/m2/K]
    isothermal_m : length that runs along the surface before it leaves [m]
    """

    diameter_m: float
    conductivity_w_mk: float
    film_w_m2k: float
    isothermal_m: float = 0.0


@dataclass(frozen=True)
class ProbePlate:
    """The pan's base around the bead: thickness [m], conductivity [W/m/K], face film [W/m2/K]."""

    thickness_m: float
    conductivity_w_mk: float
    film_w_m2k: float


def attachment_error_frac(
    contact_w_m2k: ArrayLike, *, bead_diameter_m: float, wire: ProbeWire, plate: ProbePlate
) -> FloatArray:
    """Return the share of (surface - air) by which a junction reads low.

    contact_w_m2k : (...) contact conductance under the bead: welded 1e5 and over, cement 3e3 to
        1e4, spring contact 5e2 to 3e3, tape 2e2 to 1e3 (common practice, no source) [W/m2/K]
    bead_diameter_m : diameter of the patch that touches [m]
    wire : the two conductors as fins
    plate : the base that feeds them
    Returns : (...) (undisturbed surface - junction) / (undisturbed surface - air), 0 to 1
    Raises : OutOfRangeError if a size, conductivity or film is not positive
    Notes : Long fins, each sqrt(h * pi * d * k * pi * d**2 / 4); the run along the surface
        multiplies what is drawn by exp(-m L). The plate is a thin disc fin (Bessel K0, K1), so the
        bead must be wider than the plate is thick for the figure to hold within some 20 %. Type K,
        0.25 mm, 40 W/m2K, 1.5 mm bead on 5 mm cast iron: 31 % at 500 W/m2K, 7 % at 3e3, 2 % at 1e4,
        0.3 % welded; at 200 C over 25 C that is 54, 12, 4 and 0.6 K.
    Source : L.M.K. Boelter and R.W. Lockhart, NACA TN 2427 (1951), for the idea and the size; fins
        and disc as in any heat-conduction text (Carslaw and Jaeger, 2nd ed. 1959, sections 4.5 and
        8.2, locators from memory).
    """
    contact = np.asarray(contact_w_m2k, dtype=np.float64)
    sizes = (bead_diameter_m, wire.diameter_m, wire.conductivity_w_mk, wire.film_w_m2k)
    plate_sizes = (plate.thickness_m, plate.conductivity_w_mk, plate.film_w_m2k)
    if np.any(contact <= 0.0) or min(*sizes, *plate_sizes) <= 0.0 or wire.isothermal_m < 0.0:
        raise OutOfRangeError(
            "attachment: contact, bead, wire and plate figures must be above zero, "
            "and the isothermal length not negative"
        )
    radius = bead_diameter_m / 2.0
    drawn = _wire_conductance(wire)
    through = 1.0 / (1.0 / (contact * np.pi * radius**2) + _plate_resistance(radius, plate))
    return np.asarray(drawn / (drawn + through), dtype=np.float64)


def surface_from_junction_k(
    junction_k: ArrayLike, *, error_frac: ArrayLike, air_k: ArrayLike
) -> FloatArray:
    """Return the undisturbed surface temperature behind a junction's reading.

    junction_k : (...) reading [K]
    error_frac : broadcastable; from :func:`attachment_error_frac`, 0 <= f < 1
    air_k : broadcastable; air around the wire [K]
    Returns : (...) surface temperature [K]
    Raises : OutOfRangeError if the share is not in [0, 1)
    Notes : A correction of c kelvin known to 30 % leaves 0.3 c of uncertainty: correct small
        errors, re-attach large ones.
    Source : The definition of the share, solved for the surface
    """
    share = np.asarray(error_frac, dtype=np.float64)
    if np.any((share < 0.0) | (share >= 1.0)):
        raise OutOfRangeError("attachment error: allowed from 0 to under 1")
    reading = np.asarray(junction_k, dtype=np.float64)
    return np.asarray(reading + share / (1.0 - share) * (reading - np.asarray(air_k)))


def lag_corrected_k(
    reading_k: ArrayLike, *, time_s: ArrayLike, time_constant_s: float, window_s: float
) -> FloatArray:
    """Return a probe's reading with its first-order lag taken out.

    Solves tau * dT/dt = T_true - T with the slope of a straight line through the readings within a
    window around each moment.

    reading_k : (time,) reading [K]
    time_s : (time,) moments, increasing [s]
    time_constant_s : time constant of the probe as attached [s]
    window_s : full width of the window for the slope [s]
    Returns : (time,) corrected temperature [K]; NaN where fewer than three readings stand in the
        window or the reading itself is missing
    Raises : ProbeLogError if the axes differ or time does not increase; OutOfRangeError if the time
        constant is negative or the window not positive
    Notes : At 3 K/s a probe of 1.5 s reads 4.5 K low. Noise grows by about tau * sqrt(12 / n) /
        window, n readings in the window: a factor 2.1 for 1.5 s, 3 s and 11 readings, so the window
        should be no less than 2 tau.
    Source : The first-order lag of any instrument text; the window is our choice
    """
    reading = np.asarray(reading_k, dtype=np.float64)
    time = np.asarray(time_s, dtype=np.float64)
    if reading.shape != time.shape or reading.ndim != 1:
        raise ProbeLogError(
            f"readings {reading.shape} and moments {time.shape} must match, (time,)"
        )
    if np.any(~(np.diff(time) > 0.0)):
        raise ProbeLogError("the probe's moments must increase from one reading to the next")
    if time_constant_s < 0.0 or window_s <= 0.0:
        raise OutOfRangeError("lag: time constant from 0, window above 0")
    return reading + time_constant_s * _local_slope(reading, time, window_s)


def _wire_conductance(wire: ProbeWire) -> float:
    """Heat that both conductors draw for a kelvin at the bead [W/K]."""
    area = np.pi * wire.diameter_m**2 / 4.0
    perimeter = np.pi * wire.diameter_m
    fin = np.sqrt(wire.film_w_m2k * perimeter * wire.conductivity_w_mk * area)
    rate = np.sqrt(wire.film_w_m2k * perimeter / (wire.conductivity_w_mk * area))
    return float(2.0 * fin * np.exp(-rate * wire.isothermal_m))


def _plate_resistance(radius_m: float, plate: ProbePlate) -> float:
    """Constriction of an endless disc fin fed over a circle [K/W]."""
    decay = np.sqrt(plate.film_w_m2k / (plate.conductivity_w_mk * plate.thickness_m))
    argument = decay * radius_m
    rim = 2.0 * np.pi * plate.conductivity_w_mk * plate.thickness_m * argument
    return float(k0(argument) / (rim * k1(argument)))


def _local_slope(reading: FloatArray, time: FloatArray, window_s: float) -> FloatArray:
    good = np.isfinite(reading)
    slope = np.full(reading.shape, np.nan)
    first = np.searchsorted(time, time - window_s / 2.0, side="left")
    last = np.searchsorted(time, time + window_s / 2.0, side="right")
    for at in np.flatnonzero(good):
        span = slice(first[at], last[at])
        here = good[span]
        if np.count_nonzero(here) < 3:
            continue
        moments = time[span][here] - np.mean(time[span][here])
        slope[at] = np.sum(moments * reading[span][here]) / np.sum(moments**2)
    return slope
