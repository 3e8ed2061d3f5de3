"""Numbers as text and on axes: one way to show a value, whoever draws it.

A rate stands with its bound, nothing is rounded up to certainty, temperatures and
differences never mix.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import QuantityError
from trivet.physics.statistics.intervals import clopper_pearson, upper_bound_frac
from trivet.records.design import Display
from trivet.scoring.registry import REQUIRABLE
from trivet.units import (
    parse_quantity,
    show_difference,
    show_length,
    show_temperature,
)

UNKNOWN = "unknown"
NONE = "–"
BEYOND = {
    "lead_time": "no alert",
    "predicted_u95": "not measurable",
    "break_even_units": "never",
    "reading_error": "no reading",
}
"""What an infinite value of a metric means."""
THIN_SPACE = "\u202f"


def minus(text: str) -> str:
    """Return a number's text with a minus sign instead of a hyphen."""
    return text.replace("-", "−")


def angle(value_rad: float, digits: int = 0) -> str:
    """Return an angle in degrees."""
    return minus(f"{math.degrees(value_rad):.{digits}f}°")


def share(value_frac: float, digits: int = 1) -> str:
    """Return a share in percent; one under 100 % never rounds up to it, one over 0 never to 0."""
    if not math.isfinite(value_frac):
        return UNKNOWN
    step = 10.0**-digits
    percent = 100 * value_frac
    if percent < 100 <= round(percent, digits):
        return f"> {100 - step:.{digits}f} %"
    if percent > 0 >= round(percent, digits):
        return f"< {step:.{digits}f} %"
    return f"{percent:.{digits}f} %"


def bound_share(value_frac: float) -> str:
    """Return a bound in percent to three figures, so that 4.95 does not print as 5.0."""
    return share(value_frac, 2 if value_frac < 0.1 else 1)


def interval(low_frac: float, high_frac: float, digits: int = 1) -> str:
    """Return the ends of an interval of shares, or a dash where there is none."""
    if math.isnan(low_frac) or math.isnan(high_frac):
        return NONE
    return f"{share(low_frac, digits)} to {share(high_frac, digits)}"


def seconds(value_s: float) -> str:
    """Return a duration in seconds, minutes or hours; an infinite one is never over."""
    if not math.isfinite(value_s):
        return "never" if value_s > 0 else UNKNOWN
    if abs(value_s) >= 7200:
        return minus(f"{value_s / 3600:.3g} h")
    if abs(value_s) >= 600:
        return minus(f"{value_s / 60:.0f} min")
    return minus(f"{value_s:.0f} s" if abs(value_s) >= 10 else f"{value_s:.1f} s")


def number(value: float, digits: int = 1) -> str:
    """Return a plain number."""
    if not math.isfinite(value):
        return UNKNOWN
    return minus(f"{value:,.{digits}f}".replace(",", THIN_SPACE))


def plain(value: float, form: str) -> str:
    """Return a number in a format of its own, or a dash where there is none."""
    return minus(format(value, form)) if math.isfinite(value) else NONE


def with_u(value: float, u: float, unit: str = "") -> tuple[str, str]:
    """Return a value and its standard uncertainty: two figures of u, the value to its last one."""
    digits = max(0, 1 - math.floor(math.log10(u))) if 0.0 < u < math.inf else 4
    shown = (
        minus(f"{one:.{digits}f}{unit}") if math.isfinite(one) else UNKNOWN for one in (value, u)
    )
    return next(shown), next(shown)


def money(text: str, currency: str) -> str:
    """Return an exact amount with grouped digits and its currency."""
    bare = text.replace(currency, "").strip()
    try:
        shown = minus(f"{Decimal(bare):,.2f}".replace(",", THIN_SPACE))
    except (InvalidOperation, ValueError):
        return text
    return f"{shown} {currency}"


def _sense(metric: str) -> str:
    return "≥" if metric in REQUIRABLE and REQUIRABLE[metric].sense == "higher" else "≤"


def failure_rate(failures: int, cooks: int, confidence: float) -> str:
    """Return failures of independent cooks with the exact one-sided bound beside them."""
    if cooks <= 0:
        return "no cook"
    bound = upper_bound_frac(failures, cooks, confidence=confidence)
    return f"{failures} of {cooks} (≤ {bound_share(bound)} at {100 * confidence:g} %)"


def covered_rate(covered: int, drawn: int, confidence: float = 0.95) -> str:
    """Return covered of drawn with the exact two-sided interval beside it."""
    if drawn <= 0:
        return "none drawn"
    low, high = clopper_pearson(covered, drawn, confidence=confidence)
    return f"{covered} of {drawn} ({bound_share(low)} to {bound_share(high)})"


def joined(words: Iterable[str]) -> str:
    """Return words as a list in a sentence."""
    items = list(words)
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def listed(words: Iterable[str], most: int) -> str:
    """Return the first few words as a list, and how many more there are."""
    items = list(words)
    more = len(items) - most
    return ", ".join([*items[:most], *([f"and {more} more"] if more > 0 else [])])


