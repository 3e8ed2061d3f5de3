"""What would help most: declared changes, tried one by one on the design itself."""

from __future__ import annotations

import pytest

from trivet.records.design import Design
from trivet.records.product import DesignOption
from trivet.stages.predict import predict, predict_parts
from trivet.stages.variants.changes import changed_design
from trivet.stages.variants.remedies import remedies


def options(design_tables, *entries):
    design_tables["options"] = list(entries)
    return Design.model_validate(design_tables)


@pytest.fixture
def failing(design_tables):
    """The pans' rims leave the field at 0.70 m: own calculation of the geometry tests."""
    design_tables["requirements"] = [
        {
            "id": "SEE",
            "text": "every rim in view",
            "metric": "rim_in_view",
            "limit": "100 %",
            "evidence": "predicted",
        }
    ]
    return design_tables


def test_a_higher_mount_brings_the_rims_inside_and_a_lower_one_does_not(failing) -> None:
    design = options(
        failing,
        {"name": "higher", "set": {"heads.0.mount.height": "1.10 m"}},
        {"name": "lower", "set": {"heads.0.mount.height": "0.60 m"}},
    )
    found = {
        one.option: one for one in remedies(design, predict(design), predict=predict_parts).tried
    }
    assert found["higher"].inside
    assert found["higher"].after > found["higher"].before
    assert not found["lower"].inside
    assert found["lower"].after < found["lower"].before


def test_nothing_is_tried_where_nothing_fails(failing) -> None:
    failing["heads"][0]["mount"]["height"] = "1.10 m"
    design = options(failing, {"name": "lower", "set": {"heads.0.mount.height": "0.60 m"}})
    found = remedies(design, predict(design), predict=predict_parts)
    assert not found.failing


def requirement(metric, limit, **more):
    return {
        "id": metric,
        "text": metric,
        "metric": metric,
        "limit": limit,
        "evidence": "predicted",
        **more,
    }


def found(tables, *entries):
    design = options(tables, *entries)
    result = remedies(design, predict(design), predict=predict_parts)
    return result, {(one.requirement, one.option): one for one in result.tried}


@pytest.fixture
def all_failing(design_tables):
    """Every metric of the prediction fails on the test's design."""
    design_tables["requirements"] = [
        requirement("range_headroom", "0 K"),
        requirement("predicted_u95", "8 K", bases=["film"], pans=["iron-24"], band="sear"),
        requirement("battery_days", "180"),
        requirement("break_even_units", "2000"),
    ]
    return design_tables


LINE = {
    "points": ["60 degC", "250 degC"],
    "time": "4 min",
    "cost": "1.50 USD",
}


def test_each_change_moves_what_it_should_and_nothing_else(all_failing) -> None:
    result, tried = found(
        all_failing,
        {"name": "hotter range", "set": {"sensors.0.range_high": "400 degC"}},
        {"name": "line", "set": {"end_of_line": LINE}},
        {"name": "cells", "set": {"battery.energy": "100 Wh"}},
        {"name": "price", "set": {"costs.price": "400 USD"}},
    )
    assert set(result.failing) == {one["id"] for one in all_failing["requirements"]}
    # own calculation: 400 C less the ignition limit of 371 C
    assert tried["range_headroom", "hotter range"].after == pytest.approx(29.0)
    assert tried["range_headroom", "hotter range"].inside
    assert tried["predicted_u95", "line"].after < 0.9 * tried["predicted_u95", "line"].before
    assert tried["predicted_u95", "cells"].after == tried["predicted_u95", "cells"].before
    assert tried["battery_days", "cells"].inside
    assert tried["battery_days", "line"].after == tried["battery_days", "line"].before
    assert tried["break_even_units", "price"].inside
    # the line costs 1.50 USD a unit with duty and warranty: more units to earn the fixed cost
    assert tried["break_even_units", "line"].after > tried["break_even_units", "line"].before
    assert result.tried[0].option == "hotter range"


def test_an_impossible_change_says_why_and_helps_nothing(all_failing) -> None:
    result, tried = found(
        all_failing,
        {"name": "no such key", "set": {"heads.0.mount.hight": "1 m"}},
        {"name": "no such sensor", "set": {"heads.0.sensor": "thermopile-1x1"}},
        {"name": "no height", "set": {"heads.0.mount.height": "0 m"}},
        {"name": "inside the pan", "set": {"heads.0.mount.height": "20 mm"}},
    )
    for one in tried.values():
        assert not one.inside
        assert one.note.startswith("impossible")
        assert one.after != one.after
    assert "hight" in tried["battery_days", "no such key"].note
    assert result.unhelped == result.failing


def test_what_a_card_does_not_say_stays_unknown(all_failing) -> None:
    """The wide-range card has neither accuracy nor draw: its range alone is known."""
    _, tried = found(
        all_failing, {"name": "wide", "set": {"heads.0.sensor": "thermopile-80x64-wide"}}
    )
    assert tried["range_headroom", "wide"].after == pytest.approx(1000.0 - 371.0)
    assert tried["battery_days", "wide"].note.startswith("unknown")
    assert not tried["predicted_u95", "wide"].inside


def test_power_follows_the_sensor(all_failing) -> None:
    all_failing["sensors"][0]["measure"] = "76 mW"
    _, tried = found(
        all_failing,
        {"name": "bolometer", "set": {"heads.0.sensor": "bolometer-160x120-57"}},
        {"name": "8 x 8", "set": {"heads.0.sensor": "thermopile-8x8-60"}},
    )
    days = {name: tried["battery_days", name] for name in ("bolometer", "8 x 8")}
    # 155 mW and 14.9 mW in place of 76 mW (datasheets) out of 128.9 mW
    assert days["bolometer"].after < days["bolometer"].before < days["8 x 8"].after


def test_entries_are_found_by_name_and_ranges_elsewhere_stay(design_tables) -> None:
    option = DesignOption(
        name="o",
        set={"heads.main.window.transmittance": {"value": "0.9", "low": "0.89", "high": "0.91"}},
    )
    design = Design.model_validate(design_tables)
    changed = changed_design(design, option=option)
    assert changed.heads[0].window.transmittance_frac.low == 0.89
    assert changed.surroundings.reflected_k.high == design.surroundings.reflected_k.high
    assert design.heads[0].window.transmittance_frac == 0.85


def test_a_section_that_is_not_there_yet_can_be_set_key_by_key(design_tables) -> None:
    design = Design.model_validate(design_tables)
    option = DesignOption(name="o", set={"field_recalibration.point": "99 degC"})
    changed = changed_design(design, option=option)
    assert changed.field_recalibration.point_k == pytest.approx(372.15)
