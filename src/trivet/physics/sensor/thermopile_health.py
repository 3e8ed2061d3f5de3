"""The health of a thermopile array's raw words: clipped, stuck, or of which subpage."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray
from trivet.errors import RecordingError
from trivet.physics.sensor.halfframes import ReadPattern, subpage_mask
from trivet.physics.sensor.thermopile_memory import COLS, ROWS, sixteen_bit_words

RAM_START = 0x0400


def saturated_pixels(ram: ArrayLike) -> BoolArray:
    """Return the pixels whose word stands at an end of the converter.

    ram : (832,) raw half frame
    Returns : (24, 32) of bool true at 0x7FFF and 0x8000: at least this hot, or at most this cold
    Notes : A clipped word still converts to a finite temperature; this mask says that it is a
        bound.
    Source : MLX90640 datasheet, revision 12 (2019), for the words; the judgement is ours
    """
    words = sixteen_bit_words(ram, what="half frame", start=RAM_START)
    pixels = words[: ROWS * COLS].reshape(ROWS, COLS)
    return np.asarray((pixels == 0x7FFF) | (pixels == 0x8000), dtype=np.bool_)


def stuck_pixels(rams: ArrayLike, *, at_least: int = 8) -> BoolArray:
    """Return the pixels whose word never changes while the array's others do.

    rams : (time, 832) raw half frames of one recording
    at_least : fewest half frames that such a judgement needs
    Returns : (24, 32) of bool true at stuck pixels; none in a shorter recording, and none where
        over a tenth of the array stands still: that is a replay or a frozen block
    Notes : Noise is 2 to 5 counts, so that a healthy pixel keeps one word through 8 reads with a
        chance under 1e-4. Each subpage is refreshed in every second half frame, hence twice
        ``at_least`` half frames are asked for.
    Source : MLX90640 datasheet, revision 12 (2019), for the words; the judgement is ours
    """
    words = np.asarray(rams)[:, : ROWS * COLS]
    if words.shape[0] < 2 * at_least:
        return np.zeros((ROWS, COLS), dtype=np.bool_)
    still = np.asarray(np.all(words == words[0], axis=0), dtype=np.bool_)
    if np.mean(still) > 0.1:  # the block is replayed or frozen: no fault of single pixels
        return np.zeros((ROWS, COLS), dtype=np.bool_)
    return still.reshape(ROWS, COLS)


def updated_subpage(
    ram: ArrayLike, *, previous: ArrayLike, pattern: ReadPattern = "chess"
) -> int | None:
    """Return which subpage a half frame renewed, judged by the words that changed.

    ram, previous : (832,) a half frame and the one read before it
    pattern : "chess" or "interleaved": how the array was set to read
    Returns : 0 or 1; None when the changes do not tell (no change at all, or both halves changed
        because a read was missed)
    Notes : A half counts as renewed when over 30 % of its words changed and as kept when under 1 %
        did; noise of 2 to 5 counts changes 80 to 90 %.
    Source : MLX90640 datasheet, revision 12 (2019), for the words; the judgement is ours
    """
    changed = (np.asarray(ram) != np.asarray(previous))[: ROWS * COLS].reshape(ROWS, COLS)
    share = [
        float(np.mean(changed[subpage_mask(ROWS, cols=COLS, pattern=pattern, subpage=half)]))
        for half in (0, 1)
    ]
    if share[0] > 0.3 and share[1] < 0.01:
        return 0
    if share[1] > 0.3 and share[0] < 0.01:
        return 1
    return None


def confirm_subpage(
    ram: ArrayLike, *, previous: ArrayLike, stated: int, pattern: ReadPattern = "chess"
) -> None:
    """Refuse a half frame whose stated subpage contradicts the words that changed.

    ram, previous : (832,) a half frame and the one read before it
    stated : the subpage in the status word stored with the half frame
    pattern : "chess" or "interleaved": how the array was set to read
    Returns : nothing, where the words agree or do not tell
    Raises : RecordingError if the other half of the pixels was renewed
    Notes : A wrong subpage converts stale pixels with the wrong blind pixel and calls them fresh;
        with the maker's typical constants that is 0.1 to 1 K and one turn of delay.
    Source : MLX90640 datasheet, revision 12 (2019), for the words; the judgement is ours
    """
    renewed = updated_subpage(ram, previous=previous, pattern=pattern)
    if renewed is not None and renewed != stated:
        raise RecordingError(
            f"half frame: its status says subpage {stated}, but the pixels of subpage {renewed} "
            f"changed ({pattern} pattern). Status and words were read at different turns, or "
            "the read pattern is not the one stated; read both in one go."
        )
