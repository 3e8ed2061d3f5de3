"""An invented design for the stages' tests: four gas burners under a hood."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from trivet.records.design import Design

SENSOR: dict[str, Any] = {
    "name": "thermopile-32x24-55",
    "technology": "thermopile",
    "rows": 24,
    "cols": 32,
    "fov_h": "55 deg",
    "fov_v": "35 deg",
    "frame_rate": "4 Hz",
    "netd": "0.28 K",
    "accuracy": "2 K",
    "accuracy_gain": "2 %",
    "range_low": "-40 degC",
    "range_high": "300 degC",
    "settle": "4 min",
    "settle_offset": "3 K",
    "housing_drift": {"value": "0.05", "low": "0", "high": "0.1"},
    "blur_px": "0.5",
    "half_frames": True,
    "source": "figures of a class of arrays, for tests",
}

TABLES: dict[str, Any] = {
    "format": 1,
    "project": {"name": "Testpane", "team": "invented", "invented": True, "seed": 7},
    "surroundings": {
        "altitude": "100 m",
        "ambient": "22 degC",
        "reflected": {"value": "30 degC", "low": "22 degC", "high": "50 degC"},
        "housing_rise": "10 K",
    },
    "cooktop": {"width": "760 mm", "depth": "535 mm", "surface": "glass-ceramic"},
    "burners": [
        {
            "name": f"{row}-{side}",
            "kind": "gas",
            "x": f"{x} mm",
            "y": f"{y} mm",
            "power": "3.5 kW",
            "efficiency": "40 %",
            "ring_diameter": "130 mm",
        }
        for row, y in (("front", -130), ("rear", 130))
        for side, x in (("left", -200), ("right", 200))
    ],
    "heads": [
        {
            "name": "main",
            "sensor": "thermopile-32x24-55",
            "mount": {"height": "0.70 m"},
            "window": {
                "transmittance": {"value": "0.85", "low": "0.82", "high": "0.88"},
                "rise": "0 K",
            },
        }
    ],
    "sensors": [SENSOR],
    "pans": [
        {
            "name": "iron-24",
            "material": "cast-iron",
            "finish": "seasoned-cast-iron",
            "diameter": "240 mm",
            "depth": "45 mm",
            "thickness": "5 mm",
            "emissivity": {"value": "0.93", "low": "0.90", "high": "0.96"},
        },
        {
            "name": "steel-24",
            "material": "clad-tri-ply",
            "finish": "polished-stainless",
            "diameter": "240 mm",
            "depth": "50 mm",
            "thickness": "2.6 mm",
            "emissivity": {"value": "0.15", "low": "0.10", "high": "0.20"},
        },
    ],
    "bases": [
        {"name": "dry", "contents": "dry"},
        {"name": "film", "contents": "oil", "volume": "5 mL"},
        {"name": "deep-oil", "contents": "oil", "volume": "400 mL"},
        {"name": "butter", "contents": "butter", "volume": "20 mL"},
        {"name": "water", "contents": "water", "volume": "800 mL"},
    ],
    "bands": [
        {
            "name": "poach",
            "of": "liquid",
            "low": "180 degF",
            "high": "190 degF",
            "bases": ["water"],
        },
        {"name": "sear", "of": "pan", "low": "160 degC", "high": "180 degC", "bases": ["film"]},
    ],
    "limits": [
        {
            "name": "smoke",
            "of": "oil",
            "value": {"value": "230 degC", "low": "204 degC", "high": "254 degC"},
        },
        {"name": "ignition", "of": "pan", "value": "371 degC"},
    ],
    "alerts": [
        {
            "name": "over-temperature",
            "kind": "level",
            "limit": "ignition",
            "set_point": "240 degC",
            "cause": "a pan left on high heat",
            "consequence": "oil may ignite",
            "action": "turn the burner off",
            "time_available": "60 s",
            "priority": "high",
        },
        {
            "name": "smoke-ahead",
            "kind": "time_to_limit",
            "limit": "smoke",
            "cause": "oil heats towards its smoke point",
            "consequence": "smoke",
            "action": "turn the burner down",
            "time_available": "60 s",
            "priority": "medium",
        },
        {
            "name": "blind",
            "kind": "loss_of_sight",
            "cause": "the window is covered",
            "consequence": "no alert can be given",
            "action": "clean the window",
            "time_available": "5 min",
            "priority": "medium",
        },
    ],
    "requirements": [
        {
            "id": "R1",
            "text": "every rim is seen",
            "metric": "rim_in_view",
            "limit": "100 %",
            "evidence": "predicted",
        }
    ],
    "told": {"channels": ["base_contents", "pan"]},
    "battery": {
        "energy": "13.5 Wh",
        "sleep": "190 uW",
        "measure": "128.9 mW",
        "message": "0.03 mJ",
        "message_every": "1 s",
    },
    "diary": {"cooking_per_day": {"value": "1.5 h", "low": "1 h", "high": "2.5 h"}},
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


@pytest.fixture(scope="session")
def plain_design() -> Design:
    """Return the unchanged design once for all tests: records are frozen."""
    return Design.model_validate(copy.deepcopy(TABLES))


@pytest.fixture
def design_tables() -> dict[str, Any]:
    """Return a valid design as the plain tables of its file, free to be changed."""
    return copy.deepcopy(TABLES)


@pytest.fixture
def design(design_tables: dict[str, Any]) -> Design:
    """Return the design of :func:`design_tables`."""
    return Design.model_validate(design_tables)
