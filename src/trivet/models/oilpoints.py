"""The smoke or ignition point at which an alert is set: a quantile of the told oil's."""

from __future__ import annotations

from trivet.facts.contents import TemperatureSpread, oil_limits
from trivet.records.benchsheet import ToldEntry
from trivet.records.design import Base, Design, Limit

COMMON = {"oil": "vegetable", "butter": "butter"}
"""What stands for an oil that nobody names."""


def limit_value_k(limit: Limit, *, design: Design, told: ToldEntry | None = None) -> float:
    """Return the temperature that a limit has for what was told about a burner.

    Parameters
    ----------
    limit : Limit
        One limit; without ``oil_point`` its value holds whatever was told.
    design : Design
        Its quantile, its bases, and the uses that count where none are told.
    told : ToldEntry or None
        What the cook told; counts through the design's told channels only.

    Returns
    -------
    float
        Temperature. [K]

    Raises
    ------
    InputError
        If a told oil is unknown.

    Notes
    -----
    A told oil: the quantile of its own distribution, lowered by the told uses (3 K a use,
    1 to 8, from memory). Only contents told: the lowest quantile of the design's bases of
    these contents. Nothing told: the limit's own value. Vegetable oil, fresh: 5 % lies at
    206.5 C, after ten uses at 176.5 C.

    References
    ----------
    ``trivet.facts.contents`` for the tables.
    """
    told = told or ToldEntry()
    channels = design.told.channels
    if limit.oil_point is None:
        return float(limit.value_k)
    if "oil" in channels and told.oil is not None:
        uses = told.uses if told.uses is not None else design.alerting.untold_uses
        found = [_spread(told.oil, limit, uses)]
    elif "base_contents" in channels and told.base_contents in COMMON:
        bases = [one for one in design.bases if one.contents == told.base_contents]
        found = [_base_spread(one, limit, design) for one in bases]
    else:
        return float(limit.value_k)
    share = float(design.alerting.smoke_quantile_frac)
    points = [one.low_k + share * (one.high_k - one.low_k) for one in found if one is not None]
    return min(points, default=float(limit.value_k))


def _base_spread(base: Base, limit: Limit, design: Design) -> TemperatureSpread | None:
    uses = max(base.uses, design.alerting.untold_uses)
    return _spread(base.oil or COMMON[base.contents], limit, uses)


def _spread(name: str, limit: Limit, uses: int) -> TemperatureSpread | None:
    """Return the distribution of an oil's point; None where it ignites not by itself."""
    points = oil_limits(name)
    if limit.oil_point == "smoke":
        return points.smoke.after(uses)
    return points.autoignition
