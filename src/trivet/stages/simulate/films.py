"""Films of oil over a cook: they spread, pool, thin and dry out."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.facts.contents import oil_limits
from trivet.physics.heat.loads import OIL_KG_M3, Layer
from trivet.physics.heat.oilfilm import FilmBase, flowed_film_m, oil_vapour_kg_m2s
from trivet.physics.heat.pan.model import PanRun
from trivet.stages.simulate.contents import FILM_UNDER_M, oil_on_base, with_butter_water
from trivet.stages.simulate.draws import Kitchen
from trivet.stages.simulate.setting import N_R, N_THETA, PanSetting

DRY_M = 0.5e-6
"""Thinner than this a film counts as dried out."""


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
