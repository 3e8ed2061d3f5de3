"""Readings and alerts of the second simulator's cooks against their truth, stratum by stratum."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import binomtest
from tests.secondsim.project import truth

CODES = ("FL", "FR", "BL", "BR")
NAMES = {"front-left": "FL", "front-right": "FR", "back-left": "BL", "back-right": "BR"}
ZERO_C_K = 273.15
GOALS_K = {"liquid": (2.0, 5.0), "dark": (4.0, 10.0), "oil": (5.0, 12.0)}
"""Median and 95th percentile of the error."""
LARGE_K = 15.0
SETTLED_S = 5.0
SMOKE = {"smoke-soon", "smoking", "near-ignition"}
HOT = {"pan-hot", "smoking", "near-ignition"}
EXPECTED = (
    ("06-unattended-oil", "FR", SMOKE, "FR_smoke_p95_s", 120.0, 0.0),
    ("09-boil-dry", "FR", {"boil-dry"}, "FR_half_base_dry_s", 25.0, 30.0),
    ("09-boil-dry", "FL", {"boil-dry"}, "FL_half_base_dry_s", 25.0, 30.0),
    (
        "12-empty-nonstick",
        "FR",
        {"pan-hot", "smoking", "near-ignition"},
        "FR_pan_mean_260_s",
        60,
        20,
    ),
)
"""Cook, burner, alerts that count, event, seconds before and after it that are useful."""
OPTIONAL: Mapping[tuple[str, str], float | str] = {
    ("03-emissivity-plateaus", "FL"): 590.0,
    ("06-unattended-oil", "FR"): 60.0,
    ("07-bare-shiny", "FL"): 100.0,
    ("08-covered-by-food", "FL"): "FL_smoke_p95_s",
    ("09-boil-dry", "FR"): "FR_half_base_dry_s",
    ("09-boil-dry", "FL"): "FL_half_base_dry_s",
    ("12-empty-nonstick", "FR"): 40.0,
}
"""From this time or event on an alert is neither required nor wrong."""
HAZARDS = {"pan-hot", "smoke-soon", "smoking", "near-ignition", "boil-dry"}


@dataclass(frozen=True)
class Moments:
    """Moments of one burner in one stratum, arrays (moment,)."""

    error_k: np.ndarray
    """Against the reference, also of what is withheld; NaN where nothing could be said."""
    u95_k: np.ndarray
    valid: np.ndarray


def moments(cook: str, estimate: Any) -> dict[str, list[Moments]]:
    """Return the moments of a cook by stratum, from its estimate; one entry a burner."""
    found: dict[str, list[Moments]] = defaultdict(list)
    arrays, facts = truth(cook)
    pans = {pan["burner"]: pan for pan in facts["pans"]}
    time_s = estimate.time_s
    at = np.clip(np.rint(time_s * 4).astype(int), 0, arrays["time_s"].size - 1)
    for one in estimate.burners:
        code = NAMES[one.burner]
        if code not in pans:
            continue
        told = one.reported_k if one.withheld_k is None else one.withheld_k
        said_c = np.where(np.isfinite(one.reported_k), one.reported_k, told) - ZERO_C_K
        here = {
            name: value[at, CODES.index(code)]
            for name, value in arrays.items()
            if value.shape == (arrays["time_s"].size, len(CODES))
        }
        every = Moments(said_c - here["ref_c"], one.u95_k, np.isfinite(one.reported_k))
        names = strata(here, pans[code], time_s)
        for name in sorted(set(names) - {""}):
            where = names == name
            part = Moments(every.error_k[where], every.u95_k[where], every.valid[where])
            found[name].append(part)
    return found


def strata(here: Mapping[str, np.ndarray], pan: Mapping[str, Any], time_s: np.ndarray) -> Any:
    """Return the stratum of each moment, (time,); empty where no pan stands or it is too early."""
    depth_m = pan["oil_ml"] * 1e-6 / (math.pi * (pan["base_radius_mm"] / 1000) ** 2)
    wet = [one["from_s"] for one in pan["oil_film_median_um"] if one["wet_share"] > 0.02]
    oiled = time_s >= min(wet, default=math.inf)
    solid = np.isin(here["ref_kind"], (1, 5))
    hot = (here["ref_c"] >= 120) & (here["ref_c"] <= 230)
    name = np.full(time_s.size, "other", dtype=object)
    name[solid & (here["eps_eff_mean"] < 0.3)] = "shiny"
    name[solid & ~oiled & (pan["bare_emissivity"] >= 0.8) & hot] = "dark"
    name[solid & oiled & hot] = "oil" if depth_m >= 1e-4 else "thin"
    name[solid & np.isfinite(here["food_top_c"])] = "food"
    name[(here["ref_kind"] == 2) & (here["ref_c"] >= 60) & (here["ref_c"] <= 100)] = "liquid"
    there = (here["present"] > 0.5) & (time_s >= SETTLED_S)
    name[here["should_be_valid"] <= 0.5] = "cannot be seen"
    name[~there | (name == "cannot be seen") & ~np.isfinite(here["ref_c"])] = ""
    return name


def figures(parts: Iterable[Moments], seed: int = 5) -> dict[str, float]:
    """Return the figures of a stratum; one drawn moment a burner gives the exact coverage."""
    parts = list(parts)
    error, u95, valid = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("error_k", "u95_k", "valid")
    )
    shown, large = np.abs(error[valid]), np.abs(error) > LARGE_K
    right = np.abs(error) <= LARGE_K
    draw = np.random.default_rng(seed)
    drawn = [(p, draw.choice(np.flatnonzero(p.valid))) for p in parts if p.valid.any()]
    hits = sum(bool(abs(p.error_k[i]) <= p.u95_k[i]) for p, i in drawn)
    exact = binomtest(hits, len(drawn)).proportion_ci() if drawn else (0.0, 1.0)
    return {
        "burners": len(parts),
        "valid": float(valid.mean()),
        "median_k": float(np.median(shown)) if shown.size else math.nan,
        "p95_k": float(np.percentile(shown, 95)) if shown.size else math.nan,
        "median_u95_k": float(np.median(u95[valid])) if shown.size else math.nan,
        "covered": float((shown <= u95[valid]).mean()) if shown.size else math.nan,
        "covered_low": float(exact[0]),
        "covered_high": float(exact[1]),
        "large": int(large.sum()),
        "large_flagged": float((~valid[large]).mean()) if large.any() else math.nan,
        "right_withheld": float((~valid[right]).mean()) if right.any() else math.nan,
    }


def alert_account(cook: str, log: Any) -> tuple[list[str], list[str]]:
    """Return the expected alerts that a cook missed, and the nuisance alerts it had."""
    events = truth(cook)[1]["events"]
    onsets: dict[str, dict[float, set[str]]] = defaultdict(lambda: defaultdict(set))
    for one in log.changes:
        if one.state == "on" and one.alert in HAZARDS:
            onsets[NAMES[one.burner]][one.time_s].add(one.alert)
    missed, used = [], set()
    for where, code, counted, event, before_s, after_s in EXPECTED:
        due_s = events.get(event) if where == cook else None
        if due_s is None:
            continue
        hits = [
            at_s
            for at_s, names in sorted(onsets[code].items())
            if names & counted and due_s - before_s <= at_s <= due_s + after_s
        ]
        used |= {(code, at_s) for at_s in hits[:1]}
        missed += [] if hits else [f"{cook} {code}: {event} at {due_s:.1f} s"]
    nuisance = []
    for code, found in onsets.items():
        free = OPTIONAL.get((cook, code), math.inf)
        free_s = events.get(free) if isinstance(free, str) else free
        nuisance += [
            f"{cook} {code}: {'+'.join(sorted(names))} at {at_s:.1f} s"
            for at_s, names in sorted(found.items())
            if (code, at_s) not in used and at_s < (math.inf if free_s is None else free_s)
        ]
    return missed, nuisance
