"""What would help most: every declared change against every predicted requirement that fails."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel, ValidationError

from trivet.errors import DesignError, InputError, TrivetError
from trivet.facts.parts import card as library_card
from trivet.models.variants import power_moved
from trivet.records.design import Design
from trivet.records.figures import file_key
from trivet.records.prediction import Prediction, Remedies, Remedy
from trivet.records.product import Option
from trivet.records.requirement import Requirement
from trivet.scoring.predicted import meets, predicted_value
from trivet.scoring.registry import REQUIRABLE, limit_value
from trivet.stages.predict.battery import battery_days
from trivet.stages.predict.money import economics
from trivet.stages.predict.population import unit_population
from trivet.stages.predict.ranges import range_checks
from trivet.stages.predict.readings import error_budgets, stream, wanted_budgets
from trivet.stages.predict.views import Seen, seen_by
from trivet.stages.predict.warning import warning_timeline


def remedies(design: Design, prediction: Prediction) -> Remedies:
    """Return what each declared change does to each predicted requirement that fails.

    Parameters
    ----------
    design : Design
        With its options.
    prediction : Prediction
        Of the design as it stands.

    Returns
    -------
    Remedies
        Found by predicting the changed design anew, part by part; the changes that
        bring a requirement inside stand first.

    Notes
    -----
    One change at a time: two that help only together are not found.  A change that
    makes a design impossible is named so and helps nothing; a figure that a changed
    card does not give, such as its price, leaves only what rests on it unknown.  The
    power while measuring follows the sensors' own draws unless the change sets it.
    The draws are those of the prediction, so that a change that does not touch a
    requirement leaves its value as it is.  About half a second a change.

    References
    ----------
    Exhaustive search over the declared options.
    """
    failing = [
        one for one in _predicted(design) if not _inside(one, _value(one, prediction, design))
    ]
    tried: list[Remedy] = []
    changed = {option.name: _changed_design(design, option) for option in design.options}
    metrics = {one.metric for one in failing}
    again = {
        name: made if isinstance(made, str) else _predicted_again(design, made, prediction, metrics)
        for name, made in changed.items()
    }
    for requirement in failing:
        before = _value(requirement, prediction, design)
        own = [
            _remedy(requirement, before, option.name, again[option.name])
            for option in design.options
        ]
        tried += sorted(own, key=lambda one: _rank(one, requirement))
    helped = {one.requirement for one in tried if one.inside}
    return Remedies(
        tried=tuple(tried),
        failing=tuple(one.id for one in failing),
        unhelped=tuple(one.id for one in failing if one.id not in helped),
    )


def _predicted(design: Design) -> list[Requirement]:
    return [one for one in design.requirements if REQUIRABLE[one.metric].room == "prediction"]


def _value(requirement: Requirement, prediction: Prediction, design: Design) -> float:
    return predicted_value(requirement, prediction=prediction, design=design)[0]


def _inside(requirement: Requirement, value: float) -> bool:
    return not math.isnan(value) and meets(requirement, value)


def _rank(remedy: Remedy, requirement: Requirement) -> tuple[bool, float]:
    """Return inside first, then the best value first; unknown last."""
    if math.isnan(remedy.after):
        return (True, math.inf)
    sign = -1.0 if REQUIRABLE[requirement.metric].sense == "higher" else 1.0
    return (not remedy.inside, sign * remedy.after)


@dataclass(frozen=True)
class _Again:
    """The prediction of a changed design, and for each metric why it has none."""

    design: Design
    prediction: Prediction
    missing: Mapping[str, str]


def _remedy(requirement: Requirement, before: float, option: str, again: _Again | str) -> Remedy:
    fault = again if isinstance(again, str) else again.missing.get(requirement.metric, "")
    if fault or isinstance(again, str):
        after, note = math.nan, fault
    else:
        after, _, note = predicted_value(
            requirement, prediction=again.prediction, design=again.design
        )
    return Remedy(
        option=option,
        requirement=requirement.id,
        metric=requirement.metric,
        limit=limit_value(requirement),
        before=before,
        after=after,
        inside=_inside(requirement, after),
        note=note,
    )


MONEY = frozenset({"break_even_units", "contribution_frac"})


def _predicted_again(
    own: Design, changed: Design, prediction: Prediction, metrics: set[str]
) -> _Again | str:
    """Return what is asked for of a changed design; a part that fails leaves the others."""
    try:
        seen = seen_by(changed)
    except TrivetError as error:
        return f"impossible: {error}"
    now = replace(prediction, views=seen.views)
    missing: dict[str, str] = {}
    powered: Design | None = changed
    if own.battery.measure_w == changed.battery.measure_w and len(own.heads) == len(changed.heads):
        powered = power_moved(changed, before=own)
    design = changed if powered is None else powered
    if powered is None:
        why = "unknown: the draw of a sensor card is not stated, so that the power cannot follow"
        missing = dict.fromkeys({"battery_days", *MONEY}, why)
    for part, serves in _PARTS:
        asked = (metrics & serves) - missing.keys()
        if not asked:
            continue
        try:
            now = part(design, seen, now)
        except TrivetError as error:
            missing.update(dict.fromkeys(asked, f"unknown: {error}"))
    return _Again(design, now, missing)


def _ranged(design: Design, seen: Seen, now: Prediction) -> Prediction:
    return replace(now, ranges=range_checks(design, eyes=seen.eyes))


def _erring(design: Design, seen: Seen, now: Prediction) -> Prediction:
    budgets = error_budgets(design, seen=seen, wanted=wanted_budgets(design), shared=False)
    units = unit_population(design, seen=seen, budgets=budgets, made_cost="0")
    return replace(now, budgets=budgets, population=units)


def _woken(design: Design, seen: Seen, now: Prediction) -> Prediction:
    generator = stream(design, name="warning")
    found = warning_timeline(design, seen=seen, margins=(), generator=generator)
    return replace(now, warning=found)


def _lasting(design: Design, seen: Seen, now: Prediction) -> Prediction:
    return replace(now, battery=battery_days(design, generator=stream(design, name="battery")))


def _earned(design: Design, seen: Seen, now: Prediction) -> Prediction:
    """Money follows the life, what is measurable, and the units that pass the line."""
    passed = 1.0 if now.population is None else now.population.yield_frac
    money = economics(design, life=now.battery, budgets=now.budgets, passed_frac=passed)
    return replace(now, economics=money)


_PARTS: tuple[tuple[Callable[[Design, Seen, Prediction], Prediction], frozenset[str]], ...] = (
    (_ranged, frozenset({"range_headroom"})),
    (_erring, MONEY | {"predicted_u95"}),
    (_woken, frozenset({"first_reading"})),
    (_lasting, MONEY | {"battery_days"}),
    (_earned, MONEY),
)
"""What renews a part of the prediction, and which metrics rest on it, in order of need."""


def _changed_design(design: Design, option: Option) -> Design | str:
    try:
        return changed_design(design, option=option)
    except (InputError, DesignError) as error:
        return f"impossible: {error}"


def changed_design(design: Design, *, option: Option) -> Design:
    """Return a design with an option's keys set; ranges and origins elsewhere are kept.

    Parameters
    ----------
    design : Design
        As it stands.
    option : Option
        Keys and values as its file would write them.

    Raises
    ------
    InputError
        If a key does not exist or a value is not allowed; the key is named.
    """
    made = design
    for key, raw in option.set.items():
        try:
            made = _set(made, key.split("."), raw)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            says = first.get("ctx", {}).get("found", first["msg"])
            raise InputError(f"option {option.name!r}: {key} = {raw!r}: {says}") from None
        except (KeyError, IndexError) as error:
            raise InputError(f"option {option.name!r}: {key}: no such key ({error})") from None
    names = {card.name for card in made.sensors}
    missing = {head.sensor for head in made.heads} - names
    cards = tuple(library_card(name) for name in sorted(missing))
    return made.model_copy(update={"sensors": (*made.sensors, *cards)})


def _set(value: Any, path: Sequence[str], raw: Any) -> Any:
    """Return a part of a design with what stands at a path replaced."""
    key, rest = path[0], path[1:]
    if isinstance(value, tuple):
        at = _position(value, key)
        return (*value[:at], _set(value[at], rest, raw) if rest else raw, *value[at + 1 :])
    if not isinstance(value, BaseModel):
        raise KeyError(key)
    name = next(
        (
            name
            for name, field in type(value).model_fields.items()
            if key in (name, field.alias or file_key(name))
        ),
        None,
    )
    if name is None:
        raise KeyError(key)
    inner = getattr(value, name)
    if rest and inner is None:
        new: Any = _nested(rest, raw)
    else:
        new = _set(inner, rest, raw) if rest else raw
    fields = {one: getattr(value, one) for one in type(value).model_fields}
    return type(value).model_validate({**fields, name: new})


def _nested(path: Sequence[str], raw: Any) -> Mapping[str, Any]:
    """Return tables within tables for a part that the design has not yet."""
    return {path[0]: raw if len(path) == 1 else _nested(path[1:], raw)}


def _position(items: tuple[Any, ...], key: str) -> int:
    """Return where an entry of a list stands, by place or by name."""
    if key.isdigit():
        if int(key) < len(items):
            return int(key)
        raise IndexError(key)
    for at, item in enumerate(items):
        if key in (getattr(item, "name", None), getattr(item, "id", None)):
            return at
    raise KeyError(key)
