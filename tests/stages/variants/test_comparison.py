"""Sensors and designs side by side: unknown stays unknown, every cell says where it is from."""

from __future__ import annotations

import copy
import json
import math

import pytest

from trivet.errors import InputError
from trivet.facts.parts import sensor_cards
from trivet.records.design import Design
from trivet.records.provenance import fingerprint, record_json
from trivet.stages.predict import predict, predict_parts
from trivet.stages.predict.readings import Wanted, error_budgets
from trivet.stages.predict.views import seen_by
from trivet.stages.variants import comparison as variants
from trivet.stages.variants.comparison import compare_designs


def compare_sensors(design):
    return variants.compare_sensors(design, predict=predict_parts)


@pytest.fixture(scope="module")
def comparison(plain_design):
    return compare_sensors(plain_design)


def cells(comparison, question):
    row = next(row for row in comparison.rows if row.question.startswith(question))
    return dict(zip(comparison.columns, row.cells, strict=True))


def test_every_library_card_has_a_column_and_the_own_card_comes_first(comparison, plain_design):
    assert comparison.columns[0] == plain_design.heads[0].sensor
    assert set(sensor_cards()) <= set(comparison.columns)
    assert all(len(row.cells) == len(comparison.columns) for row in comparison.rows)


def test_every_cell_says_what_it_was_calculated_from(comparison):
    for row in comparison.rows:
        for cell in row.cells:
            assert cell.source.strip(), row.question
            assert cell.text or math.isfinite(cell.value), row.question


def test_a_missing_spec_is_unknown_and_never_zero(comparison):
    fields = {
        "drift right after wake": "settle_delta_k",
        "settles within": "settle_s",
        "board price": "board_price",
        "range headroom": "range_high_k",
        "days of a charge": "measure_w",
    }
    checked = 0
    for question, field in fields.items():
        for name, cell in cells(comparison, question).items():
            card = sensor_cards()[name] if name != comparison.columns[0] else None
            if card is not None and getattr(card, field) is None:
                assert cell.unknown, (question, name)
                assert math.isnan(cell.value), (question, name)
                checked += 1
    assert checked >= 5


def test_error_without_a_stated_accuracy_is_unknown(comparison):
    for question in ("95 % error of a dark dry pan at 230", "dark dry pan measurable"):
        found = cells(comparison, question)["thermopile-80x64-wide"]
        assert found.unknown
        assert "no accuracy" in found.source


def test_cells_are_what_views_and_budgets_say(comparison, plain_design):
    own = comparison.columns[0]
    views = seen_by(plain_design).views
    margin = cells(comparison, "least margin")[own].value
    assert margin == pytest.approx(min(view.margin_m for view in views))
    wanted = [Wanted(plain_design.base("dry"), plain_design.pan("iron-24"), 503.15)]
    budget = error_budgets(
        plain_design, seen=seen_by(plain_design), wanted=wanted, part="comparison"
    )[0]
    assert cells(comparison, "95 % error of a dark dry pan at 230")[own].value == budget.u95_k


def test_the_wide_array_sees_all_and_resolves_little(comparison):
    # Plane geometry: 110 x 75 deg at 0.70 m spans 2.0 x 1.07 m; 62.5 mm a pixel across 240 mm.
    name = "thermopile-32x24-110"
    assert cells(comparison, "pans covered")[name].value == 1.0
    across = cells(comparison, "fewest pixels across the smallest")[name].value
    pixel = 2 * 0.65 * math.tan(math.radians(55)) / 32
    assert across == pytest.approx(0.240 / pixel, rel=0.02)
    assert cells(comparison, "10 pixels")[name].text == "no"


def test_headroom_is_range_less_the_highest_limit(comparison):
    # 400 degC of the card in low gain less 371 degC of the limit
    assert cells(comparison, "range headroom")["bolometer-160x120-57"].value == pytest.approx(29.0)


def test_life_falls_with_the_draw(comparison, design_tables):
    tables = copy.deepcopy(design_tables)
    tables["sensors"][0]["measure"] = "76 mW"
    found = cells(compare_sensors(Design.model_validate(tables)), "days of a charge")
    assert found["thermopile-8x8-60"].value > found["thermopile-32x24-110"].value
    assert found["thermopile-32x24-110"].value > found["bolometer-160x120-57"].value
    # this design's own card does not say what it draws, so no other card's days are known
    assert cells(comparison, "days of a charge")["bolometer-160x120-57"].unknown


