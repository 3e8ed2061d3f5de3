"""Numbers of the dossier as text: every rate with its bound, nothing rounded up to certainty."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray
from trivet.errors import QuantityError
from trivet.physics.statistics.intervals import clopper_pearson, upper_bound_frac
from trivet.records.design import Display
from trivet.records.dossier import Table
from trivet.records.requirement import METRICS
from trivet.units import parse_quantity, show_difference, show_length, show_temperature

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


def finite(value: float) -> bool:
    """Return whether there is a number at all."""
    return math.isfinite(value)


def minus(text: str) -> str:
    """Return a number's text with a minus sign instead of a hyphen."""
    return text.replace("-", "−")


def temperature(value_k: float | None, display: Display, digits: int = 0) -> str:
    """Return a temperature in the design's unit; unknown where there is none."""
    if value_k is None or not finite(value_k):
        return UNKNOWN
    return minus(show_temperature(value_k, display.temperature, digits))


def difference(value_k: float, display: Display, digits: int = 1) -> str:
    """Return a temperature difference in the design's unit."""
    return minus(show_difference(value_k, display.temperature, digits))


def length(value_m: float, display: Display, digits: int = 0) -> str:
    """Return a length in the design's unit."""
    return minus(show_length(value_m, display.length, digits)) if finite(value_m) else UNKNOWN


def share(value_frac: float, digits: int = 1) -> str:
    """Return a share in percent; one under 100 % never rounds up to it, one over 0 never to 0."""
    if not finite(value_frac):
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


def seconds(value_s: float) -> str:
    """Return a duration in seconds, minutes for the long ones."""
    if not finite(value_s):
        return UNKNOWN
    if abs(value_s) >= 600:
        return minus(f"{value_s / 60:.0f} min")
    return minus(f"{value_s:.0f} s" if abs(value_s) >= 10 else f"{value_s:.1f} s")


def heating_rate(value_kps: float, display: Display) -> str:
    """Return a heating rate in kelvin or Fahrenheit degrees a second."""
    if display.temperature == "degF":
        return f"{value_kps * 9 / 5:.1f} °F/s"
    return f"{value_kps:.1f} K/s"


def number(value: float, digits: int = 1) -> str:
    """Return a plain number."""
    if not finite(value):
        return UNKNOWN
    return minus(f"{value:,.{digits}f}".replace(",", THIN_SPACE))


def money(text: str, currency: str) -> str:
    """Return an exact amount with grouped digits and its currency."""
    bare = text.replace(currency, "").strip()
    try:
        shown = minus(f"{Decimal(bare):,.2f}".replace(",", THIN_SPACE))
    except (InvalidOperation, ValueError):
        return text
    return f"{shown} {currency}"


def metric_value(value: float, metric: str, display: Display) -> str:
    """Return a metric's value with the unit of its kind."""
    if not finite(value):
        return "no value" if math.isnan(value) else BEYOND.get(metric, "no value")
    kind = METRICS[metric].kind if metric in METRICS else "number"
    match kind:
        case "fraction":
            return share(value)
        case "difference":
            return difference(value, display)
        case "time":
            return seconds(value)
    return number(value, 1 if abs(value) < 100 else 0)


def metric_bound(bound: float, metric: str, display: Display) -> str:
    """Return the end of a confidence interval, with the direction that the metric gives it."""
    if math.isnan(bound):
        return "too few cooks for a bound"
    if not finite(bound):
        return "no bound"
    if metric in METRICS and METRICS[metric].kind == "fraction":
        return f"{_sense(metric)} {bound_share(bound)}"
    return f"{_sense(metric)} {metric_value(bound, metric, display)}"


def _sense(metric: str) -> str:
    return "≥" if metric in METRICS and METRICS[metric].sense == "at_least" else "≤"


def metric_limit(text: str, metric: str, display: Display) -> str:
    """Return a requirement's limit with its sense, in the design's unit."""
    if metric not in METRICS:
        return text
    try:
        value = parse_quantity(text, METRICS[metric].kind)
    except QuantityError:
        return text
    match METRICS[metric].kind:
        case "fraction":
            shown = f"{100 * value:g} %"
        case "number":
            shown = number(value, 0 if value == round(value) else 1)
        case _:
            shown = metric_value(value, metric, display).replace(".0 ", " ")
    return f"{_sense(metric)} {shown}"


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


def read_only(values: npt.ArrayLike) -> FloatArray:
    """Return values as a read-only array of float, as records hold them."""
    array = np.array(values, dtype=np.float64)
    array.flags.writeable = False
    return array


def definition_table(title: str, rows: Sequence[tuple[str, str]], *, note: str = "") -> Table:
    """Return a table of quantities and their values."""
    return Table(title, ("Quantity", "Value"), tuple(rows), note)
