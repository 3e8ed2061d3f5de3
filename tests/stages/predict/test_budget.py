"""Terms of the error budget, their correlations and shares, and units that differ.

Expected numbers marked [own calculation] were computed by hand from the figures
of the test's design.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.errors import InputError
from trivet.models.optics import card_band
from trivet.models.reflected import diffuse_share
from trivet.records.design import Design
from trivet.records.product import TERM_NAMES
from trivet.stages.predict.budget import (
    error_k,
    first_order,
    monte_carlo,
    unit_draws,
    variance_shares,
)
from trivet.stages.predict.cases import Cases, Pair, Term, correlated_units, groups_of, matrix_of
from trivet.stages.predict.endofline import carried
from trivet.stages.predict.pathterms import misplaced_m, surround_range_k
from trivet.stages.predict.population import half_width_k, unit_population
from trivet.stages.predict.readings import Wanted, error_budgets, places_of
from trivet.stages.predict.terms import cases_of
from trivet.stages.predict.views import seen_by

HOT_K = 503.15


def cases(tables, base="dry", pan="iron-24", kelvin=HOT_K) -> Cases:
    design = Design.model_validate(tables)
    seen = seen_by(design)
    wanted = [Wanted(design.base(base), design.pan(pan), kelvin)]
    return cases_of(
        design, eye=seen.eyes[0], places=next(iter(places_of(design, seen, wanted)))[:1]
    )


def term(tables, name, **keywords) -> Term:
    return next(one for one in cases(tables, **keywords).terms if one.name == name)


def budget(tables, base="dry", pan="iron-24", kelvin=HOT_K):
    design = Design.model_validate(tables)
    wanted = [Wanted(design.base(base), design.pan(pan), kelvin)]
    return error_budgets(design, seen=seen_by(design), wanted=wanted)[0]


# ------------------------------------------------------------------ terms
def test_drift_after_wake_decays_by_three_constants_in_the_settling_time(design_tables):
    # [own calculation] 3 K e^-3 = 0.149 K at 4 min, 3 K e^-6 = 0.0074 K at 8 min, 3 K at once
    expected = {None: 3 * math.exp(-3), "8 min": 3 * math.exp(-6), "0 s": 3.0}
    for awake, half in expected.items():
        design_tables["estimation"] = {} if awake is None else {"awake": awake}
        assert term(design_tables, "drift after wake").high[0] == pytest.approx(half)


def test_self_heating_is_what_varies_of_it_times_the_drift(design_tables):
    design_tables["sensors"][0]["self_heating"] = {"value": "8 K", "low": "6 K", "high": "10 K"}
    # [own calculation] 2 K at 0.1 K/K
    assert term(design_tables, "self-heating").high[0] == pytest.approx(0.2)


def test_stored_constants_are_a_term_with_its_published_end(design_tables):
    design_tables["sensors"][0]["constants"] = {"value": "1 K", "low": "0 K", "high": "5.3 K"}
    found = term(design_tables, "stored constants")
    assert found.high[0] == 1.0
    assert "up to 5.3 K published" in found.source


def test_what_a_card_does_not_say_is_unknown_and_not_zero(design_tables):
    for key in ("settle", "housing_drift"):
        del design_tables["sensors"][0][key]
    one = budget(design_tables)
    assert set(one.unknown) == {
        "drift with housing",
        "drift after wake",
        "self-heating",
        "stored constants",
    }
    assert math.isfinite(one.u_gum_k)
    lines = {line.term: line for line in one.lines}
    assert math.isnan(lines["drift with housing"].u_k)
    assert math.isnan(lines["drift with housing"].total_share_frac)


def test_noise_falls_with_the_scene(design_tables):
    # [own calculation] 0.28 K at 25 C is about 0.11 K where the sensor states 207 C
    assert term(design_tables, "noise of one pixel").high[0] == pytest.approx(0.12, abs=0.02)


def test_grease_and_condensation_only_take_away(design_tables):
    window = design_tables["heads"][0]["window"]
    window["grease"] = {"value": "1 um", "low": "0 um", "high": "5 um"}
    window["condensed"] = {"value": "1 %", "low": "0 %", "high": "2 %"}
    grease = term(design_tables, "grease on the window")
    # FILM-06: 5 um passes 0.926 (8-12.3 um); over 8-14 um within 0.01 of that
    assert grease.low[0] == pytest.approx(0.85 * (0.926 - 1.0), abs=0.01)
    assert grease.high[0] == 0.0
    drops = term(design_tables, "condensation")
    # drops of 20 to 50 um have extinction efficiencies of 2.1 to 2.6 in the band (FOG rows)
    assert 0.85 * (math.exp(-2.6 * 0.02) - 1.0) < drops.low[0] < 0.85 * (math.exp(-0.04) - 1.0)
    assert drops.high[0] == 0.0


def test_steam_stands_over_its_bases_only(design_tables):
    design_tables["surroundings"]["steam"] = {
        "water": {"value": "0.5 g/m^3", "low": "0 g/m^3", "high": "1 g/m^3"},
        "bases": ["water"],
    }
    wet = term(design_tables, "steam column", base="water", kelvin=353.15)
    # FOG-X passes 0.950 at 10 um; the band's mean is a little lower
    assert wet.low[0] == pytest.approx(0.94 - 1.0, abs=0.01)
    assert term(design_tables, "steam column", base="film").low[0] == 0.0


def test_what_the_window_mirrors_is_believed_and_carried(design_tables):
    design_tables["heads"][0]["window"]["reflectance"] = {
        "value": "0.08",
        "low": "0.06",
        "high": "0.10",
    }
    assert cases(design_tables).sight.mirrored_frac == 0.08
    assert term(design_tables, "window reflectance").high[0] == pytest.approx(0.02)


def test_a_matt_pan_mirrors_the_hood_by_its_view_factor(design_tables):
    design_tables["surroundings"]["mirrored"] = [
        {
            "name": "hood",
            "shape": "rectangle",
            "width": "40 m",
            "depth": "40 m",
            "height": "0.1 m",
            "temperature": {"value": "60 degC", "low": "50 degC", "high": "70 degC"},
        }
    ]
    design = Design.model_validate(design_tables)
    (hood,) = design.surroundings.mirrored
    assert diffuse_share(hood, spot_m=(0.2, 0.1)) == pytest.approx(1.0, abs=1e-4)
    band = card_band(design.sensors[0])
    low, high = surround_range_k(design, band=band, spots=[(0.2, 0.1)])
    assert low[0] == pytest.approx(323.15, abs=0.01)
    assert high[0] == pytest.approx(343.15, abs=0.01)
    found = term(design_tables, "reflected temperature")
    assert found.low[0] == pytest.approx(20.0, abs=0.01)  # believed 30 C
    assert "hood" in found.source


def test_a_pan_does_not_mirror_its_own_flame(design_tables):
    design_tables["surroundings"]["mirrored"] = [
        {
            "name": "flame",
            "shape": "upright",
            "x": "200 mm",
            "y": "-130 mm",
            "width": "130 mm",
            "height": "50 mm",
            "temperature": "500 degC",
        }
    ]
    (flame,) = Design.model_validate(design_tables).surroundings.mirrored
    assert diffuse_share(flame, spot_m=(0.2, -0.13)) == 0.0
    assert diffuse_share(flame, spot_m=(0.2, 0.13)) > 0.0


def test_a_misplaced_rim_costs_what_the_blurred_edge_says(design_tables):
    design = Design.model_validate(design_tables)
    eye = seen_by(design).eyes[0]
    # [own calculation] straight below, 5 mm and 1 deg at 0.70 m: each coordinate has a variance of
    # (5 mm)^2 / 3 + (12.22 mm)^2 / 3; the 95 % radius is 2.448 times its root
    spread = math.sqrt((5.0**2 + (700 * math.radians(1.0)) ** 2) / 3)
    below = misplaced_m(design, eye=eye, spot_m=(0.0, 0.0))
    assert below == pytest.approx(2.4477 * spread * 1e-3, rel=1e-3)
    assert misplaced_m(design, eye=eye, spot_m=(0.2, 0.13)) > below
    loose = term(design_tables, "registration and edge").high[0]
    assert loose > 0.0
    mount = design_tables["heads"][0]["mount"]
    mount |= {"position_tolerance": "1 mm", "angle_tolerance": "0.1 deg"}
    tight = term(design_tables, "registration and edge").high[0]
    assert 0.0 < tight < 0.1 * loose
    mount |= {"position_tolerance": "0 mm", "angle_tolerance": "0 deg"}
    assert term(design_tables, "registration and edge").high[0] == pytest.approx(0.0, abs=1e-12)


def test_film_and_pan_radiate_their_own_shares(design_tables):
    """The drop through a film counts by the film's share of the glow, not in full."""
    one = cases(design_tables, base="film", pan="steel-24")
    share = next(iter(_film_places(design_tables))).film_share_frac
    assert 0.7 < share < 1.0
    assert one.step_k[0] < 3.0


