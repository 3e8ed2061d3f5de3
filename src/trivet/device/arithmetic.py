"""Arithmetic of the reading: rounded on integers, exact on floats.

The rules of the reading are written once, on these functions. Run on words in 64-bit integers
they give the firmware's bits; run on floats they give what the same rules say without rounding,
against which the loss of the integers is told. A word keeps its unit, 1/64 K, in both.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numba import types
from numba.extending import overload

from trivet.device import compiled
from trivet.device.fixedpoint import (
    EXP_PER_TAU,
    EXP_STEPS,
    FIRST_NODE_K,
    NO_READING,
    NODE_SHIFT,
    ONE_Q15,
    OVER_RANGE,
    STEPS_PER_K,
    TABLE_NODES,
    UNDER_RANGE,
    surface_q6,
)


def _on_floats(exact: Any) -> Callable[[Any], Any]:
    """Return a decorator: compiled code runs ``exact`` where an argument is a float."""

    def decorate(rule: Any) -> Any:
        def chosen(*kinds: Any) -> Any:
            return exact if any(isinstance(kind, types.Float) for kind in kinds) else rule

        overload(rule, strict=False)(chosen)
        return rule

    return decorate


@_on_floats(lambda value, by: value / by)
def divided(value, by):  # type: ignore[no-untyped-def]
    """Return value / by rounded half away from zero; by > 0."""
    if value >= 0:
        return (value + (by >> 1)) // by
    return -((-value + (by >> 1)) // by)


@_on_floats(lambda value, bits: value * 0.5**bits)
def shifted(value, bits):  # type: ignore[no-untyped-def]
    """Return value / 2**bits rounded down."""
    return value >> bits


@_on_floats(lambda value: 0.5 * value)
def halved(value):  # type: ignore[no-untyped-def]
    """Return half a value rounded half up."""
    return (value + 1) >> 1


@_on_floats(lambda square: square**0.5)
def root_of(square):  # type: ignore[no-untyped-def]
    """Return the whole part of a square root; 65535 from 2**32 on."""
    found, bit = 0, 1 << 15
    while bit:
        if (found + bit) * (found + bit) <= square:
            found += bit
        bit >>= 1
    return found


def _exact_decay(awake_ms, tau_ms, table):  # type: ignore[no-untyped-def]
    if awake_ms >= 8 * tau_ms:
        return 0.0
    return ONE_Q15 * math.exp(-max(awake_ms, 0) / tau_ms)


@_on_floats(_exact_decay)
def decay_q15(awake_ms, tau_ms, table):  # type: ignore[no-untyped-def]
    """Return exp(-awake / tau), from its table on integers. [1/32768]"""
    if awake_ms < 0:
        return table[0]
    if awake_ms >= 8 * tau_ms:
        return 0
    place = awake_ms * EXP_PER_TAU * 256 // tau_ms
    step, rest = place >> 8, place & 255
    if step >= EXP_STEPS:
        return 0
    return table[step] - (((table[step] - table[step + 1]) * rest + 128) >> 8)


@compiled
def _radiance_at(word, values):  # type: ignore[no-untyped-def]
    """Return the radiance of a temperature by a fine table, or -1 outside it."""
    span = (TABLE_NODES - 1) << NODE_SHIFT
    place = (word - FIRST_NODE_K * STEPS_PER_K) / span * (values.size - 1)
    if not 0.0 <= place <= values.size - 1:
        return -1.0
    node = min(int(place), values.size - 2)
    return values[node] + (place - node) * (values[node + 1] - values[node])


@compiled
def _temperature_at(radiance, values):  # type: ignore[no-untyped-def]
    """Return the temperature word of a radiance by a fine table."""
    if radiance < values[0]:
        return float(UNDER_RANGE)
    if radiance >= values[values.size - 1]:
        return float(OVER_RANGE)
    node = np.searchsorted(values, radiance, side="right") - 1
    place = node + (radiance - values[node]) / (values[node + 1] - values[node])
    span = (TABLE_NODES - 1) << NODE_SHIFT
    return FIRST_NODE_K * STEPS_PER_K + place * span / (values.size - 1)


def _exact_surface(apparent, shares, around, values):  # type: ignore[no-untyped-def]
    emissivity, transmittance = shares[0] / ONE_Q15, shares[1] / ONE_Q15
    mirrored, glow = _radiance_at(around[0], values), _radiance_at(around[1], values)
    seen = _radiance_at(apparent, values)
    if apparent in (NO_READING, UNDER_RANGE, OVER_RANGE):
        return float(apparent)
    if mirrored < 0.0 or glow < 0.0:
        return float(NO_READING)
    if seen < 0.0:
        low = apparent < FIRST_NODE_K * STEPS_PER_K
        return float(UNDER_RANGE) if low else float(OVER_RANGE)
    before = (seen - (1.0 - transmittance) * glow) / transmittance
    return _temperature_at((before - (1.0 - emissivity) * mirrored) / emissivity, values)


@_on_floats(_exact_surface)
def surface_of(apparent, shares, around, values):  # type: ignore[no-untyped-def]
    """Return the surface temperature behind an apparent one; ``surface_q6`` on integers."""
    return surface_q6(apparent, shares, around, values)
