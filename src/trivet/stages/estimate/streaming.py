"""The estimate as a stream: blocks of frames in, blocks of readings out, in constant memory.

However a recording is cut into blocks, the readings are the same, bit for bit.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trivet.arrays import FloatArray, IntArray
from trivet.errors import RecordingError
from trivet.facts.thresholds import threshold
from trivet.physics.image.burnerpass import background_level_k
from trivet.physics.image.trend import Tail, trailing_slope
from trivet.physics.radiation.planck import band_radiance
from trivet.physics.radiation.scenepass import SceneFrames, empty_scene, fill_scene
from trivet.quality import Quality
from trivet.records.benchsheet import Told
from trivet.records.calibration import Calibration
from trivet.records.design import Burner, Design
from trivet.records.estimate import UNSURE, BurnerEstimate, Estimate, PanShape
from trivet.records.recording import HeadFrames, LabelMaps
from trivet.stages.estimate.burner import BurnerReader
from trivet.stages.estimate.hypotheses import burner_view
from trivet.stages.estimate.labels import LabelledBurner, LastReading, head_labels
from trivet.stages.estimate.shape import no_shape
from trivet.stages.estimate.validity import ReadingValidator
from trivet.stages.estimate.views import BurnerView, HeadView, Moments, drift_offset, head_view

VALUES_AT_ONCE = 200_000
"""Pixel values of the scene held at one time: they stay near the processor."""
HOUSING_SPAN_S, HOUSING_LEAST_S = threshold("housing_span_s"), threshold("housing_min_span_s")
ARRAYS = tuple(one.name for one in dataclasses.fields(BurnerEstimate))[2:-1]
"""Fields of a burner's estimate that are (time,)."""
SHAPES = tuple(one.name for one in dataclasses.fields(PanShape))


class Estimator:
    """The product's reading of one cook, block after block.

    Parameters
    ----------
    heads : names of the heads whose frames will come; the first one's times are
        the estimate's.
    design : Design
    calibration : Calibration
    told : Told
    leave_out_rate : bool
        Whether rates are no evidence of what a surface is.

    Notes
    -----
    Memory does not grow with the frames: a few kB for each burner, 16 bytes for
    each of at most 200,000 pixel values (or one frame), and what a block returns.
    """

    def __init__(
        self,
        heads: tuple[str, ...],
        *,
        design: Design,
        calibration: Calibration,
        told: Told,
        leave_out_rate: bool = False,
    ) -> None:
        views = {name: head_view(name, design=design, calibration=calibration) for name in heads}
        burners: dict[str, list[BurnerStream]] = {name: [] for name in heads}
        self._heads = heads
        self._order: list[tuple[str, str]] = []
        self._last: dict[str, BurnerEstimate] = {}
        for burner, name in best_heads(views, design=design):
            view = burner_view(
                burner, views[name], design=design, calibration=calibration, told=told
            )
            burners[name].append(BurnerStream(view, design=design, leave_out_rate=leave_out_rate))
            self._order.append((burner.name, name))
        self._streams = {
            name: HeadStream(views[name], burners[name], design=design) for name in heads
        }

    def advance(self, frames: tuple[HeadFrames, ...]) -> Estimate:
        """Return the readings of the next frames, at the moments of the first head's.

        Parameters
        ----------
        frames : tuple of HeadFrames
            One block of each head, in the heads' order; times go on where the last
            block ended. The blocks of one call end at the same moment: a reading
            rests on the frames up to it that have been given.

        Returns
        -------
        Estimate
            Until a burner's own head has given a frame, it is stale and unknown.

        Raises
        ------
        RecordingError
            If the heads or the shape of the frames are not those of the design.
        """
        given = tuple(one.head for one in frames)
        if given != self._heads:
            raise RecordingError(
                f"frames of {', '.join(given) or 'no head'} where those of "
                f"{', '.join(self._heads)} go on; give one block of each, in this order"
            )
        read = {
            one.burner: one for block in frames for one in self._streams[block.head].advance(block)
        }
        time_s = frames[0].time_s
        own_s = {block.head: block.time_s for block in frames}
        burners = []
        for name, head in self._order:
            if head == self._heads[0]:
                burners.append(read[name])
                continue
            known = (
                self._last.get(name, _nothing(name, head)),
                *([read[name]] if name in read else []),
            )
            burners.append(_at_last(known, own_s[head], time_s))
            self._last[name] = _at(known[-1], np.array([-1]))
        return Estimate(time_s=time_s, burners=tuple(burners))

    def labels(self, at_s: float) -> tuple[LabelMaps, ...]:
        """Return what each pixel showed at the last frames taken, one map a head.

        Parameters
        ----------
        at_s : moment that they are to stand for. [s]

        Returns
        -------
        tuple of LabelMaps
            In the heads' order; all hob before the first frame.
        """
        return tuple(self._streams[name].labels(at_s) for name in self._heads)


