"""The probe logger's clock against the frames': from the sheet's offset or from shared moments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError, ProbeLogError, RecordingError
from trivet.physics.sensor.alignment import clock_from_events
from trivet.records.benchsheet import CookSheet
from trivet.records.recording import Note

DRIFT_EVENTS = 3


@dataclass(frozen=True)
class LogClock:
    """frames = log + offset + drift (log - pivot), its standard uncertainty, and notes."""

    offset_s: float
    drift_frac: float
    pivot_s: float
    u_s: float
    notes: tuple[Note, ...]

    def frames_s(self, log_s: FloatArray) -> FloatArray:
        """Return moments of the log on the frames' clock. [s]"""
        return log_s + self.offset_s + self.drift_frac * (log_s - self.pivot_s)


def log_clock(sheet: CookSheet, *, where: str) -> LogClock:
    """Return how the log's clock runs against the frames'.

    Parameters
    ----------
    sheet : CookSheet
        Its shared moments where it has any, else its clock offset.
    where : str
        What a message names.

    Returns
    -------
    LogClock

    Raises
    ------
    ProbeLogError
        If a shared moment contradicts the others, or they contradict a stated
        clock offset.

    Notes
    -----
    Three shared moments of 0.1 s give the offset within 0.06 s (standard). One or
    two give it without drift. Without any the stated offset stands, with
    0.5 s of doubt unless the sheet knows better.
    """
    stated, u = float(sheet.clock_offset_s), float(sheet.clock_u_s)
    if not sheet.shared:
        return LogClock(stated, 0.0, 0.0, u, ())
    frames = np.array([float(one.frames_s) for one in sheet.shared])
    log = np.array([float(one.log_s) for one in sheet.shared])
    drift = frames.size >= DRIFT_EVENTS
    sigma = max(u, 0.02)
    try:
        fit = clock_from_events(frames, other_s=log, sigma_s=sigma, with_drift=drift)
    except (NotEnoughDataError, RecordingError) as error:
        raise ProbeLogError(f"{where}: shared moments of cook.toml: {error}") from error
    if stated != 0.0 and abs(stated - fit.offset_s) > 5.0 * sigma:
        raise ProbeLogError(
            f"{where}: cook.toml states clock_offset {stated:+.1f} s, its shared moments say "
            f"{fit.offset_s:+.2f} s; keep one of both"
        )
    far = float(np.ptp(log)) / 2.0
    own = float(np.sqrt(fit.covariance[0, 0] + fit.covariance[1, 1] * far**2))
    text = f"clock of the log from {frames.size} shared moments: {fit.offset_s:+.2f} +- {own:.2f} s"
    text += f", drift {1e6 * fit.drift_frac:+.0f} ppm" if drift else ", drift not known"
    note = Note(text, where, "the probes' lag is not in it; give each probe's lag from a step")
    return LogClock(fit.offset_s, fit.drift_frac, fit.pivot_s, own, (note,))
