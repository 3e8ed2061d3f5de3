"""One number for a pan: the mean of its rings, what the wall and food leave open, and reporters."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.facts.thresholds import threshold
from trivet.physics.image import panreading
from trivet.physics.image.burnerpass import PanTrace
from trivet.physics.image.panrings import RINGS, ring_area_frac
from trivet.physics.radiation.planck import radiating_temperature_k
from trivet.records.product import Reporter
from trivet.stages.estimate.views import BurnerView

MIDDLE_RING, CENTRE = 2, 0
"""Of five rings of equal width: from 0.4 to 0.6 of the radius, and the middle fifth."""
COLUMN = {
    "trimmed-mean": panreading.MEAN_K,
    "upper-half-mode": panreading.UPPER_MODE_K,
    "p95": panreading.P95_K,
}
HOB_SHARE, PAN_SHARE = threshold("hob_share_frac"), threshold("pan_share_frac")
"""Shares of the contrast with the hob: under the first is hob, over the second pan (assumed)."""
HIDDEN_RING = threshold("ring_hidden_frac")
MIN_OPEN = threshold("rings_open_min_frac")
DOUBT_SHARE = threshold("wall_doubt_frac")
"""Standard uncertainty as a share of the distance between the readings with and without wall."""
LACK_SHARE = 1 / math.sqrt(3.0)
"""Standard uncertainty for what lies anywhere between nothing and that, about nothing."""
NATURAL_DIP = threshold("ring_dip_frac")
"""Share of a ring's height over the hob by which the middle inside it may be colder on a burner
that heats in a ring; own estimate (conduction in a disc evens the rest out)."""


@dataclass(frozen=True)
class PanRings:
    """Five rings of equal width of a pan, from the middle, in scene temperature.

    How much of the outermost ring is base and how much the inner wall depends on how high the
    rim stands. Both ends are read, no wall and a wall as deep as the pan; the radius that was
    found says where between them.
    """

    flat_k: FloatArray
    """(time, ring) read without a wall. [K]"""
    wall_k: FloatArray
    """(time, ring) read with a wall as deep as the pan. [K]"""
    flat_open: FloatArray
    """(time, ring) share of each ring that is in view and that no food covers."""
    wall_open: FloatArray
    walled: FloatArray
    """(time,) share of the way from the first to the second."""

    @property
    def rings_k(self) -> FloatArray:
        """The rings of the base, (time, ring): between those without and with a wall."""
        walled = self.walled[:, None]
        return np.asarray((1 - walled) * self.flat_k + walled * self.wall_k)

    def between(self, flat: FloatArray, wall: FloatArray) -> FloatArray:
        """Return what lies between the two readings, (time,)."""
        return np.asarray((1 - self.walled) * flat + self.walled * wall)


@dataclass(frozen=True)
class PanMean:
    """What stands for a pan, arrays (time,). [K]"""

    mean_k: FloatArray
    p5_k: FloatArray
    u_k: FloatArray
    """Standard uncertainty of the mean from rim, wall and a cold middle."""
    whole_k: FloatArray
    """Mean over all of the base, also what is out of view; means something without food."""


def pan_rings(trace: PanTrace, *, view: BurnerView) -> PanRings:
    """Return the rings of a pan over a block of frames."""
    radiance = np.stack([trace.ring_radiance(fit) for fit in range(2)])
    flat_k, wall_k = radiating_temperature_k(radiance, band=view.head.band)
    return PanRings(
        flat_k,
        wall_k,
        trace.ring_open_frac(0),
        trace.ring_open_frac(1),
        view.walled_share(trace.radius_m),
    )


def pan_mean(trace: PanTrace, *, rings: PanRings, view: BurnerView) -> PanMean:
    """Return mean and P5 of a pan: of a liquid inside the trimmed rim, else over the whole pan.

    A liquid is even, so that one number is as good as another.
    """
    inner_k, p5_k = trace.read(panreading.MEAN_K), trace.read(panreading.P5_K)
    if view.expects_water:
        return PanMean(inner_k, p5_k, np.zeros(inner_k.size), inner_k)
    flat_k, flat_rim_k = _ring_mean(rings.flat_k, rings.flat_open)
    wall_k, wall_rim_k = _ring_mean(rings.wall_k, rings.wall_open)
    mean_k = rings.between(flat_k, wall_k)
    usable = np.isfinite(mean_k) & np.isfinite(inner_k)
    u_k = np.where(usable, DOUBT_SHARE * np.abs(flat_k - wall_k), 0.0)
    u_k = np.hypot(u_k, _dip_k(rings, trace.hob_k))
    # A told pan that is larger than the one on the burner takes in hob, and so does the mean.
    if view.base_radius_m is not None:
        doubtful = usable & _rim_is_hob(rings, trace)
        u_k = np.hypot(u_k, np.where(doubtful, np.nan_to_num(mean_k - inner_k), 0.0))
    coldest_k = np.fmin(p5_k, rings.between(flat_rim_k, wall_rim_k))
    mean_k = np.where(usable, mean_k, inner_k)
    mean_k, u_k = reported_scene_k(
        trace, view.reporter, ring_k=rings.flat_k, mean_k=mean_k, u_k=u_k
    )
    return PanMean(mean_k, np.where(usable, coldest_k, p5_k), u_k, _whole_pan(rings))


def reported_scene_k(
    trace: PanTrace,
    reporter: Reporter,
    *,
    ring_k: FloatArray,
    mean_k: FloatArray,
    u_k: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return what a reporter makes of a pan, and its uncertainty as a number for the mean. [K]

    The interval is that of the pan's mean, whichever number is reported: what the
    number differs from the area's mean by is doubt of it.  Where a reporter has
    nothing (a ring under food), the area's mean stands.
    """
    if reporter == "area-mean":
        return mean_k, u_k
    if reporter in COLUMN:
        found = trace.read(COLUMN[reporter])
    else:
        found = ring_k[:, MIDDLE_RING if reporter == "ring" else CENTRE]
    number_k = np.where(np.isfinite(found) & np.isfinite(mean_k), found, mean_k)
    return number_k, np.hypot(u_k, np.nan_to_num(number_k - mean_k))


