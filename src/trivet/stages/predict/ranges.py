"""Limits against the range of each head's sensor."""

from __future__ import annotations

import math
from collections.abc import Sequence

from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.records.design import Design
from trivet.records.prediction import RangeCheck
from trivet.stages.predict.views import Eye

DARK_EMISSIVITY = 0.95


def window_sight(design: Design, *, eye: Eye, emissivity: float = DARK_EMISSIVITY) -> LineOfSight:
    """Return the believed sight of a large surface through a head's window."""
    surroundings, window = design.surroundings, eye.head.window
    housing_k = float(surroundings.ambient_k) + float(surroundings.housing_rise_delta_k)
    return LineOfSight(
        emissivity=emissivity,
        reflected_k=float(surroundings.reflected_k),
        transmittance=float(window.transmittance_frac),
        window_k=housing_k + float(window.rise_delta_k),
        housing_k=housing_k,
    )


def range_checks(design: Design, *, eyes: Sequence[Eye]) -> tuple[RangeCheck, ...]:
    """Return how far each limit lies inside each sensor's range.

    Parameters
    ----------
    design : Design
        Limits and surroundings.
    eyes : sequence of Eye
        The heads.

    Returns
    -------
    tuple of RangeCheck
        Headroom is range minus limit: what a black surface behind a clear window
        needs.  NaN where the card states no range.

    Notes
    -----
    A window of 0.86 before a surface of 0.95 lowers what a sensor states of 371 C by
    about 44 K.  The headroom does not count on that: it would be gone with a better
    window or a blacker pan.
    """
    checks = []
    for eye in eyes:
        high = eye.card.range_high_k
        high_k = math.nan if high is None else float(high)
        for limit in design.limits:
            limit_k = float(limit.value_k)
            apparent = sighted_apparent_k(
                limit_k, sight=window_sight(design, eye=eye), band=eye.band
            )
            checks.append(
                RangeCheck(
                    head=eye.head.name,
                    limit=limit.name,
                    limit_k=limit_k,
                    range_high_k=high_k,
                    headroom_k=high_k - limit_k,
                    apparent_at_limit_k=float(apparent),
                )
            )
    return tuple(checks)
