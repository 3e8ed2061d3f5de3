"""The alert log: every change of every alert, in the order in which the product would act.

``stages/alert`` makes one::

    alert(estimate: Estimate, *, design: Design, told: Told, watch: Watch | None = None,
          state: DeviceState = DeviceState()) -> AlertLog
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trivet.arrays import BoolArray, FloatArray

DEVICE = "device"
"""Stands where a burner's name would, for alerts about the device itself."""

AlertWord = Literal["on", "off", "escalated", "armed", "not armed"]


@dataclass(frozen=True)
class DeviceState:
    """State of the device beside its frames."""

    battery_frac: float = 1.0
    link: bool = True
    machine: bytes = b""
    """State of the alert machine saved before a restart; empty after a cold start."""
    window_loss_frac: float = 0.0
    """Share of the clean window's transmittance that is lost, as last measured."""


@dataclass(frozen=True)
class Watch:
    """What the device knows of itself and of the kitchen, moment by moment; (time,) each."""

    time_s: FloatArray
    """The estimate's times. [s]"""
    repeated: BoolArray
    """The frame is pixel for pixel the one before."""
    even: BoolArray
    """The frame shows no kitchen: a covered lens."""
    housing_k: FloatArray
    """Hottest housing of the heads. [K]"""
    battery_frac: FloatArray
    """Charge left. [-]"""
    link: BoolArray
    """Whether the link stands."""
    person: BoolArray
    """Whether the presence channel says that somebody is there."""


@dataclass(frozen=True)
class AlertChange:
    """One alert goes on or off, escalates, or is armed or not."""

    time_s: float
    burner: str
    """Or "device"."""
    alert: str
    state: AlertWord
    note: str = ""
    """For instance "at or above range"."""
    left_s: float | None = None
    """Of a predicted alert: time to the limit at the rate of the moment. [s]"""
    left_low_s: float | None = None
    """Low end of its 95 % interval; None where the reading has no interval. [s]"""
    left_high_s: float | None = None
    """High end; infinite where the rate may be none. [s]"""
    rate_kps: float | None = None
    """Heating rate. [K/s]"""

    @property
    def switches(self) -> bool:
        """Return whether the alert goes on or off here; one that escalates stays on."""
        return self.state in ("on", "off")


@dataclass(frozen=True)
class AlertLog:
    """All changes of one recording, in the order in which they come."""

    changes: tuple[AlertChange, ...]
    machine: bytes = b""
    """State of the alert machine at the end, to survive a restart."""


@dataclass(frozen=True)
class TunedPoint:
    """One set of settings and what it gave on the calibration cooks."""

    values: tuple[tuple[str, str], ...]
    """Key of the design and its text, with its unit."""
    lead_s: float
    """5 % quantile of the leads, a missed or late cook counted as none. [s]"""
    missed: int
    """Independent cooks missed or late."""
    nuisance: int
    """Independent cooks with a nuisance."""
    chatters: int
    turned: int = 0
    """Independent ordinary cooks that were warned of a limit and turned down before it."""

    @property
    def bothered(self) -> int:
        """How often the settings bother a cook who needs no alert."""
        return self.nuisance + self.chatters + self.turned


@dataclass(frozen=True)
class Tuning:
    """The front of one alert, and the pick; nothing of the design is changed."""

    alert: str
    cooks: tuple[str, ...]
    """The calibration cooks that it rests on."""
    independent: int
    due: int
    """Of these, cooks in which the alert was due."""
    evaluations: int
    seed: int
    now: TunedPoint
    """The design as it is."""
    front: tuple[TunedPoint, ...]
    """By falling lead."""
    pick: TunedPoint
    reason: str
