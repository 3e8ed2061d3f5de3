"""The registry of quality flags: why a moment of a burner cannot be trusted.

A flag is a bit; an estimate carries the bits that hold and one *reason*, the
flag of highest precedence.  Documentation is generated from this table.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag

import numpy as np

from trivet.arrays import BoolArray, FlagArray


class Quality(IntFlag):
    """Bits of the validity word, highest precedence first."""

    OK = 0
    STALE = 1 << 0
    SATURATED = 1 << 1
    WINDOW = 1 << 2
    HAND = 1 << 3
    LID = 1 << 4
    STEAM = 1 << 5
    COVERED = 1 << 6
    SHINY = 1 << 7
    TOO_FEW_PIXELS = 1 << 8
    ABSENT = 1 << 9
    COLD = 1 << 10
    UNCERTAIN = 1 << 11
    BELOW_RANGE = 1 << 12
    SETTLING = 1 << 13
    EDGE = 1 << 14
    MOVED = 1 << 15
    DEAD_PIXEL = 1 << 16
    CARRIED = 1 << 17


@dataclass(frozen=True)
class FlagMeaning:
    """What a flag means and whether it makes a reading invalid."""

    flag: Quality
    word: str
    blocks: bool
    meaning: str


FLAGS: tuple[FlagMeaning, ...] = (
    FlagMeaning(Quality.STALE, "stale", True, "no fresh frame within the declared time"),
    FlagMeaning(
        Quality.SATURATED,
        "saturated",
        True,
        "pixels at or above the sensor's range: at least this hot, how hot is unknown",
    ),
    FlagMeaning(Quality.WINDOW, "window", True, "the optical window is fogged or too dirty"),
    FlagMeaning(Quality.HAND, "hand", True, "a hand or arm crosses the pan"),
    FlagMeaning(Quality.LID, "lid", True, "a lid hides the contents"),
    FlagMeaning(Quality.STEAM, "steam", True, "droplets between pan and sensor"),
    FlagMeaning(Quality.COVERED, "covered", True, "food hides the surface asked for"),
    FlagMeaning(
        Quality.SHINY,
        "shiny",
        True,
        "band emissivity under 0.3, or not known to be above it: not measurable",
    ),
    FlagMeaning(
        Quality.TOO_FEW_PIXELS, "too_few_pixels", True, "under the pixels that a reading needs"
    ),
    FlagMeaning(Quality.ABSENT, "absent", True, "no pan seen on the burner"),
    FlagMeaning(
        Quality.COLD, "cold", True, "no thermal contrast: an empty or cold burner, not told apart"
    ),
    FlagMeaning(
        Quality.UNCERTAIN, "uncertain", True, "the 95 % interval exceeds the declared bound"
    ),
    FlagMeaning(Quality.BELOW_RANGE, "below_range", True, "under the sensor's scene range"),
    FlagMeaning(
        Quality.SETTLING, "settling", False, "the sensor warms after wake; the interval is widened"
    ),
    FlagMeaning(Quality.EDGE, "edge", False, "the pan's rim is cut by the edge of the field"),
    FlagMeaning(
        Quality.MOVED, "moved", False, "rims have drifted from where registration put them"
    ),
    FlagMeaning(Quality.DEAD_PIXEL, "dead_pixel", False, "a dead pixel was left out"),
    FlagMeaning(
        Quality.CARRIED,
        "carried",
        False,
        "the sensor sees food or a hand; the reading is of the hidden pan, carried on by a model",
    ),
)

WORDS: dict[Quality, str] = {entry.flag: entry.word for entry in FLAGS}
BLOCKING: Quality = Quality(sum(int(entry.flag) for entry in FLAGS if entry.blocks))


def reason(flags: Quality) -> str:
    """Return the word of the flag with the highest precedence, or ``"ok"``."""
    for entry in FLAGS:
        if flags & entry.flag:
            return entry.word
    return "ok"


def is_valid(flags: Quality) -> bool:
    """Return whether no blocking flag is set."""
    return not flags & BLOCKING


def has(flags: FlagArray, wanted: Quality) -> BoolArray:
    """Return whether any of some flags is set in each word, same shape."""
    return np.asarray((flags & np.uint32(wanted)) != 0)


def flag(which: Quality, condition: BoolArray) -> FlagArray:
    """Return a flag's bit where a condition holds and 0 elsewhere, same shape."""
    return np.where(condition, np.uint32(which), np.uint32(0))
