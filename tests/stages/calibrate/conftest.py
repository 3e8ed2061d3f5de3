"""Cooks drawn here, not by the simulator: even pans seen through a planted head."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest

from trivet.models.optics import card_band, card_lens
from trivet.physics.geometry.optics import Pose
from trivet.physics.geometry.sampling import CellGrid, sampling_matrix
from trivet.physics.radiation.planck import band_radiance, radiating_temperature_k
from trivet.physics.sensor.drift import drift_terms
from trivet.records.benchsheet import SheetBurner, SheetProbe, Told
from trivet.records.design import Design
from trivet.records.recording import HeadFrames, ProbeSeries, ProductInput, Recording, Reference

POSE = Pose(0.004, -0.003, 0.703, tilt_rad=0.012, pan_rad=0.01)


@dataclass(frozen=True)
class Drawn:
    """What is planted in one cook."""

    name: str
    burners: tuple[str, ...] = ("front-left",)
    contents: str = "dry"
    finish: str = "seasoned-cast-iron"
    emissivity: float = 0.94
    top_k: float = 473.15
    volume: str = "0 mL"
    unit: str = "unit-a"
    tau: float = 0.85
    pose: Pose = POSE
    drift: tuple[float, ...] = (1.2, 0.09, 0.0, 4.0)
    probes_k: tuple[float, ...] = (0.0,)
    """Error of each probe of a burner; none for no probe."""
    mirror_k: float | None = None
    discs: tuple[tuple[float, float, float, float], ...] = ()
    """Flat warm discs: x, y, radius, excess temperature at the end."""
    seed: int = 0


@pytest.fixture
def design(design_tables):
    for pan in design_tables["pans"]:
        pan["finish"] = {
            "iron-24": "seasoned-cast-iron",
            "steel-24": "polished-stainless",
        }[pan["name"]]
    return Design.model_validate(design_tables)


@pytest.fixture
def draw(design):
    return lambda **planted: drawn(design, Drawn(**planted))


def _grids(design, plan, depth_m):
    fill = float(SheetBurner(burner="x", diameter="240 mm", volume=plan.volume).volume_m3)
    fill /= math.pi * 0.12**2
    pans = [
        CellGrid(
            float(design.burner(b).x_m), float(design.burner(b).y_m), 0.12, 1, 1,
            depth_m=depth_m, fill_m=min(fill, depth_m),
        )
        for b in plan.burners
    ]  # fmt: skip
    return (
        *pans,
        *(CellGrid(x, y, r, 1, 1, depth_m=0.0, fill_m=0.0) for x, y, r, _ in plan.discs),
    )


def drawn(design, plan):
    rng = np.random.default_rng(plan.seed)
    head = design.heads[0]
    card = design.card(head)
    lens, band = card_lens(card), card_band(card)
    time = np.arange(0.0, 420.0, 1.0)
    pan_k = 295.15 + (plan.top_k - 295.15) * np.clip(time / 240, 0, 1)
    housing = 297.0 + 12 * (1 - np.exp(-time / 150))
    rate = 12 / 150 * np.exp(-time / 150)
    grids = _grids(design, plan, 0.045)
    s = sampling_matrix(
        grids, lens=lens, pose=plan.pose, sigma_px=float(card.blur_px), strips_per_px=3
    )
    mirror = float(design.surroundings.reflected_k) if plan.mirror_k is None else plan.mirror_k
    own = plan.emissivity * band_radiance(pan_k, band=band)
    own = own + (1 - plan.emissivity) * band_radiance(mirror, band=band)
    surfaces = np.tile(band_radiance(300.0, band=band), (s.matrix.shape[1], time.size))
    n = len(plan.burners)
    surfaces[:n] = own
    surfaces[list(s.wall_column)[:n]] = own * 0.9
    for at, (*_, excess) in enumerate(plan.discs):
        # one after another: each is warm in its own part of the run
        warm = (time >= 60 * at + 5) & (time < 60 * at + 60)
        surfaces[n + at] = band_radiance(300.0 + excess * warm, band=band)
    signal = plan.tau * (s.matrix @ surfaces) + (1 - plan.tau) * band_radiance(housing, band=band)
    apparent = radiating_temperature_k(signal, band=band)
    terms = drift_terms(
        housing, housing_rate_kps=rate, awake_s=time, housing_ref_k=298.15, tau_s=80.0
    )
    apparent = apparent + terms @ np.array(plan.drift) + rng.normal(0, 0.28, apparent.shape)
    frames = HeadFrames(
        head.name, time, apparent.T.reshape(time.size, 24, 32).astype(np.float32), housing, time
    )
    return Recording(
        plan.name, "calibration", "bench", plan.unit, 100.0, ProductInput((frames,), Told()),
        Reference(_probes(plan, time, pan_k), (), _sheets(plan)),
    )  # fmt: skip


def _sheets(plan):
    return tuple(
        SheetBurner(
            burner=b, finish=plan.finish, diameter="240 mm", depth="45 mm",
            contents=plan.contents, volume=plan.volume,
        )
        for b in plan.burners
    )  # fmt: skip


def _probes(plan, time, pan_k):
    touches = {"dry": "pan", "water": "liquid", "oil": "oil"}[plan.contents]
    return tuple(
        ProbeSeries(
            SheetProbe(column=f"T{k}{j}", burner=b, touches=touches),
            time[::2],
            pan_k[::2] + off,
            np.full(time[::2].size, 0.8),
        )
        for k, b in enumerate(plan.burners)
        for j, off in enumerate(plan.probes_k)
    )
