"""Oil left alone on electric cooktops: time to ignition beside published tests."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

import numpy as np
from tests.closure.checks.kitchens import cooked, event_s, kitchen
from tests.closure.checks.registry import Check

from trivet.arrays import FloatArray

GROUP = "Oil left alone"
SCENARIOS, HORIZON_S = 32, 900.0
# Four frying pans, three cooktops; sizes, powers and volumes are assumed: the published
# abstract does not state them.
PANS = (
    {"material": "cast-iron", "finish": "seasoned-cast-iron", "thickness": "5 mm"},
    {"material": "aluminium", "finish": "ptfe-non-stick", "thickness": "4 mm"},
    {"material": "clad-tri-ply", "finish": "brushed-stainless", "thickness": "2.6 mm"},
    {"material": "carbon-steel", "finish": "seasoned-cast-iron", "thickness": "2 mm"},
)
COOKTOPS = (("coil", 74.0, 80.0), ("radiant", 74.0, 80.0), ("induction", 82.0, 86.0))
# Home zones and their rings: a pan of 26 cm belongs on a large zone, of 2.5 kW and more.
ZONES = {"large": ((2500.0, 3000.0), "200 mm"), "medium": ((1500.0, 1800.0), "160 mm")}
VOLUME_ML = (50.0, 250.0)
FATS = ("canola", "vegetable", "olive-refined", "butter")


@functools.cache
def ignition_times(zone: str) -> tuple[float, ...]:
    """Return when the fat ignites by itself in each scenario, infinity where it does not. [s]"""
    rng = np.random.default_rng(309)
    power_w, ring = ZONES[zone]
    found = []
    for number in range(SCENARIOS):
        kind, low, high = COOKTOPS[number % 3]
        burner = {
            "kind": kind,
            "power": f"{rng.uniform(*power_w):.0f} W",
            "efficiency": f"{rng.uniform(low, high):.1f} %",
            "efficiency_of": "load",
            "ring_diameter": ring,
        }
        fat = FATS[rng.integers(len(FATS))]
        base = {"contents": "butter" if fat == "butter" else "oil"}
        base["volume"] = f"{rng.uniform(*VOLUME_ML):.0f} mL"
        base |= {} if fat == "butter" else {"oil": fat}
        design = kitchen(burner, pan=PANS[number % 4], base=base, seed=number + 1)
        found.append(event_s(cooked(design, seconds=HORIZON_S, stop_c=600.0), "ignition"))
    return tuple(found)


def _ignited(zone: str) -> FloatArray:
    times = np.array(ignition_times(zone))
    return times[np.isfinite(times)]


def mean_time(zone: str = "large") -> float:
    """Return the mean time of those that ignite. [s]"""
    times = _ignited(zone)
    return float(times.mean()) if times.size else float("inf")


def spread_time() -> float:
    """Return the standard deviation of those that ignite. [s]"""
    times = _ignited("large")
    return float(times.std(ddof=1)) if times.size > 1 else float("inf")


def share_ignited(zone: str = "large") -> float:
    """Return the share that ignites within a quarter of an hour."""
    return float(np.isfinite(ignition_times(zone)).mean())


SOURCE = (
    "Hostikka, Jhatial, Aatamila 2023, abstract: three electric cooktops, four frying pans, oils "
    "and butter; {figure}"
)
CONDITIONS = (
    f"{SCENARIOS} invented scenarios: coil, radiant and induction, four pans of 26 cm on {{zone}}, "
    "on high, 50 to 250 mL, a quarter each of canola, vegetable and refined olive oil and butter; "
    "ignition where the hottest 5 cm2 of oil reach an auto-ignition temperature drawn from the "
    "library; {more}"
)
LARGE, MEDIUM = "a large zone, 2.5 to 3.0 kW", "a medium zone, 1.5 to 1.8 kW"

WHY_TIME = (
    "The abstract states neither powers nor volumes: those here are assumed, and they decide. On a "
    "medium zone what an open pan of 26 cm loses near 400 C, about 1.1 kW, comes close to what "
    "enters. Vapour that a glowing element lights before the oil does so by itself is not "
    "modelled. Times to ignition are not safe to plan an alert by."
)

WHY_SHARE = (
    "The abstract states neither powers nor volumes, nor how many of the tests were of butter "
    "(which never ignites here), nor for how long a cooktop was left on. The share depends on "
    "them more than on the physics. It bounds nothing."
)


def _check(name: str, measure: Callable[[], float], figure: str, **more: Any) -> Check:
    """Return a figure beside the published one of its kind."""
    return Check(
        name=name,
        group=GROUP,
        measure=measure,
        source=SOURCE.format(figure=figure),
        kind="compared",
        slow=True,
        **more,
    )


TIMES = {"unit": "s", "low": 228.0, "high": 390.0, "why": WHY_TIME}
SHARES = {"unit": "", "low": 0.31, "high": 0.57, "why": WHY_SHARE}
MEAN_S, SHARE = "309 s, standard deviation 81 s", "0.44, uncertainty 0.13"
OF_THOSE, WITHIN = "of those that ignite", "within 15 minutes"

CHECKS = [
    _check(
        "time to ignition on large zones, mean",
        mean_time,
        MEAN_S,
        conditions=CONDITIONS.format(zone=LARGE, more=OF_THOSE),
        **TIMES,
    ),
    _check(
        "time to ignition on large zones, standard deviation",
        spread_time,
        "81 s; two thirds to one and a half times that",
        conditions=CONDITIONS.format(zone=LARGE, more=OF_THOSE),
        unit="s",
        low=54.0,
        high=122.0,
        why=WHY_TIME,
    ),
    _check(
        "share that ignites on large zones",
        share_ignited,
        SHARE,
        conditions=CONDITIONS.format(zone=LARGE, more=WITHIN),
        **SHARES,
    ),
    _check(
        "time to ignition on medium zones, mean",
        functools.partial(mean_time, "medium"),
        MEAN_S,
        conditions=CONDITIONS.format(zone=MEDIUM, more=OF_THOSE),
        **TIMES,
    ),
    _check(
        "share that ignites on medium zones",
        functools.partial(share_ignited, "medium"),
        SHARE,
        conditions=CONDITIONS.format(zone=MEDIUM, more=WITHIN),
        **SHARES,
    ),
]
