"""Drift is told by what has a known temperature whatever its surface: water and cold dark pans."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.stages.calibrate.fits import expected_k, fitted_drift
from trivet.stages.calibrate.headscenes import HeadTerms, SensorState
from trivet.stages.calibrate.nominal import EmissivityPrior, nominal_head
from trivet.stages.calibrate.pairs import PairSeries, SurfaceGroup

WATER = SurfaceGroup("water", "", False)
IRON = SurfaceGroup("dry", "seasoned-cast-iron", False)
PLANTED = np.array([0.8, 0.12, 4.0, 0.0])


def _series(view, name, *, contents, top_k, emissivity, beside):
    """A warm-up whose pixels stand ``beside`` kelvin beside the probe at the end."""
    time = np.arange(2.0, 400.0, 5.0)
    rise = 1.0 - np.exp(-time / 150.0)
    reference = 300.0 + (top_k - 300.0) * np.clip(time / 240.0, 0.0, 1.0)
    housing, rate = 298.15 + 12.0 * rise, 12.0 / 150.0 * np.exp(-time / 150.0)
    size = time.size
    one = PairSeries(
        recording=name, unit="a", group=WATER if contents == "water" else IRON,
        depth_m=0.02 if contents == "water" else 0.0,
        apparent_k=reference, u_k=np.full(size, 0.3), reference_k=reference, reference_u_k=0.5,
        state=SensorState(housing, rate, 3600.0 + time), beside_k=np.zeros((size, 3)),
    )  # fmt: skip
    wake = np.exp(-(3600.0 + time) / view.drift.tau_s)
    terms = np.column_stack([np.ones(size), housing - 298.15, rate, wake])
    seen = expected_k(one, view=view, emissivity=emissivity) + terms @ PLANTED
    seen = seen + beside * (reference - 300.0) / (top_k - 300.0)
    noise = np.random.default_rng(len(name)).normal(0.0, 0.2, size)
    return PairSeries(**{**vars(one), "apparent_k": seen + noise})


@pytest.mark.parametrize("beside", [0.0, -40.0])
def test_what_stands_beside_a_hot_pan_is_no_drift(design, beside):
    head = design.heads[0]
    card = design.card(head)
    view = HeadTerms(design, head, nominal_head(head, card=card, reason="test"))
    priors = {
        WATER: EmissivityPrior(0.98, 0.01),
        IRON: EmissivityPrior(0.88, 0.046),
    }
    series = [
        _series(view, "water-1", contents="water", top_k=365.0, emissivity=0.98, beside=0.0),
        _series(view, "water-02", contents="water", top_k=360.0, emissivity=0.98, beside=0.0),
        _series(view, "iron-003", contents="dry", top_k=500.0, emissivity=0.9, beside=beside),
    ]
    drift, _, _ = fitted_drift(series, view=view, priors=priors)
    at = np.array([1.0, 10.0, 0.02, 0.0])
    off, u = at @ (drift.value - PLANTED), np.sqrt(at @ drift.covariance @ at)
    assert drift.how == "fitted"
    assert abs(off) < 3.0 * u
    assert u < 1.0
    assert drift.residual_rms_k < 0.4
