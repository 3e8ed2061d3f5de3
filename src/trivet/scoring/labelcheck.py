"""Labels of pixels held against what the pixels saw, by class and size of the thing seen."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from trivet.arrays import FloatArray
from trivet.records.recording import LABELS, LabelMaps, PanPlace, SceneTruth

Answers = dict[tuple[str, str], list[tuple[float, float]]]
"""By kind and part: error or share, and the half-width stated for it (NaN: none)."""
LARGE_PX, SMALL_PX, MIN_PX = 20, 8, 0.5
FALSE_PX = 3
WARM_DELTA_K = 15.0
"""A pan less than this over the hob counts as cold: its outline is no contrast."""
PATCH_SHARE = 0.1
U95 = 1.96
SHINY = 0.30
"""As in the strata."""


def label_answers(truth: SceneTruth, said: tuple[LabelMaps, ...]) -> Answers:
    """Return overlaps, small areas and false labels of one cook.

    Parameters
    ----------
    truth : SceneTruth
        What each pixel saw.
    said : tuple of LabelMaps
        The product's own, of the same heads, at the same moments.

    Returns
    -------
    dict
        Lists of (overlap or error, half-width or NaN) by kind and part.

    Notes
    -----
    A thing is all of one label inside one rim; its size and part come from the truth.
    A burner that the product does not read on this head is left out.  Overlap: pixels in
    both over pixels in either.

    References
    ----------
    Jaccard index.
    """
    found: Answers = defaultdict(list)
    for so in truth.heads:
        own = next((one for one in said if one.head == so.head), None)
        if own is None:
            continue
        for k, burner in enumerate(so.burners):
            if burner not in own.burners:
                continue
            pan = next(one for one in truth.pans if one.burner == burner)
            for m in range(min(so.time_s.size, own.time_s.size)):
                _moment(found, so, own, m, places=(k, own.burners.index(burner)), pan=pan)
    return found


def _moment(
    found: Answers,
    so: LabelMaps,
    own: LabelMaps,
    m: int,
    *,
    places: tuple[int, int],
    pan: PanPlace,
) -> None:
    k, mine = places
    state = _state(so, m, k, pan)
    for index, word in enumerate(LABELS[1:], 1):
        true = (so.label[m] == index) & (so.owner[m] == k)
        seen = (own.label[m] == index) & (own.owner[m] == mine)
        size, area = int(true.sum()), float(so.area_px[m, k, index])
        if size >= SMALL_PX:
            kind = "label-large" if size >= LARGE_PX else "label-small"
            overlap = float((true & seen).sum() / (true | seen).sum())
            found[kind, f"{word}{state}"].append((overlap, np.nan))
        elif area >= MIN_PX:
            off = float(own.area_px[m, mine, index]) - area
            found["label-area", f"{word}{state}"].append(
                (off, U95 * float(own.area_u_px[m, mine, index]))
            )
        else:
            found["label-false", word].append((float(seen.sum() >= FALSE_PX), np.nan))


def _state(so: LabelMaps, m: int, k: int, pan: PanPlace) -> str:
    """Return what else makes the labels of a moment hard, by what was so."""
    metal, liquid = (so.area_px[m, k, LABELS.index(one)] for one in ("pan", "liquid"))
    if pan.pan_k[m] - pan.hob_k[m] < WARM_DELTA_K:
        return ", cold pan"
    if pan.bare_emissivity < SHINY and liquid < 1.0:
        return ", bare shiny pan"
    if min(metal, liquid) > PATCH_SHARE * max(metal + liquid, 1.0):
        return ", film in patches"
    return ""


def kept(answers: Answers) -> Iterator[tuple[str, str, FloatArray]]:
    """Yield kind, part and (answer, 2) of what one cook says."""
    for (kind, part), values in answers.items():
        yield kind, part, np.array(values)
