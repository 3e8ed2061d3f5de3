"""What is legal in a design but unwise: the warnings of ``trivet check``."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from pydantic import BaseModel

from trivet.models.optics import card_lens, mount_pose
from trivet.physics.geometry.optics import pixel_of_point
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.recording import Note
from trivet.records.requirement import EVIDENCE_ORDER
from trivet.records.sensorcard import Head
from trivet.units import show_difference, show_temperature


def advise(design: Design) -> tuple[Note, ...]:
    """Return what is legal in a design but unwise, the gravest first.

    Parameters
    ----------
    design : Design
        A design that read without a fault.

    Returns
    -------
    tuple of Note
        What was found, where, and what to do about it.
    """
    checks = (
        _unseen_burners,
        _limits_beyond_range,
        _alert_points,
        _unguarded,
        _battery_heat,
        _evidence,
        _told,
        _wide_bound,
        _assumed,
    )
    return tuple(note for check in checks for note in check(design))


def _sees(design: Design, head: Head, x_m: float, y_m: float) -> bool:
    lens = card_lens(design.card(head))
    point = np.array([x_m, y_m, 0.0])
    row, col = pixel_of_point(point, lens=lens, pose=mount_pose(head.mount))
    return bool(-0.5 <= row <= lens.rows - 0.5 and -0.5 <= col <= lens.cols - 0.5)


def _unseen_burners(design: Design) -> Iterator[Note]:
    for at, burner in enumerate(design.burners):
        if not any(_sees(design, head, burner.x_m, burner.y_m) for head in design.heads):
            yield Note(
                f"no head sees the middle of burner {burner.name!r}",
                f"burners[{at}]",
                "move or turn a head, take a wider lens, or add a head",
            )


def _limits_beyond_range(design: Design) -> Iterator[Note]:
    for at, limit in enumerate(design.limits):
        highest = limit.value_k if limit.value_k.high is None else limit.value_k.high
        yield from _beyond(design, f"limit {limit.name!r}", highest, f"limits[{at}].value")


def _beyond(design: Design, what: str, value_k: float, where: str) -> Iterator[Note]:
    for head in design.heads:
        top = design.card(head).range_high_k
        if top is None:
            yield Note(
                f"{what} and head {head.name!r}: the card does not say where its range ends",
                where,
                "ask the maker, and write range_high into a card of this file",
            )
        elif value_k > top:
            yield Note(
                f"{what} at {show_temperature(value_k)} lies above the range of head "
                f"{head.name!r}, which ends at {show_temperature(top)}",
                where,
                "the sensor can say 'at least this hot', not how hot: trip an alert below its "
                "range, or take a sensor with more range",
            )


def _alert_points(design: Design) -> Iterator[Note]:
    for at, alert in enumerate(design.alerts):
        if alert.kind != "level" or alert.limit is None:
            continue
        limit = design.limit(alert.limit)
        point = limit.value_k if alert.set_point_k is None else alert.set_point_k
        where = f"alerts[{at}].set_point"
        if point > limit.value_k:
            yield Note(
                f"alert {alert.name!r} trips at {show_temperature(point)}, above its limit "
                f"{limit.name!r} of {show_temperature(limit.value_k)}",
                where,
                "trip below the limit, by the error and by the time to act",
            )
        yield from _beyond(design, f"the set point of alert {alert.name!r}", point, where)


def _unguarded(design: Design) -> Iterator[Note]:
    if not any(alert.kind == "loss_of_sight" for alert in design.alerts):
        yield Note(
            "no alert says that the product cannot see",
            "alerts",
            "add an alert of kind 'loss_of_sight': a blind monitor must not look like a cool hob",
        )
    guarded = {alert.limit for alert in design.alerts}
    for at, limit in enumerate(design.limits):
        if limit.name not in guarded:
            yield Note(
                f"no alert guards the limit {limit.name!r}",
                f"limits[{at}]",
                "add an alert for it, or remove the limit",
            )


def _battery_heat(design: Design) -> Iterator[Note]:
    around = design.surroundings
    highest = [
        float(one) if one.high is None else one.high
        for one in (around.ambient_k, around.housing_rise_delta_k)
    ]
    housing = sum(highest)
    rated = design.battery.temperature_limit_k
    if housing > rated:
        yield Note(
            f"the housing can reach {show_temperature(housing)}, the cells are rated to "
            f"{show_temperature(rated)}",
            "battery.temperature_limit",
            "move the cells out of the warm air, or cut off below their rating",
        )


def _evidence(design: Design) -> Iterator[Note]:
    for at, one in enumerate(design.requirements):
        if one.safety and EVIDENCE_ORDER.index(one.evidence) < EVIDENCE_ORDER.index("bench"):
            yield Note(
                f"safety requirement {one.id!r} accepts {one.evidence} evidence",
                f"requirements[{at}].evidence",
                "write evidence = 'bench': without bench cooks it stays not proven anyway",
            )


def _told(design: Design) -> Iterator[Note]:
    if "base_contents" in design.told.channels:
        return
    needing = [
        *(f"band {band.name!r}" for band in design.bands if band.bases),
        *(f"alert {alert.name!r}" for alert in design.alerts if alert.bases),
    ]
    if needing:
        yield Note(
            f"{', '.join(needing)} hold for some base contents only, which the cook does not tell",
            "told.channels",
            "add 'base_contents' to the channels, or drop the bases",
        )


def _wide_bound(design: Design) -> Iterator[Note]:
    bound = design.estimation.u95_bound_delta_k
    for at, band in enumerate(design.bands):
        half = (band.high_k - band.low_k) / 2
        if bound > half:
            yield Note(
                f"a reading may be uncertain by {show_difference(bound)} and still be shown; band "
                f"{band.name!r} is only {show_difference(half)} to either side",
                f"bands[{at}]",
                "such a reading cannot tell whether the band is held: narrow the bound, or show "
                "the interval",
            )


def _assumed(design: Design) -> Iterator[Note]:
    figures = list(_figures(design))
    assumed = sum(one.origin == "assumed" for one in figures)
    if assumed:
        yield Note(
            f"{assumed} of {len(figures)} figures are assumed",
            "whole file",
            "give the origin of those that matter: { value = '...', origin = 'measured' }",
        )


def _figures(value: object) -> Iterator[Figure]:
    """Yield every figure of a record."""
    if isinstance(value, Figure):
        yield value
    elif isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _figures(getattr(value, name))
    elif isinstance(value, tuple):
        for one in value:
            yield from _figures(one)
