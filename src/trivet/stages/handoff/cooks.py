"""Whole cooks for the bundle: what the chain from frames to alerts must answer, frame by frame."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trivet.arrays import IntArray
from trivet.device.alertrules import NOT_KNOWN, UNBOUNDED_MS
from trivet.device.alertwords import ticks
from trivet.device.devicefirmware import DeviceTables, GoldenCook
from trivet.errors import HandoffRefusedError
from trivet.models.firmware_told import told_numbers
from trivet.models.firmware_words import frame_words, milliseconds, moment_words
from trivet.records.alertlog import DEVICE, AlertChange, AlertWord
from trivet.records.bundle import ReplayedCook
from trivet.records.calibration import Calibration
from trivet.records.design import Design

WHAT: tuple[AlertWord, ...] = ("off", "on", "escalated", "armed", "not armed")


def golden_cooks(
    cooks: Sequence[ReplayedCook],
    *,
    design: Design,
    calibration: Calibration,
    tables: DeviceTables,
) -> tuple[GoldenCook, ...]:
    """Return recordings and their alert logs in the firmware's words.

    Parameters
    ----------
    cooks : sequence of ReplayedCook
        Alerts as the firmware's own reading gives them.
    design, calibration : Design, Calibration
        Behind the firmware's constants.
    tables : DeviceTables
        Names, their order and what can be told.

    Returns
    -------
    tuple of GoldenCook
        For the checker.

    Raises
    ------
    HandoffRefusedError
        If a recording has other heads than the firmware reads.

    Notes
    -----
    Nothing is decided here: readings are those of the twin, changes those of the stage.

    References
    ----------
    ``trivet.device.devicefirmware``.
    """
    return tuple(_golden(one, design, calibration, tables) for one in cooks)


def _golden(
    cook: ReplayedCook,
    design: Design,
    calibration: Calibration,
    tables: DeviceTables,
) -> GoldenCook:
    inputs, watch = cook.inputs, cook.watch
    said = moment_words(inputs, design=design, calibration=calibration)
    if tuple(said) != tables.burners:
        raise HandoffRefusedError(f"{cook.name}: its heads read other burners than the firmware's")
    time_ms = milliseconds(inputs.heads[0].time_s)
    moments_s, source = ticks(inputs.heads[0].time_s, float(design.estimation.stale_after_s))
    told = [told_numbers(inputs.told.about(b), words=tables.told.words) for b in tables.burners]
    known = np.stack(
        [
            np.round(1000.0 * watch.battery_frac).astype(np.int64),
            np.full(time_ms.size, round(1000.0 * cook.window_loss_frac)),
            watch.link.astype(np.int64),
            watch.person.astype(np.int64),
        ],
        axis=1,
    )
    return GoldenCook(
        name=cook.name,
        told=np.array(told, dtype=np.int64),
        frames=tuple(frame_words(head) for head in inputs.heads),
        known=known,
        said=np.stack([words for _, words in said.values()], axis=1),
        blind_ms=milliseconds(moments_s)[source < 0],
        changes=_changes(cook.alerts.changes, tables),
    )


def _changes(changes: Sequence[AlertChange], tables: DeviceTables) -> IntArray:
    units = (*tables.burners, DEVICE)
    rows = [
        (
            math.floor(one.time_s * 1000.0 + 0.5),
            units.index(one.burner),
            tables.alerts.index(one.alert),
            WHAT.index(one.state),
            *(_ms(value) for value in (one.left_s, one.left_low_s, one.left_high_s)),
            0 if one.rate_kps is None else round(one.rate_kps * 1000.0),
        )
        for one in changes
    ]
    return np.array(rows, dtype=np.int64).reshape(len(rows), 8)


def _ms(value_s: float | None) -> int:
    if value_s is None:
        return NOT_KNOWN
    return UNBOUNDED_MS if math.isinf(value_s) else round(value_s * 1000.0)
