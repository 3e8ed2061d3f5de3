"""Time value of money: present value, every internal rate, payback, annuities."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import InputError, NotEnoughDataError, OutOfRangeError


@dataclass(frozen=True)
class InternalRates:
    """Every real internal rate above -1 a period, and how often the flow turns sign.

    More than one sign change means that no single rate tells the story.
    """

    rates: tuple[float, ...]
    sign_changes: int

    @property
    def ambiguous(self) -> bool:
        """Return whether the flows turn sign more than once."""
        return self.sign_changes > 1


def net_present_value(flows: Sequence[Decimal | float | int], *, rate: Decimal | float) -> Decimal:
    """Return the value today of flows, the first at time 0.

    Parameters
    ----------
    flows : (period,)
        Cash of each period, out negative. [money]
    rate : Decimal or float
        Discount rate a period, above -1. [-]

    Returns
    -------
    Decimal
        Net present value, not rounded. [money]

    Raises
    ------
    OutOfRangeError
        If the rate is -1 or less.
    InputError
        If there are no flows.

    Notes
    -----
    The first flow is not discounted; spreadsheets that discount it differ by
    the factor 1 + rate (8 % at 8 %).
    """
    if not flows:
        raise InputError("no flows: give at least one period")
    step = 1 + Decimal(str(rate))
    if step <= 0:
        raise OutOfRangeError(f"rate is {rate}: allowed above -1")
    total = Decimal(0)
    for flow in reversed(flows):
        total = total / step + Decimal(str(flow))
    return total


def _sign_changes(flows: FloatArray) -> int:
    signs = np.sign(flows[flows != 0.0])
    return int(np.count_nonzero(signs[1:] != signs[:-1]))


def internal_rates(flows: Sequence[Decimal | float | int]) -> InternalRates:
    """Return every internal rate of return of a series of flows.

    Parameters
    ----------
    flows : (period,)
        Cash of each period, out negative. [money]

    Returns
    -------
    InternalRates
        Real rates above -1, ascending, empty when none exists. [1/period]

    Raises
    ------
    NotEnoughDataError
        With fewer than two flows that are not zero.

    Notes
    -----
    Roots of the polynomial in 1/(1 + rate), polished by Newton. Double roots
    are found to about 1e-6. Rates between -1 and -0.95 a period count as
    roots, meaningless as they are: judge by ``ambiguous``.

    References
    ----------
    Descartes' rule of signs bounds their number by the sign changes.
    """
    values = np.array([float(flow) for flow in flows])
    if np.count_nonzero(values) < 2:
        raise NotEnoughDataError("fewer than two flows are not zero: no rate can be found")
    polynomial = np.polynomial.Polynomial(values)
    slope = polynomial.deriv()
    found: list[float] = []
    for root in np.asarray(polynomial.roots(), dtype=np.complex128).tolist():
        if abs(root.imag) > 1e-6 * abs(root) or root.real <= 1e-9:
            continue
        x: float = root.real
        for _ in range(20):
            steep = float(slope(x))
            move = float(polynomial(x)) / steep if steep != 0.0 else 0.0
            x = x - move
            if abs(move) < 1e-15 * abs(x):
                break
        scale = sum(abs(float(v)) * abs(x) ** k for k, v in enumerate(values))
        rate = 1.0 / x - 1.0 if x > 0.0 else math.nan
        fits = abs(float(polynomial(x))) <= 1e-9 * scale
        if fits and not any(abs(rate - other) < 1e-7 for other in found):
            found.append(rate)
    return InternalRates(tuple(sorted(found)), _sign_changes(values))


def modified_rate(
    flows: Sequence[Decimal | float | int], *, finance_rate: float, reinvest_rate: float
) -> float:
    """Return the modified internal rate, which is unique.

    Parameters
    ----------
    flows : (period,)
        Cash of each period. [money]
    finance_rate : float
        Rate paid on what goes out. [1/period]
    reinvest_rate : float
        Rate earned on what comes in. [1/period]

    Returns
    -------
    float
        Rate a period. [1/period]

    Raises
    ------
    NotEnoughDataError
        If the flows lack a negative or a positive one.

    Notes
    -----
    Defined when both signs occur, whatever their order.

    References
    ----------
    Common definition, as in the documented numpy-financial function.
    """
    values = np.array([float(flow) for flow in flows])
    gains, pays = np.maximum(values, 0.0), np.minimum(values, 0.0)
    if not gains.any() or not pays.any():
        raise NotEnoughDataError("a modified rate needs flows of both signs")
    power = np.arange(values.size)
    future = float(np.sum(gains / (1.0 + reinvest_rate) ** power))
    past = -float(np.sum(pays / (1.0 + finance_rate) ** power))
    return float((future / past) ** (1.0 / (values.size - 1)) * (1.0 + reinvest_rate) - 1.0)


def payback_periods(
    flows: Sequence[Decimal | float | int], *, rate: Decimal | float = 0
) -> float | None:
    """Return when the cumulative cash turns positive to stay, or None for never.

    Parameters
    ----------
    flows : (period,)
        Cash of each period, the first at time 0. [money]
    rate : Decimal or float
        Discount rate; 0 gives the simple payback. [1/period]

    Returns
    -------
    float or None
        Periods, linear within the period; None if it never pays back.

    Raises
    ------
    OutOfRangeError
        If the rate is -1 or less.

    Notes
    -----
    "To stay": an early surplus that a later outlay eats again does not count.

    References
    ----------
    Common definition.
    """
    step = 1 + Decimal(str(rate))
    if step <= 0:
        raise OutOfRangeError(f"rate is {rate}: allowed above -1")
    total, crossing = Decimal(0), 0.0
    for period, flow in enumerate(flows):
        value = Decimal(str(flow)) / step**period
        before, total = total, total + value
        if total < 0:
            crossing = math.nan
        elif before < 0:
            crossing = period - 1 + float(-before / value)
    return None if math.isnan(crossing) else crossing


def annuity_payment(present: float, *, rate: float, periods: int, future: float = 0.0) -> float:
    """Return the payment at each period's end that settles a loan.

    Parameters
    ----------
    present : float
        Received today (positive) or lent (negative). [money]
    rate : float
        Rate a period. [1/period]
    periods : int
        Number of payments, 1 or more. [-]
    future : float
        Balance wanted at the end. [money]

    Returns
    -------
    float
        Payment, negative when paid. [money]

    Raises
    ------
    OutOfRangeError
        If periods is under 1 or the rate -1 or less.

    Notes
    -----
    At rate 0 the payment is the plain share.

    References
    ----------
    Annuity formula; sign rule of numpy-financial.
    """
    if periods < 1 or rate <= -1.0:
        raise OutOfRangeError(f"periods {periods} and rate {rate}: allowed 1 or more, above -1")
    if rate == 0.0:
        return -(present + future) / periods
    growth = (1.0 + rate) ** periods
    return -(present * growth + future) * rate / (growth - 1.0)


def annuity_future(payment: float, *, rate: float, periods: int, present: float = 0.0) -> float:
    """Return the balance after payments at each period's end.

    Parameters
    ----------
    payment : float
        Payment a period, negative when paid. [money]
    rate : float
        Rate a period. [1/period]
    periods : int
        Number of payments. [-]
    present : float
        Start, negative when paid in. [money]

    Returns
    -------
    float
        Balance. [money]

    Raises
    ------
    OutOfRangeError
        If periods is negative or the rate -1 or less.

    Notes
    -----
    At rate 0 the plain sum.

    References
    ----------
    Annuity formula; sign rule of numpy-financial.
    """
    if periods < 0 or rate <= -1.0:
        raise OutOfRangeError(f"periods {periods} and rate {rate}: allowed 0 or more, above -1")
    growth = (1.0 + rate) ** periods
    sums = float(periods) if rate == 0.0 else (growth - 1.0) / rate
    return -(present * growth + payment * sums)
