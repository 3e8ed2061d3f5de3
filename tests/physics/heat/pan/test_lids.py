"""Lids and butter in the heat balance: energy closes, and vapour comes back."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.heat import loads
from trivet.physics.heat.pan.cook import cook_pans
from trivet.physics.heat.pan.model import Losses, PanBase, RunSettings

AREA = np.pi * 0.13**2
EVEN = np.full((6, 8, 1), 1 / AREA)
LID = loads.Lid(areal_j_m2k=7600.0, emissivity=0.9, outer_w_m2k=8.0)
BUTTER = dataclasses.replace(
    loads.oil_layer(3e-4, mixing_s=10.0), mass_kg=0.003, boil_k=373.12, release_1_ks=0.004
)
CASES = {
    "dry": (loads.Layer(), 500.0),
    "oil": (loads.oil_layer(0.004), 700.0),
    "water": (loads.water_layer(0.3), 1200.0),
    "boils dry": (loads.water_layer(0.1), 1200.0),
    "butter": (BUTTER, 500.0),
}


def run(layer, power, *, lid=None, seconds=600, step_s=1.0, start=None):
    steps = round(seconds / step_s)
    return cook_pans(
        EVEN,
        power_w=np.full((steps, 1), power),
        pan=PanBase(0.13, 0.94, 9760.0),
        losses=Losses(top_w_m2k=8.0, top_emissivity=0.4, bottom_emissivity=0.5),
        layer=layer,
        lid=lid,
        run=RunSettings(step_s=step_s, start=start),
    )


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("step_s", [0.5, 2.0])
def test_energy_closes_under_a_lid(case, step_s):
    layer, power = CASES[case]
    made = run(layer, power, lid=LID, step_s=step_s)
    assert made.ledger.closure_frac[0] <= 0.005
    assert made.ledger.lost_j[0] > 0.02 * made.ledger.input_j[0]


def test_energy_closes_with_butter():
    made = run(BUTTER, 500.0)
    assert made.ledger.closure_frac[0] <= 0.005
    assert made.mass_kg[-1, 0] < 1e-4
    assert made.ledger.latent_j[0] == pytest.approx(0.003 * 2.2565e6, rel=0.01)


def test_a_boiling_pots_lid_sits_just_under_the_boil_and_condensate_comes_back():
    open_pot, lidded = (run(CASES["water"][0], 1200.0, lid=lid) for lid in (None, LID))
    assert 353.0 < lidded.lid_k[-1, 0] < 373.15
    assert np.isnan(open_pot.lid_k).all()
    # what the lid loses to the room is what the condensate brings back
    lost = 8.0 * (lidded.lid_k[-1, 0] - 293.15)
    lost += 0.9 * 5.670374419e-8 * (lidded.lid_k[-1, 0] ** 4 - 293.15**4)
    assert 300.0 < lost < 1500.0
    rate = [-(one.mass_kg[-1, 0] - one.mass_kg[-61, 0]) / 60.0 for one in (open_pot, lidded)]
    saved = (rate[0] - rate[1]) * 2.2565e6 / AREA
    open_loss = 8.0 * 80.0 + 0.95 * 5.670374419e-8 * (373.12**4 - 293.15**4)
    assert saved == pytest.approx(lost - open_loss, abs=0.15 * open_loss)


def test_under_a_lid_water_comes_to_the_boil_sooner():
    to_boil = [
        int(np.flatnonzero(run(CASES["water"][0], 500.0, lid=lid).layer_k[:, 0] > 370.0)[0])
        for lid in (None, LID)
    ]
    assert to_boil[1] < to_boil[0]


def test_a_lid_goes_on_from_where_it_was():
    whole = run(CASES["water"][0], 900.0, lid=LID, seconds=300)
    first = run(CASES["water"][0], 900.0, lid=LID, seconds=120)
    second = run(CASES["water"][0], 900.0, lid=LID, seconds=180, start=first.state)
    np.testing.assert_allclose(second.lid_k[-1], whole.lid_k[-1], atol=1e-9)
    off = run(CASES["water"][0], 900.0, seconds=10, start=first.state)
    assert np.isnan(off.state.lid_k).all()


def test_lid_builders():
    assert loads.lid_areal_j_m2k(0.004, glass=True) == pytest.approx(7600.0)
    assert loads.stack_lids([None, None]) is None
    both = loads.stack_lids([None, LID])
    assert both is not None
    assert np.asarray(both.areal_j_m2k).tolist() == [0.0, 7600.0]
    with pytest.raises(OutOfRangeError, match="thickness_m"):
        loads.lid_areal_j_m2k(0.0, glass=False)
