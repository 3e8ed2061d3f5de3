"""Whole cooks as text for the checker: frames in, what is said and every alert's change out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from trivet.arrays import IntArray

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
    for ms, moment in _moments(cook):
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


def _moments(cook: GoldenCook) -> Iterator[tuple[int, list[str]]]:
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