class BurnerStream:
    """One burner's pixels to what is reported of it."""

    def __init__(self, view: BurnerView, *, design: Design, leave_out_rate: bool = False) -> None:
        self.view = view
        self.reader = BurnerReader(view, design=design, leave_out_rate=leave_out_rate)
        self._validator = ReadingValidator(view, design=design)
        prior = max(view.hypotheses, key=lambda one: one.prior)
        self._last = LastReading(int(Quality.STALE), prior.of, UNSURE)

    def read(self, table: FloatArray, *, moments: Moments) -> BurnerEstimate:
        """Return the estimate of a block of moments from the rows of its frames."""
        read = self._validator.validate(self.reader.observe(table, moments=moments))
        self._last = self._last.after(read)
        return read

    @property
    def labelled(self) -> LabelledBurner:
        """The burner as it is labelled at the last frame."""
        return LabelledBurner(self.view, self.reader.memory, self._last)


class HeadStream:
    """One head's frames to the readings of the burners that it sees best."""

    def __init__(self, view: HeadView, burners: list[BurnerStream], *, design: Design) -> None:
        self.view = view
        self.burners = burners
        self._design = design
        pixels = view.card.rows * view.card.cols
        self._at_once = max(1, VALUES_AT_ONCE // pixels)
        self._scene = empty_scene(self._at_once, pixels)
        self._housing = Tail(HOUSING_SPAN_S)
        self._last_s = np.nan
        self._last_k = np.full(pixels, np.nan)

    def labels(self, at_s: float) -> LabelMaps:
        """Return what each pixel showed at the last frame taken."""
        burners = [one.labelled for one in self.burners]
        return head_labels(self.view, burners, scene_k=self._last_k, at_s=at_s)

    def advance(self, frames: HeadFrames) -> list[BurnerEstimate]:
        """Return the readings of the next frames, burner by burner."""
        pixels = self.view.pixels(frames)
        if not self.burners or frames.time_s.size == 0:
            return []
        moments = self._moments(frames)
        tables: list[list[FloatArray]] = [[] for _ in self.burners]
        for begin in range(0, moments.time_s.size, self._at_once):
            part = slice(begin, begin + self._at_once)
            scene = fill_scene(
                pixels[part],
                offset_k=moments.offset_k[part],
                window_k=moments.window_k[part],
                transmittance=float(self.view.calibration.transmittance),
                band=self.view.band,
                out=self._scene,
            )
            found = self.look(scene, time_s=moments.time_s[part])
            self._last_k = np.array(scene.temperature_k[-1])
            for rows, block in zip(tables, found, strict=True):
                rows.append(block)
        return [
            burner.read(np.concatenate(rows), moments=moments)
            for burner, rows in zip(self.burners, tables, strict=True)
        ]

    def look(self, scene: SceneFrames, *, time_s: FloatArray) -> list[FloatArray]:
        """Return the rows of a PanTrace of some frames, burner by burner."""
        level_k = background_level_k(
            scene.temperature_k, beside=self.view.beside, quantile_frac=self.view.hob_quantile
        )
        hob = (level_k, np.atleast_1d(band_radiance(level_k, band=self.view.band)))
        return [one.reader.look(scene, time_s=time_s, hob=hob) for one in self.burners]

    def _moments(self, frames: HeadFrames) -> Moments:
        """Return what is common to all pixels, and carry on the housing's course."""
        card, head = self.view.card, self.view.head
        time_s = np.ascontiguousarray(frames.time_s, np.float64)
        sensor_k, times_s, begins = self._housing.extended(frames.sensor_k, time_s)
        rate_kps = trailing_slope(
            sensor_k,
            time_s=times_s,
            span_s=HOUSING_SPAN_S,
            least_s=HOUSING_LEAST_S,
            start=begins,
        )
        offset_k, offset_u_k = drift_offset(
            frames, rate_kps=rate_kps, drift=self.view.calibration.drift
        )
        before = time_s[0] if np.isnan(self._last_s) else self._last_s
        self._last_s = float(time_s[-1])
        settle_s = float(card.settle_s) if card.settle_s is not None else 0.0
        return Moments(
            time_s=time_s,
            sensor_k=frames.sensor_k,
            window_k=frames.sensor_k + head.window.rise_delta_k.middle,
            offset_k=offset_k,
            offset_u_k=offset_u_k,
            settling=frames.awake_s < settle_s,
            stale=np.diff(time_s, prepend=before) > float(self._design.estimation.stale_after_s),
        )


def best_heads(views: dict[str, HeadView], *, design: Design) -> list[tuple[Burner, str]]:
    """Return each burner that is seen, with the head that has the most pixels on it."""
    order = [head.name for head in design.heads if head.name in views]
    chosen = []
    for burner in design.burners:
        counts = {
            name: views[name].regions[burner.name].rows.size
            for name in order
            if burner.name in views[name].regions
        }
        if counts:
            chosen.append((burner, max(counts, key=lambda name: counts[name])))
    return chosen


def joined(blocks: list[Estimate]) -> Estimate:
    """Return blocks of one stream as one estimate."""
    return Estimate(
        time_s=np.concatenate([one.time_s for one in blocks]),
        burners=tuple(
            _joined(parts) for parts in zip(*(one.burners for one in blocks), strict=True)
        ),
    )


def _joined(parts: tuple[BurnerEstimate, ...]) -> BurnerEstimate:
    return _each(parts, np.concatenate)


def _at_last(
    known: tuple[BurnerEstimate, ...], own_s: FloatArray, time_s: FloatArray
) -> BurnerEstimate:
    """Return the last reading before each moment; the first of ``known`` is from before all."""
    return _at(_joined(known), np.searchsorted(own_s, time_s, side="right"))


def _at(read: BurnerEstimate, place: IntArray) -> BurnerEstimate:
    return _each((read,), lambda rows: rows[0][place])


def _each(
    parts: tuple[BurnerEstimate, ...], made: Callable[[list[Any]], NDArray[Any]]
) -> BurnerEstimate:
    """Return the record whose arrays are made of those of some records, field by field."""
    arrays = {name: made([getattr(one, name) for one in parts]) for name in ARRAYS}
    shape = {name: made([getattr(one.shape, name) for one in parts]) for name in SHAPES}
    return BurnerEstimate(parts[0].burner, parts[0].head, **arrays, shape=PanShape(**shape))


def _nothing(burner: str, head: str) -> BurnerEstimate:
    """Return one moment of a burner of which no frame has come."""
    unknown = np.full(1, np.nan)
    return BurnerEstimate(
        burner=burner,
        head=head,
        present=np.full(1, UNSURE, np.int8),
        of=np.full(1, -1, np.int8),
        reported_k=unknown,
        u95_k=unknown,
        hottest_k=unknown,
        nonuniformity_k=unknown,
        apparent_k=unknown,
        flags=np.full(1, int(Quality.STALE), np.uint32),
        heat_on=np.zeros(1, np.bool_),
        pixels=np.zeros(1, np.int8),
        withheld_k=unknown,
        shape=no_shape(1),
    )
