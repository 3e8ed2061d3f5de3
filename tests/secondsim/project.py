"""A project folder made of the twelve cooks in ``tests/data/second-simulator``."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np

DATA = Path(__file__).parents[1] / "data" / "second-simulator"
CALIBRATION = ("01-registration", "02-boiling-anchor", "03-emissivity-plateaus")
COOKS = tuple(sorted(folder.name for folder in DATA.iterdir() if folder.is_dir()))
STEP_K = 0.01  # the simulated array's own step: nothing is rounded


def frames(cook: str) -> dict[str, Any]:
    """Return ``apparent_c`` (time, row, column), ``time_s``, ``sensor_c`` and ``awake_s``.

    The file holds each pixel's change from frame to frame in steps of 0.01 K, its sign in the
    lowest bit, low and high byte apart, (pixel, time): so it packs to half the size.
    """
    with np.load(DATA / cook / "frames.npz") as kept:
        change = kept["high"].astype(np.int32) << 8 | kept["low"]
        steps = np.cumsum((change >> 1) ^ -(change & 1), axis=1).T.reshape(kept["shape"])
        time_s, sensor = kept["time_ms"] / 1000.0, kept["sensor"]
    return {
        "apparent_c": (steps * STEP_K).astype(np.float32),
        "time_s": time_s,
        "sensor_c": (sensor * STEP_K).astype(np.float32),
        "awake_s": np.maximum(time_s + declared(cook)["sensor_awake_before_start_s"], 0.0),
    }


def declared(cook: str) -> dict[str, Any]:
    """Return what the engineer knows of a cook."""
    found: dict[str, Any] = json.loads((DATA / cook / "cook.json").read_text("utf-8"))
    return found


def truth(cook: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the arrays of the truth, (time, burner) in the order FL, FR, BL, BR, and the rest."""
    with np.load(DATA / cook / "truth.npz") as kept:
        arrays = {name: kept[name] for name in kept.files}
    return arrays, json.loads((DATA / cook / "truth.json").read_text("utf-8"))


def build(project: Path, cooks: tuple[str, ...] = COOKS) -> Path:
    """Write a project of the calibration cooks and of those named, and return its folder.

    Proof cooks come without probes and events; no truth is copied.
    """
    project.mkdir(parents=True, exist_ok=True)
    shutil.copy(DATA / "design.toml", project)
    for cook in sorted({*CALIBRATION, *cooks}):
        folder = project / "bench" / cook
        folder.mkdir(parents=True)
        np.savez(folder / "frames.npz", **frames(cook))
        shutil.copy(DATA / cook / "cook.toml", folder)
        if cook in CALIBRATION:
            shutil.copy(DATA / cook / "probes.csv", folder)
            shutil.copy(DATA / cook / "events.csv", folder)
    return project
