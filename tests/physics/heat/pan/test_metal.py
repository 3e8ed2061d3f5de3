"""Wall, clad base, gap, hob and limiter of the pan simulator against closed forms."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat import burners, loads
from trivet.physics.heat.pan.cook import cook_pans
from trivet.physics.heat.pan.model import (
    Control,
    Hob,
    Losses,
    PanBase,
    PanWall,
    RunSettings,
    cell_area_frac,
)
from trivet.physics.heat.transfer import (
    clad_sheet,
    gap_conductance_w_m2k,
)

RADIUS = 0.13
AREA = np.pi * RADIUS**2
EVEN = np.full((6, 8, 1), 1 / AREA)
NO_LOSS = Losses(top_w_m2k=0.0, bottom_w_m2k=0.0)
STEEL = clad_sheet(0.005, conductivity_w_mk=50.0, density_kg_m3=7200.0, specific_heat_j_kgk=480.0)


def pan_of(sheet, **more):
    return PanBase(
        RADIUS, sheet.sheet_w_k, sheet.areal_j_m2k, face_m2k_w=sheet.face_m2k_w,
        cross_m2k_w=sheet.cross_m2k_w, **more,
    )  # fmt: skip


def run_even(power_w, steps, **kwargs):
    settings = {"pan": pan_of(STEEL), "losses": Losses()} | kwargs
    return cook_pans(EVEN, power_w=np.full((steps, 1), power_w), **settings)


def test_wall_is_a_fin():
    """Steady rise up a wall with an adiabatic top: cosh(m (H - z)) / cosh(m H)."""
    height, sheet, loss = 0.08, 0.0745, 30.0
    wall = PanWall(height, sheet, 9420.0, loss_w_m2k=loss, rings=12)
    shape = np.zeros((24, 8, 1))
    shape[-1] = 1.0
    shape /= (shape * cell_area_frac(24, 8)[..., None]).sum() * AREA
    run = cook_pans(
        shape, power_w=np.full((8000, 1), 60.0), pan=PanBase(RADIUS, 0.5, 8000.0, wall=wall),
        losses=Losses(), run=RunSettings(record_every=1000),
    )  # fmt: skip
    m = np.sqrt(loss / sheet)
    z = (np.arange(12) + 0.5) / 12 * height
    rise = run.wall_k[-1, :, 0] - 293.15
    fin = np.cosh(m * (height - z)) / np.cosh(m * height)
    fin *= (rise * fin).sum() / (fin * fin).sum()  # the rim's temperature is not known: fit it
    assert np.abs(rise / fin - 1.0).max() < 0.01
    assert rise[0] / rise[-1] > 2.0
    lost = (rise * loss).mean() * 2 * np.pi * RADIUS * height
    drawn = loss / m * np.tanh(m * height) * 2 * np.pi * RADIUS
    edge = fin[0] / np.cosh(m * (height - z[0])) * np.cosh(m * height)
    assert lost == pytest.approx(drawn * edge, rel=0.01)
    assert run.ledger.closure_frac[0] <= 1e-3


def test_wall_settles_as_the_finest_grid_says():
    """Six rings against forty-eight: the wall's mean within 1 % of its rise while it warms."""
    ends = []
    for rings in (6, 48):
        wall = PanWall(0.06, 0.24, 9000.0, loss_w_m2k=25.0, emissivity=0.8, rings=rings)
        run = run_even(900.0, 240, pan=PanBase(RADIUS, 0.5, 8000.0, wall=wall))
        ends.append(run.wall_k[..., 0].mean(axis=1) - 293.15)
    assert ends[1][-1] > 60
    assert np.abs(ends[0] - ends[1])[60:].max() < 0.01 * ends[1][-1]


def test_flames_on_the_wall_reach_the_base_or_the_water():
    """All of the heat enters the wall: it is stored, lost or taken by water, and the sum closes."""
    wall = PanWall(0.08, 0.3, 9000.0, heat_frac=1.0, loss_w_m2k=0.0, wet_w_m2k=500.0)
    run = cook_pans(
        0.0 * EVEN, power_w=np.full((400, 1), 500.0), pan=PanBase(RADIUS, 0.5, 8000.0, wall=wall),
        losses=NO_LOSS, layer=loads.water_layer(2.0, evaporation_m_s=0.0),
    )  # fmt: skip
    water = run.layer_k[-1].mean() - 293.15
    assert run.ledger.input_j[0] == pytest.approx(200e3)
    assert 0.7 * 200e3 < water * 2.0 * 4200 < 200e3
    assert run.ledger.closure_frac[0] <= 1e-3


