"""What a reference probe makes of the temperature that it touches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import OutOfRangeError
from trivet.physics.sensor.thermocouple import emf_range_c, emf_v, temperature_k
from trivet.physics.sensor.thermocouple_reference import ThermocoupleKind


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
