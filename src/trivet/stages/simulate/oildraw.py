"""The oil of a cook as drawn: which one, and at what it smokes and ignites."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.facts.contents import TemperatureSpread, oil_limits
from trivet.models.oilpoints import COMMON
from trivet.records.design import Base


@dataclass(frozen=True)
class OilDraw:
    """One oil: its name in the library and the temperatures drawn for this cook."""

    name: str
    smoke_k: float
    ignition_k: float | None
    """None where it does not ignite by itself, as butter."""


def oil_draw(base: Base, generator: np.random.Generator) -> OilDraw:
    """Draw an oil's smoke point and auto-ignition temperature from their distributions."""
    name = base.oil or COMMON.get(base.contents, "vegetable")
    limits = oil_limits(name)
    smoke, ignites = limits.smoke.after(base.uses), limits.autoignition
    u = generator.uniform(size=2)
    return OilDraw(
        name=name,
        smoke_k=_at(smoke, float(u[0])),
        ignition_k=None if ignites is None else _at(ignites, float(u[1])),
    )


def _at(spread: TemperatureSpread, u: float) -> float:
    return spread.low_k + (spread.high_k - spread.low_k) * u
