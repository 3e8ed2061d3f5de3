"""Alert timeline and battery of the predict stage against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from trivet.errors import InputError
from trivet.facts.parts import cell_kind
from trivet.records.design import Design
from trivet.records.energy import Chemistry
from trivet.records.requirement import Requirement
from trivet.scoring.predicted import predicted_value
from trivet.stages.predict import predict
from trivet.stages.predict.battery import battery_days
from trivet.stages.predict.margins import alert_margins
from trivet.stages.predict.views import seen_by
from trivet.stages.predict.warning import warning_timeline

FLAT = {"low": "1", "high": "1"}


def _timeline(tables, **wake):
    tables["wake"] = {"trip": "3 K", "seen_rise": "0.5", "lag": "0 s", "boot": "0.3 s",
                      "first_frame": "0.5 s", **wake}  # fmt: skip
    design = Design.model_validate(tables)
    seen = seen_by(design)
    margins = alert_margins(design, seen=seen)
    return warning_timeline(design, seen=seen, margins=margins, generator=np.random.default_rng(4))


def _cases(timeline, alert):
    return [one for one in timeline.cases if one.alert == alert]


# ---------------------------------------------------------------- waking
def test_first_reading_of_polling_by_hand(design_tables):
    design_tables["heating_rates"] = ["2 K/s"]
    design_tables["battery"]["poll_every"] = "10 s"
    got = _timeline(design_tables)
    # 3 K at half of 2 K/s: 3 s; a look within 10 s, uniform; 0.8 s to boot and see.
    assert got.first_reading_at_s(0.50) == pytest.approx(3.0 + 5.0 + 0.8, abs=0.1)
    assert got.first_reading_at_s(0.95) == pytest.approx(3.0 + 9.5 + 0.8, abs=0.1)
    assert len(got.first_reading_s) == 99
    assert [one.name for one in got.steps][-1] == "first reading"
    assert got.steps[0].p95_s == pytest.approx(3.0)


def test_rates_spread_the_first_reading(design_tables):
    design_tables["heating_rates"] = ["1 K/s", "4 K/s"]
    got = _timeline(design_tables, kind="thermal-trip")
    # 6 / r + 0.8 s, r uniform from 1 to 4: 95 % of starts have r above 1.15.
    assert got.first_reading_at_s(0.95) == pytest.approx(6 / 1.15 + 0.8, abs=0.1)
    assert got.first_reading_at_s(0.50) == pytest.approx(6 / 2.5 + 0.8, abs=0.05)


def test_nothing_that_wakes_is_never_and_said(design_tables):
    design_tables["battery"]["poll_every"] = "0 s"
    got = _timeline(design_tables)
    assert math.isinf(got.first_reading_at_s(0.95))
    assert all(one.outcome != "in time" for one in got.cases)
    cautions = predict(Design.model_validate(design_tables)).cautions
    assert any("never seen" in text for text in cautions)


def test_the_goal_is_a_requirement(design_tables):
    design_tables["requirements"].append(
        {"id": "R2", "text": "reads soon", "metric": "first_reading", "limit": "30 s",
         "coverage": "95 %", "evidence": "predicted"}
    )  # fmt: skip
    design = Design.model_validate(design_tables)
    requirement: Requirement = design.requirements[-1]
    prediction = predict(design)
    value, where, text = predicted_value(requirement, prediction=prediction, design=design)
    assert value == prediction.warning.first_reading_at_s(0.95)
    assert where == "alert timeline"
    assert "95%" in text


# ----------------------------------------------------------------- leads
def test_needed_trips_and_the_mean_of_the_pan_then(design_tables):
    for pan in design_tables["pans"]:
        pan["hot_spot_ratio"] = {"value": "1.5", "low": "1.5", "high": "1.5"}
    design_tables["surroundings"] = {"ambient": "21 degC"}
    cases = _cases(_timeline(design_tables), "over-temperature")
    # By hand: 371 - 60 r; the mean has risen by 1 / 1.5 of what the hottest part has.
    needed = [one.needed_trip_k - 273.15 for one in cases]
    assert needed == pytest.approx([311, 251, 191, 107])
    means = [one.needed_mean_k - 273.15 for one in cases]
    assert means == pytest.approx([21 + (one - 21) / 1.5 for one in needed])
    assert [one.limit_at_s for one in cases] == pytest.approx(
        [350 / rate for rate in (1, 2, 3, 4.4)]
    )


def test_a_pan_of_one_temperature_trips_where_the_margins_say(design_tables):
    """Settled and with no hot spot, the cold start changes nothing but the settling error."""
    for pan in design_tables["pans"]:
        pan["hot_spot_ratio"] = {"value": "1", **FLAT}
    design_tables["sensors"][0].pop("settle", None)
    design_tables["sensors"][0].pop("settle_offset", None)
    design = Design.model_validate(design_tables)
    margins = alert_margins(design, seen=seen_by(design))
    for case, margin in zip(_timeline(design_tables).cases, margins, strict=True):
        if case.trip_at_s > 30.0:
            assert case.trip_k == pytest.approx(margin.trip_k, abs=1e-6)
            assert case.lead_s == pytest.approx(margin.lead_s, abs=1e-6)
        assert case.settling_k == 0.0
        assert case.lag_k == pytest.approx(0.0, abs=1e-9)


def test_settling_widens_and_never_silences(design_tables):
    card = design_tables["sensors"][0]
    card |= {"settle": "4 min", "settle_offset": "8 K"}
    slow = _cases(_timeline(design_tables), "over-temperature")
    card |= {"settle": "4 min", "settle_offset": "0 K"}
    calm = _cases(_timeline(design_tables), "over-temperature")
    for wide, narrow in zip(slow, calm, strict=True):
        assert wide.error_k > narrow.error_k
        # Budgets hold the little that is left after the time that the design waits.
        assert wide.settling_k == pytest.approx(wide.error_k - narrow.error_k, abs=0.1)
        assert math.isfinite(wide.trip_at_s)  # it trips all the same
        assert wide.lead_s < narrow.lead_s
    # Faster heating trips sooner after waking, when more is left to settle.
    assert [one.settling_k for one in slow] == sorted(one.settling_k for one in slow)


def test_what_physics_forbids_is_named(design_tables):
    design_tables["heating_rates"] = ["1 K/s", "4.4 K/s", "7 K/s"]
    cases = _cases(_timeline(design_tables), "over-temperature")
    assert [one.outcome for one in cases][1:] == ["ordinary cooking", "impossible"]
    # From 22 C to 371 C at 7 K/s takes 50 s, under the 60 s asked for.
    assert "takes 50 s, less than the 60 s" in cases[2].reason
    assert "below the gate of 150 °C" in cases[1].reason


def test_a_unit_that_sleeps_too_long_is_named(design_tables):
    design_tables["battery"]["poll_every"] = "5 min"
    case = _cases(_timeline(design_tables), "over-temperature")[1]
    assert case.outcome == "asleep"
    # 3 K at half of 2 K/s, 95 % of a wait of 300 s, 0.8 s, and 1 s on-delay; 2 K/s from 22 C.
    ready = 3 + 0.95 * 300 + 0.8 + 1
    assert case.trip_at_s == pytest.approx(ready, abs=3.0)
    assert case.lead_s == pytest.approx((371 - 22) / 2 - ready, abs=3.0)


def test_the_set_point_that_would_do_leaves_the_lead(design_tables):
    design_tables["heating_rates"] = ["1 K/s"]
    (case,) = _cases(_timeline(design_tables), "over-temperature")
    # The error grows with temperature, so that the lower set point leaves a little more.
    design_tables["alerts"][0]["set_point"] = f"{case.needed_set_k - 273.15:.2f} degC"
    (again,) = _cases(_timeline(design_tables), "over-temperature")
    assert again.lead_s == pytest.approx(60.0, abs=6.0)
    assert again.lead_s > case.lead_s or case.lead_s >= 60.0


def test_a_trip_beyond_the_range_never_comes(design_tables):
    design_tables["alerts"][0]["set_point"] = "371 degC"
    outcomes = {one.outcome for one in _cases(_timeline(design_tables), "over-temperature")[:3]}
    assert outcomes == {"never"}


# --------------------------------------------------------------- battery
def _life(tables, **battery):
    tables["battery"] |= battery
    return battery_days(Design.model_validate(tables), generator=np.random.default_rng(6))


def _steady(tables, **battery):
    """Return the life without any spread."""
    tables["diary"] = {"cooks_per_day": {"value": "2", "low": "2", "high": "2"},
                       "cook": {"value": "45 min", "low": "45 min", "high": "45 min"}}  # fmt: skip
    plain = {"self_discharge": "0 %/year", "message": "0 J", "converter_efficiency": "85 %"}
    return _life(tables, **{**plain, **battery})


def test_cooks_and_minutes_are_hours(design_tables):
    # 2 x 45 min = 1.5 h: 13.5 Wh x 85 % / (1.5 h x 128.9 mW + 22.5 h x 0.19 mW) = 58 days.
    life = _steady(design_tables)
    assert life.days_p50 == pytest.approx(11.475 / (1.5 * 0.1289 + 22.5 * 0.00019), rel=1e-6)
    hours = dict(life.hours_per_day)
    assert hours["sleep"] == pytest.approx(22.5)
    assert hours["settle"] + hours["measure"] + hours["wake"] == pytest.approx(1.5)
    assert life.largest == "measure"


def test_staying_awake_after_a_cook_costs_its_minutes(design_tables):
    design_tables["wake"] = {"awake_after": "15 min"}
    # 2 x (45 + 15) min = 2 h
    life = _steady(design_tables)
    assert life.days_p50 == pytest.approx(11.475 / (2.0 * 0.1289 + 22.0 * 0.00019), rel=1e-6)
    options = {one.name: one for one in life.options}
    off = options["off at once when the burners are off"]
    assert off.days_p50 == pytest.approx(11.475 / (1.5 * 0.1289 + 22.5 * 0.00019), rel=1e-6)


def test_duty_cycling_has_its_price(design_tables):
    design_tables["sensors"][0] |= {"settle": "4 min", "settle_offset": "3 K"}
    options = {one.name: one for one in _steady(design_tables, duty_cycle="60 s").options}
    quarter = options["sensor on 25% of each 60 s"]
    # 0.375 h at 128.9 mW and 23.625 h asleep: 217 days; 3 K decays over 80 s, 15 s on.
    assert quarter.days_p50 == pytest.approx(11.475 / (0.375 * 0.1289 + 23.625 * 0.00019), rel=1e-6)
    assert quarter.error_k == pytest.approx(3 * math.exp(-15 / 80))
    assert quarter.latency_s == pytest.approx(45.0)
    assert "never settled" in quarter.note


@pytest.mark.parametrize(("claim", "words"), [("40 day", "supported: "), ("180 day", "refuted: ")])
def test_the_claimed_life_is_supported_or_refuted(design_tables, claim, words):
    life = _steady(design_tables, claim=claim)
    assert life.claim.startswith(words)
    assert life.claim_met_frac == (1.0 if words.startswith("supported") else 0.0)


def test_a_reminder_in_time_for_95_percent(design_tables):
    # Without spread of the life the reminder comes the response time of 95 % before its end.
    life = _steady(design_tables, respond="7 day")
    assert life.remind_day == pytest.approx(life.days_p50 - 7.0, abs=0.4)
    short = _steady(design_tables, respond="400 day")
    assert short.remind_day == 0.0


def test_cold_alkaline_gives_less_and_says_from_where(design_tables):
    design_tables["surroundings"] = {"ambient": "0 degC", "housing_rise": "0 K"}
    cold = _steady(design_tables, chemistry="alkaline", temperature_limit="54 degC")
    assert cold.capacity_frac == pytest.approx(0.75)
    assert cold.days_p50 == pytest.approx(0.75 * 58.06, rel=1e-3)
    assert "alkaline" in cold.capacity_source
    assert "shaky" in cold.capacity_source


def test_rechargeable_cells_age_by_cycle(design_tables):
    life = _steady(design_tables, chemistry="lithium-ion", charge="5 W", service="3 year")
    cycles = 3 * 365.25 / life.days_p50
    assert life.aged_days_p50 == pytest.approx(life.days_p50 * math.exp(-0.0004 * cycles))
    assert life.charge_h == pytest.approx(13.5 / 5)
    assert dict(life.hours_per_day)["charge"] > 0.0
    changed = _steady(design_tables, chemistry="alkaline")
    assert math.isnan(changed.aged_days_p50)


def test_the_law_of_self_discharge_is_said(design_tables):
    linear = _steady(design_tables, self_discharge="60 %/year", self_discharge_law="linear")
    falling = _steady(design_tables, self_discharge="60 %/year", self_discharge_law="exponential")
    assert "linear" in linear.note
    assert "exponential" in falling.note
    assert linear.law == "linear"
    assert linear.days_p50 != falling.days_p50
    # [own calculation] exponential at the shelf rate k' = -ln(1 - k) per year about 22 C
    shares = dict(linear.shares)
    assert 0.0 < shares["self-discharge"] < 0.5
    assert sum(shares.values()) == pytest.approx(1.0)


def test_a_message_to_the_byte_and_its_energy(design_tables):
    design_tables["battery"].pop("message")
    field = {"bits": 16, "low": "-100", "high": "500", "step": "0.1"}
    design_tables["radio"] = {
        "kind": "wi-fi", "bit_rate": "1 Mbit/s", "send": "0.5 W", "connect": "0.8 s",
        "connect_draw": "0.5 W", "overhead_bytes": 16, "header_bytes": 4, "most_bytes": 31,
        "fields": [{"name": "t", "each_burner": True, **field}, {"name": "b", **field}],
    }  # fmt: skip
    life = _life(design_tables, message_every="10 s")
    message = life.message
    # By hand: 4 + 2 x (1 + 4) bytes; 30 bytes on the air at 1 Mbit/s; 0.8 s x 0.5 W to join.
    assert message.payload_bytes == 14
    assert message.airtime_s == pytest.approx(30 * 8 / 1e6)
    assert message.energy_j == pytest.approx(0.4 + 0.5 * 30 * 8 / 1e6)
    # 1.5 h a day: 540 messages
    assert message.j_per_day == pytest.approx(540 * message.energy_j, rel=1e-6)
    assert message.fits
    assert dict(life.shares)["send"] > 0.2  # joining a network costs far more than sending


def test_no_word_about_messages_is_refused(design_tables):
    design_tables["battery"].pop("message")
    with pytest.raises(InputError, match="what a message costs"):
        battery_days(Design.model_validate(design_tables), generator=np.random.default_rng(1))


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("battery", "duty", "120 %"),
        ("battery", "converter_efficiency", "105 %"),
        ("battery", "chemistry", "potato"),
        ("wake", "kind", "clock"),
        ("wake", "catch", "101 %"),
        ("diary", "cooks_per_day", {"value": "2", "low": "3", "high": "1"}),
    ],
)
def test_impossible_figures_are_refused(design_tables, table, key, value):
    design_tables.setdefault(table, {})[key] = value
    with pytest.raises(ValidationError, match=key):
        Design.model_validate(design_tables)


def test_every_chemistry_is_in_the_library():
    assert set(Chemistry.__args__) == set(cell_kind.all)
    with pytest.raises(InputError, match=r"unknown kind of cell 'lithium-irn'; nearest: lithium"):
        cell_kind("lithium-irn")
    for kind in cell_kind.all.values():
        if kind.name.startswith("lithium"):
            assert kind.high_k <= 333.15  # the hard limit in hoods
