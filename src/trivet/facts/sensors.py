"""Sensor cards of classes of thermal arrays, from ``sensors.toml`` beside this file."""

from __future__ import annotations

import difflib
import tomllib
from functools import lru_cache
from importlib import resources

from trivet.errors import InputError
from trivet.records.sensorcard import SensorCard


@lru_cache(maxsize=1)
def _cards() -> tuple[SensorCard, ...]:
    text = resources.files("trivet.facts").joinpath("sensors.toml").read_text("utf-8")
    return tuple(SensorCard.model_validate(entry) for entry in tomllib.loads(text)["sensors"])


def sensor_cards() -> dict[str, SensorCard]:
    """Return every sensor card of the library by its name.

    Notes : The names are classes of arrays. A figure that no public source gives is None, which
        means unknown; a figure without a datasheet behind it has the origin ``assumed`` and a note
        that says why.
    """
    return {card.name: card for card in _cards()}


def card(name: str) -> SensorCard:
    """Return the sensor card of a name.

    Raises : InputError if the library has no such card; the nearest names are given
    """
    cards = sensor_cards()
    if name in cards:
        return cards[name]
    close = difflib.get_close_matches(name, cards, n=3, cutoff=0.5)
    hint = f"did you mean {' or '.join(close)}?" if close else f"known: {', '.join(cards)}"
    raise InputError(f"no sensor card {name!r} in the library; {hint}")
