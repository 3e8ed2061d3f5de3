"""Which head stands for a pan on a burner: one ranking, wherever one is needed."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable

import numpy as np

from trivet.records.design import Design
from trivet.records.prediction import PanView


def view_rank(view: PanView) -> tuple[float, float, float]:
    """Return what views of one pan on one burner are ranked by, largest first.

    The share of the rim with its margin in the field, then pixels across, then the
    margin.  A head that sees the rim whole comes before one that does not; of two that do,
    the one that resolves it better.
    """
    across = view.pixels_across if math.isfinite(view.pixels_across) else -math.inf
    return view.rim_in_view_frac, across, view.margin_m


def best_views(views: Iterable[PanView]) -> dict[tuple[str, str], PanView]:
    """Return for each burner and pan the view that stands for it.

    Parameters
    ----------
    views : iterable of PanView
        By every head.

    Returns
    -------
    dict
        Burner and pan to view, in the order of the views.
    """
    best: dict[tuple[str, str], PanView] = {}
    for view in views:
        key = (view.burner, view.pan)
        if key not in best or view_rank(view) > view_rank(best[key]):
            best[key] = view
    return best


def best_view(
    views: tuple[PanView, ...], *, burner: str, pan: str, min_in_view_frac: float = 0.0
) -> PanView | None:
    """Return the view that stands for a pan, or None where no head sees it.

    Ranked by :func:`view_rank`.
    """
    own = [
        view
        for view in views
        if view.burner == burner
        and view.pan == pan
        and view.rim_in_view_frac > min_in_view_frac
        and math.isfinite(view.pixels_across)
    ]
    return max(own, key=view_rank, default=None)


def unseen_burners(design: Design, *, views: tuple[PanView, ...]) -> tuple[str, ...]:
    """Return the names of burners of which no head sees any pan."""
    seen = {view.burner for view in views if view.rim_in_view_frac > 0.0}
    return tuple(burner.name for burner in design.burners if burner.name not in seen)


def prediction_stream(design: Design, *, name: str) -> np.random.Generator:
    """Return the random generator of a named part of the prediction.

    Seeded by the project's seed and the SHA-256 of the name alone, so that one part
    does not move when another is changed.
    """
    words = np.frombuffer(hashlib.sha256(f"predict/{name}".encode()).digest(), np.uint32)
    entropy = [design.project.seed, *(int(word) for word in words)]
    return np.random.default_rng(np.random.SeedSequence(entropy))
