"""What the checker of told rules and of signals expects: hashes over all that it tries."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from trivet.arrays import IntArray
from trivet.device.alertsignals import heard_signals, said_signals, state_words
from trivet.device.readingseeds import FIRST_SEED, drawn, hashed

DRAWN = 3000
FLAGS = 18
EXPECTED = "trivet_device_expected.h"
NO_BAND = 255


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
    Signals are those of ``alertsignals``; rules come straight from the design's settings
    and not from the tables that the C looks them up in.

    References
    ----------
    Fowler, Noll and Vo's hash, variant 1a, from memory.
    """
    return (
        f"#define TRIVET_FIRST_DRAWN {FIRST_SEED}u\n#define TRIVET_DRAWN_SAID {DRAWN}\n"
        f"#define TRIVET_RULES_HASH {hashed(rules)}u\n"
        f"#define TRIVET_MOMENTS_HASH {hashed(_moments(band_of))}u\n"
    )


def _words(draws: Iterable[int]) -> list[int]:
    return [(0, 1, 65535)[(x >> 8) % 3] if x % 5 == 0 else (x >> 8) % 65536 for x in draws]


def _moments(band_of: IntArray) -> list[int]:
    each = 5 + FLAGS + 5
    x, draws = FIRST_SEED, np.zeros((DRAWN, each), dtype=np.int64)
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
