"""The chain from frames to alerts as C: names, tables, and what its checkers expect."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import IntArray
from trivet.device.alertwords import (
    BOIL_DRY,
    COLUMN_NAMES,
    KIND,
    KINDS,
    NO_RULE,
    TIME_TO_LIMIT,
    ToldRules,
    heard_signals,
    said_signals,
    state_words,
)
from trivet.device.firmware import braced, code_text
from trivet.device.readingseeds import DRAW_SEED, drawn, hashed

NAMES, DATA = "trivet_names.h", "trivet_device_data.c"
CODE, HEADER = "trivet_device.c", "trivet_device.h"
CHECKS = ("trivet_cook_check.c", "trivet_device_check.c")


@dataclass(frozen=True)
class DeviceTables:
    """Everything that the chain needs beside the reading's constants."""

    burners: tuple[str, ...]
    alerts: tuple[str, ...]
    told: ToldRules
    units: tuple[tuple[int, int], ...]
    """Each burner's head and its place there."""
    untold_uses: int
    stale_ms: int
    hand_counts_ms: int
    handled_ms: int
    even_dk: int

    def kind_places(self, kind: int) -> list[int]:
        """Return, alert by alert, its place among those of a kind, NO_RULE for the others."""
        places: list[int] = []
        for alert in range(len(self.alerts)):
            used = set(self.told.rule_of[:, :, alert].ravel().tolist()) - {NO_RULE}
            mine = any(int(self.told.rules[at, KIND]) == kind for at in used)
            count = sum(one != NO_RULE for one in places)
            places.append(count if mine else NO_RULE)
        return places


def device_texts(tables: DeviceTables) -> dict[str, str]:
    """Return the C files of the chain: name and text.

    Parameters
    ----------
    tables : DeviceTables
        Of the design.

    Returns
    -------
    dict
        Code, names, tables and the checker of whole cooks.

    Notes
    -----
    The code is the same for every design; only names and tables differ.
    """
    return {
        **{name: code_text(name) for name in (CODE, HEADER, *CHECKS)},
        NAMES: _names_text(tables),
        DATA: _data_text(tables),
    }


def macro(name: str) -> str:
    """Return a name as the tail of a macro."""
    return re.sub(r"[^A-Z0-9]+", "_", name.upper()).strip("_") or "NONE"


def _names_text(tables: DeviceTables) -> str:
    words = tables.told.words
    lines = ["#ifndef TRIVET_NAMES_H", "#define TRIVET_NAMES_H", ""]
    lists: tuple[tuple[str, Sequence[str]], ...] = (
        ("UNIT", (*tables.burners, "device")),
        ("ALERT", tables.alerts),
        ("PAN", words.pans),
        ("CONTENTS", words.contents),
        ("BAND", words.bands),
        ("OIL", words.oils),
    )
    for kind, listed in lists:
        lines += [f"#define TRIVET_{kind}_{macro(one)} {at}" for at, one in enumerate(listed)]
        lines.append("")
    most = {
        kind: sum(at != NO_RULE for at in tables.kind_places(number))
        for kind, number in (("SLOPES", TIME_TO_LIMIT), ("POTS", BOIL_DRY))
    }
    sizes = {
        "BURNERS": len(tables.burners),
        "UNITS": len(tables.burners) + 1,
        "ALERTS": len(tables.alerts),
        "PANS": len(words.pans),
        "CONTENTS": len(words.contents),
        "BANDS": len(words.bands),
        "OILS": len(words.oils),
        "RULES": tables.told.rules.shape[0],
        "OIL_ROWS": tables.told.oil_dk.shape[0],
        "OIL_USES": tables.told.oil_dk.shape[2],
        "UNTOLD_USES": tables.untold_uses,
        **{f"MOST_{kind}": max(count, 1) for kind, count in most.items()},
        "STALE_MS": tables.stale_ms,
        "HAND_COUNTS_MS": tables.hand_counts_ms,
        "HANDLED_MS": tables.handled_ms,
        "EVEN_DK": tables.even_dk,
    }
    lines += [f"#define TRIVET_{name} {value}" for name, value in sizes.items()]
    return "\n".join([*lines, "", "#endif", ""])


def _table(kind: str, name: str, values: IntArray) -> str:
    """Return a const array of one, two or three dimensions."""
    sizes = "".join(f"[{n}]" for n in values.shape)

    def body(part: IntArray, depth: int) -> str:
        if part.ndim == 1:
            return "    " * depth + braced(part.tolist())
        rows = ",\n".join(body(one, depth + 1) for one in part)
        return "    " * depth + "{\n" + rows + "\n" + "    " * depth + "}"

    return f"const {kind} {name}{sizes} =\n{body(values, 0)};\n\n"


