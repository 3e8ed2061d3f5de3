"""The firmware bundle: the files that are handed over.

``stages/handoff`` makes one::

    handoff(design: Design, *, calibration: Calibration, verdict: Verdict,
            hashes: Mapping[str, str], cooks: Sequence[ReplayedCook] = (),
            unproven: bool = False) -> FirmwareBundle
"""

from __future__ import annotations

from dataclasses import dataclass

from trivet.arrays import FloatArray
from trivet.records.alertlog import AlertLog, Watch
from trivet.records.recording import ProductInput


@dataclass(frozen=True)
class ReplayedCook:
    """A whole cook that the bundle's checker replays."""

    name: str
    inputs: ProductInput
    """As the firmware gets it: whole words and milliseconds."""
    alerts: AlertLog
    """Of the firmware's own reading."""
    watch: Watch
    window_loss_frac: float


@dataclass(frozen=True)
class BundleFile:
    """One text file of the bundle."""

    name: str
    text: str


@dataclass(frozen=True)
class FirmwareBundle:
    """Code, tables, golden vectors and manifest."""

    unproven: bool
    files: tuple[BundleFile, ...]
    worst_error_k: float
    """Largest inversion error over the whole domain. [K]"""
    error_map_k: FloatArray
    """(emissivity, signal) worst error between nodes. [K]"""
    vectors: int
    """Golden vectors."""
    manifest: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Footprint:
    """What a bundle takes; None: not measured, the notes say why."""

    target: str
    """What the bytes are of."""
    flash_bytes: int | None
    """Code and constants."""
    table_bytes: int | None
    """Of these, tables, masks and surfaces."""
    ram_bytes: int | None
    """Memory of readings and alerts, all heads and burners."""
    burner_ram_bytes: int
    """Memory of one burner, of these."""
    frame_instructions: int | None
    """Instructions for one frame of all heads, counted on this machine: an estimate."""
    emulated: bool | None
    """Whether the checker passed on an emulated processor of the target's kind."""
    notes: tuple[str, ...]
    """What was not measured, and why."""
