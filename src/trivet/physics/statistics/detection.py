"""The smallest bias that a number of cooks can show."""

from __future__ import annotations

import math

from scipy import optimize, special

from trivet.errors import InputError, OutOfRangeError


def detectable_bias(
    n: int, *, sd: float = 1.0, confidence: float = 0.95, power: float = 0.8
) -> float:
    """Return the bias that a two-sided t test of n values finds with the given power.

    n : independent values, one a cook, 2 or more
    sd : their standard deviation, 1 gives the bias as a multiple of it [any]
    confidence : one less the chance of calling a bias where there is none
    power : chance of calling the bias where it is there
    Returns : the bias, in the unit of ``sd``
    Raises : InputError if n is under 2; OutOfRangeError if confidence or power is not inside (0,
        1), or power is not over 1 - confidence
    Notes : Near 2.8 sd / sqrt(n) for many values; 3.26 / 1.16 / 0.66 / 0.40 sd for n = 3 / 8 / 20 /
        50 at 95 % and a power of 80 %. The values must be near normal and independent: repeats of
        one cook are not.
    Source : Noncentral t; Cohen, Statistical Power Analysis (1988), chapter 2
    """
    if n < 2:
        raise InputError(f"n is {n}: a bias needs at least 2 values to stand against")
    for name, value in (("confidence", confidence), ("power", power)):
        if not 0.0 < value < 1.0:
            raise OutOfRangeError(f"{name} is {value}: allowed more than 0 and less than 1")
    if power <= 1.0 - confidence:
        raise OutOfRangeError(f"power is {power}: allowed more than {1.0 - confidence:g}")
    limit = float(special.stdtrit(n - 1, 0.5 + 0.5 * confidence))

    def short(shift: float) -> float:  # the square of a noncentral t is a noncentral F
        return 1.0 - float(special.ncfdtr(1, n - 1, shift * shift, limit * limit)) - power

    high = limit
    while short(high) < 0.0:
        high *= 1.5
    shift = float(optimize.brentq(short, 1e-6, high))
    return sd * shift / math.sqrt(n)
