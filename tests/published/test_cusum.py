"""Run lengths of cumulative sums against printed ones."""

from __future__ import annotations

import pytest

from trivet.physics.sensor.window import cusum_run


def test_mean_run_lengths(published):
    for row in published("cusum"):
        _, got = cusum_run(row["limit"], allowance=row["allowance"], shift=row["shift"], n=10)
        assert got == pytest.approx(row["expected"], abs=row["tolerance"], rel=0), row["id"]
