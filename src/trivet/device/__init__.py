"""What the firmware does, in integers: inversion, reading, alerts; the C and its tables."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from trivet.physics.compiled import family

compiled: Any = family(Path(__file__).parent)
"""Compiles the functions of this room, which call one another."""
