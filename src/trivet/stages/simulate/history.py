"""What a pan did over a cook: its series, its film of oil, when the oil smoked and ignited."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.facts.contents import oil_limits
from trivet.physics.heat.cellstats import HOTTEST_SPOT_M2, hottest_mean_k
from trivet.physics.heat.loads import OIL_KG_M3, Layer
from trivet.physics.heat.oilfilm import FilmBase, flowed_film_m, oil_vapour_kg_m2s
from trivet.physics.heat.pan.model import PanRun
from trivet.physics.sensor.readout import wander_k
from trivet.stages.simulate.contents import FILM_UNDER_M, oil_on_base, with_butter_water
from trivet.stages.simulate.draws import Kitchen
from trivet.stages.simulate.setting import COOK_STEP_S, N_R, N_THETA, PanSetting


def wander(size: int, *, sigma: float, tau_s: float, generator: np.random.Generator) -> FloatArray:
    """Return a slow random course at the simulator's moments, of a standard deviation, (time,)."""
    return wander_k(size, step_s=COOK_STEP_S, sigma_k=sigma, tau_s=tau_s, generator=generator)


def flicker(size: int, *, sigma: float, tau_s: float, generator: np.random.Generator) -> FloatArray:
    """Return a random factor of mean 1 at the simulator's moments, log-normal, (time,)."""
    course = wander(size, sigma=sigma, tau_s=tau_s, generator=generator)
    return np.asarray(np.exp(course - 0.5 * sigma**2))


@dataclass(frozen=True)
class FilmTrack:
    """Thickness of oil or fat on one base over a cook, linear between marks."""

    time_s: FloatArray
    """(mark,) [s]"""
    thickness_m: FloatArray
    """(mark, cell) [m]"""

    def left_frac(self, time_s: FloatArray, area_m2: FloatArray) -> FloatArray:
        """Return how much of the oil at the start is left, (time,)."""
        volume = self.thickness_m @ area_m2
        if not volume[0] > 0.0:
            return np.zeros(time_s.size)
        return np.asarray(np.interp(time_s, self.time_s, volume / volume[0]))

    def at(self, index: int) -> FloatArray:
        """Return the thickness at a mark, (cell,)."""
        return np.asarray(self.thickness_m[index])


@dataclass(frozen=True)
class SmokeMarks:
    """When the oil of a pan began to smoke and when it ignited; NaN where it did not."""

    smoke_s: float = float("nan")
    smoke_k: float = float("nan")
    ignition_s: float = float("nan")
    ignition_k: float = float("nan")


@dataclass(frozen=True)
class PanHistory:
    """What one pan did: arrays (time,) and (time, cell)."""

    setting: PanSetting
    time_s: FloatArray
    pan_k: FloatArray
    surface_k: FloatArray
    """The top of pan, liquid or food, under the lid where one is on."""
    mass_kg: FloatArray
    """Water left, of water or of butter."""
    heat_w: FloatArray
    film: FilmTrack
    lid_k: FloatArray
    """(time,) temperature of the lid, NaN where none is on."""
    wall_k: FloatArray
    """(time, ring) the side wall, mean round it, from the rim up."""
    hob_k: FloatArray
    """(time,) glass or coil under the pan, area mean; NaN over gas."""
    core_k: FloatArray
    """(time, piece) coldest layer of each piece of food, NaN where it is not in the pan."""
    marks: SmokeMarks = field(default_factory=SmokeMarks)

    @cached_property
    def covered(self) -> BoolArray:
        """Return which cells lie under food, (time, cell)."""
        index = np.arange(self.time_s.size)
        out = np.zeros(self.pan_k.shape, dtype=np.bool_)
        for piece in self.setting.pieces:
            into, _, last = piece.moments(COOK_STEP_S)
            out[(index >= into) & (index < last)] |= piece.cover
        return out

    @cached_property
    def food(self) -> BoolArray:
        """Return whether any food lies in the pan, (time,)."""
        return np.asarray(self.covered.any(axis=1))

    @cached_property
    def lidded(self) -> BoolArray:
        """Return whether the lid is on, (time,)."""
        return np.isfinite(self.lid_k)

    @cached_property
    def inserted_k(self) -> FloatArray:
        """Return the core of the food in the pan, the first of several, NaN without, (time,)."""
        core = np.full(self.time_s.size, np.nan)
        for piece in self.core_k.T[::-1]:
            core = np.where(np.isfinite(piece), piece, core)
        return core

    @cached_property
    def seen_k(self) -> FloatArray:
        """Return the temperature of what an eye above sees, (time, cell): the lid if it is on."""
        if not self.lidded.any():
            return self.surface_k
        return np.where(self.lidded[:, None], self.lid_k[:, None], self.surface_k)


