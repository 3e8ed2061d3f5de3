"""The predict stage against closed forms, hand ledgers and single-cause errors.

Expected numbers marked [own calculation] were computed apart from this code:
plane geometry, hand ledgers, or a Planck integral over a flat 8-14 um band.
"""

from __future__ import annotations

import copy
import math
from dataclasses import replace

import numpy as np
import pytest

from trivet.errors import InputError, OutOfRangeError
from trivet.models.predicted import prediction_stream
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k, sighted_surface_k
from trivet.physics.radiation.planck import flat_band
from trivet.records.design import Design
from trivet.records.provenance import fingerprint
from trivet.stages.predict import predict
from trivet.stages.predict.battery import battery_days
from trivet.stages.predict.budget import error_k, monte_carlo, unit_draws, why_they_differ
from trivet.stages.predict.cautions import assumed_figures, confused_ranges
from trivet.stages.predict.margins import alert_margins, range_checks
from trivet.stages.predict.money import economics
from trivet.stages.predict.readings import (
    Wanted,
    error_budgets,
    places_of,
    wanted_budgets,
)
from trivet.stages.predict.terms import Cases, Term, cases_of
from trivet.stages.predict.views import seen_by

BAND = flat_band(8e-6, 14e-6)
TEMPERATURES_C = (100.0, 180.0, 230.0, 300.0)


@pytest.fixture(scope="module")
def prediction(plain_design):
    return predict(plain_design)


def _predicted(tables):
    return predict(Design.model_validate(tables))


def _views(tables):
    return seen_by(Design.model_validate(tables)).views


def _some_budgets(tables, base, pan, *celsius):
    design = Design.model_validate(tables)
    wanted = [Wanted(design.base(base), design.pan(pan), one + 273.15) for one in celsius]
    return error_budgets(design, seen=seen_by(design), wanted=wanted)


def _shallow(tables, height):
    """Make one flat dark pan of 240 mm seen from a height."""
    tables["heads"][0]["mount"]["height"] = height
    pan = {**tables["pans"][0], "depth": "1 um", "thickness": "1 um"}
    tables["pans"] = [pan]
    tables["bases"] = [{"name": "dry", "contents": "dry"}]
    tables["bands"] = []
    return Design.model_validate(tables)


# ------------------------------------------------------------------ views
def test_front_margin_is_the_half_field_minus_what_is_needed(design_tables):
    # [own calculation] 0.70 tan(17.5 deg) = 0.22071 m against 130 + 120 + 10 mm
    views = seen_by(_shallow(design_tables, "0.70 m")).views
    for view in views:
        assert view.margin_m == pytest.approx(0.70 * math.tan(math.radians(17.5)) - 0.260, abs=1e-4)
        assert 0.5 < view.rim_in_view_frac < 1.0


def test_rim_and_margin_need_0_825_m(design_tables):
    # [own calculation] 0.260 / tan(17.5 deg) = 0.8246 m; 39.3 deg would be needed for 0.250 m
    assert math.degrees(2 * math.atan(0.250 / 0.70)) == pytest.approx(39.3, abs=0.05)
    low = seen_by(_shallow(design_tables, "0.823 m")).views
    high = seen_by(_shallow(design_tables, "0.8255 m")).views
    assert all(view.margin_m < 0.0 for view in low)
    assert all(view.margin_m > 0.0 and view.rim_in_view_frac == 1.0 for view in high)


def test_rim_is_judged_at_its_own_height(design_tables):
    design_tables["pans"][0] |= {"depth": "95 mm", "thickness": "5 mm"}
    view = _views(design_tables)[0]
    expected = 0.60 * math.tan(math.radians(17.5)) - 0.260
    assert view.margin_m == pytest.approx(expected, abs=1e-4)


