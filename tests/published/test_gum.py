"""Propagation of uncertainty against the worked examples of the guides."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.errors import InputError, NotEnoughDataError, OutOfRangeError
from trivet.physics.statistics import uncertainty as unc
from trivet.physics.statistics.uncertainty import InputQuantity as Q
from trivet.physics.statistics.uncertainty import line_fit, monte_carlo, symmetric_interval


@pytest.fixture
def check(published):
    rows = published("gum")

    def compare(case, got):
        wanted = [row for row in rows if row["case"] == case]
        assert {row["quantity"] for row in wanted} == set(got)
        for row in wanted:
            value = got[row["quantity"]]
            assert value == pytest.approx(row["expected"], abs=row["tolerance"]), row["id"]

    return compare


def test_end_gauge_h1(check):
    def length(x):
        standard, difference, expansion, swing, d_expansion, d_temperature = x
        return standard + difference - standard * (d_expansion * swing + expansion * d_temperature)

    inputs = (
        Q("lS", 50_000_623.0, 25.0, dof=18),
        Q("d", 215.0, 9.7, dof=25.6),
        Q("alphaS", 11.5e-6, 1.2e-6),
        Q("theta", -0.1, 0.41),
        Q("dalpha", 0.0, 0.58e-6, dof=50),
        Q("dtheta", 0.0, 0.029, dof=2),
    )
    budget = unc.first_order_budget(length, inputs)
    terms = dict(zip(budget.names, map(abs, budget.contributions), strict=True))
    k99 = unc.coverage_factor(0.99, dof=budget.effective_dof)
    got = {f"contribution {n}": terms[n] for n in ("lS", "d", "dalpha", "dtheta")}
    got |= {
        "value": budget.value,
        "uncertainty": budget.uncertainty,
        "dof": budget.effective_dof,
        "k99": k99,
        "U99": k99 * budget.uncertainty,
        "with second order": math.hypot(budget.uncertainty, budget.second_order),
    }
    check("H1", got)
    assert budget.ranking()[0][0] == "lS"


def test_correlated_impedance_h2(check, published):
    rows = [r for r in published("gum_data") if r["set"] == "H2"]
    data = np.array([[r["a"], r["b"] * 1e-3, r["c"]] for r in rows])
    covariance = np.cov(data, rowvar=False) / len(data)

    def impedance(x):
        size = x[0] / x[1]
        return np.array([size * np.cos(x[2]), size * np.sin(x[2]), size])

    mean = data.mean(axis=0)
    values, out = unc.propagated_covariance(impedance, mean, covariance=covariance)
    u = np.sqrt(np.diag(out))
    got = dict(zip("RXZ", values, strict=True)) | dict(zip(("uR", "uX", "uZ"), u, strict=True))
    check("H2", got)
    sd = np.sqrt(np.diag(covariance))
    inputs = [Q(n, v, s) for n, v, s in zip(("V", "I", "phi"), mean, sd, strict=True)]
    correlation = covariance / np.outer(sd, sd)
    alone = unc.first_order_budget(lambda x: impedance(x)[0], inputs, correlation=correlation)
    assert alone.uncertainty == pytest.approx(u[0], rel=1e-9)
    draws = monte_carlo(
        lambda x: x[0] / x[1] * np.cos(x[2]),
        inputs,
        correlation=correlation,
        generator=np.random.default_rng(2),
    )
    assert draws.uncertainty == pytest.approx(u[0], rel=0.01)


def test_calibration_line_h3(check, published):
    rows = [r for r in published("gum_data") if r["set"] == "H3"]
    line = line_fit([r["a"] for r in rows], [r["b"] for r in rows], reference=20.0)
    at_30, u_at_30 = line.at(30.0)
    check(
        "H3",
        {
            "y1": line.intercept,
            "u1": line.intercept_u,
            "y2": line.slope,
            "u2": line.slope_u,
            "r": line.correlation,
            "s": line.residual_sd,
            "b30": at_30,
            "u_b30": u_at_30,
        },
    )


def _sum_of_four(shapes, uncertainties=(1.0, 1.0, 1.0, 1.0)):
    inputs = [
        Q(f"x{i}", 0.0, u, shape=s)
        for i, (s, u) in enumerate(zip(shapes, uncertainties, strict=True))
    ]
    result = monte_carlo(
        lambda x: x.sum(axis=0), inputs, generator=np.random.default_rng(1), draws=2_000_000
    )
    budget = unc.first_order_budget(lambda x: float(x.sum()), inputs)
    return result, 0.5 * (result.symmetric[1] - result.symmetric[0]), 1.96 * budget.uncertainty


def test_sums_of_distributions(check):
    check("MC1", {"half width": _sum_of_four(["normal"] * 4)[1]})
    _, half, first_order = _sum_of_four(["rectangular"] * 4)
    check("MC2", {"half width": half, "first order": first_order})
    result, half, first_order = _sum_of_four(["rectangular"] * 4, (1.0, 1.0, 1.0, 10.0))
    check("MC3", {"u": result.uncertainty, "half width": half, "first order": first_order})


def test_mass_calibration(check):
    third = 1.0 / math.sqrt(3.0)
    inputs = (
        Q("mass", 100_000.0, 0.050),
        Q("small mass", 1.234, 0.020),
        Q("air", 1.20, 0.10 * third, shape="rectangular"),
        Q("weight", 8000.0, 1000.0 * third, shape="rectangular"),
        Q("reference", 8000.0, 50.0 * third, shape="rectangular"),
    )

    def deviation(x):
        lift = (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])
        return (x[0] + x[1]) * (1.0 + lift) - 100_000.0

    result = monte_carlo(deviation, inputs, generator=np.random.default_rng(3), draws=1_000_000)
    budget = unc.first_order_budget(deviation, inputs)
    check(
        "MC4",
        {
            "mean": result.mean,
            "u": result.uncertainty,
            "lo": result.shortest[0],
            "hi": result.shortest[1],
            "first order": budget.uncertainty,
        },
    )
    # The neglected second order is what separates the two; the budget says so.
    assert math.hypot(budget.uncertainty, budget.second_order) == pytest.approx(
        result.uncertainty, rel=0.01
    )


def test_student_and_triangular_draws_have_their_spread():
    for shape, dof, sd in (("triangular", math.inf, 1.0), ("t", 10.0, math.sqrt(10.0 / 8.0))):
        result = monte_carlo(
            lambda x: x[0],
            [Q("x", 0.0, 1.0, shape=shape, dof=dof)],
            generator=np.random.default_rng(4),
        )
        assert result.uncertainty == pytest.approx(sd, rel=0.01)


def test_bad_budgets_are_refused():
    with pytest.raises(OutOfRangeError, match="negative"):
        unc.first_order_budget(lambda x: x[0], [Q("a", 1.0, -1.0)])
    two = [Q("a", 1.0, 1.0), Q("b", 1.0, 1.0, shape="rectangular")]
    three = [*two, Q("c", 1.0, 1.0)]
    bad = [[1, 0.9, -0.9], [0.9, 1, 0.9], [-0.9, 0.9, 1]]
    with pytest.raises(InputError, match="impossible"):
        unc.first_order_budget(lambda x: float(x.sum()), three, correlation=bad)
    with pytest.raises(InputError, match="only normals"):
        monte_carlo(
            lambda x: x[0],
            two,
            correlation=[[1, 0.5], [0.5, 1]],
            generator=np.random.default_rng(1),
        )
    with pytest.raises(NotEnoughDataError):
        symmetric_interval(np.arange(50.0))
    with pytest.raises(NotEnoughDataError):
        line_fit([1.0, 1.0, 1.0], [1.0, 2.0, 3.0])
