"""Ten thousand mounts drawn for four burners, against the budget of two seconds."""

from __future__ import annotations

import statistics
import time
from pathlib import Path
from typing import Any

from trivet.files.design import read_design
from trivet.models.predicted import prediction_stream
from trivet.stages.predict.shadows import MOUNT_DRAWS, mount_tolerance
from trivet.stages.predict.views import Eye, seen_by

BUDGET_S = 2.0
ROUNDS = 7
DESIGN = Path(__file__).parents[1] / "examples" / "larkpane" / "design.toml"


def rows() -> list[dict[str, Any]]:
    """Time the tolerance stage as used: every pan on every burner, intervals included."""
    design = read_design(DESIGN)
    measured = []
    for model in ("rectilinear", "equal-angle"):
        cards = tuple(card.model_copy(update={"lens": model}) for card in design.sensors)
        made = design.model_copy(update={"sensors": cards})
        eyes: tuple[Eye, ...] = seen_by(made).eyes
        spans = []
        for _ in range(ROUNDS):
            start = time.perf_counter()
            found = mount_tolerance(
                made, eyes=eyes, stream=lambda name, made=made: prediction_stream(made, name=name)
            )
            spans.append(time.perf_counter() - start)
        if found.draws != MOUNT_DRAWS or len(found.lines) != len(design.burners) * len(design.pans):
            raise AssertionError("not every pan on every burner was drawn")
        median_s = statistics.median(spans[1:])
        measured.append(
            {
                "name": f"mount tolerance, {MOUNT_DRAWS:,} draws, {model}",
                "baseline": f"budget {BUDGET_S:g} s",
                "ratio": BUDGET_S / median_s,
                "goal": 1.0,
                "detail": f"{median_s:.3f} s, median of {ROUNDS - 1}, warm;"
                f" {len(found.lines)} pans on burners; 1 thread",
            }
        )
    return measured