def test_footprint_angle_and_pixels_of_a_flat_pan(design_tables):
    view = seen_by(_shallow(design_tables, "0.70 m")).views[0]
    # [own calculation] a plane that is parallel to the array has one footprint everywhere
    row = 2 * 0.70 * math.tan(math.radians(17.5)) / 24
    col = 2 * 0.70 * math.tan(math.radians(27.5)) / 32
    assert view.footprint_m == pytest.approx(math.sqrt(row * col), rel=1e-3)
    assert view.pixels_across == pytest.approx(0.240 / max(row, col), rel=1e-3)
    assert view.view_angle_rad == pytest.approx(math.atan(math.hypot(0.2, 0.13) / 0.70), rel=1e-5)
    assert view.visible_base_frac == pytest.approx(1.0, abs=1e-4)


def test_every_head_burner_and_pan_has_a_view(prediction, design):
    assert len(prediction.views) == len(design.heads) * len(design.burners) * len(design.pans)


def test_a_pan_as_tall_as_the_mount_is_named(design_tables):
    design_tables["pans"][1]["depth"] = "75 cm"
    with pytest.raises(OutOfRangeError, match=r"head main.*steel-24"):
        _views(design_tables)


# ----------------------------------------------------- measurement equation
@pytest.mark.parametrize(
    ("believed", "true", "expected"),
    [
        # [own calculation] errors at 100 / 180 / 230 / 300 C, surroundings 25 C
        ({"emissivity": 0.95}, {"emissivity": 0.90}, (-3.2, -5.9, -7.6, -10.1)),
        ({"emissivity": 0.95}, {"emissivity": 0.60}, (-24, -45, -57, -75)),
        ({"emissivity": 0.95}, {"reflected_k": 318.15}, (0.7, 0.5, 0.4, 0.4)),
        ({"emissivity": 0.60}, {"reflected_k": 318.15}, (8, 6, 5, 5)),
        ({"transmittance": 0.9}, {"window_k": 333.15}, (1.6, 1.2, 1.0, 0.9)),
    ],
)
def test_single_causes_cost_what_a_planck_integral_says(believed, true, expected):
    base = LineOfSight(emissivity=0.95, reflected_k=298.15, window_k=313.15)
    belief = replace(base, **believed)
    stated = sighted_apparent_k(
        np.array(TEMPERATURES_C) + 273.15, sight=replace(belief, **true), band=BAND
    )
    read = sighted_surface_k(stated, sight=belief, band=BAND) - 273.15
    got = read - np.array(TEMPERATURES_C)
    digits = np.array([0.6 if abs(one) > 4 and one == int(one) else 0.1 for one in expected])
    assert np.all(np.abs(got - np.array(expected)) <= digits), got


def test_five_percent_from_beside_the_pan_costs_6_5_kelvin():
    # [own calculation] 5 % / 10 % of the energy from 60 C surroundings at 230 C
    for share, expected in ((0.95, -6.5), (0.90, -13.0)):
        true = LineOfSight(emissivity=0.95, reflected_k=298.15, source_frac=share, around_k=333.15)
        stated = sighted_apparent_k(503.15, sight=true, band=BAND)
        read = sighted_surface_k(stated, sight=replace(true, source_frac=1.0), band=BAND)
        assert read - 503.15 == pytest.approx(expected, abs=0.35)


@pytest.mark.parametrize("temperature_c", [-20.0, 60.0, 230.0, 400.0])
def test_the_inverse_closes(temperature_c):
    sight = LineOfSight(
        emissivity=0.8,
        reflected_k=310.0,
        transmittance=0.85,
        window_k=305.0,
        source_frac=0.97,
        around_k=333.0,
        offset_k=1.5,
        gain=0.02,
        housing_k=305.0,
    )
    kelvin = temperature_c + 273.15
    stated = sighted_apparent_k(kelvin, sight=sight, band=BAND)
    assert sighted_surface_k(stated, sight=sight, band=BAND) == pytest.approx(kelvin, abs=1e-6)


def test_a_sight_refuses_impossible_shares():
    for fault in ({"emissivity": 0.0}, {"transmittance": 1.2}, {"source_frac": 0.0}, {"gain": -1}):
        with pytest.raises(OutOfRangeError):
            LineOfSight(**{"emissivity": 0.9, "reflected_k": 300.0, **fault})