def _data_text(tables: DeviceTables) -> str:
    kinds = ", ".join(f"{number} {name}" for name, number in KINDS.items())
    units = ",\n".join("    " + braced(one) for one in tables.units)
    rows = ",\n".join("    " + braced(row) for row in tables.told.rules.tolist())
    alerts = len(tables.alerts)
    parts = [
        f'#include "{HEADER}"\n\n',
        f"/* {', '.join(COLUMN_NAMES)}; kinds: {kinds}. */\n",
        f"const trivet_alert trivet_rules[TRIVET_RULES] = {{\n{rows}\n}};\n\n",
        _table("uint8_t", "trivet_rule_of", tables.told.rule_of),
        _table("uint8_t", "trivet_device_rule", tables.told.device_rule),
        _table("uint8_t", "trivet_place_of", tables.told.place_of),
        _table("uint8_t", "trivet_band_of", tables.told.band_of),
        _table("uint8_t", "trivet_oil_row", tables.told.oil_row),
        _table("uint16_t", "trivet_oil_dk", tables.told.oil_dk),
        *(
            f"const uint8_t trivet_{name}_of[{alerts}] = {braced(tables.kind_places(kind))};\n\n"
            for name, kind in (("slope", TIME_TO_LIMIT), ("pot", BOIL_DRY))
        ),
        f"const trivet_unit trivet_units[TRIVET_BURNERS] = {{\n{units}\n}};\n",
    ]
    return "".join(parts)


DRAWN = 3000  # own estimate: each flag 250 times
FLAGS = 18  # bits of a flag word that the checker draws; those of trivet.quality
EXPECTED = "trivet_device_expected.h"
NO_BAND = 255  # definition: as NO_RULE


def expected_text(rules: Iterable[int], *, band_of: IntArray) -> str:
    """Return the header that the checker of the chain compares with.

    Parameters
    ----------
    rules : iterable of int
        Words of the rules of all that can be told, in the checker's order.
    band_of : (band,)
        Of what each told band is; NO_BAND without one.

    Returns
    -------
    str
        C text.

    Notes
    -----
    Signals are those of ``alertwords``; rules come straight from the design's settings
    and not from the tables that the C looks them up in.

    References
    ----------
    Fowler, Noll and Vo's hash, variant 1a, from memory.
    """
    return (
        f"#define TRIVET_FIRST_DRAWN {DRAW_SEED}u\n#define TRIVET_DRAWN_SAID {DRAWN}\n"
        f"#define TRIVET_RULES_HASH {hashed(rules)}u\n"
        f"#define TRIVET_MOMENTS_HASH {hashed(_moments(band_of))}u\n"
    )


def _words(draws: Iterable[int]) -> list[int]:
    return [(0, 1, 65535)[(x >> 8) % 3] if x % 5 == 0 else (x >> 8) % 65536 for x in draws]


def _moments(band_of: IntArray) -> list[int]:
    each = 5 + FLAGS + 5
    x, draws = DRAW_SEED, np.zeros((DRAWN, each), dtype=np.int64)
    for i in range(DRAWN):
        for k in range(each):
            x = int(drawn(x))
            draws[i, k] = x
    said = np.zeros((DRAWN, 10), dtype=np.int64)
    for column in range(5):
        said[:, column] = _words(draws[:, column].tolist())
    flags = ((draws[:, 5 : 5 + FLAGS] % 12 == 0) << np.arange(FLAGS)).sum(axis=1)
    of, present, heat, band, blind = draws[:, 5 + FLAGS :].T
    rows = []
    for i in range(DRAWN):
        told = int(band_of[band[i] % band_of.size])
        dark = np.array([blind[i] % 5 == 0])
        signals = heard_signals(
            said_signals(said[i : i + 1]),
            flags=flags[i : i + 1],
            of=of[i : i + 1] % 6,
            band_of=None if told == NO_BAND else told,
            blind=dark,
        )
        word = state_words(
            flags[i : i + 1],
            present=present[i : i + 1] % 3,
            heat_on=heat[i : i + 1] % 2 == 0,
            marks=np.zeros(1, dtype=np.int64),
            blind=dark,
        )
        rows += [*signals[:, 0].tolist(), int(word[0])]
    return rows


DIGIT_BITS, FIRST_DIGIT = 5, 48
"""A difference is written in digits of five bits from '0' on, lowest first; 32 more: goes on."""


