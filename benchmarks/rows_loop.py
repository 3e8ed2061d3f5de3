"""The whole loop, simulate to alert: six burners, 32x24, 4 Hz, two cooks on two cores."""

from __future__ import annotations

import multiprocessing
import time
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from typing import Any

from benchmarks.sixburners import PAN, nominal, six_burners
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.stages.alert import alert
from trivet.stages.estimate import estimate
from trivet.stages.simulate import simulate

COOK_S, PROCESSES, ROUNDS = 1200.0, 2, 3
GOAL_TIMES = 2000.0
PARTS = ("simulate", "estimate", "alert")


def plan(design: Design, seconds: float) -> CookPlan:
    """Return a cook on every burner: the same dry pan, each at a level of its own."""
    return CookPlan.model_validate(
        {
            "name": "six",
            "purpose": "proof",
            "duration": f"{seconds:g} s",
            "repeats": 100,
            "burners": [
                {
                    "burner": burner.name,
                    "pan": PAN,
                    "base": "dry",
                    "schedule": [{"at": "0 s", "level": f"{15 + 3 * k} %"}],
                }
                for k, burner in enumerate(design.burners)
            ],
        }
    )


def cook(repeat: int, seconds: float = COOK_S) -> dict[str, float]:
    """Run one cook through the stages as they are; return seconds by stage and its frames."""
    design = six_burners(24, 32)
    calibration = nominal(design)
    marks = [time.perf_counter()]
    made = simulate(design, plan=plan(design, seconds), repeat=repeat).recording
    marks.append(time.perf_counter())
    read = estimate(made.inputs, design=design, calibration=calibration)
    marks.append(time.perf_counter())
    alert(read, design=design, told=made.inputs.told)
    marks.append(time.perf_counter())
    spans = dict(zip(PARTS, (b - a for a, b in pairwise(marks)), strict=True))
    return {**spans, "cooked_s": float(read.time_s[-1]), "frames": float(read.time_s.size)}


def warm(_: int) -> dict[str, float]:
    """Load or compile everything in a worker before the clock starts."""
    return cook(0, 30.0)


def rows() -> list[dict[str, Any]]:
    """Time as many cooks as processes, each in its own, beside the time that they take."""
    spawn = multiprocessing.get_context("spawn")
    found: list[tuple[float, list[dict[str, float]]]] = []
    with ProcessPoolExecutor(PROCESSES, mp_context=spawn) as pool:
        list(pool.map(warm, range(2 * PROCESSES)))
        for number in range(ROUNDS):
            start = time.perf_counter()
            repeats = range(PROCESSES * number, PROCESSES * (number + 1))
            parts = list(pool.map(cook, repeats))
            found.append((time.perf_counter() - start, parts))
    wall_s, parts = sorted(found, key=lambda one: one[0])[len(found) // 2]
    cooked_s = sum(one["cooked_s"] for one in parts)
    mean = {name: sum(one[name] for one in parts) / len(parts) for name in PARTS}
    shares = ", ".join(f"{name} {mean[name]:.2f} s" for name in PARTS)
    estimate_hz = parts[0]["frames"] / mean["estimate"]
    return [
        {
            "name": "whole loop, six burners, 32x24, 4 Hz",
            "baseline": "real time",
            "ratio": cooked_s / wall_s,
            "goal": GOAL_TIMES,
            "detail": f"{PROCESSES} cooks of {cooked_s / PROCESSES:.0f} s in {wall_s:.2f} s, "
            f"{PROCESSES} processes; a cook: {shares}",
        },
        {
            "name": "estimate of six burners, 32x24",
            "baseline": "8,000 frames a second",
            "ratio": estimate_hz / 8000.0,
            "goal": 1.0,
            "detail": f"{estimate_hz:,.0f} frames a second in the whole loop, set-up of the "
            "hypotheses included; 1 thread each",
        },
    ]
