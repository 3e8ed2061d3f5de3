"""What a search over an alert's settings found: the front, and the pick with its evidence."""

from __future__ import annotations

from dataclasses import dataclass


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
