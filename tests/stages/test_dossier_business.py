"""Warning, battery and money in the dossier and on the terminal: what is shown is what is so."""

from __future__ import annotations

import io
import math

import pytest
from rich.console import Console

from trivet.errors import InputError
from trivet.present import on_terminal
from trivet.present.answers import answer_section
from trivet.present.business import battery_section, money_section
from trivet.present.comparison import trade_section
from trivet.present.dossier import prediction_sections
from trivet.present.figures import chart_svg
from trivet.present.warning import timeline_charts, timeline_tables
from trivet.records.design import Design
from trivet.stages.predict import predict, predict_parts
from trivet.stages.variants import tradeoff


@pytest.fixture(scope="module")
def ranged(plain_design):
    costs = plain_design.costs.model_copy(
        update={"price_spread_frac": type(plain_design.costs.price_spread_frac)(0.1)}
    )
    return plain_design.model_copy(update={"costs": costs})


@pytest.fixture(scope="module")
def prediction(ranged):
    return predict(ranged)


def trade(design):
    return tradeoff.trade(design, predict=predict_parts)


def _printed(*sections, short=False):
    text = io.StringIO()
    Console(file=text, width=120, no_color=True).print(on_terminal(sections, short=short))
    return text.getvalue()


def test_the_page_fits_two_screens_and_answers(ranged, prediction):
    sections = (
        answer_section(prediction, display=ranged.display),
        *prediction_sections(ranged, prediction=prediction),
    )
    text = _printed(*sections, short=True)
    assert len(text.splitlines()) <= 110
    for words in ("is it seen?", "how wrong?", "how soon does it read?", "how long a charge?",
                  "what does it earn?", "Outcome", "Settling error"):  # fmt: skip
        assert words in text
    whole = _printed(*sections)
    assert len(whole) > len(text)
    assert "Base dry" in whole


def test_every_case_has_a_row_and_its_outcome(ranged, prediction):
    steps, cases = timeline_tables(ranged, prediction=prediction)
    assert [row[0] for row in steps.rows][-1] == "first reading"
    assert len(cases.rows) == len(prediction.warning.cases)
    for row, one in zip(cases.rows, prediction.warning.cases, strict=True):
        assert row[9] == one.outcome
    assert "311 °C" in {row[3] for row in cases.rows}


def test_pictures_draw_and_do_not_change(ranged, prediction):
    charts = [
        *timeline_charts(ranged, prediction=prediction),
        *battery_section(ranged, prediction=prediction).charts,
        *money_section(prediction).charts,
    ]
    kinds = {chart.kind for chart in charts}
    assert kinds == {"timeline", "days", "battery", "cash", "tornado"}
    for chart in charts:
        text = chart_svg(chart, display=ranged.display, key="k")
        assert text == chart_svg(chart, display=ranged.display, key="k")
        assert "PREDICTED" in text
    fahrenheit = ranged.display.model_copy(update={"temperature": "degF"})
    shown = chart_svg(charts[0], display=fahrenheit, key="k")
    assert "°F" in shown


def test_a_ring_only_where_the_lead_is_possible(ranged, prediction):
    chart = timeline_charts(ranged, prediction=prediction)[0]
    cases = [one for one in prediction.warning.cases if one.alert == "over-temperature"]
    rings = [line for line in chart.lines if line.style == "needed"]
    beyond = [one for one in cases if one.outcome in ("impossible", "ordinary cooking")]
    assert len(rings) == len(cases) - len(beyond)
    assert beyond


def test_money_of_the_dossier_is_that_of_the_record(prediction):
    section = money_section(prediction)
    titles = [table.title for table in section.tables]
    assert titles == [
        "Unit and plan", "One unit, line by line", "Flows", "Sensitivity, one figure at a time",
        "Cost of a burner watched",
    ]  # fmt: skip
    unit = dict(section.tables[1].rows)
    assert unit["contribution"] == "44.06 USD"
    assert all(table.evidence == "predicted" for table in section.tables)


def _studied(tables, weights=("60 %", "40 %")):
    tables["sensors"][0]["measure"] = "76 mW"
    tables["trade"] = {
        "criteria": [
            {"name": "life", "weight": weights[0], "metric": "battery_days", "worst": "0",
             "best": "100"},
            {"name": "taste", "weight": weights[1], "worst": "0", "best": "10"},
        ],
        "options": [
            {"name": "own", "scores": [{"criterion": "taste", "value": "2"}]},
            {"name": "bolometer", "sensor": "bolometer-160x120-57",
             "scores": [{"criterion": "taste", "value": "9"}]},
        ],
    }  # fmt: skip
    return Design.model_validate(tables)


def test_a_trade_study_links_the_models(design_tables):
    design = _studied(design_tables)
    study = trade(design)
    rows = {row.option: {cell.criterion: cell for cell in row.cells} for row in study.rows}
    assert rows["own"]["life"].value == predict(design).battery.days_p10
    assert rows["bolometer"]["life"].value < rows["own"]["life"].value  # it draws more
    # By hand: 0.6 x days / 100 + 0.4 x taste / 10
    for name, taste in (("own", 2), ("bolometer", 9)):
        total = 0.6 * rows[name]["life"].value / 100 + 0.4 * taste / 10
        assert next(row.total for row in study.rows if row.option == name) == pytest.approx(total)
    gain = 0.7  # of taste
    loss = rows["own"]["life"].score - rows["bolometer"]["life"].score
    flip = study.flips[1]
    # Equal where w x gain = (1 - w) x loss.
    edge = loss / (gain + loss)
    assert edge == pytest.approx(flip.lower_frac if edge < 0.4 else flip.upper_frac)
    text = _printed(trade_section(study))
    assert study.winner in text
    assert "no test stands behind a score" in text


def test_a_study_says_how_firm_its_winner_is(design_tables):
    study = trade(_studied(design_tables))
    assert study.draws == 10_000
    assert sum(row.win_frac for row in study.rows) == pytest.approx(1.0)
    for row in study.rows:
        assert row.win_low_frac <= row.win_frac <= row.win_high_frac
    assert study == trade(_studied(design_tables))


def test_what_a_card_does_not_say_is_not_taken_over_from_the_own_card(design_tables):
    tables = design_tables
    _studied(tables)
    tables["trade"]["options"][1]["sensor"] = "thermopile-80x64-wide"
    tables["trade"]["criteria"][1] |= {"metric": "measurable", "best": "1"}
    for option in tables["trade"]["options"]:
        option.pop("scores")
    study = trade(Design.model_validate(tables))
    row = next(row for row in study.rows if row.option == "bolometer")
    assert all(math.isnan(cell.value) and cell.score == 0.0 for cell in row.cells)
    assert any("draw is unknown" in note for note in study.notes)
    assert any("no accuracy" in note for note in study.notes)
    assert math.isnan(row.win_frac)  # of an unknown nobody can say how often it wins
    assert any("unknown figures at their best" in note for note in study.notes)


def test_a_study_whose_weights_do_not_sum_is_refused(design_tables):
    with pytest.raises(InputError, match="must sum to 1"):
        trade(_studied(design_tables, weights=("60 %", "30 %")))


def test_no_study_is_said(plain_design):
    with pytest.raises(InputError, match=r"trade\.criteria"):
        trade(plain_design)
