"""What reference probes tell of a surface, and what they do not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.models.actual import Actual, hottest_series, surface_named, surface_series
from trivet.records.benchsheet import SheetProbe
from trivet.records.recording import ProbeSeries
from trivet.records.requirement import OF_WORDS, Of

TIMES = np.arange(4.0)


def _probe(touches: str, kelvin: float, u: float = 2.0) -> ProbeSeries:
    probe = SheetProbe.model_validate(
        {
            "column": f"{touches}-{kelvin:g}",
            "burner": "left",
            "x": "0 mm",
            "y": "0 mm",
            "touches": touches,
            "attachment": "welded",
        }
    )
    return ProbeSeries(probe, TIMES, np.full(4, kelvin), np.full(4, u))


def _actual(*probes: ProbeSeries) -> Actual:
    return Actual("left", "dry", TIMES, None, probes)


def test_one_probe_never_tells_the_mean_of_a_pan() -> None:
    one = _actual(_probe("pan", 450.0))
    assert np.isinf(surface_series(one, "pan").u_k).all()
    assert hottest_series(one, "pan").u_k == pytest.approx(2.0)


def test_the_mean_lies_somewhere_between_the_probes() -> None:
    """A uniform distribution of width 12 K has u = 12 / sqrt(12) (JCGM 100:2008, 4.3.7)."""
    found = surface_series(_actual(_probe("pan", 450.0), _probe("pan", 462.0)), "pan")
    assert found.value_k == pytest.approx(456.0)
    assert found.u_k == pytest.approx(math.hypot(2.0, math.sqrt(12.0)))


def test_probes_that_differ_by_more_than_they_are_known_give_no_verdict() -> None:
    one = _actual(_probe("pan", 450.0), _probe("pan", 480.0))
    so, u = surface_named(one, np.full(4, OF_WORDS.index("pan"), dtype=np.int8))
    assert np.isfinite(so).all()
    assert np.isinf(u).all()


@pytest.mark.parametrize("of", ["liquid", "oil"])
def test_contents_are_told_by_one_probe(of: Of) -> None:
    assert surface_series(_actual(_probe(of, 370.0)), of).u_k == pytest.approx(2.0)


def test_a_gap_is_no_temperature() -> None:
    gap = _probe("pan", 450.0)
    gap.temperature_k[1] = np.nan
    both = surface_series(_actual(gap, _probe("pan", 452.0)), "pan")
    assert np.isinf(both.u_k[1])
    assert both.u_k[0] < 3.0
    alone = surface_series(_actual(gap), "pan")
    assert np.isnan(alone.value_k[1])
    assert np.isnan(alone.u_k[1])
