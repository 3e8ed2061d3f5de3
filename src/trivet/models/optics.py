"""Lens, band and pose of a head, and how far a pan reaches from its burner."""

from __future__ import annotations

import math
from functools import lru_cache

from trivet.physics.geometry.optics import Lens, Pose, lens_from_fov
from trivet.physics.radiation.planck import Band, band_from_response, flat_band
from trivet.records.design import Burner, Design
from trivet.records.sensorcard import Mount, SensorCard


def card_lens(card: SensorCard) -> Lens:
    """Return the lens and pixel array of a sensor card."""
    k1, k2, k3, p1, p2 = (*card.distortion, 0.0, 0.0, 0.0, 0.0, 0.0)[:5]
    return lens_from_fov(
        card.rows,
        cols=card.cols,
        fov_h_rad=float(card.fov_h_rad),
        fov_v_rad=float(card.fov_v_rad),
        model=card.lens,
        distortion=(k1, k2, k3, p1, p2),
    )


def card_band(card: SensorCard) -> Band:
    """Return the spectral band of a sensor card: its response curve, or flat between its ends."""
    if card.response:
        return _curve(card.response)
    return flat_band(float(card.band_low_m), float(card.band_high_m))


@lru_cache(maxsize=32)
def _curve(pairs: tuple[tuple[float, float], ...]) -> Band:
    wavelength, response = zip(*pairs, strict=True)
    return band_from_response(wavelength, response)


def mount_pose(mount: Mount) -> Pose:
    """Return the nominal pose of a mount."""
    return Pose(
        x_m=float(mount.x_m),
        y_m=float(mount.y_m),
        height_m=float(mount.height_m),
        tilt_rad=float(mount.tilt_rad),
        pan_rad=float(mount.pan_rad),
        roll_rad=float(mount.roll_rad),
    )


def reach_m(burner: Burner, *, design: Design) -> float:
    """Return how far from a burner's centre its pan can reach: not over the neighbours' middle."""
    largest = max(float(pan.diameter_m) for pan in design.pans) / 2
    others = [
        math.hypot(float(one.x_m - burner.x_m), float(one.y_m - burner.y_m))
        for one in design.burners
        if one.name != burner.name
    ]
    return min([1.15 * largest + 0.01, *(0.55 * gap for gap in others)])
