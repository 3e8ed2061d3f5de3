"""The ``estimate`` stage: frames and sensor state to readings, frame by frame and causally.

``estimate`` reads a whole recording; ``Estimator`` reads a stream, block by block;
``label_maps`` says what each pixel shows.

Its arguments are all that it can see: no reference, no truth, no event and no
bench sheet is among them.
"""

from __future__ import annotations

from trivet.stages.estimate.stage import estimate, label_maps
from trivet.stages.estimate.streaming import Estimator

__all__ = ["Estimator", "estimate", "label_maps"]
