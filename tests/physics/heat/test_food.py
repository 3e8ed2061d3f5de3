"""Food columns against exact conduction, published contact and energy; what is not physical."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.special import erfc

from trivet.errors import InputError
from trivet.physics.heat.food import FoodPatch, contact_w_m2k, food_column, food_properties
from trivet.physics.heat.pan.cook import cook_pans
from trivet.physics.heat.pan.model import Losses, PanBase, RunSettings

STEAK = (0.718, 0.22, 0.05, 0.0, 0.011)
SHAPE = (6, 8, 1)
DEEP = (slice(None), None, None, None)


def patch(column, *, steps, contact, start_k=278.15, wet=0.0, **more):
    """Food over the inner half of the radius."""
    piece = np.full(SHAPE, -1)
    piece[:3] = 0
    series = np.broadcast_to(np.asarray(contact, float), (steps,))
    return FoodPatch(
        piece,
        np.ascontiguousarray(series[:, None, None]),
        column_k=np.full((column.areal_j_m2k.size, *SHAPE), start_k),
        water_kg_m2=wet * column.water_kg_m2[DEEP],
        areal_j_m2k=column.areal_j_m2k[DEEP],
        between_w_m2k=column.between_w_m2k[DEEP],
        half_m2k_w=column.half_m2k_w,
        **{"emissivity": 0.0, "evaporation_m_s": 0.0, **more},
    )


def on_plate(food, *, steps, plate_k, step_s=1.0, top=0.0):
    """Food on a plate that keeps its temperature."""
    return cook_pans(
        np.zeros(SHAPE),
        power_w=np.zeros((steps, 1)),
        pan=PanBase(0.13, 0.5, 1e10),
        losses=Losses(
            ambient_k=278.15, surround_k=278.15, below_k=plate_k, top_w_m2k=top, bottom_w_m2k=0.0
        ),
        food=food,
        run=RunSettings(step_s=step_s, start_k=plate_k),
    )


def lean(thickness, **more):
    return food_column(
        thickness,
        density_kg_m3=1050.0,
        specific_heat_j_kgk=3560.0,
        conductivity_w_mk=1.35e-7 * 1050.0 * 3560.0,
        water_frac=0.7,
        **more,
    )


@pytest.mark.parametrize("step_s", [0.5, 2.0])
def test_slab_with_stepped_faces(step_s):
    """25 mm, 1.35e-7 m2/s, both faces from 5 to 100 C: Carslaw and Jaeger, 3.4; 1 % of the step.

    Half of it, one face stepped, the other insulated, has the middle at its top.
    """
    steps = round(600 / step_s)
    run = on_plate(
        patch(lean(0.0125), steps=steps, contact=1e6, boil_k=1e6),
        steps=steps,
        plate_k=373.15,
        step_s=step_s,
    )
    for seconds, wanted_c in {60: 5.361, 120: 10.337, 300: 36.319, 600: 66.339}.items():
        top = run.surface_k[round(seconds / step_s), 0, 0, 0] - 273.15
        assert top == pytest.approx(wanted_c, abs=0.95), seconds


def test_thick_food_is_semi_infinite():
    """Convective heating of a half space: Incropera et al., equation 5.63, at three depths."""
    h, start, plate = 450.0, 278.15, 453.15
    column = lean(0.06)
    k, alpha = 1.35e-7 * 1050.0 * 3560.0, 1.35e-7
    run = on_plate(patch(column, steps=300, contact=h, boil_k=1e6), steps=300, plate_k=plate)
    nodes = run.state.column_k[:, 0, 0, 0]
    t = 300.0
    for node in (0, 2, 4):
        x = column.middle_m[node]
        root = 2.0 * np.sqrt(alpha * t)
        inside = np.exp(h * x / k + h * h * alpha * t / k**2)
        share = erfc(x / root) - inside * erfc(x / root + h * np.sqrt(alpha * t) / k)
        assert nodes[node] == pytest.approx(start + share * (plate - start), abs=1.75), node


def test_heat_into_a_patty_is_of_the_published_size():
    """Contact 250 to 650 W/m2/K at plates of 177 to 204 C: flux starts at h x difference."""
    contact = contact_w_m2k(
        np.arange(120.0), start_w_m2k=250, peak_w_m2k=650, peak_s=60, decay_s=120
    )
    assert contact.min() == 250
    assert 600 < contact.max() <= 650
    assert contact[-1] < contact.max()
    column = lean(0.012)
    run = on_plate(patch(column, steps=120, contact=contact, wet=1.0), steps=120, plate_k=463.15)
    nodes = run.state.column_k[:, 0, 0, 0]
    boiled = (column.water_kg_m2 - run.state.food_water_kg_m2[:, 0, 0, 0]).sum() * 2.2565e6
    taken = float((column.areal_j_m2k * (nodes - 278.15)).sum()) + boiled
    most = float(contact.sum()) * (463.15 - 278.15)  # a face that stays as cold as it came
    least = 250.0 * 120.0 * (463.15 - 373.15)  # the lowest coefficient, a face that boils
    assert least < taken < most
    core = run.core_k[:, 0, 0]
    assert core[0] == pytest.approx(278.15)
    assert np.all(np.diff(core) > -1e-6)
    left = run.state.food_water_kg_m2[:, 0, 0, 0]
    assert left[0] < column.water_kg_m2[0]  # the contact face boils off
    assert left[4] == pytest.approx(column.water_kg_m2[4])  # the middle does not


def test_a_crust_passes_boiling_only_when_dry():
    column = lean(0.012)
    run = on_plate(patch(column, steps=600, contact=500.0, wet=1.0), steps=600, plate_k=493.15)
    face, left = run.state.column_k[:, 0, 0, 0], run.state.food_water_kg_m2[:, 0, 0, 0]
    assert left[0] == 0.0
    assert face[0] > 385.0
    assert np.all(face[left > 0.0] <= 373.13)


def test_energy_closes_with_food_of_all_sorts():
    column = lean(0.02)
    rng = np.random.default_rng(4)
    food = patch(
        column, steps=300, contact=rng.uniform(200, 600, 300), wet=1.0, emissivity=0.95,
        evaporation_m_s=0.002,
    )  # fmt: skip
    run = cook_pans(
        np.full(SHAPE, 1.0 / (np.pi * 0.13**2)),
        power_w=np.full((300, 1), 900.0),
        pan=PanBase(0.13, 0.5, 16000.0),
        losses=Losses(top_emissivity=0.4, bottom_emissivity=0.6),
        food=food,
        run=RunSettings(step_s=1.0, start_k=473.15),
    )
    assert run.ledger.latent_j[0] > 0.01 * run.ledger.input_j[0]
    assert run.ledger.closure_frac[0] <= 0.005


def test_properties_of_lean_beef():
    """Rows computed from the component formulae (ASHRAE Handbook Refrigeration): 1 %."""
    rows = {5: (1058, 0.486, 3555, 1.293e-7), 20: (1055, 0.507, 3561, 1.349e-7),
            40: (1050, 0.531, 3571, 1.416e-7), 60: (1042, 0.550, 3584, 1.474e-7)}  # fmt: skip
    for t_c, (density, conductivity, heat, diffusivity) in rows.items():
        of = food_properties(STEAK, temperature_k=273.15 + t_c)
        assert of.density_kg_m3 == pytest.approx(density, rel=0.01)
        assert of.conductivity_w_mk == pytest.approx(conductivity, rel=0.01)
        assert of.specific_heat_j_kgk == pytest.approx(heat, rel=0.01)
        alpha = of.conductivity_w_mk / of.density_kg_m3 / of.specific_heat_j_kgk
        assert alpha == pytest.approx(diffusivity, rel=0.01)


def test_bad_food_is_named():
    with pytest.raises(InputError, match="thickness_m"):
        lean(-0.01)
    with pytest.raises(InputError, match="6 or more"):
        lean(0.01, nodes=4)
    good = patch(lean(0.01), steps=10, contact=400.0)
    with pytest.raises(InputError, match="contact_w_m2k"):
        on_plate(dataclasses.replace(good, contact_w_m2k=np.ones((9, 1, 1))), steps=10, plate_k=400)
    with pytest.raises(InputError, match="column_k"):
        on_plate(dataclasses.replace(good, column_k=300.0), steps=10, plate_k=400)
