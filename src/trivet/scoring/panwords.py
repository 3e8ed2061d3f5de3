"""What is said of bare pans, dark and shiny, at apparent temperatures that both can have."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from trivet.arrays import BoolArray
from trivet.models.actual import interpolated
from trivet.models.optics import card_band
from trivet.physics.radiation.planck import band_radiance, radiating_temperature_k
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.quality import BLOCKING, Quality
from trivet.records.checks import EVIDENCE, SAID, ConfusionRow, PanWord
from trivet.records.design import Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.scoring.strata import DARK_ABOVE, SHINY_BELOW, STRATUM_NAMES
from trivet.scoring.table import Rows

BAND_K = (318.15, 363.15)
"""45 to 90 C in apparent temperature: a shiny pan at 130 to 240 C, a dark one on its way up; own
estimate. [K]"""
FEWEST_MOMENTS = 8
"""Moments in the band from which a cook is asked; own estimate: 2 s at 4 Hz."""


def pan_words(
    rows: Sequence[Rows], *, less: Mapping[str, Estimate], design: Design
) -> Iterator[PanWord]:
    """Yield what was said of each bare pan of a simulated cook, evidence by evidence.

    ``less`` holds estimates that rest on less than all evidence.  None for a cook with fewer
    than 8 moments in the band.  The apparent temperature is that of the truth, surroundings
    at the design's middle.
    """
    for one in rows:
        truth = one.actual.truth
        if truth is None or one.actual.contents != "dry":
            continue
        mask, name = _asked(one, design)
        if int(mask.sum()) < FEWEST_MOMENTS:
            continue
        for evidence, estimate in {EVIDENCE[0]: one.cook.estimate, **less}.items():
            own = next((x for x in estimate.burners if x.burner == truth.burner), None)
            if own is not None:
                yield PanWord(one.cook.name, one.cook.plan, name, evidence, _word(own, mask))


def _asked(one: Rows, design: Design) -> tuple[BoolArray, str]:
    """Return the moments in the band without food or lid, and the kind of pan."""
    truth = one.actual.truth
    assert truth is not None
    band = card_band(design.card(design.heads[0]))
    eps = interpolated(truth.time_s, truth.emissivity, one.time_s)
    mirrored = band_radiance(design.surroundings.reflected_k.middle, band=band)
    safe = np.nan_to_num(one.seen_k, nan=300.0)
    signal = eps * band_radiance(safe, band=band) + (1.0 - eps) * mirrored
    apparent_k = radiating_temperature_k(signal, band=band)
    bare = (
        (one.stratum >= 0) & (one.stratum != STRATUM_NAMES.index("food")) & np.isfinite(one.seen_k)
    )
    mask = bare & (apparent_k >= BAND_K[0]) & (apparent_k <= BAND_K[1])
    middle = float(np.nanmedian(eps))
    return (
        mask,
        "dark" if middle >= DARK_ABOVE else "shiny" if middle < SHINY_BELOW else "seasoned",
    )


def _word(one: BurnerEstimate, mask: BoolArray) -> str:
    flags = one.flags[mask]
    shiny = (flags & np.uint32(int(Quality.SHINY))) != 0
    valid = (flags & np.uint32(int(BLOCKING))) == 0
    unsure = (flags & np.uint32(int(Quality.UNCERTAIN))) != 0
    word = np.select([valid, shiny, unsure], [0, 1, 2], default=3)
    return SAID[int(np.bincount(word, minlength=len(SAID)).argmax())]


def confusion_rows(words: Sequence[PanWord]) -> tuple[ConfusionRow, ...]:
    """Return how many cooks got which word, kind of pan by evidence; a plan counts once.

    With exact 95 % intervals (Clopper and Pearson, 1934).
    """
    rows = []
    for evidence in EVIDENCE:
        for truth in ("dark", "seasoned", "shiny"):
            first: dict[str, str] = {}
            for one in words:
                if (one.truth, one.evidence) == (truth, evidence):
                    first.setdefault(one.plan, one.said)
            if not first:
                continue
            counts = tuple(list(first.values()).count(word) for word in SAID)
            ends = [clopper_pearson(count, len(first)) for count in counts]
            rows.append(
                ConfusionRow(
                    truth,
                    evidence,
                    len(first),
                    counts,
                    tuple(low for low, _ in ends),
                    tuple(high for _, high in ends),
                )
            )
    return tuple(rows)