def _film_places(tables):
    design = Design.model_validate(tables)
    wanted = [Wanted(design.base("film"), design.pan("steel-24"), HOT_K)]
    return next(iter(places_of(design, seen_by(design), wanted)))


def test_every_term_may_be_named_in_a_file(design_tables):
    design_tables["heads"][0]["window"] |= {
        "grease": "1 um",
        "condensed": "1 %",
        "reflectance": {"value": "0.08", "low": "0.06", "high": "0.10"},
    }
    design_tables["surroundings"]["steam"] = {"water": "1 g/m^3"}
    design_tables["end_of_line"] = LINE
    names = {one.name for one in cases(design_tables).terms}
    assert names == set(TERM_NAMES)


# ------------------------------------------------------------ correlation
def test_housing_moves_drift_and_window_together(design_tables):
    design_tables["surroundings"]["ambient"] = {
        "value": "22 degC",
        "low": "16 degC",
        "high": "28 degC",
    }
    design_tables["surroundings"]["housing_rise"] = {"value": "10 K", "low": "2 K", "high": "18 K"}
    (pair,) = cases(design_tables).pairs
    # [own calculation] u_h = sqrt(6^2 + 8^2) = 10 = u_w; k u_h = 0.5, h u_k = 0.5
    assert pair.coefficient == pytest.approx(math.sqrt(0.5), rel=1e-6)


