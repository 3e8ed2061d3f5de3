"""The window of a head over a cook: grease by its age, mist below the dew point, reflection."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.contents import table_band
from trivet.physics.heat.water import saturation_pressure_pa
from trivet.physics.radiation.film import film_transmittance
from trivet.physics.radiation.path import condensed_transmittance
from trivet.physics.radiation.planck import Band, band_radiance
from trivet.records.cook import CookPlan
from trivet.records.design import Design, Head
from trivet.stages.simulate.draws import HeadUnit, Kitchen
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.setting import STEP_S
from trivet.stages.simulate.surfaces import constants_of
from trivet.stages.simulate.surroundings import Air

SCENE_K = 473.15
VAPOUR_J_KGK = 461.5
# Air through the hood, and how fast mist grows on a cold window (vapour arrives at 5 mm/s
# and makes drops of 20 um): assumed, no source.
HOOD_M3_S = 0.08
MIST_PER_PA_S = 4e-6
MIST_FULL = 1.5  # droplets then run off


@dataclass(frozen=True)
class WindowState:
    """The window at the simulator's moments, (time,)."""

    transmittance: FloatArray
    glow: FloatArray
    """Radiance that it adds: its own and the housing that it mirrors. [W/m2/sr]"""


def window_state(
    pans: Sequence[PanHistory],
    *,
    design: Design,
    plan: CookPlan,
    head: Head,
    unit: HeadUnit,
    air: Air,
    room: Kitchen,
    band: Band,
) -> WindowState:
    """Return what the window passes and adds over a cook."""
    grease = float(head.window.grease_growth_m) * float(plan.window_age_weeks)
    clear = unit.transmittance
    if grease > 0.0:
        clear *= float(
            film_transmittance(
                grease, film=constants_of("oil"), temperature_k=SCENE_K, band=table_band(band)
            )
        )
    window_k = air.housing_k + unit.window_rise_k
    passed = np.full(air.time_s.size, clear)
    if head.window.condenses:
        passed = passed * condensed_transmittance(mist(pans, design, window_k, room))
    mirrored = min(unit.reflectance, 1.0 - float(clear))
    own = (1.0 - mirrored - passed) * band_radiance(window_k, band=band)
    return WindowState(passed, np.asarray(own + mirrored * band_radiance(air.housing_k, band=band)))


def mist(
    pans: Sequence[PanHistory], design: Design, window_k: FloatArray, room: Kitchen
) -> FloatArray:
    """Return the share of the window under condensed droplets, (time,).

    It grows with the excess of the vapour's pressure at the hood over that at the
    window, and dries by the same law.
    """
    steam = np.asarray(sum(np.maximum(-np.gradient(one.mass_kg, STEP_S), 0.0) for one in pans))
    humid = float(design.surroundings.humidity_frac)
    room_pa = humid * float(saturation_pressure_pa(room.ambient_k))
    vapour = room_pa + steam / HOOD_M3_S * VAPOUR_J_KGK * room.ambient_k
    growth = MIST_PER_PA_S * STEP_S * (vapour - saturation_pressure_pa(window_k))
    out, covered = np.empty(window_k.size), 0.0
    for n, more in enumerate(growth.tolist()):
        covered = min(max(covered + more, 0.0), MIST_FULL)
        out[n] = covered
    return out
