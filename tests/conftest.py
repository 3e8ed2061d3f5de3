"""A scene painter for tests of the reading: independent of the project's simulator.

Planck by direct summation, a pinhole camera by brute-force supersampling, discs
for pans. It shares no code with the kernels that it checks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import constants
from scipy.ndimage import gaussian_filter

from trivet.records.benchsheet import Told
from trivet.records.design import Design
from trivet.records.recording import HeadFrames, ProductInput

WAVELENGTH = np.linspace(8e-6, 14e-6, 601)
GRID_K = np.linspace(200.0, 900.0, 7001)
OVER = 8


def _band() -> np.ndarray:
    c1 = 2 * constants.h * constants.c**2
    c2 = constants.h * constants.c / constants.k
    spectral = c1 / WAVELENGTH**5 / np.expm1(c2 / (WAVELENGTH * GRID_K[:, None]))
    return np.trapezoid(spectral, WAVELENGTH, axis=1)


TABLE = _band()


def radiance(temperature_k: np.ndarray) -> np.ndarray:
    return np.interp(temperature_k, GRID_K, TABLE)


def apparent(signal: np.ndarray) -> np.ndarray:
    return np.interp(signal, TABLE, GRID_K)


Profile = Callable[[np.ndarray, np.ndarray, float], np.ndarray]


@dataclass
class Disc:
    """A pan: centre, radius, emissivity and temperature of (x, y from its centre, time)."""

    x_m: float
    y_m: float
    radius_m: float
    emissivity: float
    temperature_k: Profile
    cover: tuple[float, float, Callable[[float], float]] | None = None
    """From this time on [s] food of this radius [m], its temperature of time [K], in the middle."""


@dataclass
class Painter:
    """Everything of the scene that is not a pan."""

    design: Design
    hob_k: float = 305.0
    hob_emissivity: float = 0.9
    reflected_k: float = 303.15
    transmittance: float = 0.85
    housing_k: float = 305.15
    noise_k: float = 0.2
    blur_px: float = 0.5
    rate_hz: float = 4.0
    seed: int = 1
    awake_s: float = 600.0
    told: dict[str, object] = field(default_factory=dict)

    def inputs(self, discs: list[Disc], *, seconds: float) -> ProductInput:
        """Return frames of the discs over a time."""
        head = self.design.heads[0]
        card = self.design.card(head)
        height = float(head.mount.height_m)
        focal_col = card.cols / 2 / np.tan(float(card.fov_h_rad) / 2)
        focal_row = card.rows / 2 / np.tan(float(card.fov_v_rad) / 2)
        col = (np.arange(card.cols * OVER) + 0.5) / OVER - card.cols / 2
        row = card.rows / 2 - (np.arange(card.rows * OVER) + 0.5) / OVER
        x, y = np.meshgrid(col / focal_col * height, row / focal_row * height)
        time_s = np.arange(int(seconds * self.rate_hz)) / self.rate_hz
        rng = np.random.default_rng(self.seed)
        frames = np.stack([self._frame(discs, x, y, t, card) for t in time_s])
        per_kelvin = radiance(np.array(298.65)) - radiance(np.array(297.65))
        frames += rng.normal(0, self.noise_k * per_kelvin, frames.shape)
        return ProductInput(
            heads=(
                HeadFrames(
                    head=head.name,
                    time_s=time_s,
                    apparent_k=apparent(frames).astype(np.float32),
                    sensor_k=np.full(time_s.shape, self.housing_k),
                    awake_s=time_s + self.awake_s,
                ),
            ),
            told=Told.model_validate(self.told),
        )

    def seen_k(self, emissivity: float, temperature_k: np.ndarray) -> np.ndarray:
        """Return the apparent temperature, before the window, of an even surface."""
        mirrored = radiance(np.array(self.reflected_k))
        return apparent(emissivity * radiance(temperature_k) + (1 - emissivity) * mirrored)

    def _frame(self, discs: list[Disc], x, y, t, card) -> np.ndarray:
        mirrored = radiance(np.array(self.reflected_k))
        hob = self.hob_emissivity
        scene = np.full(x.shape, hob * radiance(np.array(self.hob_k)) + (1 - hob) * mirrored)
        for disc in discs:
            dx, dy = x - disc.x_m, y - disc.y_m
            inside = np.hypot(dx, dy) <= disc.radius_m
            surface = radiance(np.broadcast_to(disc.temperature_k(dx, dy, t), x.shape))
            scene = np.where(
                inside, disc.emissivity * surface + (1 - disc.emissivity) * mirrored, scene
            )
            if disc.cover is not None and t >= disc.cover[0]:
                food = 0.95 * radiance(np.array(disc.cover[2](t))) + 0.05 * mirrored
                scene = np.where(np.hypot(dx, dy) <= disc.cover[1], food, scene)
        blurred = gaussian_filter(scene, self.blur_px * OVER, mode="nearest")
        pixels = blurred.reshape(card.rows, OVER, card.cols, OVER).mean(axis=(1, 3))
        own = (1 - self.transmittance) * radiance(np.array(self.housing_k))
        return self.transmittance * pixels + own


@pytest.fixture(scope="session")
def painting() -> SimpleNamespace:
    """The painter and its pans; test folders cannot import one another."""
    return SimpleNamespace(Painter=Painter, Disc=Disc)
