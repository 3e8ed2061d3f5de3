"""Which head stands for a pan on a burner: one ranking, wherever one is needed."""

from __future__ import annotations

import math
from collections.abc import Iterable

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
