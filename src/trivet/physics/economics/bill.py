"""A bill of materials with prices by size of an order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import InputError, OutOfRangeError


@dataclass(frozen=True)
class PriceBreak:
    """A price of one piece for orders from ``at_least`` to ``at_most`` units (None: no end)."""

    at_least: int
    at_most: int | None
    price: Decimal

    def holds(self, units: int) -> bool:
        """Return whether an order of that size gets the price."""
        return units >= self.at_least and (self.at_most is None or units <= self.at_most)


@dataclass(frozen=True)
class Line:
    """One line: price of a piece outside all breaks, pieces in a unit, breaks."""

    name: str
    price: Decimal
    pieces: int = 1
    breaks: tuple[PriceBreak, ...] = ()


def overlap(breaks: Sequence[PriceBreak]) -> tuple[PriceBreak, PriceBreak] | None:
    """Return two breaks that hold for one size of an order, or None.

    Parameters
    ----------
    breaks : sequence of PriceBreak
        In any order.

    Returns
    -------
    tuple of PriceBreak or None
        The first such pair, by size. A break without an end ends where the next begins.

    Raises
    ------
    OutOfRangeError
        If a break ends before it begins.

    Notes
    -----
    Exact, on whole units. Two breaks from the same size overlap whatever their ends.

    References
    ----------
    Intervals.
    """
    ordered = sorted(breaks, key=lambda one: one.at_least)
    for one in ordered:
        if one.at_most is not None and one.at_most < one.at_least:
            raise OutOfRangeError(
                f"a volume break from {one.at_least} to {one.at_most} ends before it begins"
            )
    for one, two in pairwise(ordered):
        closed = one.at_most is not None and two.at_least <= one.at_most
        if closed or two.at_least == one.at_least:
            return one, two
    return None


def _price(line: Line, units: int) -> Decimal:
    chosen = [one for one in line.breaks if one.holds(units)]
    return max(chosen, key=lambda one: one.at_least).price if chosen else line.price


def _checked(lines: Sequence[Line]) -> None:
    if not lines:
        raise InputError("the bill of materials is empty")
    for line in lines:
        if line.pieces < 1 or line.price < 0:
            raise OutOfRangeError(
                f"bill line {line.name}: {line.pieces} pieces at {line.price}; "
                "allowed 1 or more at 0 or more"
            )
        pair = overlap(line.breaks)
        if pair is not None:
            raise InputError(
                f"bill line {line.name}: the volume breaks from {pair[0].at_least} and from "
                f"{pair[1].at_least} overlap; an order of {pair[1].at_least} would have two prices"
            )


def bill_lines(lines: Sequence[Line], *, order_units: int) -> tuple[tuple[str, Decimal], ...]:
    """Return what each line costs in one unit, at the size of an order.

    Parameters
    ----------
    lines : sequence of Line
        The bill.
    order_units : int
        Units in the order. [-]

    Returns
    -------
    tuple of (str, Decimal)
        Name and cost of each line in one unit, exact. [money]

    Raises
    ------
    InputError
        If the bill is empty or two breaks of a line overlap.
    OutOfRangeError
        If a price or a number of pieces is impossible.

    Notes
    -----
    The whole order has the price of its size, not only the units above the break.

    References
    ----------
    Common practice of distributors, no source.
    """
    _checked(lines)
    return tuple((line.name, _price(line, order_units) * line.pieces) for line in lines)


def bill_cost_drawn(lines: Sequence[Line], *, order_units: FloatArray) -> FloatArray:
    """Return the cost of one unit for many sizes of orders at once.

    Parameters
    ----------
    lines : sequence of Line
        The bill.
    order_units : (...,)
        Units in each order. [-]

    Returns
    -------
    (...,)
        Sum over the lines. [money]

    Raises
    ------
    InputError
        As :func:`bill_lines`.

    Notes
    -----
    Floats: good to 1e-12 of the sum, for draws only.

    References
    ----------
    As :func:`bill_lines`.
    """
    _checked(lines)
    units = np.asarray(order_units, dtype=np.float64)
    total = np.zeros_like(units)
    for line in lines:
        price = np.full_like(units, float(line.price))
        for one in sorted(line.breaks, key=lambda entry: entry.at_least):
            end = np.inf if one.at_most is None else float(one.at_most)
            price = np.where((units >= one.at_least) & (units <= end), float(one.price), price)
        total = total + price * line.pieces
    return total
