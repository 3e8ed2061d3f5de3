"""The bundle's README, its brand and its manifest."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass

from trivet.device import firmware
from trivet.device.fixedpoint import FIRST_NODE_K, LAST_NODE_K
from trivet.records.bundle import BundleFile
from trivet.records.design import Design
from trivet.stages.handoff.errormap import ErrorMap


@dataclass(frozen=True)
class Counts:
    """How many golden vectors a bundle holds."""

    inversions: int
    changes: int
    frames: int
    cooks: int
    cook_frames: int
    cook_changes: int


def readme(design: Design, errors: ErrorMap, *, counts: Counts, compared: tuple[str, ...]) -> str:
    """Return the README of a bundle."""
    cards = {head.sensor: design.card(head) for head in design.heads}.values()
    ends = ", ".join(
        f"{float(c.band_low_m) * 1e6:g} to {float(c.band_high_m) * 1e6:g} um" for c in cards
    )
    checks = [firmware.COMPILE, firmware.COMPILE_READING]
    if design.alerts:
        checks += [firmware.COMPILE_ALERTS, firmware.COMPILE_DEVICE]
    if counts.cooks:
        checks.append(firmware.COMPILE_COOKS)
    commands = "\n".join(f"  {one}" for one in checks)
    told = "\n".join(compared) or "  not compared with any cook"
    return f"""\
{design.project.name}: frames to readings, and readings to alerts, in integers.

Check (each prints its counts and returns 0 only if every answer is right):
{commands}
{counts.inversions} inversions, {counts.frames} drawn frames, {counts.changes} changes of scripted
alerts, the rules of all that can be told; {counts.cooks} whole cooks: {counts.cook_frames} frames
in, what is said of every burner and {counts.cook_changes} alert changes out.

Into the product go
  trivet_inversion.[ch] trivet_table.c                       the inversion
  trivet_reading.[ch] trivet_reading_sizes.h trivet_pixels.[ch] trivet_reading_data.c
                                                             frames to readings
  trivet_thresholds.h                                        their thresholds, and those of
  trivet_alerts.[ch] trivet_alert_parts.h trivet_slope.c trivet_pot.c
  trivet_device.[ch] trivet_names.h trivet_device_data.c
                                                             readings to alerts
Not: trivet_*check.c, trivet_*vectors.h, trivet_reading_seeds.h, cook_*.txt.
C99, stdint.h only, no heap, no floating point; constants are const. All memory is in one
trivet_device, which the application places; to survive a restart, keep a copy of it.

Use, with one static trivet_device d:
  trivet_device_start(&d);                 once, after power-on
  trivet_device_tell(&d, burner, &told);   when the cook tells something; trivet_names.h
  trivet_device_frame(&d, head, frame, ms, housing, awake_ms);   each frame of each head;
                                           frame is overwritten
  n = trivet_device_step(&d, ms, &known, changes);   after each frame of head 0
  n = trivet_device_blind(&d, ms, changes);   TRIVET_STALE_MS after its last frame, then
                                           every second until the next comes
changes[0..n-1] tell what goes on, off, escalates, is armed or not; d.said what is read.

Words: a temperature is 1/64 K in 16 bits (0 none, 1 under range, 65535 at or
above range), rounded half up by the sensor's driver; a share is 1/32768; times are ms of a
clock that does not stop, awake_ms since the sensor woke. Bytes of a target of either
endianness; the checkers' tables are in the order of the bands {ends};
nodes 2 K apart from {FIRST_NODE_K} K, straight lines between, rounded half up.
Domain: emissivity {float(design.estimation.min_emissivity_frac):g} to 1, surfaces \
{FIRST_NODE_K + 1 - 273:d} to {LAST_NODE_K - 2 - 273:d} C.
Worst error of the integers over the domain: {errors.worst_k:.3f} K (error_map.csv, .svg).

The reading is simpler than the host's estimate. On recorded or simulated cooks:
{told}

A missing or over-range word must be shown as such, never as cool.
An alert-only device does not prevent fires.
"""


def branded(
    texts: dict[str, str], hashes: Mapping[str, str], unproven: bool, proof: str
) -> tuple[tuple[BundleFile, ...], tuple[tuple[str, str], ...]]:
    """Return the files, each saying what proves it, and the manifest of their hashes."""
    brand = (
        "UNPROVEN: no passing verdict stands behind this file. Not for release."
        if unproven
        else f"Proven by verdict {proof[:16]}."
    )
    files = []
    for name, text in sorted(texts.items()):
        first = {"c": f"/* {brand} */", "h": f"/* {brand} */", "svg": f"<!-- {brand} -->"}.get(
            name.rsplit(".", 1)[-1], f"# {brand}"
        )
        files.append(BundleFile(name, f"{first}\n{text}"))
    manifest = tuple(
        (file.name, hashlib.sha256(file.text.encode()).hexdigest()) for file in files
    ) + tuple((f"record {name}", value) for name, value in sorted(hashes.items()))
    listing = {"status": brand, "hashes": dict(manifest)}
    text = json.dumps(listing, indent=2, sort_keys=True) + "\n"
    return (*files, BundleFile("manifest.json", text)), manifest
