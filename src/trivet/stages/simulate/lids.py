"""Lids of a cook: which are on, and when."""

from __future__ import annotations

from collections.abc import Sequence

from trivet.facts.pans import surface
from trivet.physics.heat.loads import Lid, lid_areal_j_m2k, stack_lids
from trivet.stages.simulate.draws import Kitchen
from trivet.stages.simulate.setting import STEP_S, PanSetting

# Thickness of common lids: common practice, no source.
GLASS_M, STEEL_M = 4.0e-3, 0.8e-3


def lid_moments(setting: PanSetting, steps: int) -> tuple[int, ...]:
    """Return the steps at which the lid is put on or taken off, none over ``steps``."""
    times = [span.on_s for span in setting.plan.lid]
    times += [span.off_s for span in setting.plan.lid if span.off_s is not None]
    return tuple(min(steps, round(float(at) / STEP_S)) for at in times)


def lids_on(settings: Sequence[PanSetting], room: Kitchen, step: int) -> Lid | None:
    """Return the lids that are on from a step on, None where no pan is covered."""
    return stack_lids([_lid(one, room) if _is_on(one, step) else None for one in settings])


def _is_on(setting: PanSetting, step: int) -> bool:
    for span in setting.plan.lid:
        off = None if span.off_s is None else round(float(span.off_s) / STEP_S)
        if round(float(span.on_s) / STEP_S) <= step and (off is None or step < off):
            return True
    return False


def _lid(setting: PanSetting, room: Kitchen) -> Lid:
    """Return a pan's lid, as warm as the room when it is put on."""
    glass = setting.pan.lid_surface == "glass-lid"
    return Lid(
        areal_j_m2k=lid_areal_j_m2k(GLASS_M if glass else STEEL_M, glass=glass),
        emissivity=surface(setting.pan.lid_surface).emissivity,
        outer_w_m2k=room.convection_w_m2k,
        start_k=room.ambient_k,
    )