def test_first_order_counts_a_correlation_as_the_guide_says(design_tables):
    plain = cases(design_tables)
    names = ("sensor offset", "window transmittance")
    at = [[one.name for one in plain.terms].index(name) for name in names]
    before = first_order(plain)
    a, b = before.contributions[at, 0]
    tied = Cases(
        plain.eye,
        plain.temperature_k,
        plain.sight,
        plain.step_k,
        plain.terms,
        (*plain.pairs, Pair(*names, 0.8, "test")),
    )
    # JCGM 100:2008, 5.2.2: u^2 rises by 2 r c_i u_i c_j u_j
    grown = first_order(tied).combined[0] ** 2 - before.combined[0] ** 2
    assert grown == pytest.approx(2 * 0.8 * a * b, rel=1e-6)


def test_monte_carlo_follows_the_same_correlation(design_tables):
    plain = cases(design_tables)
    pair = Pair("sensor offset", "window transmittance", 0.8, "test")
    tied = Cases(plain.eye, plain.temperature_k, plain.sight, plain.step_k, plain.terms, (pair,))
    draws = unit_draws(
        tied.terms, generator=np.random.default_rng(4), draws=60_000, pairs=tied.pairs
    )
    drawn, linear = monte_carlo(tied, draws=draws), first_order(tied)
    assert drawn.deviation[0] == pytest.approx(linear.combined[0], rel=0.03)


@pytest.mark.parametrize(
    "shapes", [("rectangular",) * 2, ("normal",) * 2, ("rectangular", "normal")]
)
def test_units_have_the_declared_correlation_and_their_shapes(shapes):
    zero = np.zeros(1)
    terms = [
        Term(name, "offset_k", zero, zero, s, "") for name, s in zip("ab", shapes, strict=True)
    ]
    matrix = matrix_of(terms, pairs=[Pair("a", "b", 0.6, "")])
    uniform = np.random.default_rng(2).random((2, 200_000))
    units = correlated_units(uniform, terms=terms, matrix=matrix)
    assert np.corrcoef(units)[0, 1] == pytest.approx(0.6, abs=0.01)
    for row, shape in zip(units, shapes, strict=True):
        assert row.std() == pytest.approx(
            1 / math.sqrt(12) if shape == "rectangular" else 1, abs=0.01
        )


