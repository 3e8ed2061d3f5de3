"""The estimate as a stream: blocks of frames in, blocks of readings out, in constant memory.

However a recording is cut into blocks, the readings are the same, bit for bit.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.errors import RecordingError
from trivet.physics.geometry.optics import view_angle_rad
from trivet.physics.heat.carriedpan import CarryRule
from trivet.physics.heat.water import boiling_point_k
from trivet.physics.image.background import background_level_k
from trivet.physics.image.panreading import FRIDGE_K
from trivet.physics.image.trend import Tail, trailing_slope
from trivet.physics.radiation.planck import band_radiance
from trivet.physics.radiation.scenepass import SceneFrames, empty_scene, fill_scene
from trivet.quality import Quality
from trivet.records.calibration import Calibration
from trivet.records.cook import Told, ToldEntry
from trivet.records.design import Burner, Design
from trivet.records.estimate import UNSURE, BurnerEstimate, Estimate, PanShape
from trivet.records.recording import HeadFrames
from trivet.records.seen import LabelMaps
from trivet.stages.estimate.burner import BurnerReader
from trivet.stages.estimate.burnerview import BurnerView
from trivet.stages.estimate.hypotheses import burner_hypotheses, full_heat_w, heat_store_jk
from trivet.stages.estimate.labels import head_labels
from trivet.stages.estimate.shape import no_shape
from trivet.stages.estimate.view import (
    HeadView,
    Moments,
    checked_pixels,
    drift_offset,
    head_view,
)

VALUES_AT_ONCE = 200_000
"""Pixel values of the scene held at one time: they stay near the processor."""
HOUSING_SPAN_S, HOUSING_LEAST_S = 30.0, 10.0
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
        readers: dict[str, list[BurnerReader]] = {name: [] for name in heads}
        self._heads = heads
        self._order: list[tuple[str, str]] = []
        self._last: dict[str, BurnerEstimate] = {}
        for burner, name in best_heads(views, design=design):
            view = burner_view(
                burner, views[name], design=design, calibration=calibration, told=told
            )
            reader = BurnerReader(view, design=design, leave_out_rate=leave_out_rate)
            readers[name].append(reader)
            self._order.append((burner.name, name))
        self._streams = {
            name: HeadStream(views[name], readers[name], design=design) for name in heads
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
        return tuple(head_labels(self._streams[name], at_s) for name in self._heads)


class HeadStream:
    """One head's frames to the readings of the burners that it sees best."""

    def __init__(self, view: HeadView, readers: list[BurnerReader], *, design: Design) -> None:
        self.view = view
        self.readers = readers
        self._design = design
        pixels = view.card.rows * view.card.cols
        self._at_once = max(1, VALUES_AT_ONCE // pixels)
        self._scene = empty_scene(self._at_once, pixels)
        self._housing = Tail(HOUSING_SPAN_S)
        self._last_s = np.nan
        self.last_k = np.full(pixels, np.nan)
        """(pixel,) the last frame, in apparent temperature before the window. [K]"""

    def advance(self, frames: HeadFrames) -> list[BurnerEstimate]:
        """Return the readings of the next frames, burner by burner."""
        pixels = checked_pixels(frames, view=self.view)
        if not self.readers or frames.time_s.size == 0:
            return []
        moments = self._moments(frames)
        tables: list[list[FloatArray]] = [[] for _ in self.readers]
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
            self.last_k = np.array(scene.temperature_k[-1])
            for rows, block in zip(tables, found, strict=True):
                rows.append(block)
        return [
            reader.read(np.concatenate(rows), moments=moments)
            for reader, rows in zip(self.readers, tables, strict=True)
        ]

    def look(self, scene: SceneFrames, *, time_s: FloatArray) -> list[FloatArray]:
        """Return the rows of a PanTrace of some frames, burner by burner."""
        level_k = background_level_k(
            scene.temperature_k, beside=self.view.beside, quantile_frac=self.view.hob_quantile
        )
        hob = (level_k, np.atleast_1d(band_radiance(level_k, band=self.view.band)))
        return [reader.look(scene, time_s=time_s, hob=hob) for reader in self.readers]

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


def burner_view(
    burner: Burner, head: HeadView, *, design: Design, calibration: Calibration, told: Told
) -> BurnerView:
    """Return what one burner's reading needs from around it."""
    about = told.about(burner.name)
    pans = [pan for pan in design.pans if about.pan in (None, pan.name)] or list(design.pans)
    pose = head.pose
    rise = float(np.median([float(pan.depth_m) for pan in pans])) / pose.height_m
    radii = [float(pan.diameter_m) / 2 for pan in pans]
    middle = [float(burner.x_m), float(burner.y_m), 0.0]
    return BurnerView(
        name=burner.name,
        head=head,
        region=head.regions[burner.name],
        hypotheses=burner_hypotheses(
            burner,
            told=about,
            design=design,
            calibration=calibration,
            band=head.band,
            angle_rad=float(view_angle_rad(middle, pose=pose)),
            window_frac=head.calibration.transmittance_u / head.calibration.transmittance,
        ),
        radii_m=(min(radii), max(radii) / (1 - rise)),
        eye_m=(pose.x_m - float(burner.x_m), pose.y_m - float(burner.y_m)),
        rise_frac=rise,
        base_radius_m=radii[0] if len(pans) == 1 else None,
        carry=_carry_rule(burner, about, design=design),
        boiling_k=float(boiling_point_k(float(design.surroundings.altitude_m))),
        reporter=calibration.reporter,
    )


def _carry_rule(burner: Burner, told: ToldEntry, *, design: Design) -> CarryRule:
    """Return what carries a hidden pan on: of the told pan, dry or with little in it."""
    pan = next((one for one in design.pans if one.name == told.pan), None)
    dry = next((one for one in design.bases if one.contents == "dry"), None)
    if pan is None or dry is None:
        return CarryRule(math.nan, math.nan, math.nan, math.nan, math.nan)
    store = heat_store_jk(pan, dry)
    return CarryRule(
        store_jk=store,
        area_m2=math.pi * (float(pan.diameter_m) / 2) ** 2,
        full_kps=full_heat_w(burner) / store,
        room_k=float(design.surroundings.ambient_k),
        food_k=FRIDGE_K,
    )


def joined(blocks: list[Estimate]) -> Estimate:
    """Return blocks of one stream as one estimate."""
    return Estimate(
        time_s=np.concatenate([one.time_s for one in blocks]),
        burners=tuple(
            _joined(parts) for parts in zip(*(one.burners for one in blocks), strict=True)
        ),
    )


def _joined(parts: tuple[BurnerEstimate, ...]) -> BurnerEstimate:
    arrays = {name: np.concatenate([getattr(one, name) for one in parts]) for name in ARRAYS}
    shapes = [one.shape for one in parts]
    shape = {name: np.concatenate([getattr(one, name) for one in shapes]) for name in SHAPES}
    return BurnerEstimate(parts[0].burner, parts[0].head, **arrays, shape=PanShape(**shape))


def _at_last(
    known: tuple[BurnerEstimate, ...], own_s: FloatArray, time_s: FloatArray
) -> BurnerEstimate:
    """Return the last reading before each moment; the first of ``known`` is from before all."""
    return _at(_joined(known), np.searchsorted(own_s, time_s, side="right"))


def _at(read: BurnerEstimate, place: IntArray) -> BurnerEstimate:
    arrays = {name: getattr(read, name)[place] for name in ARRAYS}
    shape = {name: getattr(read.shape, name)[place] for name in SHAPES}
    return BurnerEstimate(read.burner, read.head, **arrays, shape=PanShape(**shape))


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
