"""Counts to surface temperature: the fused pass beside table interpolation."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
from numba import njit, prange

from trivet.physics.radiation.inversion import InversionTerms, surface_temperature_stack_k
from trivet.physics.radiation.planck import (
    Band,
    flat_band,
    quadrature_radiance,
    radiating_temperature_k,
)

BAND = flat_band(8e-6, 14e-6)
SCALE_K = 0.02


def scene(shape: tuple[int, int, int]) -> tuple[np.ndarray, InversionTerms]:
    """Return counts of six pans that heat up on a warm hob, and the terms.

    Smooth as real frames are, with 0.1 K of noise: np.interp is faster on such
    input than on scattered values, and the comparison must not profit from that.
    """
    rng = np.random.default_rng(7)
    times, rows, cols = shape
    row, col = np.mgrid[0:rows, 0:cols]
    hot = np.zeros((rows, cols))
    for number in range(6):
        centre = (rows * (0.27 + 0.46 * (number // 3)), cols * (0.2 + 0.3 * (number % 3)))
        away = np.hypot(row - centre[0], col - centre[1]) / (0.19 * rows)
        hot += np.where(away < 1.0, (1.0 - 0.2 * away**2) * (0.7 + 0.1 * number), 0.0)
    terms = InversionTerms(
        emissivity=np.where(hot > 0.0, 0.95, 0.85) - 0.05 * rng.random((rows, cols)),
        surround_k=rng.uniform(295.0, 310.0, times),
        transmittance=0.85,
        window_k=rng.uniform(300.0, 315.0, times),
        band=BAND,
        scale_k=SCALE_K,
    )
    warm = np.linspace(0.2, 1.0, times)[:, None, None]
    surface_k = 305.0 + 220.0 * warm * hot + rng.normal(0.0, 0.1, shape)
    level, eps = table_levels(terms, quadrature_radiance), terms.emissivity
    knots = np.linspace(230.0, 700.0, 8192)
    own = np.interp(surface_k, knots, quadrature_radiance(knots, band=BAND))
    signal = 0.85 * (eps * own + (1.0 - eps) * level[0]) + 0.15 * level[1]
    apparent = radiating_temperature_k(signal, band=BAND)
    return np.round(apparent / SCALE_K).astype(np.uint16), terms


def table_levels(terms: InversionTerms, radiance: Callable[..., Any]) -> tuple[Any, Any]:
    """Return the radiances of surroundings and window, (time, 1, 1)."""
    surround = radiance(terms.surround_k, band=terms.band).reshape(-1, 1, 1)
    window = radiance(terms.window_k, band=terms.band).reshape(-1, 1, 1)
    return surround, window


class Baseline:
    """What a competent user writes: an 8192-point table read both ways with np.interp."""

    def __init__(self, terms: InversionTerms, band: Band) -> None:
        self.temperature_k = np.linspace(230.0, 875.0, 8192)
        self.radiance = quadrature_radiance(self.temperature_k, band=band)
        self.terms = terms
        self.surround, self.window = table_levels(terms, quadrature_radiance)

    def __call__(self, counts: np.ndarray) -> np.ndarray:
        """Return surface temperatures of a stack of counts."""
        tau, eps = self.terms.transmittance, self.terms.emissivity
        apparent = counts * self.terms.scale_k + self.terms.offset_k
        signal = np.interp(apparent, self.temperature_k, self.radiance)
        leaving = (signal - (1.0 - tau) * self.window) / tau
        own = (leaving - (1.0 - eps) * self.surround) / eps
        return np.interp(own, self.radiance, self.temperature_k, left=np.nan, right=np.nan)


@njit(cache=True, parallel=True)
def load_and_store(counts: np.ndarray, out: np.ndarray) -> None:
    """Read every count and write a float: the floor that memory sets."""
    for t in prange(counts.shape[0]):
        for i in range(counts.shape[1]):
            out[t, i] = np.float32(counts[t, i])


def fresh_load_and_store(counts: np.ndarray) -> np.ndarray:
    """Run the load-and-store kernel into a new array, as the pass does."""
    out = np.empty((counts.shape[0], counts.shape[1] * counts.shape[2]), np.float32)
    load_and_store(counts.reshape(out.shape), out)
    return out


def interleaved(
    calls: dict[str, Callable[[], Any]], *, rounds: int, repeats: dict[str, int]
) -> dict[str, float]:
    """Return the median seconds of each call, taken in turn, JIT warm."""
    times: dict[str, list[float]] = {name: [] for name in calls}
    for call in calls.values():
        call()
        call()
    for _ in range(rounds):
        for name, call in calls.items():
            begin = time.perf_counter()
            for _ in range(repeats.get(name, 1)):
                call()
            times[name].append((time.perf_counter() - begin) / repeats.get(name, 1))
    return {name: statistics.median(values) for name, values in times.items()}


def quadrature_error_k(counts: np.ndarray, terms: InversionTerms, frames: int) -> float:
    """Return the largest difference from quadrature and double precision, first frames."""
    part = counts[:frames]
    surround, window = (x[:frames] for x in table_levels(terms, quadrature_radiance))
    tau, eps = terms.transmittance, np.asarray(terms.emissivity)
    own = quadrature_radiance(part * terms.scale_k + terms.offset_k, band=terms.band)
    own = ((own - (1.0 - tau) * window) / tau - (1.0 - eps) * surround) / eps
    t = surface_temperature_stack_k(counts, terms=terms)[:frames].astype(float)
    here = quadrature_radiance(t, band=terms.band)
    slope = (quadrature_radiance(t + 0.01, band=terms.band) - here) / 0.01
    return float(np.nanmax(np.abs((here - own) / slope)))


def stack_row() -> dict[str, Any]:
    """Measure 320 frames of 120 x 160."""
    counts, terms = scene((320, 120, 160))
    baseline = Baseline(terms, BAND)
    seconds = interleaved(
        {
            "table": lambda: baseline(counts),
            "pass": lambda: surface_temperature_stack_k(counts, terms=terms),
            "floor": lambda: fresh_load_and_store(counts),
        },
        rounds=15,
        repeats={"pass": 3, "floor": 3},
    )
    error_mk = 1e3 * quadrature_error_k(counts, terms, 4)
    return {
        "name": "stack inversion 160x120x320",
        "baseline": "np.interp in an 8192-point table, both ways",
        "ratio": seconds["table"] / seconds["pass"],
        "goal": 40.0,
        "detail": (
            f"{seconds['pass'] * 1e3:.2f} ms against {seconds['table'] * 1e3:.0f} ms; "
            f"max error {error_mk:.2f} mK against quadrature (limit 1); "
            f"{seconds['floor'] / seconds['pass']:.2f} of a load-and-store kernel (goal 0.7); "
            f"{numba.get_num_threads()} threads"
        ),
    }


def frame_row() -> dict[str, Any]:
    """Measure one frame of 24 x 32."""
    counts, terms = scene((1, 24, 32))
    baseline = Baseline(terms, BAND)
    seconds = interleaved(
        {
            "table": lambda: baseline(counts),
            "pass": lambda: surface_temperature_stack_k(counts, terms=terms),
        },
        rounds=601,
        repeats={"table": 5, "pass": 50},
    )
    error_mk = 1e3 * quadrature_error_k(counts, terms, 1)
    return {
        "name": "one 32x24 frame",
        "baseline": "np.interp in an 8192-point table, both ways",
        "ratio": seconds["table"] / seconds["pass"],
        "goal": 10.0,
        "detail": (
            f"{seconds['pass'] * 1e6:.1f} us against {seconds['table'] * 1e6:.0f} us; "
            f"max error {error_mk:.2f} mK against quadrature (limit 1); 1 thread; "
            "terms prepared once on both sides"
        ),
    }


def rows() -> list[dict[str, Any]]:
    """Return the rows of this path, each with name, baseline, ratio, goal and detail.

    Baseline and pass run in turn in this process, JIT warm; numbers are medians.
    """
    return [stack_row(), frame_row()]


if __name__ == "__main__":
    for row in rows():
        print(f"{row['name']}: {row['ratio']:.1f} x (goal {row['goal']:g}); {row['detail']}")
