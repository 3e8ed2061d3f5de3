"""Pan conduction against closed forms, another program's ring table, and a boiling example."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import jnp_zeros, jv

from trivet.kernels.heat import loads
from trivet.kernels.heat.thermal import (
    Losses,
    PanBase,
    RunSettings,
    cell_area_frac,
    cook_pans,
)

N_R, N_T = 24, 32
NODES, WEIGHTS = np.polynomial.legendre.leggauss(5)
MODES = [(0, 1, 5.3e3), (1, 1, 4.0e3), (2, 1, 3.2e3), (3, 1, 2.7e3), (1, 2, 2.3e3)]


def cell_mean(radius, m, wave):
    """Cell means of J_m(wave r) cos(m theta) by Gauss quadrature, not by the solver's grid."""
    r = (np.arange(N_R)[:, None] + 0.5 * (1 + NODES)) * radius / N_R
    t = (np.arange(N_T)[:, None] + 0.5 * (1 + NODES)) * 2 * np.pi / N_T
    value = jv(m, wave * r)[:, None, :, None] * np.cos(m * t)[None, :, None, :]
    weight = WEIGHTS[:, None] * WEIGHTS[None, :] * r[:, None, :, None]
    return (value * weight).sum((2, 3)) / (weight * np.ones_like(value)).sum((2, 3))


def disc_modes_rms(row, step_s=1.0):
    """Rms over 20 minutes and all cells of solver minus closed form."""
    radius, sheet, areal = row["radius_m"], row["sheet_w_k"], row["areal_j_m2k"]
    loss = row["loss_w_m2k"]
    every = round(30 / step_s)
    time = np.arange(0.0, 1200.1, 30.0)
    parts = [(0.0, 12e3, np.ones((N_R, N_T)))]
    for m, n, flux in MODES:
        wave = jnp_zeros(m, n)[n - 1] / radius
        parts.append((wave, flux, cell_mean(radius, m, wave)))
    flux = sum(q * shape for _, q, shape in parts)
    exact = np.zeros((time.size, N_R, N_T))
    for wave, q, shape in parts:
        rate = loss + sheet * wave**2
        exact += q / rate * -np.expm1(-rate * time[:, None, None] / areal) * shape
    assert flux.min() > 0
    assert np.ptp(exact[-1]) > 10  # the case is not trivial
    area = cell_area_frac(N_R, N_T) * np.pi * radius**2
    power = (flux * area).sum()
    run = cook_pans(
        (flux / power)[..., None],
        power_w=np.full((round(1200 / step_s), 1), power),
        pan=PanBase(radius, sheet, areal),
        losses=Losses(top_w_m2k=loss / 2, bottom_w_m2k=loss / 2),
        run=RunSettings(step_s=step_s, record_every=every),
    )
    error = run.pan_k[..., 0] - 293.15 - exact
    return float(np.sqrt((error**2 * cell_area_frac(N_R, N_T)).sum((1, 2)).mean()))


def ring_heating(row):
    """Time to a mean of 200 C and the spread max - min then, flux even between 5 and 8 cm."""
    edge = np.arange(N_R + 1) * row["radius_m"] / N_R
    inside = np.clip(edge, 0.05, 0.08)
    share = np.diff(inside**2) / np.diff(edge**2) / (np.pi * (0.08**2 - 0.05**2))
    run = cook_pans(
        np.repeat(share[:, None], 8, axis=1)[..., None],
        power_w=np.full((300, 1), row["power_w"]),
        pan=PanBase(row["radius_m"], row["sheet_w_k"], row["areal_j_m2k"]),
        losses=Losses(
            top_w_m2k=row["loss_w_m2k"],
            bottom_w_m2k=row["loss_w_m2k"],
            top_emissivity=0.3,
            bottom_emissivity=0.3,
        ),
        run=RunSettings(step_s=0.5),
    )
    pan_c = run.pan_k[..., 0] - 273.15
    mean = (pan_c * cell_area_frac(N_R, 8)).sum((1, 2))
    time = np.interp(200.0, mean, run.time_s)
    spread = np.interp(200.0, mean, pan_c.max((1, 2)) - pan_c.min((1, 2)))
    return float(time), float(spread)


def rows_of(published, quantity):
    return [row for row in published("conduction") if row["quantity"] == quantity]


@pytest.mark.parametrize("step_s", [0.5, 1.0, 2.0])
def test_disc_modes(published, step_s):
    for row in rows_of(published, "disc_modes_rms_k"):
        assert disc_modes_rms(row, step_s) <= row["tolerance"], row["id"]


def test_ring_heating_table(published):
    """6 %: the table prints whole seconds and kelvin and leaves emissivity and alloys open."""
    for row in rows_of(published, "ring_time_to_200c_s"):
        time, spread = ring_heating(row)
        assert time == pytest.approx(row["expected"], rel=row["tolerance"]), row["id"]
        assert spread == pytest.approx(row["spread_k"], rel=0.06), row["id"]


def test_nucleate_boiling(published):
    """A copper pan at 118 C over boiling water at 100 C: flux in the steady state."""
    (row,) = rows_of(published, "nucleate_flux_w_m2")
    law = loads.NUCLEATE_W_M2K3 * (118.0 - 100.0) ** 3
    assert law == pytest.approx(row["expected"], rel=row["tolerance"])
    radius = 0.15
    shape = np.full((N_R, 8, 1), 1 / (np.pi * radius**2))
    run = cook_pans(
        shape,
        power_w=np.full((60, 1), row["expected"] * np.pi * radius**2),
        pan=PanBase(radius, 1.56, 13756.8),
        losses=Losses(),
        layer=loads.water_layer(20.0, start_k=373.15, boil_k=373.15, stirred_w_m2k=1.0),
        run=RunSettings(step_s=0.5, start_k=373.15),
    )
    assert run.pan_k[-1].mean() - 273.15 == pytest.approx(118.0, abs=0.2)
