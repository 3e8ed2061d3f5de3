"""A contact thermometer: what it reads less than its surface, how late, and how well it knows.

Three resistances stand between the pan and the room: the pan's own constriction around the bead,
the contact under the bead, and the wire, which is a cooling fin. The junction sits between contact
and fin and reads low by a fixed share of (surface - air).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.signal import lfilter
from scipy.special import k0, k1

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import OutOfRangeError, ProbeLogError
from trivet.physics.sensor.thermocouple import (
    TOLERANCES,
    ThermocoupleKind,
    ToleranceClass,
    emf_range_c,
    emf_v,
    temperature_k,
    tolerance_k,
)


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


# Half-widths of the attachment's error: a floor [K] and a share of (reading - air).
# The order is common practice, no source; the sizes are assumed, in line with the
# fin model of probes.py for 0.25 mm type K wire.
ATTACHMENT_ERROR: dict[str, tuple[float, float]] = {
    "welded": (0.2, 0.005),
    "peened": (0.3, 0.01),
    "cement": (0.5, 0.03),
    "spring": (0.5, 0.08),
    "tape": (1.0, 0.15),
    "immersed": (0.3, 0.002),
    "inserted": (0.5, 0.01),
    "air": (1.0, 0.0),
}
LOGGER_K = 0.2  # half-width of the logger and its cold junction, assumed

# Time constants as attached where none was measured; assumed, in line with beads of
# 0.5 to 1.5 mm and sheaths of 1.5 mm (order common practice, no source). [s]
ATTACHMENT_LAG_S: dict[str, float] = {
    "welded": 0.3,
    "peened": 0.4,
    "cement": 2.0,
    "spring": 3.0,
    "tape": 4.0,
    "immersed": 1.5,
    "inserted": 4.0,
    "air": 10.0,
}
CONDUCTION_SHARE = 0.3  # doubt of a conduction error that was taken out, assumed


def probe_standard_uncertainty_k(
    reading_k: ArrayLike,
    *,
    kind: ThermocoupleKind,
    tolerance_class: ToleranceClass,
    attachment: str,
    air_k: float,
) -> FloatArray:
    """Return the standard uncertainty of a probe as a measure of what it touches.

    reading_k : (...) readings [K]
    kind : "K", "T", "J" or "N": type of the pair
    tolerance_class : as in :func:`trivet.physics.sensor.thermocouple.tolerance_k`
    attachment : "welded", "peened", "cement", "spring", "tape", "immersed", "inserted" or "air"
    air_k : air around the wire [K]
    Returns : (...) standard uncertainty [K]: wire tolerance, logger and attachment as rectangles,
        added in squares. NaN where the reading is NaN.
    Raises : OutOfRangeError if the kind, class or attachment is unknown
    Notes : At 200 C over 25 C, type K class 1: welded 1.0, cement 3.2, spring 8.2 K. The
        attachment's error is one-sided (it reads low); it is stated here as a symmetric half-width
        and not corrected. Outside the range of its class a wire is given the tolerance of the
        nearest end.
    Source : JCGM 100:2008, 4.3.7 (rectangles); IEC 60584-1 through ``tolerance_k``
    """
    if attachment not in ATTACHMENT_ERROR:
        raise OutOfRangeError(f"attachment {attachment!r}; known are {', '.join(ATTACHMENT_ERROR)}")
    reading = np.asarray(reading_k, dtype=np.float64)
    bands = TOLERANCES.get(kind, {}).get(tolerance_class, ())
    inside = reading
    if bands:
        low, high = min(b.low_c for b in bands), max(b.high_c for b in bands)
        inside = np.clip(reading, low + ZERO_C_K, high + ZERO_C_K)
    wire = tolerance_k(inside, kind=kind, tolerance_class=tolerance_class)
    floor, share = ATTACHMENT_ERROR[attachment]
    contact = floor + share * np.abs(reading - air_k)
    return np.asarray(np.sqrt((wire**2 + LOGGER_K**2 + contact**2) / 3.0), dtype=np.float64)


def moving_uncertainty_k(
    rate_kps: ArrayLike, *, attachment: str, lag_u_s: float | None, clock_u_s: float
) -> FloatArray:
    """Return what clock and lag add to a probe's standard uncertainty while it moves.

    rate_kps : (...) rate of the reading [K/s]
    attachment : as in :func:`probe_standard_uncertainty_k`
    lag_u_s : standard uncertainty of the lag that was taken out; None where none was measured, and
        the attachment's usual one then stands as a half-width [s]
    clock_u_s : standard uncertainty of the clock offset [s]
    Returns : (...) standard uncertainty [K]; 0 where the rate is not known
    Raises : OutOfRangeError if the attachment is unknown or an uncertainty negative
    Notes : At 3 K/s half a second of clock is 1.5 K and a spring's unmeasured 3 s are 5.2 K. A
        comparison of two signals shows lag and clock offset only together.
    Source : First-order lag; JCGM 100:2008, 4.3.7
    """
    if attachment not in ATTACHMENT_LAG_S or clock_u_s < 0.0 or (lag_u_s or 0.0) < 0.0:
        raise OutOfRangeError(
            f"attachment {attachment!r}, lag {lag_u_s}, clock {clock_u_s} s; allowed: one of "
            f"{', '.join(ATTACHMENT_LAG_S)}, and no negative uncertainty"
        )
    lag = ATTACHMENT_LAG_S[attachment] / np.sqrt(3.0) if lag_u_s is None else lag_u_s
    rate = np.nan_to_num(np.asarray(rate_kps, dtype=np.float64))
    return np.asarray(np.abs(rate) * np.hypot(lag, clock_u_s), dtype=np.float64)


@dataclass(frozen=True)
class ProbeErrors:
    """The errors of one probe as drawn.

    ``offset_k`` logger and attachment, constant over the cook; ``low_frac`` share of (surface -
    air) by which it reads low; ``lag_s`` time constant; ``clock_s`` what is left of its clock's
    offset and ``clock_drift_frac`` what that clock gains; ``noise_k`` of one reading; ``wire_frac``
    error of the wire as a share of its class's tolerance, -1 to 1.
    """

    offset_k: float
    low_frac: float
    lag_s: float
    clock_s: float
    noise_k: float
    clock_drift_frac: float = 0.0
    wire_frac: float = 0.0


def probe_reading_k(
    surface_k: FloatArray,
    *,
    step_s: float,
    air_k: float,
    errors: ProbeErrors,
    generator: np.random.Generator,
    tolerance_k: FloatArray | float = 0.0,
) -> FloatArray:
    """Return the readings of a probe on a surface.

    surface_k : (time,) temperature of what it touches, at even steps [K]
    step_s : step [s]
    air_k : air around the wire [K]
    errors : the probe
    generator : source of its noise
    tolerance_k : (time,) or float half-width of its wire's class at each temperature [K]
    Returns : (time,) readings at the same moments of the probe's own clock [K]
    Raises : OutOfRangeError if step, lag or noise is out of range
    Notes : At 3 K/s a lag of 1 s reads 3 K low, a clock 0.1 s late 0.3 K; a spring contact that
        reads 8 % low misses 14 K at 200 C. A clock that gains 100 ppm is 0.12 s fast after 20
        minutes.
    Source : First-order lag, exact between steps for a signal held over each
    """
    if not (step_s > 0.0 and errors.lag_s >= 0.0 and errors.noise_k >= 0.0):
        raise OutOfRangeError("probe: step above 0 s, lag and noise 0 or more")
    time = np.arange(surface_k.size) * step_s
    own_s = time * (1.0 + errors.clock_drift_frac) + errors.clock_s
    shifted = np.interp(own_s, time, surface_k)
    touched = shifted - errors.low_frac * (shifted - air_k)
    keep = np.exp(-step_s / errors.lag_s) if errors.lag_s > 0.0 else 0.0
    lagged = lfilter([1.0 - keep], [1.0, -keep], touched, zi=[keep * touched[0]])[0]
    noise = errors.noise_k * generator.standard_normal(surface_k.size)
    return np.asarray(lagged + errors.offset_k + errors.wire_frac * tolerance_k + noise)


def swapped_poles_k(
    reading_k: FloatArray, *, kind: ThermocoupleKind, cold_junction_k: float
) -> FloatArray:
    """Return what a logger shows of a thermocouple whose poles are swapped.

    reading_k : (time,) readings with the poles as they should be [K]
    kind : "K", "T", "J" or "N": type of the pair
    cold_junction_k : the logger's reference junction [K]
    Returns : (time,) readings: they fall while the pan heats [K]
    Notes : Type K, 100 C with the reference junction at 22 C: about -60 C is shown. NaN under the
        type's lowest temperature.
    Source : The sign of the voltage turned, with the type's reference function
    """
    cold = float(emf_v(cold_junction_k, kind=kind))
    turned = 2.0 * cold - emf_v(reading_k, kind=kind)
    lowest = emf_v(ZERO_C_K + emf_range_c(kind)[0], kind=kind)
    known = np.isfinite(turned) & (turned > lowest)
    out = np.full(reading_k.shape, np.nan)
    out[known] = temperature_k(turned[known], kind=kind)
    return out
