"""What each pixel of a head shows, as far as the product can tell, at the last frame it took."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.facts.thresholds import threshold
from trivet.physics.image import labelling
from trivet.physics.image.burnerpass import BurnerMemory
from trivet.physics.image.labelling import RegionLabels, RimView, region_labels
from trivet.physics.image.panfinder import RADIUS, X, Y
from trivet.quality import Quality
from trivet.records.estimate import ABSENT, BurnerEstimate
from trivet.records.recording import LABELS, LabelMaps
from trivet.records.requirement import OF_WORDS
from trivet.stages.estimate.views import BurnerView, HeadView

SURFACES = {"pan": labelling.PAN, "oil": labelling.LIQUID, "liquid": labelling.LIQUID}
FOUND_U_M = threshold("radius_found_u_m")
"""Standard uncertainty of a radius that was found; from the tests of the finder. [m]"""
TOLD_U_M = threshold("radius_told_u_m")
"""The same of a pan that was told: base against rim, flare and bead of the rim; assumed. [m]"""


@dataclass(frozen=True)
class LastReading:
    """What the last moment read says of a burner."""

    flags: int
    surface: int
    """Index in OF_WORDS of the surface last named; food leaves it known."""
    present: int

    def after(self, read: BurnerEstimate) -> LastReading:
        """Return that of the end of a block."""
        known = np.flatnonzero(np.isin(read.of, [OF_WORDS.index(word) for word in SURFACES]))
        surface = int(read.of[known[-1]]) if known.size else self.surface
        return LastReading(int(read.flags[-1]), surface, int(read.present[-1]))


@dataclass(frozen=True)
class LabelledBurner:
    """A burner to be labelled: its view, what the pass remembers of its pan, the last reading."""

    view: BurnerView
    memory: BurnerMemory
    last: LastReading


def head_labels(
    head: HeadView, burners: list[LabelledBurner], *, scene_k: FloatArray, at_s: float
) -> LabelMaps:
    """Return the labels of one head; ``scene_k`` is the last frame that it took, (pixel,). [K]"""
    card = head.card
    label = np.zeros(card.rows * card.cols, dtype=np.int8)
    owner = np.full(label.size, -1, dtype=np.int8)
    area = np.zeros((2, len(burners), len(LABELS)))
    for k, burner in enumerate(burners):
        one = burner_labels(burner, scene_k)
        mine = burner.view.place.pixel[one.inside]
        label[mine], owner[mine] = one.label[one.inside], k
        area[0, k], area[1, k] = one.area_px, one.area_u_px
    shape = (1, card.rows, card.cols)
    return LabelMaps(
        head=head.head.name,
        time_s=np.array([at_s]),
        label=label.reshape(shape),
        owner=owner.reshape(shape),
        burners=tuple(one.view.name for one in burners),
        area_px=area[0][None],
        area_u_px=area[1][None],
    )


def burner_labels(burner: LabelledBurner, scene_k: FloatArray) -> RegionLabels:
    """Return the labels of one burner's region; ``scene_k`` is the head's last frame, (pixel,)."""
    view, memory, last = burner.view, burner.memory, burner.last
    circle = np.array([[memory.pan[k] for k in (X, Y, RADIUS)]])
    x, y = (float(axis) for axis in view.found_middle(circle)[0])
    radius = float(circle[0, 2])
    gone = np.isnan(radius) or last.present == ABSENT
    veil = None
    if last.flags & int(Quality.HAND) and view.expects_water:
        veil = labelling.HAND
    elif last.flags & int(Quality.STEAM):
        veil = labelling.STEAM
    region = view.region
    return region_labels(
        scene_k[view.place.pixel],
        plane_m=(region.x_m, region.y_m, float(region.pitch_m)),
        seen=None if gone else _rim_view(view, x, y, radius),
        covers=memory.covers,
        surface=SURFACES[OF_WORDS[last.surface]],
        veil=veil,
    )


def _rim_view(view: BurnerView, x: float, y: float, radius: float) -> RimView:
    """Return rim and base: of a told pan as it is made, else as far apart as the usual wall."""
    rise = view.rise_frac
    part = rise * float(view.walled_share(np.array([radius]))[0])
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
