"""Which surfaces the product cannot tell apart with what it is told."""

from __future__ import annotations

import itertools

import numpy as np

from trivet.models.contents import TABLE_BAND_M, emissivity_range, fits
from trivet.physics.radiation.planck import flat_band
from trivet.records.design import Design


def confused_ranges(design: Design) -> dict[str, tuple[float, float]]:
    """Return the emissivities between which a product that is not told more cannot choose.

    Parameters
    ----------
    design : Design
        Pans, bases and told channels.

    Returns
    -------
    dict
        Base name to low and high over all contents and pans that the told channels
        leave open, seen from above; a base is left out where that is no wider than
        the own range of each pan.

    Notes
    -----
    Told contents name a kind, not an amount: a film and a pool of oil stay open.
    """
    band, angle, told = flat_band(*TABLE_BAND_M), np.zeros(1), design.told.channels
    own = {
        (base.name, pan.name): emissivity_range(base, pan=pan, angle_rad=angle, band=band).at(0)
        for base, pan in itertools.product(design.bases, design.pans)
        if fits(base, pan=pan)
    }
    kinds = {base.name: base.contents for base in design.bases}
    found: dict[str, tuple[float, float]] = {}
    for (base_name, pan_name), (_, own_low, own_high) in own.items():
        spans = [
            (low, high)
            for (other, pan), (_, low, high) in own.items()
            if (kinds[other] == kinds[base_name] or "base_contents" not in told)
            and (pan == pan_name or "pan" not in told)
        ]
        low, high = min(one[0] for one in spans), max(one[1] for one in spans)
        if (low, high) != (own_low, own_high):
            before = found.get(base_name, (low, high))
            found[base_name] = (min(low, before[0]), max(high, before[1]))
    return found
