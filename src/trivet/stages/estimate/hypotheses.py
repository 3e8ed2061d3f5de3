"""The ways to read a burner that the design, the calibration and the cook's word leave open."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from trivet.facts.materials import material
from trivet.facts.optical import optical_table
from trivet.facts.surfaces import surface
from trivet.kernels.film import OpticalConstants, film_emissivity
from trivet.kernels.planck import Band
from trivet.kernels.seensurface import Hypothesis
from trivet.records.calibration import Calibration, SurfaceCalibration
from trivet.records.cook import ToldEntry
from trivet.records.design import Base, Burner, Contents, Design, Pan
from trivet.records.requirement import OF_WORDS, Of

# Prior weights when nothing is told; common practice, no source: deep oil is rare.
UNTOLD: dict[Contents, float] = {"dry": 0.3, "oil": 0.3, "butter": 0.1, "water": 0.3}
DEEP_OIL_SHARE = 0.2
# What remains for the contents that were not told: a cook forgets, a pot boils dry.
DOUBT = 0.02
DEEP_OIL_M = 0.5e-3  # from here on a film is optically thick (oleic acid n, k)
NODES = 5
# A burner's heat is not spread evenly; the seen part may warm faster than the mean.
UNEVEN = 1.5


def burner_hypotheses(
    burner: Burner, *, told: ToldEntry, design: Design, calibration: Calibration, band: Band
) -> tuple[Hypothesis, ...]:
    """Return the weighed ways to read one burner.

    A range of emissivity enters as several hypotheses with equal weights, not as
    one with a normal spread, so that an interval ends where the range ends.
    """
    pans = [pan for pan in design.pans if told.pan in (None, pan.name)] or list(design.pans)
    found: dict[tuple[object, ...], Hypothesis] = {}
    for pan in pans:
        for base in design.bases:
            nodes = emissivity_nodes(pan, base, calibration=calibration, band=band)
            prior = _prior(base, told=told, design=design) / len(pans) / len(nodes)
            for emissivity, spread in nodes:
                one = Hypothesis(
                    label=f"{base.name} in {pan.name}",
                    of=OF_WORDS.index(seen_of(pan, base)),
                    is_water=base.contents == "water",
                    emissivity=emissivity,
                    emissivity_u=spread,
                    prior=prior,
                    fastest_kps=_fastest_kps(pan, base, burner=burner),
                )
                key = (one.of, one.is_water, round(emissivity, 2), round(spread, 3))
                found[key] = _merged(one, found.get(key))
    return tuple(found.values())


def _merged(one: Hypothesis, known: Hypothesis | None) -> Hypothesis:
    if known is None:
        return one
    fastest = max(one.fastest_kps, known.fastest_kps)
    return replace(known, prior=known.prior + one.prior, fastest_kps=fastest)


def _prior(base: Base, *, told: ToldEntry, design: Design) -> float:
    same = [one for one in design.bases if one.contents == base.contents]
    share = 1.0 / len(same)
    if base.contents == "oil" and len(same) > 1 and told.base_contents is None:
        deep = [one for one in same if float(one.volume_m3) > 5e-5]
        if deep and len(deep) < len(same):
            is_deep = base in deep
            share = DEEP_OIL_SHARE / len(deep) if is_deep else 1 / (len(same) - len(deep))
    if told.base_contents is None:
        return UNTOLD[base.contents] * share
    return share if base.contents == told.base_contents else DOUBT * share


def contents_depth_m(pan: Pan, base: Base) -> float:
    """Return the depth of a base spread evenly over a pan."""
    return float(base.volume_m3) / (math.pi * (float(pan.diameter_m) / 2) ** 2)


def seen_of(pan: Pan, base: Base) -> Of:
    """Return what the seen surface's temperature is of; a thin film is as warm as its pan."""
    if base.contents == "water":
        return "liquid"
    if base.contents == "oil" and contents_depth_m(pan, base) >= DEEP_OIL_M:
        return "oil"
    return "pan"


def emissivity_nodes(
    pan: Pan, base: Base, *, calibration: Calibration, band: Band
) -> list[tuple[float, float]]:
    """Return equally likely band emissivities, each with a small spread of its own."""
    fitted = _fitted(pan, base, calibration)
    if fitted is not None:
        return [(fitted.emissivity, fitted.emissivity_u)]
    if base.contents == "water":
        known = surface("water")
        return _range_nodes(known.low, known.high)
    low, high = bare_range(pan)
    if base.contents == "dry":
        return _range_nodes(low, high)
    if base.contents == "butter":
        return _range_nodes(low, max(low, surface("butter-foam").high))
    return _film_nodes(contents_depth_m(pan, base), (low, high), band=band)


def _fitted(pan: Pan, base: Base, calibration: Calibration) -> SurfaceCalibration | None:
    """Return what calibration cooks taught of these contents in this finish, if anything."""
    deep = contents_depth_m(pan, base) >= DEEP_OIL_M
    found = [
        one
        for one in calibration.surfaces
        if one.how == "fitted" and one.contents == base.contents and one.finish in ("", pan.finish)
    ]
    if base.contents == "oil":
        found.sort(key=lambda one: math.isnan(one.film_m) != deep)
    return found[0] if found else None


def _range_nodes(low: float, high: float) -> list[tuple[float, float]]:
    step = (high - low) / NODES
    return [(low + (k + 0.5) * step, step / math.sqrt(12)) for k in range(NODES)]


def bare_range(pan: Pan) -> tuple[float, float]:
    """Return the lowest and highest band emissivity of a pan's bare face."""
    if pan.emissivity_frac is not None:
        value = float(pan.emissivity_frac)
        half = pan.emissivity_frac.half_width or 0.02
        return max(value - half, 0.01), min(value + half, 1.0)
    known = surface(pan.finish)
    return known.low, known.high


def _film_nodes(
    depth_m: float, bare: tuple[float, float], *, band: Band
) -> list[tuple[float, float]]:
    """Nodes of an oil film's emissivity: its thickness is known within a factor 3.

    Oil runs to the rim or draws into pools, so the film over the read pixels may
    be a third of the mean depth or three times as thick.
    """
    table = optical_table("oil")
    oil = OpticalConstants(table.wavelength_m, table.n, table.k)
    depths = max(depth_m, 1e-6) * np.array([1 / 3, 1 / 1.7, 1.0, 1.7, 3.0])
    values = np.concatenate(
        [
            film_emissivity(depths, film=oil, substrate=eps, temperature_k=450.0, band=band)
            for eps in np.linspace(*bare, 3)
        ]
    )
    quantiles = np.quantile(values, (np.arange(NODES) + 0.5) / NODES)
    step = (float(values.max()) - float(values.min())) / NODES
    # The oil's own constants stand in for cooking oil: 0.01 beside the spread.
    return [(float(value), math.hypot(step / math.sqrt(12), 0.01)) for value in quantiles]


def _fastest_kps(pan: Pan, base: Base, *, burner: Burner) -> float:
    known = material(pan.material)
    area = math.pi * (float(pan.diameter_m) / 2) ** 2
    store = known.density_kg_m3 * known.specific_heat_j_kgk * float(pan.thickness_m) * area
    if base.contents in ("water", "oil") and float(base.volume_m3) > 2e-5:
        heavy = 4180.0 * 1000 if base.contents == "water" else 2000.0 * 900
        store += 0.3 * heavy * float(base.volume_m3)  # at least a third of what is usual
    efficiency = burner.efficiency_frac.high or 1.2 * float(burner.efficiency_frac)
    return UNEVEN * float(burner.power_w) * min(efficiency, 1.0) / store
