"""What the pans mirror, from a patch that mirrors most of it and whose temperature is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.radiation.planck import (
    Band,
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)

MAX_EMISSIVITY = 0.5


@dataclass(frozen=True)
class PatchReading:
    """Radiative temperature of what a patch mirrors, and its standard uncertainty. [K]"""

    reflected_k: float
    reflected_u_k: float


def reflected_from_patch(
    scene_k: ArrayLike,
    *,
    scene_u_k: float,
    patch_k: ArrayLike,
    patch_u_k: float,
    emissivity: float,
    emissivity_u: float,
    band: Band,
) -> PatchReading:
    """Return the reflected temperature that explains what is seen of a shiny patch.

    scene_k : (sample,) apparent temperature of the patch, drift and window taken out [K]
    scene_u_k : standard uncertainty common to the samples [K]
    patch_k : (sample,) or float temperature of the patch itself [K]
    patch_u_k : standard uncertainty [K]
    emissivity, emissivity_u : of the patch, with standard uncertainty
    Returns : of the median sample; the spread over the samples is in the uncertainty
    Raises : OutOfRangeError if the emissivity is 0.5 or more (the patch then shows itself), or an
        uncertainty is negative; NotEnoughDataError if no sample has a value, or the patch is darker
        than its own emission
    Notes : Crumpled foil of 0.10 +- 0.03 at 40 C under a hood at 50 C, 8-14 um: 0.5 K of scene is
        0.55 K, the emissivity 0.3 K, 2 K of patch 0.2 K. At 150 C the same emissivity costs 5 K:
        keep the patch off the burners. It mirrors what lies overhead of it, not what a pan 0.3 m
        aside does.
    Source : Reflector method as in ISO 18434-1:2008 (locator from memory), solved for the mirrored
    """
    if not 0 <= emissivity < MAX_EMISSIVITY:
        raise OutOfRangeError(
            f"patch of emissivity {emissivity:.2f}; allowed: under {MAX_EMISSIVITY}: it shows "
            "itself more than what it mirrors. Use bare foil"
        )
    if min(scene_u_k, patch_u_k, emissivity_u) < 0:
        raise OutOfRangeError("patch: an uncertainty is negative")
    scene = np.asarray(scene_k, dtype=np.float64)
    own = np.broadcast_to(np.asarray(patch_k, dtype=np.float64), scene.shape)
    good = np.isfinite(scene) & np.isfinite(own)
    if not good.any():
        raise NotEnoughDataError("the patch has no moment with both readings")
    seen = band_radiance(scene[good], band=band)
    glow = band_radiance(own[good], band=band)
    mirrored = (seen - emissivity * glow) / (1 - emissivity)
    if not np.median(mirrored) > 0:
        raise NotEnoughDataError("the patch is darker than its own emission: its emissivity is off")
    each = np.asarray(radiating_temperature_k(mirrored, band=band))
    middle = float(np.nanmedian(each))
    slope = float(band_radiance_slope(middle, band=band)) * (1 - emissivity)
    parts = [
        float(np.median(band_radiance_slope(scene[good], band=band))) * scene_u_k / slope,
        emissivity * float(np.median(band_radiance_slope(own[good], band=band)))
        * patch_u_k / slope,
        float(np.median(mirrored - glow)) * emissivity_u / slope,
        1.4826 * float(np.nanmedian(np.abs(each - middle))),
    ]  # fmt: skip
    return PatchReading(middle, math.sqrt(sum(part**2 for part in parts)))