# ----------------------------------------------------------------- budgets
def _budget(prediction, base, pan, celsius):
    return next(
        one
        for one in prediction.budgets
        if one.base == base and one.pan == pan and abs(one.temperature_k - 273.15 - celsius) < 0.1
    )


def _line(budget, term):
    return next(line.u_k for line in budget.lines if line.term == term)


def test_emissivity_line_is_its_single_cause(prediction):
    # [own calculation] 0.05 of emissivity is 7.6 K at 230 C, so a half-width of 0.03 is
    # 4.6 K and its standard uncertainty 2.6 K
    line = _line(_budget(prediction, "dry", "iron-24", 230), "emissivity")
    assert line == pytest.approx(7.6 * 0.03 / 0.05 / math.sqrt(3), rel=0.05)


def test_window_line_is_its_single_cause(prediction):
    # [own calculation] 5 % of window loss not known of is 7.0 K at 230 C; 0.03 of 0.85 is 3.5 %
    line = _line(_budget(prediction, "dry", "iron-24", 230), "window transmittance")
    assert line == pytest.approx(7.0 / 5 * 3.53 / math.sqrt(3), rel=0.05)


def test_combined_is_the_root_of_squares_with_what_errs_together(prediction):
    for budget in prediction.budgets:
        known = [line.u_k for line in budget.lines if math.isfinite(line.u_k)]
        squares = sum(u**2 for u in known)
        # beside the squares: the second order, and pairs that err together
        apart = abs(budget.u_gum_k**2 - squares)
        pairs = 2 * sum(sorted(known)[-1] * u for u in known) if budget.correlated else 0.0
        assert apart <= budget.second_order_k**2 + pairs + 1e-6 * squares, budget
        assert budget.u95_gum_k == pytest.approx(1.959964 * budget.u_gum_k, rel=1e-5)


def test_methods_agree_within_five_percent_or_say_why(prediction):
    for budget in prediction.budgets:
        bounded = math.isfinite(budget.u95_mc_k)
        apart = not bounded or abs(budget.u95_mc_k - budget.u95_gum_k) > 0.05 * budget.u95_mc_k
        assert bool(budget.note) == apart, budget
    assert any(not budget.note for budget in prediction.budgets)
    assert any("rectangular" in budget.note for budget in prediction.budgets)


def test_monte_carlo_of_one_rectangular_cause_has_its_known_width(design):
    """A rectangle of half-width a holds 95 % within 0.95 a; nothing else errs."""
    cases = _one_case(design, "offset_k", 4.0)
    draws = unit_draws(cases.terms, generator=np.random.default_rng(1), draws=40_000)
    drawn = monte_carlo(cases, draws=draws)
    slope = float(error_k(cases, deviations={"offset_k": np.array([[0.01]])})[0, 0]) / 0.01
    assert drawn.high[0] == pytest.approx(0.95 * 4.0 * slope, rel=0.02)
    assert drawn.low[0] == pytest.approx(-0.95 * 4.0 * slope, rel=0.02)
    assert drawn.deviation[0] == pytest.approx(4.0 * slope / math.sqrt(3), rel=0.02)


def _one_case(design, field, half) -> Cases:
    seen = seen_by(design)
    wanted = [Wanted(design.base("dry"), design.pan("iron-24"), 503.15)]
    places = next(iter(places_of(design, seen, wanted)))[:1]
    cases = cases_of(design, eye=seen.eyes[0], places=places)
    one = np.array([half])
    return replace(cases, terms=(Term("it", field, -one, one, "rectangular", "test"),))


def test_draws_without_a_temperature_are_counted_and_widen(design):
    """Mirror errors larger than the signal leave draws with no temperature."""
    cases = _one_case(design, "offset_k", 400.0)
    drawn = monte_carlo(
        cases, draws=unit_draws(cases.terms, generator=np.random.default_rng(2), draws=20_000)
    )
    assert drawn.unexplained_frac[0] > 0.1
    assert drawn.low[0] == -math.inf
    note = why_they_differ(u_k=10, u95_k=19.6, drawn_sd_k=10, interval_k=(-math.inf, 30), lost=0.2)
    assert "20.0% of draws have no temperature" in note
    assert "unbounded" in note


