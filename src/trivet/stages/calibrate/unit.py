"""Which sensor unit a calibration was made on, and recordings of another one."""

from __future__ import annotations

from trivet.errors import EvidenceError
from trivet.records.calibration import Calibration
from trivet.records.recording import Recording


def refuse_other_unit(calibration: Calibration, recording: Recording) -> None:
    """Refuse to read a recording with terms that were measured on another sensor unit.

    Parameters
    ----------
    calibration : Calibration
    recording : Recording

    Raises
    ------
    EvidenceError
        Where the calibration was fitted on one unit and the recording is of another,
        or one of both does not say.

    Notes
    -----
    Units of one kind differ by 1 to 3 K of offset and by 10 to 20 mm of aim: read
    with another unit's terms, a recording would show a narrow interval in the
    wrong place.
    """
    if calibration.holds_for(recording.unit):
        return
    made, used = calibration.units[0], recording.unit
    raise EvidenceError(
        f"recording {recording.name!r} is of {_named(used)}, and the calibration was made on "
        f"{_named(made)} ({', '.join(calibration.recordings)}): it holds for that unit alone. "
        "State the unit in both sheets, record calibration cooks with this unit, or with three "
        "units and more, whose spread then counts"
    )


def _named(unit: str) -> str:
    return f"sensor unit {unit!r}" if unit else "a sensor unit without a name"
