"""The ways to read a burner that the design, the calibration and the cook's word leave open."""

from __future__ import annotations

import math
from dataclasses import replace

from trivet.facts.hobs import retained_share
from trivet.facts.materials import material
from trivet.models.contents import fits, seen_of
from trivet.models.emissivity_prior import emissivity_prior_nodes
from trivet.physics.radiation.planck import Band
from trivet.physics.radiation.seensurface import Hypothesis
from trivet.records.calibration import Calibration
from trivet.records.cook import ToldEntry
from trivet.records.design import Base, Burner, Contents, Design, Pan
from trivet.records.requirement import OF_WORDS, Of

# Prior weights when nothing is told; common practice, no source: deep oil is rare.
UNTOLD: dict[Contents, float] = {"dry": 0.3, "oil": 0.3, "butter": 0.1, "water": 0.3}
DEEP_OIL_SHARE = 0.2
# What remains for a pan or for contents that were not told: a cook forgets, a pot
# boils dry. Well under the 2.5 % that an interval leaves on one side, so that it does
# not stretch every interval; evidence raises it where it is needed.
DOUBT = 0.002
# A burner's heat is not spread evenly; the seen part may warm faster than the mean.
UNEVEN = 1.5


def burner_hypotheses(
    burner: Burner,
    *,
    told: ToldEntry,
    design: Design,
    calibration: Calibration,
    band: Band,
    angle_rad: float,
    window_frac: float,
) -> tuple[Hypothesis, ...]:
    """Return the weighed ways to read one burner.

    A range of emissivity enters as several hypotheses with equal weights, not as
    one with a normal spread, so that an interval ends where the range ends.
    """
    found: dict[tuple[object, ...], Hypothesis] = {}
    for pan in design.pans:
        for base in (one for one in design.bases if fits(one, pan=pan)):
            nodes = emissivity_prior_nodes(
                pan,
                base,
                calibration=calibration,
                window_frac=window_frac,
                band=band,
                angle_rad=angle_rad,
            )
            prior = _pan_prior(pan, told=told, design=design) / len(nodes)
            prior *= _prior(base, told=told, design=design)
            for emissivity, spread in nodes:
                one = Hypothesis(
                    label=f"{base.name} in {pan.name}",
                    of=OF_WORDS.index(_read_of(pan, base)),
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
    prior = one.prior + known.prior
    share = one.prior / prior
    apart = one.emissivity - known.emissivity
    return replace(
        known,
        emissivity=known.emissivity + share * apart,
        emissivity_u=math.sqrt(
            share * one.emissivity_u**2
            + (1.0 - share) * known.emissivity_u**2
            + share * (1.0 - share) * apart**2
        ),
        prior=prior,
        fastest_kps=max(one.fastest_kps, known.fastest_kps),
    )


def _read_of(pan: Pan, base: Base) -> Of:
    """Return what a reading is of; with oil told it is the oil's surface, film or pool."""
    return "oil" if base.contents == "oil" else seen_of(base, pan=pan)


def _pan_prior(pan: Pan, *, told: ToldEntry, design: Design) -> float:
    names = [one.name for one in design.pans]
    if told.pan not in names:
        return 1 / len(names)
    if pan.name == told.pan:
        return 1.0
    return DOUBT / max(len(names) - 1, 1)


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


def heat_store_jk(pan: Pan, base: Base) -> float:
    """Return the heat capacity of a pan and of at least a third of its usual contents. [J/K]"""
    known = material(pan.material)
    area = math.pi * (float(pan.diameter_m) / 2) ** 2
    store = known.density_kg_m3 * known.specific_heat_j_kgk * float(pan.thickness_m) * area
    if base.contents in ("water", "oil") and float(base.volume_m3) > 2e-5:
        heavy = 4180.0 * 1000 if base.contents == "water" else 2000.0 * 900
        store += 0.3 * heavy * float(base.volume_m3)  # at least a third of what is usual
    return store


def full_heat_w(burner: Burner) -> float:
    """Return the most heat that a burner gives to a pan. [W]"""
    efficiency = burner.efficiency_frac.high or 1.2 * float(burner.efficiency_frac)
    if burner.efficiency_of == "load":
        efficiency /= retained_share(burner.kind).low
    return float(burner.power_w) * min(efficiency, 1.0)


def _fastest_kps(pan: Pan, base: Base, *, burner: Burner) -> float:
    return UNEVEN * full_heat_w(burner) / heat_store_jk(pan, base)
