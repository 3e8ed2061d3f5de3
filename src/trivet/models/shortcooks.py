"""Short random cooks out of a design, for scores alone: no calibration and no tuning sees them."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Mapping

import numpy as np

from trivet.errors import InputError
from trivet.facts.pans import material
from trivet.records.campaign import SweepCook
from trivet.records.cook import CookPlan
from trivet.records.design import Base, Burner, Design, Pan

UNIT_WORD = "score-unit"
FOOD_EVERY = 5
"""One cook in so many has food in it; own estimate: enough food, and most pans bare."""
DRY_MORE = 2
"""Turns of a dry pan beyond the first; own estimate: only so does each kind of finish come often
enough."""
REACH_DELTA_K = {"water": (55.0, 75.0), "dry": (130.0, 220.0), "oil": (130.0, 220.0)}
"""Rise over the room that the heating is made for; own estimate: into the strata of a score.
[K]"""
LOSS = 1.25
"""Share by which heating takes longer than without losses; own estimate."""
HEAT_J_M3K = {"water": 4.18e6, "dry": 0.0, "oil": 2.0e6}
"""Heat capacity of contents, for the length of a cook only; handbook, from memory. [J/m3/K]"""
LONGEST_S, AFTER_S = 220.0, (30.0, 50.0)
"""Longest heating, and time after it; own estimate: short, so that many cooks can be made. [s]"""
MISMATCHES: Mapping[str, Mapping[str, object]] = {
    "film half as thick": {"mismatch": {"film_thickness_scale": "0.5"}},
    "film twice as thick": {"mismatch": {"film_thickness_scale": "2"}},
    "blur 30 % wider": {"mismatch": {"blur_scale": "1.3"}},
    "blur 30 % narrower": {"mismatch": {"blur_scale": "0.7"}},
    "offset drifted by 3 K": {"mismatch": {"offset": "3 K"}},
    "gain 3 % low": {"mismatch": {"gain": "-0.03"}},
    "pan profile: 25 mm off the flame": {"offset_x": "25 mm"},
    "head moved by 8 mm and tilted by 1 degree": {"mismatch": {"shift_x": "8 mm", "turn": "1 deg"}},
}
"""Physics that the calibration did not see, each on its own, declared here once and for all."""


def short_cooks(
    design: Design, *, count: int, seed: str = "score", units: int = 10, mismatched: bool = False
) -> tuple[SweepCook, ...]:
    """Return short random cooks of a design.

    Parameters
    ----------
    design : Design
        Burners, pans and bases to choose from.
    count : int
        How many, 1 or more.
    seed : str
        Their name and that of their draws; another name is another set of cooks.
    units : int
        Sensor units that they take in turn, each calibrated on cooks of its own.
    mismatched : bool
        Whether each cook has one of the declared mismatches, in turn.

    Returns
    -------
    tuple of SweepCook
        Named ``SEED-0001`` and on; each is its own plan. The first n of more cooks are
        the same as n cooks.

    Raises
    ------
    InputError
        If a count is under 1, or the name has other signs than small letters, digits, hyphens.

    Notes
    -----
    Contents, pan, burner, place, power over time, window, lamp, hand and food are drawn
    by SHA-256 of the name, so that no cook of a project can share a draw. Contents are
    taken in turn, so that every stratum that the design can show is met about equally
    often; the shares are not those of any kitchen.
    """
    if count < 1 or units < 1:
        raise InputError(f"{count} cooks on {units} units: allowed 1 or more of each")
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]*", seed):
        raise InputError(f"{seed!r} cannot name short cooks: small letters, digits and hyphens")
    return tuple(
        _cook(design, number, seed=seed, units=units, mismatched=mismatched)
        for number in range(1, count + 1)
    )


def unit_name(number: int) -> str:
    """Return the name of a sensor unit of these cooks."""
    return f"{UNIT_WORD}-{number}"


def _cook(design: Design, number: int, *, seed: str, units: int, mismatched: bool) -> SweepCook:
    name = f"{seed}-{number:04d}"
    words = np.frombuffer(hashlib.sha256(f"short cook {name}".encode()).digest(), dtype="<u4")
    draw = np.random.default_rng(words.tolist())
    dry = tuple(one for one in design.bases if one.contents == "dry")
    bases = design.bases + dry * DRY_MORE
    base = bases[(number - 1) % len(bases)]
    pan = _pan(design, base, draw)
    burner_of = design.burners[int(draw.integers(len(design.burners)))]
    level = draw.uniform(0.55, 1.0)
    turned = _heating_s(pan, base, burner_of, level=level, draw=draw)
    duration = turned + draw.uniform(*AFTER_S)
    food = number % FOOD_EVERY == 0 and base.contents != "water"
    greasy = bool(draw.uniform() < 0.5)
    burner: dict[str, object] = {
        "burner": burner_of.name,
        "pan": pan.name,
        "base": base.name,
        "offset_x": f"{draw.uniform(-12, 12):.1f} mm",
        "offset_y": f"{draw.uniform(-12, 12):.1f} mm",
        "schedule": [
            {"at": "0 s", "level": f"{100 * level:.0f} %"},
            {"at": f"{turned:.1f} s", "level": f"{draw.uniform(0, 50):.0f} %"},
        ],
    }
    if food:
        burner["food"] = _food(pan, duration, draw)
    plan: dict[str, object] = {
        "name": name,
        "purpose": "proof",
        "unit": unit_name(number % units),
        "duration": f"{duration:.1f} s",
        "burners": [burner],
        "lamp_on": bool(draw.uniform() < 0.5),
        "window_age_weeks": f"{draw.uniform(4, 12):.1f}" if greasy else "0",
        "hands_at": [f"{draw.uniform(20, duration):.1f} s"] if draw.uniform() < 0.2 else [],
    }
    levels = {
        "window": "4 to 12 weeks old" if greasy else "clean",
        "lamp": "on" if plan["lamp_on"] else "off",
    }
    if mismatched:
        levels["mismatch"] = _mismatch(plan, burner, (number - 1) // len(bases))
    return SweepCook(CookPlan.model_validate(plan), 0, name, levels=levels, seed=seed)


def _heating_s(
    pan: Pan, base: Base, burner: Burner, *, level: float, draw: np.random.Generator
) -> float:
    """Return about how long such a pan heats up to a temperature that is drawn."""
    kind = "oil" if base.contents == "butter" else base.contents
    metal = material(pan.material)
    per_m2 = metal.density_kg_m3 * metal.specific_heat_j_kgk * float(pan.thickness_m)
    side = math.pi * float(pan.diameter_m) * float(pan.depth_m)
    capacity = per_m2 * (math.pi / 4 * float(pan.diameter_m) ** 2 + side)
    capacity += HEAT_J_M3K[kind] * float(base.volume_m3)
    power = level * float(burner.power_w) * float(burner.efficiency_frac)
    return min(LOSS * capacity * draw.uniform(*REACH_DELTA_K[kind]) / power, LONGEST_S)


def _pan(design: Design, base: Base, draw: np.random.Generator) -> Pan:
    """Draw a pan that such contents are cooked in: liquids in the deep ones, if there are any."""
    deep = [pan for pan in design.pans if float(pan.depth_m) >= 0.08]
    flat = [pan for pan in design.pans if pan not in deep]
    among = (deep if base.contents == "water" else flat) or list(design.pans)
    pan: Pan = among[int(draw.integers(len(among)))]
    return pan


def _food(pan: Pan, duration_s: float, draw: np.random.Generator) -> dict[str, object]:
    into = draw.uniform(0.3, 0.6) * duration_s
    across = draw.uniform(0.25, 0.55) * float(pan.diameter_m)
    return {
        "kind": "patty",
        "mass": f"{18.0 * (across / 0.11) ** 2 * 8.3:.0f} g",
        "diameter": f"{1000 * across:.0f} mm",
        "in": f"{into:.1f} s",
        "turn": f"{into + 30:.1f} s",
    }


def _mismatch(plan: dict[str, object], burner: dict[str, object], turn: int) -> str:
    """Set a plan apart from the nominal in one declared way, and return its name."""
    name = list(MISMATCHES)[turn % len(MISMATCHES)]
    for key, value in MISMATCHES[name].items():
        (plan if key == "mismatch" else burner)[key] = value
    return name
