"""The ``estimate`` stage: frames and sensor state to readings, frame by frame and causally.

Its arguments are all that it can see: no reference, no truth, no event and no
bench sheet is among them.
"""

from __future__ import annotations

from trivet.stages.estimate.stage import estimate

__all__ = ["estimate"]