def test_cost_battery_and_returns_move_together_with_the_card(design_tables):
    tables = copy.deepcopy(design_tables)
    tables["sensors"] = []
    tables["heads"][0]["sensor"] = "thermopile-32x24-55"
    tables["battery"]["claim"] = "60 day"
    costs = tables["costs"]
    costs.pop("unit_cost", None)
    costs |= {"returns_short_life": "10 %", "yield": "80 %", "duty": "10 %"}
    costs["bill"] = [
        {"name": "array", "sensor": True, "board_share": "40 %"},
        {"name": "rest", "price": "10.00 USD"},
    ]
    tables["sensors"] = [sensor_cards()["thermopile-32x24-55"]]
    found = compare_sensors(Design.model_validate(tables))
    in_bill = cells(found, "sensor in the bill")
    # [own calculation] 40 % of 65.00 and of 45.00; the bolometer's card states no price
    assert in_bill["thermopile-32x24-55"].text == "26.00 USD"
    assert in_bill["thermopile-8x8-60"].text == "18.00 USD"
    assert in_bill["bolometer-160x120-57"].unknown
    landed = cells(found, "landed cost")
    step = landed["thermopile-32x24-55"].value - landed["thermopile-8x8-60"].value
    assert step == pytest.approx((26 - 18) / 0.8 * 1.1)
    assert landed["bolometer-160x120-57"].unknown
    returns, days = cells(found, "returns"), cells(found, "days of a charge")
    assert days["thermopile-8x8-60"].value > days["thermopile-32x24-55"].value
    assert returns["thermopile-8x8-60"].value < returns["thermopile-32x24-55"].value
    assert "claim" in returns["thermopile-8x8-60"].source


def test_a_price_that_the_trade_study_declares_stands_in_the_bill(design_tables):
    tables = copy.deepcopy(design_tables)
    tables["costs"].pop("unit_cost", None)
    tables["costs"]["bill"] = [{"name": "array", "sensor": True, "price": "20.00 USD"}]
    tables["trade"] = {
        "criteria": [{"name": "days", "weight": "100 %", "metric": "battery_days", "worst": "0",
                      "best": "9"}],
        "options": [{"name": "own"},
                    {"name": "fine", "sensor": "bolometer-160x120-57", "sensor_price": "85 USD"}],
    }  # fmt: skip
    found = compare_sensors(Design.model_validate(tables))
    cell = cells(found, "sensor in the bill")["bolometer-160x120-57"]
    assert cell.value == 85.0
    assert "trade.options.fine" in cell.source


def test_an_impossible_card_says_why_in_every_cell(design_tables):
    wide = {**design_tables["sensors"][0], "name": "too-wide", "fov_h": "180 deg"}
    design_tables["sensors"].append(wide)
    found = compare_sensors(Design.model_validate(design_tables))
    at = found.columns.index("too-wide")
    for row in found.rows:
        assert "impossible" in row.cells[at].text
        assert "180" in row.cells[at].text
        assert math.isnan(row.cells[at].value)


def test_designs_side_by_side_answer_with_their_predictions(plain_design, design_tables):
    design_tables["project"]["name"] = "Higher"
    design_tables["heads"][0]["mount"]["height"] = "0.95 m"
    other = Design.model_validate(design_tables)
    predictions = [predict(plain_design), predict(other)]
    found = compare_designs([plain_design, other], predictions=predictions)
    assert found.columns == ("Testpane", "Higher")
    margins = [cell.value for cell in cells(found, "least margin").values()]
    assert margins[0] < 0 < margins[1]
    assert [cell.value for cell in cells(found, "pans covered").values()] == [0.0, 1.0]
    mounted = cells(found, "all covered as mounted")["Higher"]
    tolerance = predictions[1].seeing.tolerance
    assert mounted.value == tolerance.ok_frac
    assert f"{tolerance.ok_draws} of {tolerance.draws}" in mounted.source
    for row in found.rows:
        assert all(cell.source for cell in row.cells)


def test_one_design_or_predictions_that_do_not_match_are_refused(plain_design):
    with pytest.raises(InputError, match="at least two"):
        compare_designs([plain_design], predictions=[])
    with pytest.raises(InputError, match="one each"):
        compare_designs([plain_design, plain_design], predictions=[])


def test_the_comparison_is_a_record(comparison, plain_design):
    assert fingerprint(comparison) == fingerprint(compare_sensors(plain_design))
    tree = json.loads(record_json(comparison))
    assert tree["rows"][0]["cells"][0]["source"]