def read_only(values: npt.ArrayLike) -> FloatArray:
    """Return values as a read-only array of float, as records hold them."""
    array = np.array(values, dtype=np.float64)
    array.flags.writeable = False
    return array


@dataclass(frozen=True)
class Formatter:
    """Texts in the units of a design's display."""

    display: Display

    def temperature(self, value_k: float | None, digits: int = 0) -> str:
        """Return a temperature in the design's unit; unknown where there is none."""
        if value_k is None or not math.isfinite(value_k):
            return UNKNOWN
        return minus(show_temperature(value_k, self.display.temperature, digits))

    def difference(self, value_k: float, digits: int = 1) -> str:
        """Return a temperature difference in the design's unit."""
        return minus(show_difference(value_k, self.display.temperature, digits))

    def signed(self, value_k: float, digits: int = 1) -> str:
        """Return a difference with its sign, also where it is above zero."""
        text = self.difference(value_k, digits)
        return f"+{text}" if math.isfinite(value_k) and not text.startswith("−") else text

    def length(self, value_m: float, digits: int = 0) -> str:
        """Return a length in the design's unit."""
        if not math.isfinite(value_m):
            return UNKNOWN
        return minus(show_length(value_m, self.display.length, digits))

    def heating_rate(self, value_kps: float, digits: int = 1) -> str:
        """Return a heating rate in kelvin or Fahrenheit degrees a second."""
        if self.display.temperature == "degF":
            return minus(f"{value_kps * 9 / 5:.{digits}f} °F/s")
        return minus(f"{value_kps:.{digits}f} K/s")

    def metric_value(self, value: float, metric: str) -> str:
        """Return a metric's value with the unit of its kind."""
        if not math.isfinite(value):
            return "no value" if math.isnan(value) else BEYOND.get(metric, "no value")
        return self.of_kind(value, REQUIRABLE[metric].unit if metric in REQUIRABLE else "number")

    def of_kind(self, value: float, kind: str) -> str:
        """Return a value with the unit of its kind."""
        match kind:
            case "fraction":
                return share(value)
            case "length":
                return self.length(value)
            case "difference":
                return self.difference(value)
            case "time":
                return seconds(value)
            case "days":
                return f"{number(value, 0)} d"
        return number(value, 0 if value == round(value, 0) or abs(value) >= 100 else 1)

    def metric_bound(self, bound: float, metric: str) -> str:
        """Return the end of a confidence interval, with the direction that the metric gives it."""
        if math.isnan(bound):
            return "too few cooks for a bound"
        if not math.isfinite(bound):
            return "no bound"
        if metric in REQUIRABLE and REQUIRABLE[metric].unit == "fraction":
            return f"{_sense(metric)} {bound_share(bound)}"
        return f"{_sense(metric)} {self.metric_value(bound, metric)}"

    def metric_limit(self, text: str, metric: str) -> str:
        """Return a requirement's limit with its sense, in the design's unit."""
        if metric not in REQUIRABLE:
            return text
        try:
            value = parse_quantity(text, REQUIRABLE[metric].unit)
        except QuantityError:
            return text
        match REQUIRABLE[metric].unit:
            case "fraction":
                shown = f"{100 * value:g} %"
            case "number":
                shown = number(value, 0 if value == round(value) else 1)
            case _:
                shown = self.metric_value(value, metric).replace(".0 ", " ")
        return f"{_sense(metric)} {shown}"


@dataclass(frozen=True)
class Scale:
    """Conversions from SI to the units of a :class:`Display`."""

    display: Display

    @property
    def temperature_unit(self) -> str:
        """The unit of temperatures."""
        return "°F" if self.display.temperature == "degF" else "°C"

    @property
    def difference_unit(self) -> str:
        """The unit of differences."""
        return "°F" if self.display.temperature == "degF" else "K"

    @property
    def length_unit(self) -> str:
        """The unit of lengths."""
        return self.display.length

    def temperature(self, value_k: npt.ArrayLike) -> FloatArray:
        """Return temperatures in degC or degF."""
        celsius = np.asarray(value_k, dtype=np.float64) - ZERO_C_K
        return celsius * 9 / 5 + 32 if self.display.temperature == "degF" else celsius

    def difference(self, value_k: npt.ArrayLike) -> FloatArray:
        """Return differences in K or in Fahrenheit degrees: no offset."""
        kelvin = np.asarray(value_k, dtype=np.float64)
        return kelvin * 9 / 5 if self.display.temperature == "degF" else kelvin

    def length(self, value_m: npt.ArrayLike) -> FloatArray:
        """Return lengths in mm or inches."""
        metres = np.asarray(value_m, dtype=np.float64)
        return metres / 0.0254 if self.display.length == "in" else metres * 1000