def test_step_through_the_base():
    """2.6 K through 5 mm of cast iron at 26 kW/m2 once the flux is steady (job figure, q d / k)."""
    # a stirred bath at the boil: all heat goes through
    layer = loads.water_layer(20.0, start_k=373.12, evaporation_m_s=0.0)
    power = 26e3 * AREA
    losses = Losses(top_w_m2k=0.0, bottom_w_m2k=0.0)
    bath = dataclasses.replace(layer, emissivity=0.0)
    run = run_even(power, 400, losses=losses, layer=bath, run=RunSettings(start_k=373.0))
    mean, face = run.state.pan_k.mean(), run.pan_k[-1].mean()
    assert STEEL.face_m2k_w == pytest.approx(0.005 / 150, rel=1e-9)
    assert 2.0 * (mean - face) == pytest.approx(2.6, rel=0.02)  # mean lies half-way


def test_step_of_a_dry_clad_base_against_the_heat_equation():
    """Three layers warmed from below, no loss: face and mean of a fine 1-D solution."""
    k, thick = np.array([15.0, 235.0, 15.0]), np.array([0.8e-3, 3e-3, 0.5e-3])
    rho, c = np.array([7900.0, 2700.0, 7900.0]), np.array([480.0, 900.0, 480.0])
    sheet = clad_sheet(thick, conductivity_w_mk=k, density_kg_m3=rho, specific_heat_j_kgk=c)
    n, q = 40, 50e3
    dz = np.repeat(thick / n, n)
    half, cap = np.repeat(0.5 * thick / n / k, n), np.repeat(rho * c * thick / n, n)
    link = 1.0 / (half[1:] + half[:-1])

    def rate(_, t):
        flow = np.concatenate(([q], link * (t[:-1] - t[1:]), [0.0]))
        return (flow[:-1] - flow[1:]) / cap

    under = (thick / k).sum() - sheet.face_m2k_w - 2.0 * sheet.cross_m2k_w
    end = solve_ivp(rate, (0, 5), np.zeros(dz.size), method="BDF", rtol=1e-8, atol=1e-8).y[:, -1]
    mean = (end * cap).sum() / cap.sum()
    assert mean - end[-1] == pytest.approx(sheet.cross_m2k_w * q, rel=0.01)
    assert end[0] + q * half[0] - mean == pytest.approx(under * q, rel=0.01)
    run = run_even(q * AREA, 5, pan=pan_of(sheet), losses=NO_LOSS, run=RunSettings(step_s=1.0))
    assert run.state.pan_k.mean() - run.pan_k[-1].mean() == pytest.approx(mean - end[-1], rel=0.01)


def test_gap_conducts_and_radiates():
    """Steady flux through 1 mm of air and between grey plates: conduction and radiation.

    Air at (T1 + T2) / 2 from Incropera, table A.4; half the glass lies in series.
    """
    hob = Hob(0.0263 / 1e-3, 8000.0, exchange_frac=0.7, heat_frac=1.0, series_m2k_w=1.25e-3)
    losses = Losses(top_w_m2k=40.0, hob=hob)
    run = run_even(300.0, 6000, losses=losses)
    glass, pan = run.hob_k[-1, 0], run.state.pan_k.mean()
    flux = 300.0 / AREA
    face = glass - flux * 1.25e-3
    air = np.interp(0.5 * (face + pan), [300, 400, 500, 600], [0.0263, 0.0338, 0.0407, 0.0469])
    wanted = air / 1e-3 * (face - pan) + 0.7 * 5.670374419e-8 * (face**4 - pan**4)
    assert glass - pan > 50
    assert wanted == pytest.approx(flux, rel=0.02)
    assert run.ledger.closure_frac[0] <= 1e-3


