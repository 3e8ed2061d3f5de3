"""The ``simulate`` stage: a planned cook becomes a recording, with its truth apart.

Physics in ``cooking``, what is seen in ``scene``, what the sensor makes of it in
``sensing``, probes and sheet in ``references``, what was really so in ``truth``,
what each pixel really saw in ``seen``.
Every random draw comes from a stream of its own, see ``draws``.
"""

from __future__ import annotations

from trivet.stages.simulate.seen import scene_truth
from trivet.stages.simulate.stage import simulate

__all__ = ["scene_truth", "simulate"]
