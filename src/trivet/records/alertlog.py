"""The alert log: every change of every alert, in the order in which the product would act.

``stages/alert.py`` makes one::

    alert(estimate: Estimate, *, design: Design, told: Told, state: DeviceState = DeviceState())
        -> AlertLog
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class DeviceState:
    """State of the device beside its frames."""

    battery_frac: float = 1.0
    link: bool = True
    machine: bytes = b""
    """State of the alert machine saved before a restart; empty after a cold start."""


@dataclass(frozen=True)
class AlertChange:
    """One alert goes on or off."""

    time_s: float
    burner: str
    alert: str
    state: Literal["on", "off"]
    note: str = ""
    """For instance "at or above range"."""


@dataclass(frozen=True)
class AlertLog:
    """All changes of one recording, by time."""

    changes: tuple[AlertChange, ...]
    machine: bytes = b""
    """State of the alert machine at the end, to survive a restart."""
