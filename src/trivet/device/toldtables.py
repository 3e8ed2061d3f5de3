"""What a cook can tell the firmware, by numbers, and the tables that it chooses settings from."""

from __future__ import annotations

from dataclasses import dataclass

from trivet.arrays import IntArray

NO_RULE = 255
"""The alert does not act; no row of oil points; of no told band."""


@dataclass(frozen=True)
class ToldWords:
    """Names of what can be told; place 0 of each is nothing told."""

    pans: tuple[str, ...]
    contents: tuple[str, ...]
    bands: tuple[str, ...]
    oils: tuple[str, ...]


@dataclass(frozen=True)
class ToldRules:
    """The settings of every alert by what is told of a burner, as the firmware holds them."""

    words: ToldWords
    rules: IntArray
    """(rule, 13) each setting once."""
    rule_of: IntArray
    """(contents, band, alert) which rule, or NO_RULE."""
    device_rule: IntArray
    """(alert,) the same for the device itself."""
    place_of: IntArray
    """(pan, contents) which surface of the reading."""
    band_of: IntArray
    """(band,) of what the band is."""
    oil_row: IntArray
    """(alert,) which row of oil points, or NO_RULE."""
    oil_dk: IntArray
    """(row, oil, uses) limit for a told oil. [0.1 K]"""
