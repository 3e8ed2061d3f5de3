"""Readings held against truth or references, stratum by stratum."""

from __future__ import annotations

from trivet.stages.score.moments import label_moments
from trivet.stages.score.pieces import ScoredCook, SeenCook, cook_checks, cook_pieces
from trivet.stages.score.sheet import score_sheet
from trivet.stages.score.shortcooks import MISMATCHES, short_cooks

__all__ = [
    "MISMATCHES",
    "ScoredCook",
    "SeenCook",
    "cook_checks",
    "cook_pieces",
    "label_moments",
    "score_sheet",
    "short_cooks",
]
