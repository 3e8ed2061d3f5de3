"""Smoke and ignition of the oil in a pan: when the limits drawn for it are reached."""

from __future__ import annotations

import itertools

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.heat.cellstats import hottest_mean_k
from trivet.stages.simulate.films import DRY_M, FilmTrack
from trivet.stages.simulate.history import SmokeMarks
from trivet.stages.simulate.setting import PanSetting

MIN_M2 = 5e-4
"""The hottest 5 cm2 of the oil decide."""


def _first_at(
    setting: PanSetting, surface_k: FloatArray, film_m: FloatArray, level_k: float
) -> int | None:
    """Return the first moment at which the hottest oil reaches a temperature."""
    wet = film_m > DRY_M
    area = setting.area_m2[wet]
    if area.sum() < MIN_M2:
        return None
    oil_k = surface_k[:, wet]
    # the hottest 5 cm2 are never hotter than the hottest cell: look there first
    close = np.flatnonzero(oil_k.max(axis=1) >= level_k)
    if not close.size:
        return None
    hottest = hottest_mean_k(oil_k[close], area_m2=area, hottest_m2=MIN_M2)
    found = np.flatnonzero(hottest >= level_k)
    return int(close[found[0]]) if found.size else None


def ignition_at(setting: PanSetting, surface_k: FloatArray, film_m: FloatArray) -> int | None:
    """Return the first moment of a run at which the oil ignites by itself, None if it does not.

    ``surface_k`` is (time, cell); ``film_m`` (cell,) what lay there as the run began.
    """
    if setting.oil.ignition_k is None:
        return None
    return _first_at(setting, surface_k, film_m, setting.oil.ignition_k)


def marks(setting: PanSetting, surface_k: FloatArray, film: FilmTrack, step_s: float) -> SmokeMarks:
    """Return when the oil began to smoke and when it ignited, over a whole cook."""
    smoke = _over_marks(setting, surface_k, film, step_s, setting.oil.smoke_k)
    fire = _over_marks(setting, surface_k, film, step_s, setting.oil.ignition_k)
    return SmokeMarks(*smoke, *fire)


def _over_marks(
    setting: PanSetting,
    surface_k: FloatArray,
    film: FilmTrack,
    step_s: float,
    level_k: float | None,
) -> tuple[float, float]:
    """Return when a level is reached with the film of that time, and the level; NaN if never."""
    if level_k is None or not film.thickness_m[0].any():
        return float("nan"), float("nan")
    edges = [round(float(at) / step_s) for at in film.time_s]
    for k, (first, last) in enumerate(itertools.pairwise(edges)):
        at = _first_at(setting, surface_k[first : last + 1], film.at(k), level_k)
        if at is not None:
            return (first + at) * step_s, level_k
    return float("nan"), float("nan")
