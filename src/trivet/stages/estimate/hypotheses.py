"""The ways to read a burner that the design, the calibration and what the user told leave open."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product

import numpy as np

from trivet.facts.pans import burner_figure, material
from trivet.facts.thresholds import threshold
from trivet.models.contents import fits, seen_of
from trivet.models.emissivity_prior import emissivity_prior_nodes
from trivet.physics.geometry.optics import view_angle_rad
from trivet.physics.heat.carriedpan import CarryRule
from trivet.physics.heat.water import boiling_point_k
from trivet.physics.image.panreading import FRIDGE_K
from trivet.physics.radiation.seensurface import Hypothesis
from trivet.records.benchsheet import Told, ToldEntry
from trivet.records.calibration import Calibration
from trivet.records.design import Base, Burner, Contents, Design, Pan
from trivet.records.requirement import OF_WORDS, Of
from trivet.stages.estimate.views import BurnerView, HeadView

# Prior weights when nothing is told; common practice, no source: deep oil is rare.
UNTOLD: dict[Contents, float] = {"dry": 0.3, "oil": 0.3, "butter": 0.1, "water": 0.3}
DEEP_OIL_SHARE = threshold("deep_oil_frac")
# What remains for a pan or for contents that were not told: a user forgets, a pot
# boils dry. Well under the 2.5 % that an interval leaves on one side, so that it does
# not stretch every interval; evidence raises it where it is needed.
DOUBT = threshold("told_doubt_frac")
CONTENTS_J_M3K: dict[Contents, float] = {"water": 4.18e6, "oil": 1.8e6}
"""Heat capacity of contents by volume, 4180 J/kg/K at 1000 kg/m3 and 2000 J/kg/K at 900 kg/m3;
handbook values, from memory. [J/m3/K]"""
MIN_FILL = 0.3
"""Share of its usual contents that a pan holds at least; own estimate."""
# A burner's heat is not spread evenly; the seen part may warm faster than the mean.
UNEVEN = threshold("uneven_heat_factor")


def burner_view(
    burner: Burner, head: HeadView, *, design: Design, calibration: Calibration, told: Told
) -> BurnerView:
    """Return what one burner's reading needs from around it."""
    about = told.about(burner.name)
    pans = [pan for pan in design.pans if about.pan in (None, pan.name)] or list(design.pans)
    rise = float(np.median([float(pan.depth_m) for pan in pans])) / head.pose.height_m
    radii = [float(pan.diameter_m) / 2 for pan in pans]
    return BurnerView(
        name=burner.name,
        head=head,
        region=head.regions[burner.name],
        hypotheses=burner_hypotheses(
            burner, head, told=about, design=design, calibration=calibration
        ),
        radii_m=(min(radii), max(radii) / (1 - rise)),
        eye_m=(head.pose.x_m - float(burner.x_m), head.pose.y_m - float(burner.y_m)),
        rise_frac=rise,
        base_radius_m=radii[0] if len(pans) == 1 else None,
        carry=_carry_rule(burner, about, design=design),
        boiling_k=float(boiling_point_k(float(design.surroundings.altitude_m))),
        reporter=calibration.reporter,
    )


def burner_hypotheses(
    burner: Burner, head: HeadView, *, told: ToldEntry, design: Design, calibration: Calibration
) -> tuple[Hypothesis, ...]:
    """Return the weighted ways to read one burner.

    A range of emissivity enters as several hypotheses with equal weights, not as
    one with a normal spread, so that an interval ends where the range ends.
    """
    found: dict[tuple[object, ...], Hypothesis] = {}
    middle = [float(burner.x_m), float(burner.y_m), 0.0]
    for pan, base in product(design.pans, design.bases):
        if not fits(base, pan=pan):
            continue
        nodes = emissivity_prior_nodes(
            pan,
            base,
            calibration=calibration,
            window_frac=head.calibration.transmittance_u / head.calibration.transmittance,
            band=head.band,
            angle_rad=float(view_angle_rad(middle, pose=head.pose)),
        )
        prior = _pan_prior(pan, told=told, design=design) / len(nodes)
        prior *= _base_prior(base, told=told, design=design)
        for emissivity, spread in nodes:
            one = Hypothesis(
                label=f"{base.name} in {pan.name}",
                of=OF_WORDS.index(_read_of(pan, base)),
                is_water=base.contents == "water",
                emissivity=emissivity,
                emissivity_u=spread,
                prior=prior,
                fastest_kps=UNEVEN * full_heat_w(burner) / heat_store_jk(pan, base),
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


def _base_prior(base: Base, *, told: ToldEntry, design: Design) -> float:
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
        store += MIN_FILL * CONTENTS_J_M3K[base.contents] * float(base.volume_m3)
    return store


def full_heat_w(burner: Burner) -> float:
    """Return the most heat that a burner gives to a pan. [W]"""
    efficiency = burner.efficiency_frac.high or 1.2 * float(burner.efficiency_frac)
    if burner.efficiency_of == "load":
        efficiency /= burner_figure(burner.kind, of="retained").low
    return float(burner.power_w) * min(efficiency, 1.0)


def _carry_rule(burner: Burner, told: ToldEntry, *, design: Design) -> CarryRule:
    """Return what carries a hidden pan on: of the told pan, dry or with little in it."""
    pan = next((one for one in design.pans if one.name == told.pan), None)
    dry = next((one for one in design.bases if one.contents == "dry"), None)
    if pan is None or dry is None:
        return CarryRule(*(math.nan,) * 5)
    store = heat_store_jk(pan, dry)
    return CarryRule(
        store_jk=store,
        area_m2=math.pi * (float(pan.diameter_m) / 2) ** 2,
        full_kps=full_heat_w(burner) / store,
        room_k=float(design.surroundings.ambient_k),
        food_k=FRIDGE_K,
    )