def hidden_frac(trace: PanTrace) -> FloatArray:
    """Return the share of the pan that is food, or so near it that its pixels see both.

    Rings read the rest as if the pan were even round its middle, which it need not be.
    """
    pixels = np.maximum(trace.read(panreading.PIXELS), 1.0)
    clear = trace.read(panreading.OPEN_PIXELS) / pixels
    covered = trace.read(panreading.COVERED_FRAC)
    return np.where(covered > 0.0, np.clip(1.0 - clear, 0.0, 1.0), 0.0)


def _dip_k(rings: PanRings, hob_k: FloatArray) -> FloatArray:
    """Return the doubt that a middle colder than the rings round it brings to the mean.

    Food that went into a cold pan never makes a pixel fall, but it stays behind while
    the pan heats. If all of such a middle is food and the pan below as hot as round it,
    the mean falls short by the middle's lack over its area; it lies anywhere between.
    Beyond what a burner that heats in a ring explains that lack counts in full.
    """
    seen = (rings.flat_open >= HIDDEN_RING) & np.isfinite(rings.flat_k)
    ring_k = np.where(seen, rings.flat_k, 0.0)
    around = ring_k[:, 1:4].max(axis=1)
    hottest = 1 + ring_k[:, 1:4].argmax(axis=1)
    lack, area = np.zeros(around.size), ring_area_frac()
    for ring in range(3):
        inside = seen[:, ring] & (ring < hottest)
        lack += area[ring] * np.where(inside, np.maximum(around - ring_k[:, ring], 0.0), 0.0)
    natural = NATURAL_DIP * np.maximum(around - hob_k, 0.0)
    unnatural = seen[:, 0] & (around - ring_k[:, 0] > natural)
    return np.where(unnatural, lack, LACK_SHARE * lack)


def _whole_pan(rings: PanRings) -> FloatArray:
    """Return the mean over all of a pan's base, also what the frame or the wall cuts off."""
    mean_k = np.zeros(rings.walled.size)
    for share, ring_k in ((1 - rings.walled, rings.flat_k), (rings.walled, rings.wall_k)):
        for ring, area in enumerate(ring_area_frac()):
            mean_k += share * area * ring_k[:, ring]
    return mean_k


def _rim_is_hob(rings: PanRings, trace: PanTrace) -> BoolArray:
    """Return whether a told pan's outermost ring is hob beside a ring that is all pan.

    Conduction does not let a pan fall off that steeply within a ring of its radius.
    """
    share = (rings.flat_k - trace.hob_k[:, None]) / trace.contrast_k[:, None]
    return np.asarray((share[:, RINGS - 1] < HOB_SHARE) & (share[:, RINGS - 2] > PAN_SHARE))


def _ring_mean(ring_k: FloatArray, open_frac: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return area mean and outermost ring of the open part of a pan, (time,) each. [K]"""
    total, heat = np.zeros(ring_k.shape[0]), np.zeros(ring_k.shape[0])
    usable = np.ones(ring_k.shape[0], dtype=np.bool_)
    for ring, area in enumerate(ring_area_frac()):
        # A ring that lies all but hidden is not explained by any pixel.
        open_ = open_frac[:, ring]
        weight = area * np.where(open_ < HIDDEN_RING, 0.0, open_)
        total += weight
        heat += weight * np.nan_to_num(ring_k[:, ring])
        usable &= np.isfinite(ring_k[:, ring]) | (weight == 0.0)
    usable &= total > MIN_OPEN
    mean_k = heat / np.where(total > 0, total, 1.0)
    return np.where(usable, mean_k, np.nan), np.where(usable, ring_k[:, RINGS - 1], np.nan)
