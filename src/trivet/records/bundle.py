"""The firmware bundle: the files that are handed over.

``stages/handoff.py`` makes one::

    handoff(design: Design, *, calibration: Calibration, verdict: Verdict,
            hashes: Mapping[str, str], unproven: bool = False) -> FirmwareBundle
"""

from __future__ import annotations

from dataclasses import dataclass

from trivet.records.arrays import FloatArray


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
