"""What a reference probe makes of the temperature that it touches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from trivet.errors import OutOfRangeError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class ProbeErrors:
    """The errors of one probe as drawn.

    ``offset_k`` wire and logger, constant over the cook; ``low_frac`` share of
    (surface - air) by which it reads low; ``lag_s`` time constant; ``clock_s`` what
    is left of its clock's offset; ``noise_k`` of one reading.
    """

    offset_k: float
    low_frac: float
    lag_s: float
    clock_s: float
    noise_k: float


def probe_reading_k(
    surface_k: FloatArray,
    *,
    step_s: float,
    air_k: float,
    errors: ProbeErrors,
    generator: np.random.Generator,
) -> FloatArray:
    """Return the readings of a probe on a surface.

    Parameters
    ----------
    surface_k : (time,)
        Temperature of what it touches, at even steps. [K]
    step_s : float
        Step. [s]
    air_k : float
        Air around the wire. [K]
    errors : ProbeErrors
        The probe.
    generator : numpy.random.Generator
        Source of its noise.

    Returns
    -------
    (time,)
        Readings at the same moments of the probe's own clock. [K]

    Raises
    ------
    OutOfRangeError
        If step, lag or noise is out of range.

    Notes
    -----
    At 3 K/s a lag of 1 s reads 3 K low, a clock 0.1 s late 0.3 K; a spring contact
    that reads 8 % low misses 14 K at 200 C.

    References
    ----------
    First-order lag, exact between steps for a signal held over each.
    """
    if not (step_s > 0.0 and errors.lag_s >= 0.0 and errors.noise_k >= 0.0):
        raise OutOfRangeError("probe: step above 0 s, lag and noise 0 or more")
    time = np.arange(surface_k.size) * step_s
    shifted = np.interp(time + errors.clock_s, time, surface_k)
    touched = shifted - errors.low_frac * (shifted - air_k)
    keep = np.exp(-step_s / errors.lag_s) if errors.lag_s > 0.0 else 0.0
    lagged = lfilter([1.0 - keep], [1.0, -keep], touched, zi=[keep * touched[0]])[0]
    noise = errors.noise_k * generator.standard_normal(surface_k.size)
    return np.asarray(lagged + errors.offset_k + noise)
