"""Who is in the kitchen: hands and faces before the scene, answers of the presence channel."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.facts.pans import surface
from trivet.physics.geometry.optics import point_of_pixel
from trivet.physics.radiation.planck import band_radiance
from trivet.physics.radiation.render import disc_cover, mixed_radiance
from trivet.physics.sensor.readout import Occluder
from trivet.records.cook import CookPlan
from trivet.records.product import PresenceChannel
from trivet.records.recording import Event, PresenceSeries
from trivet.stages.simulate.draws import SimulatedHead
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.surroundings import (
    FACE_EMISSIVITY,
    FACE_HEIGHT_M,
    FACE_K,
    FACE_RADIUS_M,
    face_centre_m,
)

HAND_K, HAND_RADIUS_M, HAND_SECONDS, HAND_HEIGHT_M = 306.0, 0.06, 2.0, 0.15  # own estimate


def hidden(
    moments_s: FloatArray, pans: Sequence[PanHistory], view: SimulatedHead
) -> Occluder | None:
    """Return what hands and faces hide of each frame; the later one where both are there."""
    plan = view.cook.plan
    reflected = float(band_radiance(view.cook.room.reflected_k, band=view.band))
    which = np.full(moments_s.size, -1, dtype=np.int64)
    cover: list[FloatArray] = []
    warm: list[float] = []
    over = pans[0].setting.grid
    for at in plan.hands_at_s:
        eps = surface("hand").emissivity
        glow = float(mixed_radiance(HAND_K, emissivity=eps, mirrored=reflected, band=view.band))
        for n in _during(moments_s, float(at), HAND_SECONDS):
            share = (moments_s[n] - float(at)) / HAND_SECONDS
            reach = 1.0 - abs(2.0 * share - 1.0) * 2.0  # in from the front, and back
            centre = (over.centre_x_m, over.centre_y_m - 0.12 * (1.0 - reach))
            which[n] = len(cover)
            cover.append(_covered(view, centre, HAND_RADIUS_M, HAND_HEIGHT_M))
            warm.append(glow)
    for face in plan.faces:
        there = _during(moments_s, float(face.at_s), float(face.for_s))
        if view.unit.pose.height_m <= FACE_HEIGHT_M or not there.size:
            continue
        which[there] = len(cover)
        cover.append(_covered(view, face_centre_m(face, pans), FACE_RADIUS_M, FACE_HEIGHT_M))
        eps = FACE_EMISSIVITY
        warm.append(
            float(mixed_radiance(FACE_K, emissivity=eps, mirrored=reflected, band=view.band))
        )
    if not cover:
        return None
    return Occluder(which, np.array(cover, dtype=np.float32), np.array(warm))


def _during(moments_s: FloatArray, at_s: float, for_s: float) -> IntArray:
    return np.flatnonzero((moments_s >= at_s) & (moments_s <= at_s + for_s))


def _covered(
    view: SimulatedHead, centre_m: tuple[float, float], radius_m: float, height_m: float
) -> FloatArray:
    lens, pose = view.lens, view.unit.pose
    index = np.moveaxis(np.indices((lens.rows, lens.cols)), 0, -1).astype(np.float64)
    plane = point_of_pixel(index, lens=lens, pose=pose, plane_height_m=height_m)
    soft = float(np.nanmedian(np.abs(np.diff(plane[..., 0], axis=1))))
    return disc_cover(
        plane[..., 0].ravel(),
        y_m=plane[..., 1].ravel(),
        centre_m=centre_m,
        radius_m=radius_m,
        soft_m=soft,
    )


KITCHEN = "kitchen"
"""What the events of somebody in the kitchen are marked with."""


def presence(
    channel: PresenceChannel | None,
    *,
    plan: CookPlan,
    until_s: float,
    generator: np.random.Generator,
) -> PresenceSeries | None:
    """Return a presence channel's answers over a cook, with the errors that it declares.

    Answers err independently of one another; a real channel may err in a row.
    """
    if channel is None:
        return None
    at = np.arange(0.0, until_s, float(channel.period_s))
    there = np.ones(at.size, dtype=np.bool_)
    for one in plan.away:
        start = float(one.at_s)
        there &= ~((at >= start) & (at < start + float(one.for_s)))
    u = generator.uniform(size=at.size)
    seen = np.where(there, u >= float(channel.miss_frac), u < float(channel.false_frac))
    return PresenceSeries(tuple(at.tolist()), tuple(bool(one) for one in seen))


def away_events(plan: CookPlan, burner: str) -> list[Event]:
    """Return when the kitchen is left and entered, for those who check what was noticed."""
    found = []
    for one in plan.away:
        start = float(one.at_s)
        found.append(Event(start, burner, "person_out", KITCHEN))
        found.append(Event(start + float(one.for_s), burner, "person_in", KITCHEN))
    return found
