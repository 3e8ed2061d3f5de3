"""The ``calibrate`` stage: what calibration cooks and their references teach, with covariance.

Its arguments hold no truth; proof cooks and mixed evidence are refused.
"""

from __future__ import annotations

from trivet.stages.calibrate.stage import calibrate

__all__ = ["calibrate"]
