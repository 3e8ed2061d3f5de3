"""Apparent to surface temperature in integers: the twin of the firmware's inversion.

Words and semantics, which the C code repeats line by line:

- A temperature is an unsigned 16-bit number of 1/64 K (``q6``). 0 means no
  reading, 1 under the range, 65535 at or above the range.
- A share (emissivity, transmittance) is a number of 1/32768 (``q15``), 1 to 32768.
- The table holds the band radiance at nodes 2 K apart, scaled so that the last
  node is 2**26; between nodes it is a straight line, rounded half up.
- The way back searches the same table, so a grey body of emissivity 1 behind no
  window returns what went in, to one step.
- All intermediate values are non-negative or tested before use; products fit
  signed 64 bits, so no shift or division ever meets a negative number.

The functions are compiled when called; their ``py_func`` is the readable twin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray, IntArray
from trivet.device import compiled
from trivet.errors import HandoffRefusedError, OutOfRangeError

NO_READING, UNDER_RANGE, OVER_RANGE = 0, 1, 65535  # definition of the words: the ends of 16 bits
STEPS_PER_K = 64  # definition of the words: 16 bits reach 1,024 K
ONE_Q15 = 32768  # definition of a share
NODE_SHIFT = 7
"""Nodes are 2**7 steps of 1/64 K apart: 2 K."""
NODE_STEP_K = 2.0  # 2**NODE_SHIFT steps
FIRST_NODE_K = 234  # own estimate: under any hood
TABLE_NODES = 320  # own estimate: to 872 K, over any pan
LAST_NODE_K = FIRST_NODE_K + 2 * (TABLE_NODES - 1)  # of the figures above
FULL_SCALE = 1 << 26  # own estimate: leaves room for shifts by 15 in 64 bits
EXP_STEPS, EXP_PER_TAU = 128, 16
"""The decay after wake is a table of exp(-x) at 0, 1/16, ... 8, straight lines between."""


@dataclass(frozen=True)
class RadianceTable:
    """Scaled band radiance at the nodes, strictly rising, and the scale.

    ``radiance = values * scale`` in W/m2/sr; ``values`` is (node,) and read-only.
    """

    values: IntArray
    scale: float


def node_temperatures_k() -> FloatArray:
    """Return the temperatures of the table's nodes.

    Returns
    -------
    (node,)
        234, 236, ... 872 K: -39.15 to 598.85 C.

    Notes
    -----
    320 nodes of 4 bytes are 1.25 kB.

    References
    ----------
    The range in which the inverse of the band radiance is valid.
    """
    return np.asarray(FIRST_NODE_K + NODE_STEP_K * np.arange(TABLE_NODES), dtype=np.float64)


def radiance_table(radiance: ArrayLike) -> RadianceTable:
    """Return the integer table of band radiances given at the nodes.

    Parameters
    ----------
    radiance : (node,)
        Band radiance at :func:`node_temperatures_k`. [W/m2/sr]

    Returns
    -------
    RadianceTable
        Integers up to 2**26 and their scale.

    Raises
    ------
    HandoffRefusedError
        If the values do not rise strictly, or any product of the inversion
        could leave 63 bits.

    Notes
    -----
    One step is 1.5e-8 of full scale: under 0.3 mK at -39 C in 8 to 14 um.
    """
    exact = np.asarray(radiance, dtype=np.float64)
    if exact.shape != (TABLE_NODES,) or not np.all(np.isfinite(exact)) or exact[0] <= 0.0:
        raise HandoffRefusedError(f"a radiance table needs {TABLE_NODES} positive numbers")
    scale = float(exact[-1]) / FULL_SCALE
    values = np.rint(exact / scale).astype(np.int64)
    steps = np.diff(values)
    if not np.all(steps > 0):
        place = int(np.argmin(steps))
        raise HandoffRefusedError(f"the radiance table does not rise after node {place}")
    # Largest products: radiance << 15 (twice, after division by the smallest
    # share the excess is cut at full scale), and step << 7 in 32 bits.
    if FULL_SCALE * ONE_Q15 >= 1 << 62 or int(steps.max()) << NODE_SHIFT >= 1 << 31:
        raise HandoffRefusedError("the radiance table would overflow the firmware's integers")
    values.flags.writeable = False
    return RadianceTable(values, scale)


def temperature_q6(temperature_k: ArrayLike) -> IntArray:
    """Return temperatures as the device's 16-bit words.

    Parameters
    ----------
    temperature_k : (...)
        Temperature; NaN none, +inf over, -inf under the range. [K]

    Returns
    -------
    (...)
        Words of 1/64 K, half up; values past 1,023.9 K become over range.

    Raises
    ------
    OutOfRangeError
        If a finite temperature is not above 0.05 K.

    Notes
    -----
    Rounding costs up to 1/128 K, which an emissivity of 0.3 makes 0.03 K.
    """
    exact = np.asarray(temperature_k, dtype=np.float64)
    if np.any(np.isfinite(exact) & (exact < 0.05)):
        raise OutOfRangeError("a temperature of 0.05 K or less is no temperature: is it in C?")
    steps = np.floor(np.where(np.isfinite(exact), exact, 1.0) * STEPS_PER_K + 0.5)
    words = np.minimum(steps, OVER_RANGE).astype(np.int64)
    words = np.where(np.isnan(exact), NO_READING, words)
    words = np.where(exact == np.inf, OVER_RANGE, words)
    return np.asarray(np.where(exact == -np.inf, UNDER_RANGE, words), dtype=np.int64)


def share_q15(share: float) -> int:
    """Return an emissivity or transmittance as the device's word.

    Parameters
    ----------
    share : float
        0 < share <= 1. [-]

    Returns
    -------
    int
        Steps of 1/32768, 1 to 32768.

    Raises
    ------
    OutOfRangeError
        If the share is not in (0, 1].

    Notes
    -----
    Rounding costs 1.5e-5: under 0.01 K at an emissivity of 0.3 and 300 C.
    """
    if not 0.0 < share <= 1.0:
        raise OutOfRangeError(f"share is {share}: allowed more than 0, up to 1")
    return max(1, int(share * ONE_Q15 + 0.5))


@compiled
def radiance_of_q6(word, values):  # type: ignore[no-untyped-def]
    """Return the scaled radiance of a temperature word, or -1 outside the table."""
    offset = word - FIRST_NODE_K * STEPS_PER_K
    if offset < 0 or offset > (TABLE_NODES - 1) << NODE_SHIFT:
        return -1
    node = offset >> NODE_SHIFT
    rest = offset & ((1 << NODE_SHIFT) - 1)
    if rest == 0:
        return values[node]
    rise = values[node + 1] - values[node]
    return values[node] + ((rise * rest + (1 << (NODE_SHIFT - 1))) >> NODE_SHIFT)


@compiled
def q6_of_radiance(radiance, values):  # type: ignore[no-untyped-def]
    """Return the temperature word of a scaled radiance."""
    if radiance < values[0]:
        return UNDER_RANGE
    if radiance >= values[TABLE_NODES - 1]:
        return OVER_RANGE
    low, high = 0, TABLE_NODES - 1
    while high - low > 1:
        middle = (low + high) >> 1
        if values[middle] <= radiance:
            low = middle
        else:
            high = middle
    rise = values[low + 1] - values[low]
    part = (((radiance - values[low]) << NODE_SHIFT) + (rise >> 1)) // rise
    return FIRST_NODE_K * STEPS_PER_K + (low << NODE_SHIFT) + part


@compiled
def without_share(mixed, share, other):  # type: ignore[no-untyped-def]
    """Return x of mixed = share x + (1 - share) other, rounded; 0 where it is not positive."""
    left = (mixed << 15) - (ONE_Q15 - share) * other
    if left <= 0:
        return 0
    return (left + (share >> 1)) // share


@compiled
def surface_q6(apparent, shares, around, values):  # type: ignore[no-untyped-def]
    """Return the surface temperature word behind an apparent temperature word.

    ``shares`` are emissivity and transmittance, ``around`` the words of what is
    mirrored and of the window. Inverts first the window, then the reflection.
    Bad shares give no reading, and so does a surround or window outside the
    table, since nothing true could be said.
    """
    emissivity, transmittance = shares
    mirrored = radiance_of_q6(around[0], values)
    glow = radiance_of_q6(around[1], values)
    seen = radiance_of_q6(apparent, values)
    if apparent in (NO_READING, UNDER_RANGE, OVER_RANGE):
        return apparent
    if min(emissivity, transmittance) < 1 or max(emissivity, transmittance) > ONE_Q15:
        return NO_READING
    if mirrored < 0 or glow < 0:
        return NO_READING
    if seen < 0:
        return UNDER_RANGE if apparent < FIRST_NODE_K * STEPS_PER_K else OVER_RANGE
    before = without_share(seen, transmittance, glow)
    # Cut here so that the next shift stays within 2**47 whatever the shares.
    if before > FULL_SCALE << 5:
        return OVER_RANGE
    return q6_of_radiance(without_share(before, emissivity, mirrored), values)


@compiled
def _each_surface_q6(apparent, shares, around, values, out):  # type: ignore[no-untyped-def]
    for i in range(apparent.size):
        out[i] = surface_q6(
            apparent[i], (shares[0][i], shares[1][i]), (around[0][i], around[1][i]), values
        )


def surface_words(
    apparent: ArrayLike,
    *,
    emissivity: ArrayLike,
    transmittance: ArrayLike,
    surround: ArrayLike,
    window: ArrayLike,
    table: RadianceTable,
) -> IntArray:
    """Return surface temperature words, element by element.

    Parameters
    ----------
    apparent : (...)
        Apparent temperature words. [1/64 K]
    emissivity, transmittance : broadcastable
        Shares. [1/32768]
    surround, window : broadcastable
        Temperature words of what is mirrored, and of the window. [1/64 K]
    table : RadianceTable
        Radiance at the nodes.

    Returns
    -------
    (...)
        Surface temperature words. [1/64 K]

    Raises
    ------
    ValueError
        If the shapes do not broadcast.

    Notes
    -----
    With emissivity 0.3 to 1, window 0.8 and -20 to 500 C the result is within
    0.25 K of the exact inversion; the hand-off computes and stores the map.

    References
    ----------
    L = tau (eps L(T) + (1 - eps) L(T_s)) + (1 - tau) L(T_w).
    """
    arrays = np.broadcast_arrays(apparent, emissivity, transmittance, surround, window)
    flat = [np.ascontiguousarray(a, dtype=np.int64).ravel() for a in arrays]
    out = np.empty(flat[0].size, dtype=np.int64)
    _each_surface_q6(flat[0], (flat[1], flat[2]), (flat[3], flat[4]), table.values, out)
    return out.reshape(arrays[0].shape)
