"""The error of the integer inversion over its whole domain, and its picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.device import fixedpoint as fx
from trivet.errors import HandoffRefusedError
from trivet.physics.radiation.path import before_window
from trivet.physics.radiation.planck import Band, band_radiance, radiating_temperature_k
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.figures import Figure

WORST_ERROR_K = 0.25  # own estimate: under the noise of one pixel
EMISSIVITIES = 36  # own estimate: steps of 0.02 from 0.3 to 1
BETWEEN_NODES = 8
"""Points inside each interval of nodes at which the error is computed."""
COLDEST_K, WARMEST_K = 273.15, 363.15
"""What may be mirrored, beside the design's own range."""
WARM_WINDOW_K = 45.0  # own estimate: a window over gas


@dataclass(frozen=True)
class ErrorMap:
    """Worst error of the integers by what they are given."""

    emissivity: FloatArray
    mirrored_k: FloatArray
    windows: tuple[str, ...]
    """Transmittance and temperature of each window tried."""
    by_emissivity_k: FloatArray
    """(emissivity, interval of nodes)"""
    by_mirrored_k: FloatArray
    by_window_k: FloatArray

    @property
    def worst_k(self) -> float:
        """The largest error. [K]"""
        return float(self.by_emissivity_k.max())


def error_map(
    design: Design,
    *,
    calibration: Calibration,
    bands: Sequence[Band],
    tables: Sequence[fx.RadianceTable],
) -> ErrorMap:
    """Return the worst error over apparent temperature, emissivity, surroundings and window.

    Parameters
    ----------
    design : Design
        Range of what is mirrored, least emissivity.
    calibration : Calibration
        Transmittance of the windows.
    bands, tables : sequences
        One of each a sensor card.

    Returns
    -------
    ErrorMap
        The worst of all bands, from every side.

    Raises
    ------
    HandoffRefusedError
        If the error exceeds 0.25 K anywhere.

    Notes
    -----
    Every interval of nodes at 8 places off the words' grid, 36 emissivities, what is
    mirrored from 0 to 90 C, windows from ambient to 45 K above it and down to 80 % of their
    transmittance.
    """
    emissivity = np.linspace(float(design.estimation.min_emissivity_frac), 1.0, EMISSIVITIES)
    around = design.surroundings
    mirrored = _spread(around.reflected_k, COLDEST_K, WARMEST_K)
    heads = {float(h.transmittance) for h in calibration.heads} or {1.0}
    shares = sorted({1.0, *heads, *(0.8 * h for h in heads)})
    ambient = _spread(around.ambient_k, float(around.ambient_k) + WARM_WINDOW_K)
    windows = [(share, window) for share in shares for window in ambient]
    worst = np.zeros((len(windows), mirrored.size, emissivity.size, fx.TABLE_NODES - 1))
    for band, table in zip(bands, tables, strict=True):
        for at, window in enumerate(windows):
            worst[at] = np.maximum(worst[at], _errors(emissivity, mirrored, window, (band, table)))
    found = ErrorMap(
        emissivity=emissivity,
        mirrored_k=mirrored,
        windows=tuple(f"{share:.2f} at {k - 273.15:.0f} C" for share, k in windows),
        by_emissivity_k=worst.max(axis=(0, 1)),
        by_mirrored_k=worst.max(axis=(0, 2)),
        by_window_k=worst.max(axis=(1, 2)),
    )
    if not found.worst_k <= WORST_ERROR_K:
        row, col = np.unravel_index(int(np.argmax(found.by_emissivity_k)), (EMISSIVITIES, -1 + 320))
        raise HandoffRefusedError(
            f"the integers miss the exact inversion by {found.worst_k:.3f} K at emissivity "
            f"{emissivity[row]:.2f} and {fx.FIRST_NODE_K + 2 * col - 273.15:.0f} C apparent; "
            f"allowed {WORST_ERROR_K} K"
        )
    return found


def _spread(value: Figure, *more: float) -> FloatArray:
    """Return a figure with the ends of its range and further values, off the words' grid."""
    ends = [float(x) for x in (value, value.low, value.high, *more) if x is not None]
    return np.array(sorted({x + 0.0037 for x in ends}))


def _errors(
    emissivity: FloatArray,
    mirrored: FloatArray,
    window: tuple[float, float],
    inversion: tuple[Band, fx.RadianceTable],
) -> FloatArray:
    """Return the worst error (mirrored, emissivity, interval) behind one window. [K]"""
    band, table = inversion
    share, window_k = window
    rise = 2.0 * np.arange(BETWEEN_NODES) / BETWEEN_NODES + 0.0113
    apparent = fx.node_temperatures_k()[:-1, None] + rise
    seen = band_radiance(apparent, band=band)
    before = before_window(seen, transmittance=share, window_k=window_k, band=band)
    worst = []
    for surround in mirrored.tolist():
        exact = _exact_k(before, emissivity, surround, band)
        words = fx.surface_words(
            fx.temperature_q6(apparent)[None],
            emissivity=np.array([fx.share_q15(float(e)) for e in emissivity])[:, None, None],
            transmittance=fx.share_q15(share),
            surround=fx.temperature_q6(surround),
            window=fx.temperature_q6(window_k),
            table=table,
        )
        inside = (exact > fx.FIRST_NODE_K + 1.0) & (exact < fx.LAST_NODE_K - 1.0)
        error = np.where(inside, np.abs(words / fx.STEPS_PER_K - exact), 0.0)
        worst.append(error.max(axis=2))
    return np.stack(worst)


def _exact_k(
    before: FloatArray, emissivity: FloatArray, surround_k: float, band: Band
) -> FloatArray:
    """Return the exact surface temperature (emissivity, node, place), NaN where there is none."""
    share = emissivity[:, None, None]
    mirrored = float(band_radiance(surround_k, band=band))
    leaving = (before[None] - (1.0 - share) * mirrored) / share
    return np.asarray(
        radiating_temperature_k(np.where(leaving > 0.0, leaving, np.nan), band=band),
        dtype=np.float64,
    )


def map_text(found: ErrorMap) -> str:
    """Return the map by emissivity as CSV."""
    nodes = ",".join(f"{k - 273.15:.2f}" for k in fx.node_temperatures_k()[:-1])
    rows = [
        f"{e:.4f}," + ",".join(f"{x:.4f}" for x in row)
        for e, row in zip(found.emissivity, found.by_emissivity_k, strict=True)
    ]
    return "\n".join([f"emissivity \\ apparent_c from,{nodes}", *rows, ""])