def test_contradicting_correlations_are_refused():
    zero = np.zeros(1)
    terms = [Term(name, "offset_k", zero, zero, "normal", "") for name in "abc"]
    pairs = [Pair("a", "b", 0.9, ""), Pair("b", "c", 0.9, ""), Pair("a", "c", -0.9, "")]
    with pytest.raises(InputError, match="impossible"):
        matrix_of(terms, pairs=pairs)
    with pytest.raises(InputError, match="itself"):
        matrix_of(terms, pairs=[Pair("a", "a", 0.5, "")])


def test_groups_are_what_hangs_together():
    matrix = np.eye(5)
    for a, b in ((0, 3), (3, 4)):
        matrix[a, b] = matrix[b, a] = 0.3
    assert groups_of(matrix) == [[0, 3, 4], [1], [2]]


# ---------------------------------------------------- second order, shares
def test_second_order_of_a_square_is_exact(design_tables):
    """A wide mirror on a cold, poor surface is curved: the second order finds it."""
    design_tables["pans"][0]["emissivity"] = {"value": "0.4", "low": "0.4", "high": "0.4"}
    design_tables["surroundings"]["reflected"] = {
        "value": "30 degC",
        "low": "-30 degC",
        "high": "90 degC",
    }
    one = cases(design_tables, kelvin=333.15)
    mirror = tuple(t for t in one.terms if t.name == "reflected temperature")
    only = Cases(one.eye, one.temperature_k, one.sight, one.step_k, mirror)
    linear = first_order(only)
    u = float(mirror[0].standard_uncertainty[0])
    error = error_k(only, deviations={"reflected_k": np.array([[-u, u]])})[0]
    # JCGM 100:2008, 5.1.2 note, for a rectangle: u2^2 = (1.8 - 1)/4 (f'' u^2)^2
    assert linear.second_order[0] == pytest.approx(math.sqrt(0.2) * abs(error.sum()), rel=1e-3)
    draws = unit_draws(mirror, generator=np.random.default_rng(6), draws=100_000)
    drawn = monte_carlo(only, draws=draws).deviation[0]
    first = abs(linear.contributions[0, 0])
    assert math.hypot(first, linear.second_order[0]) == pytest.approx(drawn, rel=0.005)


def test_shares_sum_to_one_and_follow_the_squares(design_tables):
    one = cases(design_tables)
    bare = Cases(one.eye, one.temperature_k, one.sight, one.step_k, one.terms)
    shares = variance_shares(bare, generator=np.random.default_rng(9), points=1024)[:, 0]
    linear = first_order(bare)
    squares = linear.contributions[:, 0] ** 2
    known = np.isfinite(squares)
    assert np.nansum(shares) == pytest.approx(1.0, abs=0.05)
    assert shares[known] == pytest.approx(squares[known] / squares[known].sum(), abs=0.03)


def test_lines_carry_sign_and_share(design_tables):
    lines = {line.term: line for line in budget(design_tables).lines}
    assert lines["emissivity"].sign == 1  # a pan that glows more reads hotter
    assert lines["temperature around the pan"].sign == 1
    assert 0.2 < lines["emissivity"].total_share_frac < 0.8
    assert lines["drop through the film"].sign == 0


def test_clipped_draws_are_counted_apart(design_tables):
    design_tables["sensors"][0]["range_high"] = "205 degC"
    one = budget(design_tables)
    assert 0.0 < one.clipped_frac < 1.0
    assert one.unexplained_frac == 0.0
    assert one.high_mc_k == math.inf


# -------------------------------------------------------- units, calibration
LINE = {
    "points": ["60 degC", "250 degC"],
    "fixture_u95": "1 K",
    "time": "4 min",
    "cost": "1.50 USD",
    "remaining": "0 %",
}


def test_a_line_through_two_points_carries_errors_as_it_should():
    # [own calculation] from 60 and 100 C to 230 C: weights -3.25 and 4.25
    weights = carried(np.array([60.0, 100.0]), at_k=np.array([230.0, 60.0]))
    assert weights[0] == pytest.approx([-3.25, 4.25])
    assert weights[1] == pytest.approx([1.0, 0.0])
    assert carried(np.array([150.0]), at_k=np.array([230.0])) == pytest.approx(1.0)


