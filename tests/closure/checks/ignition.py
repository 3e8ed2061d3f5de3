"""Oil left alone on electric cooktops: time to ignition beside published tests."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
from tests.closure.checks.kitchens import cooked, event_s, kitchen
from tests.closure.checks.registry import Check

GROUP = "Oil left alone"
SCENARIOS, HORIZON_S = 48, 900.0
# Four frying pans, three cooktops; sizes, powers and volumes are assumed: the published
# abstract does not state them.
PANS = (
    {"material": "cast-iron", "finish": "seasoned-cast-iron", "thickness": "5 mm"},
    {"material": "aluminium", "finish": "ptfe-non-stick", "thickness": "4 mm"},
    {"material": "clad-tri-ply", "finish": "brushed-stainless", "thickness": "2.6 mm"},
    {"material": "carbon-steel", "finish": "seasoned-cast-iron", "thickness": "2 mm"},
)
COOKTOPS = (("coil", 74.0, 80.0), ("radiant", 74.0, 80.0), ("induction", 82.0, 86.0))
POWER_W = (1400.0, 2200.0)
VOLUME_ML = (50.0, 250.0)
OILS = ("canola", "vegetable", "olive-refined")


@functools.cache
def ignition_times() -> tuple[float, ...]:
    """Return when the oil ignites by itself in each scenario, infinity where it does not. [s]"""
    rng = np.random.default_rng(309)
    found = []
    for number in range(SCENARIOS):
        kind, low, high = COOKTOPS[number % 3]
        burner = {
            "kind": kind,
            "power": f"{rng.uniform(*POWER_W):.0f} W",
            "efficiency": f"{rng.uniform(low, high):.1f} %",
            "efficiency_of": "load",
            "ring_diameter": "160 mm",
        }
        base = {"contents": "oil", "volume": f"{rng.uniform(*VOLUME_ML):.0f} mL"}
        base["oil"] = OILS[rng.integers(3)]
        design = kitchen(burner, pan=PANS[number % 4], base=base, seed=number + 1)
        found.append(event_s(cooked(design, seconds=HORIZON_S, stop_c=600.0), "ignition"))
    return tuple(found)


def _ignited() -> npt.NDArray[np.float64]:
    times = np.array(ignition_times())
    return times[np.isfinite(times)]


def mean_time() -> float:
    """Return the mean time of those that ignite. [s]"""
    times = _ignited()
    return float(times.mean()) if times.size else float("inf")


def spread_time() -> float:
    """Return the standard deviation of those that ignite. [s]"""
    times = _ignited()
    return float(times.std(ddof=1)) if times.size > 1 else float("inf")


def share_ignited() -> float:
    """Return the share that ignites within a quarter of an hour."""
    return float(np.isfinite(ignition_times()).mean())


SOURCE = (
    "Hostikka, Jhatial, Aatamila 2023, abstract: three electric cooktops, four frying pans, oils "
    "and butter; {figure}"
)
CONDITIONS = (
    f"{SCENARIOS} invented scenarios: coil, radiant and induction, 1.4 to 2.2 kW on high, four "
    "pans of 26 cm, 50 to 250 mL of canola, vegetable or refined olive oil; ignition where the "
    "hottest 5 cm2 of oil reach an auto-ignition temperature drawn from the library; {more}"
)

WHY = (
    "The abstract states neither powers nor volumes: those here are assumed. Bound without losses: "
    "a base of 4 mm aluminium (0.52 kJ/K) and 250 mL of oil (0.55 kJ/K) need 430 kJ for 400 K: "
    "215 s at 2 kW into the pan, 330 s at 1.3 kW; 309 s take 1.4 kW net for 250 mL and 0.8 kW "
    "for 50 mL. "
    "Near 400 C the losses of an open pan of 26 cm come close to what enters. Vapour that a "
    "glowing element lights before the oil does so by itself is not modelled. Both make the "
    "simulator late: its times to ignition are not safe to plan an alert by."
)

WHY_SHARE = (
    "The abstract states neither powers nor volumes, nor for how long a cooktop was left on: "
    "those here are assumed, and so are the shares of weak burners and of full pans. The share "
    "depends on them more than on the physics: it was 0.29 when a coil was taken to store more "
    "heat. It bounds nothing."
)

CHECKS = [
    Check(
        name="time to ignition, mean",
        group=GROUP,
        measure=mean_time,
        unit="s",
        low=228.0,
        high=390.0,
        source=SOURCE.format(figure="309 s, standard deviation 81 s"),
        conditions=CONDITIONS.format(more="of those that ignite"),
        kind="compared",
        slow=True,
        why=WHY,
    ),
    Check(
        name="time to ignition, standard deviation",
        group=GROUP,
        measure=spread_time,
        unit="s",
        low=54.0,
        high=122.0,
        source=SOURCE.format(figure="81 s; two thirds to one and a half times that"),
        conditions=CONDITIONS.format(more="of those that ignite"),
        kind="compared",
        slow=True,
        why=WHY,
    ),
    Check(
        name="share that ignites",
        group=GROUP,
        measure=share_ignited,
        unit="",
        low=0.31,
        high=0.57,
        source=SOURCE.format(figure="0.44, uncertainty 0.13"),
        conditions=CONDITIONS.format(more="within 15 minutes"),
        kind="compared",
        slow=True,
        why=WHY_SHARE,
    ),
]
