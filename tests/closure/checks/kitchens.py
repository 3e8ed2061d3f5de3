"""Small invented kitchens for the checks: one pan on one burner, a coarse sensor over it."""

from __future__ import annotations

from typing import Any

import numpy as np

from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.recording import BurnerTruth, SimulatedCook
from trivet.stages.simulate import simulate

SENSOR = {
    "name": "coarse-8x8",
    "technology": "thermopile",
    "rows": 8,
    "cols": 8,
    "fov_h": "60 deg",
    "fov_v": "60 deg",
    "frame_rate": "0.2 Hz",
    "netd": "0.2 K",
    "range_high": "500 degC",
    "source": "invented for the checks; the truth is read, not the frames",
}
REST = {
    "cooktop": {"width": "760 mm", "depth": "535 mm"},
    "heads": [
        {
            "name": "main",
            "sensor": "coarse-8x8",
            "mount": {"height": "0.70 m"},
            "window": {"transmittance": "0.9"},
        }
    ],
    "requirements": [
        {"id": "R1", "text": "seen", "metric": "rim_in_view", "limit": "1 %"}
        | {"evidence": "predicted"}
    ],
    "battery": {
        "energy": "13.5 Wh",
        "sleep": "190 uW",
        "measure": "128.9 mW",
        "message": "0.03 mJ",
        "message_every": "1 s",
    },
    "diary": {"cooking_per_day": "1.5 h"},
    "costs": {
        "price": "149.00 USD",
        "channel": "35 %",
        "unit_cost": "41.00 USD",
        "duty": "5 %",
        "freight": "2.50 USD",
        "warranty": "3 %",
        "returns": "4 %",
        "support": "2.00 USD",
        "fixed": "310000.00 USD",
        "units_per_month": "500",
    },
}


def kitchen(
    burner: dict[str, Any], *, pan: dict[str, Any], base: dict[str, Any], seed: int = 1
) -> Design:
    """Return a design with one burner, one pan and one base."""
    return Design.model_validate(
        REST
        | {
            "format": 1,
            "project": {"name": "Checks", "invented": True, "seed": seed},
            "surroundings": {"altitude": "0 m", "ambient": "20 degC"},
            "sensors": [SENSOR],
            "burners": [{"name": "b", "x": "0 mm", "y": "0 mm"} | burner],
            "pans": [{"name": "p", "diameter": "260 mm", "depth": "45 mm"} | pan],
            "bases": [{"name": "c"} | base],
        }
    )


def cooked(
    design: Design,
    *,
    seconds: float,
    schedule: list[tuple[float, float]] | None = None,
    food: dict[str, Any] | None = None,
    lid: bool = False,
    stop_c: float = 400.0,
) -> SimulatedCook:
    """Return one cook; at full power unless told otherwise."""
    steps = [{"at": f"{at} s", "level": str(level)} for at, level in schedule or [(0.0, 1.0)]]
    entry: dict[str, Any] = {"burner": "b", "pan": "p", "base": "c", "schedule": steps}
    entry |= {"food": food} if food else {}
    entry |= {"lid": [{"on": "0 s"}]} if lid else {}
    plan = CookPlan.model_validate(
        {
            "name": "check",
            "purpose": "proof",
            "duration": f"{seconds} s",
            "stop_at": f"{stop_c} degC",
            "burners": [entry],
        }
    )
    return simulate(design, plan=plan)


def truth_of(cook: SimulatedCook) -> BurnerTruth:
    """Return what was so on its only burner."""
    return cook.truth.burners[0]


def event_s(cook: SimulatedCook, word: str) -> float:
    """Return when something first happened; infinity when it did not. [s]"""
    return next((e.time_s for e in cook.recording.reference.events if e.event == word), np.inf)


def time_at(truth: BurnerTruth, values_k: Any, level_c: float) -> float:
    """Return when a series first reaches a level; infinity when it never does. [s]"""
    values = np.maximum.accumulate(np.nan_to_num(values_k, nan=0.0))
    level = level_c + 273.15
    if values[-1] < level:
        return float("inf")
    return float(np.interp(level, values, truth.time_s))