def test_two_points_take_out_offset_and_gain(design_tables):
    design_tables["end_of_line"] = LINE
    assert term(design_tables, "sensor offset").high[0] == 0.0
    assert term(design_tables, "sensor gain").high[0] == pytest.approx(0.0, abs=1e-6)
    assert abs(term(design_tables, "window transmittance").low[0]) < 1.5


def test_one_point_leaves_the_gain_away_from_it(design_tables):
    design_tables["end_of_line"] = {**LINE, "points": ["150 degC"]}
    one = cases(design_tables)
    left = next(t for t in one.terms if t.name == "sensor gain").high[0]
    # [own calculation] 2 % of the distance between what is stated at 230 C and at the point
    at_point = one.sight
    stated = float(one.apparent_k[0])
    assert at_point.transmittance == 0.85
    assert 0.02 * (stated - 273.15 - 150.0) < left < 0.02 * (stated - 273.15 - 120.0)


def test_what_comes_back_of_the_offset_is_declared(design_tables):
    design_tables["end_of_line"] = {**LINE, "remaining": "50 %"}
    assert term(design_tables, "sensor offset").high[0] == pytest.approx(1.0)


def units_of(tables):
    design = Design.model_validate(tables)
    seen = seen_by(design)
    wanted = [
        Wanted(design.base("dry"), design.pan("iron-24"), HOT_K),
        Wanted(design.base("water"), design.pan("iron-24"), 363.15),
    ]
    budgets = error_budgets(design, seen=seen, wanted=wanted)
    return unit_population(design, seen=seen, budgets=budgets)


def test_the_poor_unit_is_worse_and_the_line_helps(design_tables):
    plain = units_of(design_tables)
    (dry, _) = plain.errors
    assert dry.p95_k > dry.median_k > 0.0
    assert math.isnan(dry.p95_calibrated_k)
    assert plain.yield_frac == 1.0
    assert plain.cost_per_good_unit == "0.00"
    design_tables["end_of_line"] = LINE
    line = units_of(design_tables)
    assert line.errors[0].p95_k == pytest.approx(dry.p95_k, rel=1e-9)
    assert line.errors[0].p95_calibrated_k < 0.9 * dry.p95_k


def test_a_tight_limit_costs_yield_and_money(design_tables):
    design_tables["end_of_line"] = {**LINE, "reject_limit": "4 K"}
    found = units_of(design_tables)
    assert 0.1 < found.yield_low_frac < found.yield_frac < 0.95
    scrap = 41.0 * (1 - found.yield_frac) / found.yield_frac + 1.50 / found.yield_frac
    assert float(found.cost_per_good_unit) == pytest.approx(scrap, abs=0.006)


def test_a_limit_that_none_passes_is_said(design_tables):
    design_tables["end_of_line"] = {**LINE, "fixture_u95": "0 K", "reject_limit": "0 K"}
    found = units_of(design_tables)
    assert found.cost_per_good_unit == "none passes"
    assert found.yield_frac == 0.0


def test_boiling_water_takes_an_offset_out(design_tables):
    design_tables["field_recalibration"] = {"point": "98 degC", "u95": "1 K"}
    _, water = units_of(design_tables).errors
    assert water.p95_recalibrated_k < water.p95_k


@pytest.mark.parametrize(("bias", "u", "half"), [(0.0, 1.0, 1.96), (20.0, 1.0, 21.645), (5, 0, 5)])
def test_half_width_of_a_biased_normal(bias, u, half):
    # Normal quantiles: 1.960 two-sided, 1.645 one-sided.
    assert half_width_k(np.array([float(bias)]), u_k=np.array([float(u)]))[0] == pytest.approx(
        half, abs=2e-3
    )


def test_two_same_points_are_refused(design_tables):
    design_tables["end_of_line"] = {**LINE, "points": ["60 degC", "60 degC"]}
    with pytest.raises(InputError, match="same"):
        cases(design_tables)


def test_words_of_the_firmware_are_a_small_term(design_tables):
    found = term(design_tables, "firmware's words")
    # [own calculation] 3 / 128 K, and 4/8 K2 (n - 1)/T = 2 K2/4.. for L ~ T^n: 1 to 6 mK.
    assert 3 / 128 < found.high[0] < 3 / 128 + 0.007
    assert "1/64 K" in found.source