def test_shiny_is_not_measurable_and_says_so(prediction):
    for budget in prediction.budgets:
        if budget.base == "dry" and budget.pan == "steel-24":
            assert not budget.measurable
            assert "mirrors its surroundings" in budget.reason
    assert _budget(prediction, "dry", "iron-24", 180).measurable


def test_a_half_wetted_film_on_steel_exceeds_the_bound(prediction):
    budget = _budget(prediction, "film", "steel-24", 230)
    assert not budget.measurable
    assert "exceeds the bound of 25 K" in budget.reason
    assert "emissivity" in budget.reason
    assert 0.4 < budget.emissivity < 0.95


def test_above_the_range_is_not_measurable(prediction):
    assert "saturate" in _budget(prediction, "dry", "iron-24", 371).reason


def test_every_budget_says_what_the_temperature_is_of(prediction):
    of = {(one.base, one.of) for one in prediction.budgets}
    assert of == {
        ("dry", "pan"),
        ("film", "pan"),
        ("butter", "pan"),
        ("deep-oil", "oil"),
        ("water", "liquid"),
    }


def test_band_ends_and_limits_have_budgets_and_water_does_not_boil(design_tables):
    design_tables["surroundings"]["altitude"] = "3000 m"  # boils at 90 C
    wanted = wanted_budgets(Design.model_validate(design_tables))
    water = {round(one.temperature_k - 273.15) for one in wanted if one.base.name == "water"}
    assert water == {60, 80, 82, 88}
    film = {round(one.temperature_k - 273.15) for one in wanted if one.base.name == "film"}
    assert film == {120, 160, 180, 230, 300, 371}


def test_too_few_pixels_are_no_reading(design_tables):
    design_tables["sensors"][0] |= {"rows": 8, "cols": 8, "fov_h": "60 deg", "fov_v": "60 deg"}
    (budget,) = _some_budgets(design_tables, "water", "iron-24", 80)
    assert not budget.measurable
    # [own calculation] 101 mm footprint: 2.4 to 2.6 across 240 mm, some 5 pixels of area
    assert "5 pixels of pan, under the 10" in budget.reason


def test_unknown_accuracy_is_not_zero(design_tables):
    for key in ("accuracy", "accuracy_gain"):
        del design_tables["sensors"][0][key]
    prediction = _predicted(design_tables)
    (budget,) = _some_budgets(design_tables, "dry", "iron-24", 180)
    assert not budget.measurable
    assert "accuracy of card thermopile-32x24-55 is unknown" in budget.reason
    assert math.isnan(budget.u_gum_k)
    assert math.isnan(budget.u95_mc_k)
    assert any("accuracy, gain error" in line and "unknown" in line for line in prediction.cautions)


def test_the_worst_burner_stands_for_all(design_tables):
    """Move one burner so far that its view is steep: its budget is the one stated."""
    design_tables["heads"][0]["mount"]["height"] = "0.9 m"
    design_tables["burners"][3] |= {"x": "330 mm", "y": "200 mm"}
    (budget,) = _some_budgets(design_tables, "water", "iron-24", 80)
    assert "rear-right" in budget.reason


def test_a_burner_seen_by_no_head_is_named(design_tables):
    design_tables["burners"][0]["x"] = "-1.5 m"
    prediction = _predicted(design_tables)
    assert "Burner front-left is seen by no head." in prediction.cautions


def test_told_less_means_a_wider_span_is_said(design_tables):
    design_tables["told"]["channels"] = []
    spans = confused_ranges(Design.model_validate(design_tables))
    # dry steel from 0.10, foaming butter and water to 0.98 and above
    assert spans["dry"][0] == pytest.approx(0.10)
    assert spans["dry"][1] > 0.98
    assert any(one.startswith("Base dry") for one in _predicted(design_tables).cautions)