@dataclass(frozen=True)
class GoldenCook:
    """One cook, as the firmware gets it and as it must answer."""

    name: str
    told: IntArray
    """(burner, 5) pan, contents, band, oil, uses + 1."""
    frames: tuple[tuple[IntArray, IntArray], ...]
    """Each head's words (time, pixel) and (time, 3): time [ms], housing, awake [ms]."""
    known: IntArray
    """(moment, 4) charge and window loss [1/1000], link, somebody there."""
    said: IntArray
    """(moment, burner, 10) what is said at each frame of the first head."""
    blind_ms: IntArray
    """Moments at which frames had stayed away for too long. [ms]"""
    changes: IntArray
    """(change, 8) moment [ms], unit, alert, what, and the time left with its ends and rate."""


def cook_name(at: int) -> str:
    """Return the name of a cook's file."""
    return f"cook_{at + 1:02d}.txt"


def encoded_rows(frames: IntArray) -> list[str]:
    """Return each frame (time, pixel) as the differences to the frame before, one string each.

    Parameters
    ----------
    frames : (time, pixel)
        Words of 16 bits; before the first all are 0.

    Returns
    -------
    list of str
        Printable characters only.

    Notes
    -----
    About 1.5 characters a pixel at 0.3 K of noise.

    References
    ----------
    Variable-length numbers with the sign in the lowest bit, common practice.
    """
    steps = np.diff(frames, axis=0, prepend=0).ravel()
    value = np.where(steps >= 0, 2 * steps, -2 * steps - 1)
    digits = np.ones(value.size, dtype=np.int64)
    for n in (1, 2, 3):
        digits += value >= 1 << (DIGIT_BITS * n)
    ends = np.cumsum(digits)
    out = np.zeros(int(ends[-1]) if ends.size else 0, dtype=np.uint8)
    for n in range(4):
        has = digits > n
        more = (digits[has] > n + 1).astype(np.int64) << DIGIT_BITS
        digit = (value[has] >> (DIGIT_BITS * n)) & ((1 << DIGIT_BITS) - 1)
        out[ends[has] - digits[has] + n] = FIRST_DIGIT + (digit | more)
    cuts = ends.reshape(frames.shape)[:, -1].tolist() if frames.size else []
    text = out.tobytes().decode("ascii")
    return [text[a:b] for a, b in zip([0, *cuts[:-1]], cuts, strict=True)]


def cook_text(cook: GoldenCook) -> str:
    """Return one cook as the lines that the checker reads.

    Parameters
    ----------
    cook : GoldenCook
        Frames and answers.

    Returns
    -------
    str
        Lines: cook, told, frame and its pixels, step, said, alert, blind, end.

    Notes
    -----
    Frames of several heads come in the order of their times, the first head's last.

    References
    ----------
    ``device/c/trivet_cook_check.c`` reads it.
    """
    lines = [f"cook {cook.name}"]
    lines += [f"told {_row(at, row)}" for at, row in enumerate(cook.told.tolist())]
    changes = cook.changes.tolist()
    taken = 0
    for ms, moment in _cook_moments(cook):
        lines += moment
        while taken < len(changes) and changes[taken][0] == ms:
            lines.append(f"alert {' '.join(map(str, changes[taken][1:]))}")
            taken += 1
    if taken != len(changes):
        raise ValueError(f"{cook.name}: a change is at no moment of the cook")
    return "\n".join([*lines, "end", ""])


def _row(*parts: object) -> str:
    flat = [str(x) for part in parts for x in (part if isinstance(part, list) else [part])]
    return " ".join(flat)


def _cook_moments(cook: GoldenCook) -> Iterator[tuple[int, list[str]]]:
    """Yield every moment of the machine with its lines, frames of other heads before it."""
    rows = [encoded_rows(pixels) for pixels, _ in cook.frames]
    coming: list[tuple[int, int, int, int]] = []
    for head, (_, sensor) in enumerate(cook.frames):
        order = len(cook.frames) if head == 0 else head
        coming += [(ms, order, head, t) for t, ms in enumerate(sensor[:, 0].tolist())]
    coming += [(ms, -1, -1, 0) for ms in cook.blind_ms.tolist()]
    waiting: list[str] = []
    for ms, _, head, t in sorted(coming):
        if head < 0:
            yield ms, [*waiting, f"blind {ms}"]
            waiting = []
            continue
        waiting += [f"frame {_row(head, cook.frames[head][1][t].tolist())}", rows[head][t]]
        if head == 0:
            said = [f"said {_row(b, one)}" for b, one in enumerate(cook.said[t].tolist())]
            yield ms, [*waiting, f"step {_row(ms, cook.known[t].tolist())}", *said]
            waiting = []
