"""A pan's place and unevenness, hands and steam, held against what was so."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from trivet.arrays import FloatArray
from trivet.quality import Quality
from trivet.records.estimate import UNSURE, BurnerEstimate, Estimate
from trivet.records.recording import LABELS, LabelMaps, PanPlace, SceneTruth
from trivet.scoring.labelcheck import SHINY, U95, WARM_DELTA_K, Answers

MM = 1000.0
OFF_BURNER_M = 0.02
"""From this far off the burner's middle on a pan stands off its burner."""
COLD_DELTA_K = 2.0
COMPACT_M = 0.03
"""Reach of the hottest 5 cm2 up to which they are one spot and have a place."""
NOTICED_S = 2.0
CLEAR_DELTA_K = 40.0
"""From this height over the hob on a pan stands out clearly."""


def pan_answers(truth: SceneTruth, said: Estimate, *, rims: dict[str, str]) -> Answers:
    """Return errors of place, diameter and unevenness, and what was noticed of hand and steam.

    Parameters
    ----------
    truth : SceneTruth
        Where the pans stood and how uneven they were.
    said : Estimate
        The product's readings.
    rims : dict
        Whether each burner's rim is ``whole`` or ``cut`` by the frame's edge.

    Returns
    -------
    dict
        Lists of (error or share, half-width or NaN) by kind and part.

    Notes
    -----
    Unevenness is that of the metal: compared where no liquid of 0.1 mm and more hides it.

    References
    ----------
    House rule.
    """
    found: Answers = defaultdict(list)
    by_name = {one.burner: one for one in said.burners}
    for pan in truth.pans:
        one = by_name.get(pan.burner)
        if one is None or one.shape is None:
            continue
        part = _part(pan, rims.get(pan.burner, "unknown"))
        for m, at in enumerate(truth.heads[0].time_s):
            k = int(np.searchsorted(said.time_s, at, side="right")) - 1
            if k < 0:
                continue
            area = _areas(truth.heads, pan.burner, m)
            bare = area is not None and area[LABELS.index("liquid")] < 1.0
            clear = pan.pan_k[m] - pan.hob_k[m] >= CLEAR_DELTA_K
            shiny = bare and pan.bare_emissivity < SHINY
            state = ", bare shiny pan" if shiny else "" if clear else ", under 40 K over the hob"
            _place(found, pan, one, (m, k), part=part + state)
            if area is not None and area[LABELS.index("liquid")] < 1.0:
                _uneven(found, pan, one, (m, k))
            if area is not None:
                _steam(found, area, one, k)
    _hands(found, truth, said)
    return found


def _part(pan: PanPlace, rim: str) -> str:
    off = float(np.hypot(pan.x_m, pan.y_m).max()) >= OFF_BURNER_M
    return f"rim {rim}" + (", off its burner" if off else "")


def _areas(heads: tuple[LabelMaps, ...], burner: str, m: int) -> FloatArray | None:
    """Return the areas of the labels inside a rim, on the head that sees most of it."""
    seen = [one.area_px[m, one.burners.index(burner)] for one in heads if m < one.time_s.size]
    return max(seen, key=lambda area: float(area.sum())) if seen else None


def _place(
    found: Answers, pan: PanPlace, one: BurnerEstimate, at: tuple[int, int], *, part: str
) -> None:
    m, k = at
    shape = one.shape
    assert shape is not None
    over = pan.pan_k[m] - pan.hob_k[m]
    if abs(over) < COLD_DELTA_K:
        found["cold-pan", "never yet warm" if m == 0 else "cooled"].append(
            (float(one.present[k] == UNSURE), np.nan)
        )
    if over < WARM_DELTA_K or not np.isfinite(shape.x_m[k]):
        return
    away = np.hypot(shape.x_m[k] - pan.x_m[m], shape.y_m[k] - pan.y_m[m])
    found["pan-centre", part].append((MM * float(away), np.nan))
    ratio = shape.diameter_m[k] / pan.diameter_m - 1.0
    found["pan-diameter", part].append((100.0 * float(ratio), np.nan))


def _uneven(found: Answers, pan: PanPlace, one: BurnerEstimate, at: tuple[int, int]) -> None:
    m, k = at
    shape = one.shape
    assert shape is not None
    if not np.isfinite(one.nonuniformity_k[k]):
        return
    off = float(one.nonuniformity_k[k] - pan.spread_k[m])
    found["uneven", ""].append((off, U95 * float(shape.nonuniformity_u_k[k])))
    for kind, here, so in (
        ("rings", shape.ring_k[k] - np.mean(shape.ring_k[k]), pan.ring_k[m] - pan.ring_k[m].mean()),
        ("sectors", shape.sector_delta_k[k], pan.sector_delta_k[m]),
    ):
        if np.isfinite(here).all():
            found[kind, ""].append((float(np.abs(here - so).max()), np.nan))
    compact = pan.hot_reach_m[m] <= COMPACT_M
    away = np.hypot(shape.hot_x_m[k] - pan.hot_x_m[m], shape.hot_y_m[k] - pan.hot_y_m[m])
    # Two coordinates of equal uncertainty: 95 % of a plane normal law lie within 2.45 of it.
    found["hot-spot", "one spot" if compact else "hot in several places"].append(
        (MM * float(away), MM * 2.45 * float(shape.hot_u_m[k]))
    )
    if np.isfinite(shape.hot_kps[k]):
        off = float(shape.hot_kps[k] - pan.hot_kps[m])
        found["hot-rate", ""].append((off, U95 * float(shape.hot_u_kps[k])))


def _steam(found: Answers, area: FloatArray, one: BurnerEstimate, k: int) -> None:
    steam, inside = float(area[LABELS.index("steam")]), float(area.sum())
    said = float(int(one.flags[k]) & int(Quality.STEAM) != 0)
    if steam >= 0.5 * inside > 0.0:
        found["steam", ""].append((said, np.nan))
    elif steam == 0.0 and area[LABELS.index("liquid")] < 1.0:
        found["steam-false", ""].append((said, np.nan))


def _hands(found: Answers, truth: SceneTruth, said: Estimate) -> None:
    """Hands reach over the first pan; one that comes while another is there is not asked about."""
    if not truth.pans:
        return
    pan = truth.pans[0]
    one = next((one for one in said.burners if one.burner == pan.burner), None)
    times = truth.heads[0].time_s
    for at in truth.hands_s:
        if one is None or at + NOTICED_S > said.time_s[-1] or not times.size:
            continue
        m = int(np.argmin(np.abs(times - at)))
        warm = pan.pan_k[m] - pan.hob_k[m] >= WARM_DELTA_K
        after = (said.time_s >= at) & (said.time_s <= at + NOTICED_S)
        seen = said.time_s[after & ((one.flags & np.uint32(int(Quality.HAND))) != 0)]
        part = "over a warm pan" if warm else "over a cold pan"
        found["hand", part].append((float(seen.size > 0), np.nan))