DRY_M = 0.5e-6
"""Own estimate: thinner than this a film counts as dried out."""


class Films:
    """The films of all pans of a cook, moved on between the runs of the heat balance."""

    def __init__(self, settings: Sequence[PanSetting], room: Kitchen) -> None:
        self._settings, self._room = settings, room
        self._now = [one.film_m for one in settings]
        self._layers = [one.layer for one in settings]
        self._marks: list[float] = [0.0]
        self._tracks: list[list[FloatArray]] = [[one.film_m] for one in settings]

    @property
    def now(self) -> tuple[FloatArray, ...]:
        """Return the thickness on each pan, (cell,)."""
        return tuple(self._now)

    @property
    def layers(self) -> list[Layer]:
        """Return the layer of each pan for the next run."""
        return self._layers

    def move(self, run: PanRun) -> None:
        """Move all films on by what happened during a run."""
        self._marks.append(self._marks[-1] + float(run.time_s[-1]))
        for k, one in enumerate(self._settings):
            if self._now[k].any():
                self._now[k] = _moved(one, self._now[k], run, k)
                layer = oil_on_base(self._now[k], area_m2=one.area_m2, room=self._room)
                if float(np.asarray(one.layer.release_1_ks)) > 0.0:
                    layer = with_butter_water(layer, float(run.mass_kg[-1, k]), self._room)
                self._layers[k] = dataclasses.replace(layer, start_k=one.layer.start_k)
            self._tracks[k].append(self._now[k])

    def tracks(self) -> tuple[FilmTrack, ...]:
        """Return what the films did."""
        time = np.array(self._marks)
        return tuple(FilmTrack(time, np.stack(track)) for track in self._tracks)


def _moved(setting: PanSetting, film: FloatArray, run: PanRun, k: int) -> FloatArray:
    """Return a film after a run: vapour goes from its surface, and thin films flow."""
    shape, seconds = (N_R, N_THETA), float(run.time_s[-1])
    surface = run.surface_k[..., k].reshape(run.time_s.size, -1)
    fire_k = oil_limits(setting.oil.name).fire.mean_k
    lost = oil_vapour_kg_m2s(surface, fire_k=fire_k).mean(axis=0).reshape(shape)
    deep = float(film @ setting.area_m2) / float(setting.area_m2.sum()) >= FILM_UNDER_M
    if deep:  # one pool: it loses as a whole
        drop = float((lost.ravel() * setting.area_m2).sum() / setting.area_m2.sum()) / OIL_KG_M3
        return np.maximum(film - drop * seconds, 0.0)
    moved = flowed_film_m(
        film.reshape(shape),
        temperature_k=run.pan_k[..., k].mean(axis=0),
        base=FilmBase(setting.radius_m, setting.height_m.reshape(shape)),
        seconds=seconds,
        lost_kg_m2s=lost,
    ).ravel()
    return np.where(moved < DRY_M, 0.0, moved)


def _first_at(
    setting: PanSetting, surface_k: FloatArray, film_m: FloatArray, level_k: float
) -> int | None:
    """Return the first moment at which the hottest oil reaches a temperature."""
    wet = film_m > DRY_M
    area = setting.area_m2[wet]
    if area.sum() < HOTTEST_SPOT_M2:
        return None
    oil_k = surface_k[:, wet]
    # the hottest 5 cm2 are never hotter than the hottest cell: look there first
    close = np.flatnonzero(oil_k.max(axis=1) >= level_k)
    if not close.size:
        return None
    hottest = hottest_mean_k(oil_k[close], area_m2=area)
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
