"""Energy of simulated cooks closes: what goes in is stored, lost or boiled off."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.kernels.heat import burners, loads
from trivet.kernels.heat.thermal import Losses, PanBase, RunSettings, cook_pans

CASES = {
    "dry": (loads.Layer(), 900.0),
    "film": (loads.oil_layer(9.4e-5), 900.0),
    "deep oil": (loads.oil_layer(0.01), 900.0),
    "water": (loads.water_layer(1.0), 1400.0),
    "boils dry": (loads.water_layer(0.2), 1100.0),
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("step_s", [0.5, 2.0])
def test_energy_closes_within_half_a_percent(case, step_s):
    """The ledger sums losses from recorded temperatures, so it can fail."""
    layer, power = CASES[case]
    pattern = burners.default_pattern("gas", radius_m=0.08)
    shape = burners.flux_map(pattern, pan_radius_m=0.13, offset_m=(0.02, 0.01)).shape_m2
    steps = round(900 / step_s)
    level = np.where(np.arange(steps) < 0.7 * steps, power, 0.2 * power)
    run = cook_pans(
        shape[..., None],
        power_w=level[:, None],
        pan=PanBase(0.13, 0.5, 8000.0, rim_j_k=150.0, rim_w_k=0.4),
        losses=Losses(top_emissivity=0.4, bottom_emissivity=0.8, top_slope_w_m2k2=0.01),
        layer=layer,
        run=RunSettings(step_s=step_s, record_every=steps),
    )
    ledger = run.ledger
    assert ledger.lost_j[0] > 0.02 * ledger.input_j[0]
    assert ledger.closure_frac[0] <= 0.005
    assert (ledger.latent_j[0] > 0) == ("water" in case or "boils" in case)
