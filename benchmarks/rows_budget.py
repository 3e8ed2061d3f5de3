"""Monte Carlo of the error budget: 200,000 draws, four burners, five bases, in three seconds."""

from __future__ import annotations

import statistics
import time
from pathlib import Path
from typing import Any

import numpy as np

from trivet.files.design import read_design
from trivet.models.predicted import prediction_stream
from trivet.records.design import Design
from trivet.stages.predict.budget import (
    SHARE_POINTS,
    error_k,
    first_order,
    monte_carlo,
    unit_draws,
    variance_shares,
)
from trivet.stages.predict.cases import Cases
from trivet.stages.predict.readings import Wanted, places_of
from trivet.stages.predict.terms import cases_of
from trivet.stages.predict.views import seen_by

BUDGET_S = 3.0
DRAWS = 200_000
ROUNDS = 5
KELVIN = {"water": 363.15}
DESIGN = Path(__file__).parents[1] / "examples" / "larkpane" / "design.toml"


def _cases(design: Design) -> Cases:
    """Return every base in the first pan that holds it on every burner."""
    seen = seen_by(design)
    pan = design.pans[0]
    wanted = [Wanted(base, pan, KELVIN.get(base.name, 453.15)) for base in design.bases]
    places = [place for own in places_of(design, seen, wanted) for place in own]
    return cases_of(design, eye=seen.eyes[0], places=places)


def _budget(design: Design, cases: Cases) -> float:
    """Draw, propagate and take moments and intervals, as the stage does; return seconds."""
    start = time.perf_counter()
    draws = unit_draws(
        cases.terms,
        generator=prediction_stream(design, name="bench"),
        draws=DRAWS,
        pairs=cases.pairs,
    )
    drawn = monte_carlo(cases, draws=draws)
    spent = time.perf_counter() - start
    if not np.all(np.isfinite(drawn.deviation)):
        raise AssertionError("a case has no deviation")
    return spent


def _plain(cases: Cases, draws: int) -> float:
    """Propagate through the unfused equation with whole arrays; return seconds a draw and case."""
    generator = np.random.default_rng(1)
    deviations: dict[str, Any] = {}
    for term in cases.terms:
        wide = (term.high - term.low)[:, None] * generator.random((1, draws))
        wide = np.nan_to_num(wide + term.low[:, None])
        deviations[term.field] = deviations.get(term.field, 0.0) + wide
    start = time.perf_counter()
    error_k(cases, deviations=deviations)
    return (time.perf_counter() - start) / (draws * cases.temperature_k.size)


def rows() -> list[dict[str, Any]]:
    """Time draws with intervals, and first order with shares, on the demonstration design."""
    design = read_design(DESIGN)
    cases = _cases(design)
    count = cases.temperature_k.size
    if count != len(design.burners) * len(design.bases):
        raise AssertionError(f"{count} cases, not every base on every burner")
    spans, plain, analytic = [], [], []
    for _ in range(ROUNDS + 1):
        spans.append(_budget(design, cases))
        plain.append(_plain(cases, 20_000))
        start = time.perf_counter()
        first_order(cases)
        variance_shares(cases, generator=prediction_stream(design, name="bench/shares"))
        analytic.append(time.perf_counter() - start)
    median_s = statistics.median(spans[1:])
    each_ns = 1e9 * median_s / (DRAWS * count)
    return [
        {
            "name": f"error budget, {DRAWS:,} draws",
            "baseline": f"budget {BUDGET_S:g} s",
            "ratio": BUDGET_S / median_s,
            "goal": 1.0,
            "detail": f"{median_s:.2f} s, median of {ROUNDS}, warm; {len(design.burners)} burners x"
            f" {len(design.bases)} bases, {len(cases.terms)} terms; {each_ns:.0f} ns a draw with"
            f" intervals, {1e9 * statistics.median(plain[1:]):.0f} ns unfused without; 1 thread",
        },
        {
            "name": "first and second order with shares",
            "baseline": "budget 0.5 s",
            "ratio": 0.5 / statistics.median(analytic[1:]),
            "goal": 1.0,
            "detail": f"{statistics.median(analytic[1:]):.3f} s; same cases, {SHARE_POINTS} base"
            " points; 1 thread",
        },
    ]