@pytest.mark.parametrize("step_s", [0.5, 2.0])
def test_after_heat_of_the_glass(step_s):
    """After off the glass gives what it holds: against an ODE solver, and the sum of joules."""
    hob = Hob(120.0, 9000.0, exchange_frac=0.6, heat_frac=1.0, series_m2k_w=1e-3, loss_w_m2k=3.0)
    pan = PanBase(RADIUS, 5.0, 8000.0)
    steps = round(600 / step_s)
    power = np.where(np.arange(steps) * step_s < 240, 1200.0, 0.0)[:, None]
    run = cook_pans(
        EVEN, power_w=power, pan=pan, losses=Losses(top_w_m2k=15.0, hob=hob),
        run=RunSettings(step_s=step_s),
    )  # fmt: skip

    def flow(th, tp):
        def phi(t):
            return 120.0 * (t * (1 - 0.783) + 0.5 * 0.00261 * t**2) + 0.6 * 5.670374419e-8 * t**4

        low, high = min(tp, th), max(tp, th)
        for _ in range(60):
            face = 0.5 * (low + high)
            more = (phi(face) - phi(tp)) > (th - face) / 1e-3
            low, high = (low, face) if more else (face, high)
        return (th - 0.5 * (low + high)) / 1e-3

    def rate(t, y):
        q, heat = flow(y[0], y[1]), 1200.0 / AREA * (t < 240)
        return [
            (heat - q - 3.0 * (y[0] - 293.15)) / 9000.0,
            (q - 15.0 * (y[1] - 293.15)) / 8000.0,
        ]

    ode = solve_ivp(
        rate, (0, 600), [293.15, 293.15], t_eval=run.time_s, rtol=1e-8, max_step=1.0
    )  # fmt: skip
    off = round(240 / step_s)
    rise_after = run.pan_k[off:, 0, 0, 0].max() - run.pan_k[off, 0, 0, 0]
    assert rise_after > 10  # the zone goes on heating
    assert np.abs(run.pan_k[:, 0, 0, 0] - ode.y[1]).max() < 0.5
    assert np.abs(run.hob_k[:, 0] - ode.y[0]).max() < 1.5
    assert run.ledger.closure_frac[0] <= 1e-3


def test_second_order_in_time_with_wall_and_hob():
    """Errors against a very short step fall by about four when the step is halved."""
    wall = PanWall(0.06, 0.24, 9000.0, loss_w_m2k=25.0, emissivity=0.8)
    hob = Hob(150.0, 8000.0, heat_frac=0.8, series_m2k_w=1e-3, loss_w_m2k=2.0)

    def end(step_s):
        return cook_pans(
            EVEN, power_w=np.full((round(200 / step_s), 1), 1500.0),
            pan=pan_of(STEEL, wall=wall), losses=Losses(top_emissivity=0.5, hob=hob),
            run=RunSettings(step_s=step_s, record_every=10**6),
        )  # fmt: skip

    runs = [end(step) for step in (2.0, 1.0, 0.0625)]
    for get in (lambda r: r.state.pan_k.mean(), lambda r: r.hob_k[-1, 0]):
        coarse, fine, true = (float(get(run)) for run in runs)
        assert abs(coarse - true) < 0.2
        # conduction's weight of 0.52 leaves a small first-order part
        assert abs(fine - true) < 0.45 * abs(coarse - true) + 0.002


def test_limiter_cycles_on_the_glass():
    """Flat pan: hardly ever; bowed pan: the glass reaches its limit and the mean power falls."""
    means = []
    for gap_m in (1e-4, 2e-3):
        hob = Hob(
            0.0263 / gap_m, 8000.0, heat_frac=0.8, series_m2k_w=1.25e-3,
            limit_k=833.15, hysteresis_k=40.0,
        )  # fmt: skip
        water = loads.water_layer(3.0)
        run = run_even(
            2200.0, 900, pan=PanBase(RADIUS, 1.0, 10000.0), losses=Losses(hob=hob), layer=water
        )
        assert run.hob_k.max() < 833.15 + 15
        means.append(run.heat_w[:, 0].mean())
        assert run.ledger.closure_frac[0] <= 1e-3
    assert means[0] == pytest.approx(2200.0)
    assert 800.0 < means[1] < 1900.0


