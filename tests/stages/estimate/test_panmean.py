"""One number for a pan, by the named reporters."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.image.burnerpass import WIDTH, PanTrace
from trivet.physics.image.panreading import MEAN_K, P95_K
from trivet.stages.estimate.panmean import reported_scene_k


def test_what_a_reporter_lacks_is_the_mean_and_what_it_differs_by_is_doubt() -> None:
    table = np.full((2, WIDTH), np.nan)
    trace = PanTrace(table)
    trace.read(P95_K)[:] = 450.0, np.nan
    trace.read(MEAN_K)[:] = 439.0
    rings = np.full((2, 5), np.nan)
    mean, doubt = np.array([440.0, 440.0]), np.array([3.0, 3.0])
    number, wider = reported_scene_k(trace, "p95", ring_k=rings, mean_k=mean, u_k=doubt)
    assert number.tolist() == [450.0, 440.0]
    assert wider.tolist() == pytest.approx([np.hypot(3.0, 10.0), 3.0])
    same, unchanged = reported_scene_k(trace, "area-mean", ring_k=rings, mean_k=mean, u_k=doubt)
    assert same is mean
    assert unchanged is doubt
