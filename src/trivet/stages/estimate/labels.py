"""What each pixel of a head shows, as far as the product can tell, at the last frame it took."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.image import labelling
from trivet.physics.image.labelling import RegionLabels, RimView, region_labels
from trivet.physics.image.panfinder import RADIUS, X, Y
from trivet.quality import Quality
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.estimate import ABSENT, BurnerEstimate
from trivet.records.recording import HeadFrames, ProductInput
from trivet.records.requirement import OF_WORDS
from trivet.records.seen import LABELS, LabelMaps
from trivet.stages.estimate.burnerview import BurnerView
from trivet.stages.estimate.shape import found_middle, walled_share

if TYPE_CHECKING:
    from trivet.stages.estimate.burner import BurnerReader
    from trivet.stages.estimate.streaming import HeadStream


SURFACES = {"pan": labelling.PAN, "oil": labelling.LIQUID, "liquid": labelling.LIQUID}
FOUND_U_M = 0.004
"""Standard uncertainty of a radius that was found; from the tests of the finder. [m]"""
TOLD_U_M = 0.002
"""The same of a pan that was told: base against rim, flare and bead of the rim; assumed. [m]"""


def label_maps(
    inputs: ProductInput, *, design: Design, calibration: Calibration, at_s: FloatArray
) -> tuple[LabelMaps, ...]:
    """Return what the product makes of each pixel at some moments of a recording.

    Parameters
    ----------
    inputs : ProductInput
        As for :func:`estimate`.
    design : Design
        Burners, pans, heads.
    calibration : Calibration
        In force.
    at_s : (moment,)
        Rising; the last frame at or before each is looked at. [s]

    Returns
    -------
    tuple of LabelMaps
        One a head, for the moments by which every head has given a frame.

    Raises
    ------
    RecordingError
        As :func:`estimate`.

    Notes
    -----
    Causal: a map rests on the frames up to its moment, whichever other moments are
    asked for.  About 1 ms a burner and moment.

    References
    ----------
    physics/image/labelling.py.
    """
    from trivet.stages.estimate.streaming import Estimator

    names = tuple(one.head for one in inputs.heads)
    estimator = Estimator(names, design=design, calibration=calibration, told=inputs.told)
    first = max(float(one.time_s[0]) for one in inputs.heads)
    at_s = at_s[at_s >= first]
    begins = [0] * len(inputs.heads)
    found: list[tuple[LabelMaps, ...]] = []
    for at in at_s:
        ends = [int(np.searchsorted(one.time_s, at, side="right")) for one in inputs.heads]
        block = tuple(
            _cut(one, begin, end)
            for one, begin, end in zip(inputs.heads, begins, ends, strict=True)
        )
        if all(one.time_s.size for one in block):
            estimator.advance(block)
            begins = ends
        found.append(estimator.labels(float(at)))
    return tuple(_together(one) for one in zip(*found, strict=True))


def _cut(frames: HeadFrames, begin: int, end: int) -> HeadFrames:
    return HeadFrames(
        frames.head,
        frames.time_s[begin:end],
        frames.apparent_k[begin:end],
        frames.sensor_k[begin:end],
        frames.awake_s[begin:end],
    )


def _together(maps: tuple[LabelMaps, ...]) -> LabelMaps:
    return LabelMaps(
        head=maps[0].head,
        time_s=np.concatenate([one.time_s for one in maps]),
        label=np.concatenate([one.label for one in maps]),
        owner=np.concatenate([one.owner for one in maps]),
        burners=maps[0].burners,
        area_px=np.concatenate([one.area_px for one in maps]),
        area_u_px=np.concatenate([one.area_u_px for one in maps]),
    )


def head_labels(stream: HeadStream, at_s: float) -> LabelMaps:
    """Return the labels of one head at the last frame that it took."""
    card, readers = stream.view.card, stream.readers
    label = np.zeros(card.rows * card.cols, dtype=np.int8)
    owner = np.full(label.size, -1, dtype=np.int8)
    area = np.zeros((2, len(readers), len(LABELS)))
    for k, reader in enumerate(readers):
        one = burner_labels(reader, stream.last_k)
        place = reader.view.region.rows * card.cols + reader.view.region.cols
        mine = place[one.inside]
        label[mine], owner[mine] = one.label[one.inside], k
        area[0, k], area[1, k] = one.area_px, one.area_u_px
    shape = (1, card.rows, card.cols)
    return LabelMaps(
        head=stream.view.head.name,
        time_s=np.array([at_s]),
        label=label.reshape(shape),
        owner=owner.reshape(shape),
        burners=tuple(one.view.name for one in readers),
        area_px=area[0][None],
        area_u_px=area[1][None],
    )


def burner_labels(reader: BurnerReader, scene_k: FloatArray) -> RegionLabels:
    """Return the labels of one burner's region; ``scene_k`` is the head's last frame, (pixel,)."""
    view, memory = reader.view, reader.memory
    flags, of, present = reader.last
    circle = np.array([[memory.pan[k] for k in (X, Y, RADIUS)]])
    x, y = (float(axis) for axis in found_middle(view, circle)[0])
    radius = float(circle[0, 2])
    gone = np.isnan(radius) or present == ABSENT
    veil = None
    if flags & int(Quality.HAND) and view.expects_water:
        veil = labelling.HAND
    elif flags & int(Quality.STEAM):
        veil = labelling.STEAM
    region = view.region
    return region_labels(
        scene_k[region.rows * view.head.card.cols + region.cols],
        plane_m=(region.x_m, region.y_m, float(region.pitch_m)),
        seen=None if gone else _rim_view(view, x, y, radius),
        covers=memory.covers,
        surface=SURFACES[OF_WORDS[of]],
        veil=veil,
    )


def _rim_view(view: BurnerView, x: float, y: float, radius: float) -> RimView:
    """Return rim and base: of a told pan as it is made, else as far apart as the usual wall."""
    rise = view.rise_frac
    part = rise * float(walled_share(np.array([radius]), view)[0])
    base, u = view.base_radius_m, TOLD_U_M
    if base is None:  # what was found lies between base and rim
        base = radius * (1.0 - part)
        u = float(np.hypot(FOUND_U_M, radius * rise / np.sqrt(12.0)))
    base_x, base_y = (
        found * (1.0 - part) + eye * part for found, eye in zip((x, y), view.eye_m, strict=True)
    )
    rim_x, rim_y = (
        (one - eye * rise) / (1.0 - rise)
        for one, eye in zip((base_x, base_y), view.eye_m, strict=True)
    )
    return RimView((rim_x, rim_y, base / (1.0 - rise)), (base_x, base_y, base), u)


def last_word(read: BurnerEstimate, before: int) -> tuple[int, int, int]:
    """Return flags, surface and presence at the end of a block; food leaves the surface known."""
    plain = [OF_WORDS.index(word) for word in SURFACES]
    known = np.flatnonzero(np.isin(read.of, plain))
    of = int(read.of[known[-1]]) if known.size else before
    return int(read.flags[-1]), of, int(read.present[-1])
