"""Readings held against truth or references, stratum by stratum."""

from __future__ import annotations

from trivet.stages.score.pieces import ScoredCook, cook_pieces
from trivet.stages.score.sheet import score_sheet
from trivet.stages.score.shortcooks import MISMATCHES, short_cooks

__all__ = ["MISMATCHES", "ScoredCook", "cook_pieces", "score_sheet", "short_cooks"]