def test_element_lags_and_gives_all_its_heat():
    run = cook_pans(
        EVEN, power_w=np.repeat([1000.0, 0.0], 100)[:, None], pan=PanBase(RADIUS, 1.0, 9000.0),
        losses=NO_LOSS, run=RunSettings(control=Control(lag_s=10.0)),
    )  # fmt: skip
    assert run.ledger.input_j[0] == pytest.approx(100e3, rel=1e-3)
    assert run.heat_w[11, 0] == pytest.approx(1000 * (1 - np.exp(-10.5 / 10)), rel=0.01)


def test_parts_of_a_batch_are_those_of_single_cooks():
    """A pan without wall or hob in a batch that has them is as if alone."""
    wall = PanWall(np.array([0.06, 0.0]), 0.24, 9000.0, heat_frac=0.1)
    hob = Hob(100.0, 8000.0, heat_frac=0.8, on=np.array([True, False]))
    shape = np.repeat(EVEN, 2, axis=2)
    both = cook_pans(
        shape, power_w=np.full((50, 2), 900.0), pan=pan_of(STEEL, wall=wall),
        losses=Losses(bottom_emissivity=0.5, hob=hob),
    )  # fmt: skip
    alone = run_even(900.0, 50, losses=Losses(bottom_emissivity=0.5))
    assert np.array_equal(both.pan_k[..., 1:], alone.pan_k)
    assert np.array_equal(both.ledger.lost_j[1:], alone.ledger.lost_j)
    assert both.pan_k[-1, 0, 0, 0] < alone.pan_k[-1, 0, 0, 0]


def test_bad_parts_are_named():
    for wall, word in (
        (PanWall(-0.01, 0.2, 9000.0), "wall height_m"),
        (PanWall(0.05, 0.2, 0.0), "wall areal_j_m2k"),
        (PanWall(0.05, 0.2, 9000.0, heat_frac=1.2), "wall heat_frac"),
        (PanWall(0.05, 0.2, 9000.0, rings=0), "wall rings"),
    ):
        with pytest.raises(InputError, match=word):
            run_even(100.0, 5, pan=pan_of(STEEL, wall=wall))
    for hob, word in (
        (Hob(-1.0, 8000.0), "hob gap_w_m2k"),
        (Hob(100.0, float("nan")), "hob areal_j_m2k"),
        (Hob(100.0, 8000.0, heat_frac=1.5), "hob heat_frac"),
    ):
        with pytest.raises(InputError, match=word):
            run_even(100.0, 5, losses=Losses(hob=hob))
    with pytest.raises(InputError, match="not above 0"):
        clad_sheet([1e-3, 0.0], conductivity_w_mk=[15, 200], density_kg_m3=[8e3, 3e3],
                   specific_heat_j_kgk=[500, 900])  # fmt: skip
    with pytest.raises(OutOfRangeError, match="bow_m"):
        gap_conductance_w_m2k(0.5, bow_m=0.1)


@pytest.mark.parametrize("kind", tuple(burners.BURNERS))
def test_every_kind_closes_with_wall_hob_and_clad(kind):
    made = burners.flux_map(
        burners.default_pattern(kind, radius_m=0.09), pan_radius_m=RADIUS, offset_m=(0.02, 0.0)
    )
    hob = Hob(
        150.0, 8000.0, heat_frac={"radiant": 0.8, "coil": 1.0}.get(kind, 0.0),
        series_m2k_w=1e-3, limit_k=800.0, on=kind != "gas",
    )  # fmt: skip
    wall = PanWall(0.05, 0.24, 9000.0, loss_slope_w_m2k2=0.02, emissivity=0.7, wet_w_m2k=500.0)
    run = cook_pans(
        made.shape_m2[..., None], power_w=np.full((450, 1), 1400.0),
        pan=pan_of(STEEL, wall=wall), losses=Losses(top_emissivity=0.4, hob=hob),
        layer=loads.water_layer(0.2), run=RunSettings(step_s=2.0, record_every=450),
    )  # fmt: skip
    assert run.ledger.latent_j[0] > 0
    assert run.ledger.lost_j[0] > 0.02 * run.ledger.input_j[0]
    assert run.ledger.closure_frac[0] <= 1e-3
