"""Six burners under one head, of the demonstration's parts, and frames painted for them."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from trivet.files.design import read_design
from trivet.records.benchsheet import Told, ToldEntry
from trivet.records.calibration import Calibration
from trivet.records.design import Burner, Design
from trivet.records.figures import Figure
from trivet.records.recording import HeadFrames
from trivet.stages.calibrate import calibrate
from trivet.stages.estimate.hypotheses import burner_view
from trivet.stages.estimate.streaming import BurnerStream, HeadStream, best_heads
from trivet.stages.estimate.views import head_view

DEMO = Path(__file__).parents[1] / "examples" / "larkpane" / "design.toml"
PLACES_M = tuple((x, y) for y in (-0.14, 0.14) for x in (-0.27, 0.0, 0.27))
PAN, PAN_RADIUS_M = "iron-skillet", 0.13
TOLD = Told(every=ToldEntry(pan=PAN, base_contents="dry"))
HOB_K, FOOD_K, FOOD_RADIUS_M, FOOD_AT_S = 305.0, 300.0, 0.05, 30.0
FINE = 6
"""Points across a pixel when painting."""


def six_burners(rows: int, cols: int) -> Design:
    """Return the demonstration's design with six burners and a head that sees them all."""
    design = read_design(DEMO)
    burners = tuple(_burner(design.burners[0], k, place) for k, place in enumerate(PLACES_M))
    field = {"fov_h_rad": Figure(math.radians(75)), "fov_v_rad": Figure(math.radians(58))}
    shape = {"rows": rows, "cols": cols, "half_frames": False}
    cards = tuple(card.model_copy(update={**field, **shape}) for card in design.sensors)
    cooktop = design.cooktop.model_copy(update={"width_m": Figure(0.9)})
    return design.model_copy(update={"burners": burners, "sensors": cards, "cooktop": cooktop})


def _burner(first: Burner, number: int, place_m: tuple[float, float]) -> Burner:
    where = {"x_m": Figure(place_m[0]), "y_m": Figure(place_m[1])}
    return first.model_copy(update={"name": f"burner-{number}", **where})


def head_stream(design: Design, calibration: Calibration) -> HeadStream:
    """Return the estimator's own stream of the head, told which pan stands everywhere."""
    name = design.heads[0].name
    view = head_view(name, design=design, calibration=calibration)
    burners = [
        BurnerStream(
            burner_view(burner, view, design=design, calibration=calibration, told=TOLD),
            design=design,
        )
        for burner, _ in best_heads({name: view}, design=design)
    ]
    return HeadStream(view, burners, design=design)


def nominal(design: Design) -> Calibration:
    """Return the calibration that is just the design."""
    return calibrate(design, recordings=())


def painted_frames(design: Design, *, frames: int, rate_hz: float) -> HeadFrames:
    """Return frames of six pans that heat up, food in two of them, with the card's noise.

    Pixels are box means of pans 6 % cooler at the rim; nothing is blurred or reflected.
    """
    view = head_view(design.heads[0].name, design=design, calibration=nominal(design))
    card, time_s = view.card, np.arange(frames) / rate_hz
    random = np.random.default_rng(11)
    noise = random.normal(0.0, float(card.netd_delta_k) / 2, (frames, card.rows, card.cols))
    apparent = (HOB_K + noise).astype(np.float32)
    offsets = (np.arange(FINE) + 0.5) / FINE - 0.5
    for number, region in enumerate(view.regions.values()):
        shape = np.zeros((2, region.rows.size))
        for i in offsets:
            for j in offsets:
                away = np.hypot(region.x_m + i * region.pitch_m, region.y_m + j * region.pitch_m)
                shape[0] += np.where(away < PAN_RADIUS_M, 1 - 0.06 * (away / PAN_RADIUS_M) ** 2, 0)
        shape /= FINE * FINE
        shape[1] = np.hypot(region.x_m, region.y_m) < FOOD_RADIUS_M  # in whole pixels
        rise = 60.0 + (70.0 + 10.0 * number) * (1 - np.exp(-time_s / 120.0))
        heat = rise[:, None] * shape[0]
        if number in (1, 4):
            food = (time_s[:, None] > FOOD_AT_S) * shape[1]
            heat = heat * (1 - food) + (FOOD_K - HOB_K) * food
        apparent[:, region.rows, region.cols] += heat.astype(np.float32)
    return HeadFrames(
        head=design.heads[0].name,
        time_s=time_s,
        apparent_k=apparent,
        sensor_k=np.full(frames, 303.0),
        awake_s=600.0 + time_s,
    )