# ------------------------------------------------------- ranges and margins
def test_headroom_is_negative_for_371_c(prediction):
    check = next(one for one in prediction.ranges if one.limit == "ignition")
    assert check.headroom_k == pytest.approx(-71.0)
    assert check.apparent_at_limit_k < check.limit_k


def test_an_unstated_range_is_nan(design_tables):
    del design_tables["sensors"][0]["range_high"]
    assert all(math.isnan(one.headroom_k) for one in _ranges(design_tables))


def _ranges(tables):
    design = Design.model_validate(tables)
    return range_checks(design, eyes=seen_by(design).eyes)


def _margins(prediction, alert):
    return [one for one in prediction.margins if one.alert == alert]


def test_needed_trips_for_60_s_to_371_c(prediction):
    # [own calculation] 371 - 60 r: 311, 251, 191, 107 C
    needed = [one.needed_trip_k - 273.15 for one in _margins(prediction, "over-temperature")]
    assert needed == pytest.approx([311, 251, 191, 107])


def test_lead_is_what_error_and_latency_leave(prediction):
    for one in _margins(prediction, "over-temperature"):
        late_k = one.trip_k - (240 + 273.15) - 1.25 * one.rate_kps
        assert 5.0 < late_k < 25.0
        assert one.lead_s == pytest.approx((371 + 273.15 - one.trip_k) / one.rate_kps)
    assert [one.possible for one in _margins(prediction, "over-temperature")] == [
        True,
        True,
        True,
        False,
    ]
    assert "physically impossible" in _margins(prediction, "over-temperature")[3].note


def test_smoke_60_s_ahead_is_impossible_from_2_kps_on(prediction):
    # [own calculation] 230 - 60 r: 170 C at 1 K/s, 110 C at 2 K/s, inside ordinary frying
    ahead = _margins(prediction, "smoke-ahead")
    assert [one.needed_trip_k - 273.15 for one in ahead][:2] == pytest.approx([170, 110])
    assert [one.possible for one in ahead] == [True, False, False, False]
    assert "204 °C" in ahead[0].note


def test_a_set_point_beyond_the_range_never_trips(design_tables):
    design_tables["alerts"][0]["set_point"] = "371 degC"
    design = Design.model_validate(design_tables)
    for one in alert_margins(design, seen=seen_by(design))[:4]:
        assert math.isnan(one.lead_s)
        assert math.isnan(one.trip_k)
        assert "saturates at 300 °C" in one.note


def test_loss_of_sight_has_no_margin(prediction):
    assert not _margins(prediction, "blind")


# ---------------------------------------------------------- battery, money
def _plain_battery(tables, **changed):
    tables["diary"]["cooking_per_day"] = {"value": "1.5 h", "low": "1.5 h", "high": "1.5 h"}
    tables["battery"] |= {"self_discharge": "0 %/year", "message": "0 J", **changed}
    return _battery(tables)


def _battery(tables):
    design = Design.model_validate(tables)
    return battery_days(design, generator=prediction_stream(design, name="battery"))


@pytest.mark.parametrize(
    ("measure", "duty", "days"),
    [
        # hand ledger: 13.5 Wh x 85 % = 11.475 Wh over (hours on x W + hours asleep x 0.19 mW)
        ("128.9 mW", "100 %", 11.475 / (1.5 * 0.1289 + 22.5 * 0.00019)),
        ("128.9 mW", "25 %", 11.475 / (0.375 * 0.1289 + 23.625 * 0.00019)),
        ("198 mW", "100 %", 11.475 / (1.5 * 0.198 + 22.5 * 0.00019)),
    ],
)
def test_battery_days_by_a_hand_ledger(design_tables, measure, duty, days):
    life = _plain_battery(design_tables, measure=measure, duty=duty)
    assert life.days_p50 == pytest.approx(days, rel=1e-3)
    assert life.days_p10 == pytest.approx(life.days_p90)
    # [own calculation] 58, 217 and 38 days
    assert round(days) in (58, 217, 38)


