"""Hand over to firmware: what was proven, as C with golden vectors, an error map and a manifest."""

from __future__ import annotations

from trivet.stages.handoff.stage import handoff

__all__ = ["handoff"]
