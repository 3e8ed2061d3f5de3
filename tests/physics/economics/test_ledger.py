"""Bills with volume breaks and shipments with a least order, by hand."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.economics.ledger import (
    Line,
    MonthPlan,
    PriceBreak,
    bill_cost_drawn,
    bill_lines,
    monthly_flows,
    overlap,
    shipments,
)

CHIP = Line(
    "chip",
    Decimal("6.80"),
    2,
    (PriceBreak(1000, 4999, Decimal("5.90")), PriceBreak(5000, None, Decimal("5.20"))),
)


@pytest.mark.parametrize(
    ("units", "cost"),
    [(1, "13.60"), (999, "13.60"), (1000, "11.80"), (4999, "11.80"), (5000, "10.40")],
)
def test_the_whole_order_has_the_price_of_its_size(units, cost):
    assert bill_lines([CHIP], order_units=units) == (("chip", Decimal(cost)),)
    drawn = bill_cost_drawn([CHIP], order_units=np.array([float(units)]))
    assert drawn[0] == pytest.approx(float(cost))


def test_overlapping_breaks_are_refused():
    one, two = PriceBreak(100, 500, Decimal(5)), PriceBreak(500, 900, Decimal(4))
    assert overlap([two, one]) == (one, two)
    assert overlap([PriceBreak(100, 499, Decimal(5)), two]) is None
    assert (
        overlap([PriceBreak(100, None, Decimal(5)), PriceBreak(100, None, Decimal(4))]) is not None
    )
    with pytest.raises(InputError, match=r"chip.*from 100 and from 500 overlap"):
        bill_lines([Line("chip", Decimal(6), 1, (one, two))], order_units=1)
    with pytest.raises(OutOfRangeError, match="ends before"):
        overlap([PriceBreak(500, 100, Decimal(5))])
    with pytest.raises(InputError, match="empty"):
        bill_lines([], order_units=1)


def test_shipments_by_hand():
    # 100 a month, 250 at least: stock after each month 150, 50, 200, 100, 0, 150.
    assert [int(one) for one in shipments([100] * 6, minimum=250)] == [250, 0, 250, 0, 0, 250]
    assert [int(one) for one in shipments([0, 7, 9], minimum=0)] == [0, 7, 9]
    with pytest.raises(OutOfRangeError):
        shipments([-1], minimum=0)


def test_goods_cannot_be_ordered_before_month_0():
    plan = MonthPlan(sold=(5,), shipped=(5,), goods=(Decimal(1),), order_months=2)
    with pytest.raises(OutOfRangeError, match="2 months before month 0"):
        monthly_flows(None, plan=plan)
    with pytest.raises(InputError, match="no month"):
        monthly_flows(None, plan=MonthPlan((), (), ()))
