"""Physics set apart from the nominal before a cook begins, as its plan declares."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from trivet.records.cook import Mismatch
from trivet.stages.simulate.setting import PanSetting


def contact_scaled(settings: Sequence[PanSetting], mismatch: Mismatch) -> tuple[PanSetting, ...]:
    """Return the pans with the contact between base and food scaled."""
    scale = float(mismatch.contact_scale)
    if scale == 1.0:
        return tuple(settings)
    return tuple(
        dataclasses.replace(
            one,
            pieces=tuple(
                dataclasses.replace(
                    piece,
                    food=dataclasses.replace(
                        piece.food,
                        contact_start_w_m2k=scale * piece.food.contact_start_w_m2k,
                        contact_peak_w_m2k=scale * piece.food.contact_peak_w_m2k,
                    ),
                )
                for piece in one.pieces
            ),
        )
        for one in settings
    )
