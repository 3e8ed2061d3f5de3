"""Full prediction of the demonstration design, warm, against its budget of one second."""

from __future__ import annotations

import statistics
import time
from pathlib import Path
from typing import Any

from trivet.files.design import read_design
from trivet.stages.predict import predict

BUDGET_S = 1.0
ROUNDS = 5
DESIGN = Path(__file__).parents[1] / "examples" / "larkpane" / "design.toml"


def rows() -> list[dict[str, Any]]:
    """Time the whole stage as it is used: views, budgets, margins, battery, money."""
    design = read_design(DESIGN)
    prediction = predict(design)
    spans = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        predict(design)
        spans.append(time.perf_counter() - start)
    median_s = statistics.median(spans)
    return [
        {
            "name": "predict, four burners",
            "baseline": f"budget {BUDGET_S:g} s",
            "ratio": BUDGET_S / median_s,
            "goal": 1.0,
            "detail": f"{median_s:.2f} s, median of {ROUNDS}, warm; {len(prediction.budgets)}"
            f" budgets of 20,000 draws, {len(prediction.margins)} alert margins; 1 thread",
        }
    ]