def test_battery_percentiles_follow_the_cooking_hours(prediction):
    life = prediction.battery
    assert life.days_p10 < life.days_p50 < life.days_p90
    assert life.shares[0][0] == "measure"
    assert sum(share for _, share in life.shares) == pytest.approx(1.0)


def test_cells_above_their_limit_stop_hard(design_tables):
    design_tables["surroundings"]["housing_rise"] = "45 K"
    life = _battery(design_tables)
    assert life.days_p90 == 0.0
    assert life.note.startswith("hard stop: the cells at 67 °C")


def test_money_ties_to_the_hand_ledger(prediction):
    # by hand: 149.00 less 35 % = 96.85; 41.00 + 5 % + 2.50 = 45.55;
    # less 3 % of 45.55, 4 % of 96.85 and 2.00: 44.0595
    money = prediction.economics
    assert (money.net_revenue, money.landed_cost) == ("96.85", "45.55")
    assert money.contribution == "44.0595"
    assert money.break_even_units == 7036  # 310,000 / 44.0595 = 7,035.9
    assert money.cash_trough == "-310000.00"
    assert money.monthly_cash[:2] == ("-310000.00", "-287970.25")
    assert len(money.monthly_cash) == 37
    assert money.break_even_month == 15


def test_the_worked_unit_of_43_795(design_tables):
    # [own calculation] price 149, channel 35 %, goods 41: 43.8 a unit, 7,079 units for 310,000
    design_tables["costs"] |= {
        "duty": "0 %",
        "freight": "0 USD",
        "warranty": "0 %",
        "returns": "0 %",
        "support": "12.055 USD",
    }
    money = economics(Design.model_validate(design_tables))
    assert money.contribution == "43.795"
    assert money.break_even_units == 7079


def test_nothing_earned_is_never(design_tables):
    design_tables["costs"]["price"] = "60.00 USD"
    money = economics(Design.model_validate(design_tables))
    assert money.break_even_units is None
    assert money.break_even_month is None
    assert money.payback_months is None


def test_two_currencies_are_refused(design_tables):
    design_tables["costs"]["freight"] = "2.50 EUR"
    with pytest.raises(InputError, match=r"freight = 2\.50 EUR"):
        economics(Design.model_validate(design_tables))


# ------------------------------------------------- assumptions, determinism
def test_assumed_lists_only_what_has_no_origin(design_tables):
    design_tables["heads"][0]["mount"]["height"] = {"value": "0.70 m", "origin": "measured"}
    design_tables["diary"]["cooking_per_day"]["note"] = "a diary is due"
    assumed = assumed_figures(Design.model_validate(design_tables))
    assert not any(line.startswith("heads.main.mount.height") for line in assumed)
    assert "heads.main.mount.tilt = 0 deg" in assumed
    assert "diary.cooking_per_day = 1.5 h (a diary is due)" in assumed
    assert any(line.startswith("sensors.thermopile-32x24-55.settle_offset") for line in assumed)
    assert any(line.startswith("predict.opaque_film = 0.5 mm") for line in assumed)


def test_the_same_design_gives_the_same_bytes(design_tables):
    first = fingerprint(_predicted(design_tables))
    assert first == fingerprint(_predicted(copy.deepcopy(design_tables)))
    design_tables["project"]["seed"] = 8
    assert fingerprint(_predicted(design_tables)) != first


def test_two_heads_each_stand_for_what_they_see_best(design_tables):
    head = design_tables["heads"][0]
    left = {**head, "name": "left", "mount": {"x": "-200 mm", "height": "0.9 m"}}
    right = {**head, "name": "right", "mount": {"x": "200 mm", "height": "0.9 m"}}
    design_tables["heads"] = [left, right]
    design = Design.model_validate(design_tables)
    seen = seen_by(design)
    wanted = [Wanted(design.base("dry"), design.pan("iron-24"), 453.15)]
    (budget,) = error_budgets(design, seen=seen, wanted=wanted)
    assert budget.measurable
    assert len(range_checks(design, eyes=seen.eyes)) == 2 * len(design.limits)
