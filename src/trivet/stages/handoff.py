"""The hand-off: the arithmetic that was proven, as C, with golden vectors and an error map."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from trivet.device import alertfirmware, firmware, readingfirmware, readingseeds
from trivet.device import fixedpoint as fx
from trivet.device.alertsettings import settings_array
from trivet.errors import HandoffRefusedError
from trivet.kernels.radiation.path import before_window
from trivet.kernels.radiation.planck import Band, band_radiance, radiating_temperature_k
from trivet.records.bundle import BundleFile, FirmwareBundle
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.provenance import fingerprint
from trivet.records.sensorcard import SensorCard
from trivet.records.verdict import Verdict
from trivet.stages.devicereading import head_readings
from trivet.stages.devicesettings import alert_settings, settings_text
from trivet.terms.optics import card_band

Floats = NDArray[np.float64]

WORST_ERROR_K = 0.25
EMISSIVITIES = 36
BETWEEN_NODES = 8
"""Points inside each interval of nodes at which the error is computed."""
DRAWN_STREAM = 0x601D
"""Keeps the vectors' random stream apart from the project's other streams."""


def handoff(
    design: Design,
    *,
    calibration: Calibration,
    verdict: Verdict,
    hashes: Mapping[str, str],
    compared: tuple[str, ...] = (),
    unproven: bool = False,
) -> FirmwareBundle:
    """Return the firmware bundle of a proven design.

    Parameters
    ----------
    design : Design
        Sensors, alerts, surroundings.
    calibration : Calibration
        Transmittance of the windows, emissivity of the surfaces.
    verdict : Verdict
        Must pass, unless ``unproven``.
    hashes : mapping
        Name and hash of the records behind it; those named design, verdict,
        calibration or "calibration, GRADE" are checked against the records given.
    compared : tuple of str
        Lines for the README: how far the firmware's reading lies from its exact twin and
        from the estimate, cook by cook.
    unproven : bool
        Make the bundle without a passing verdict and brand every file.

    Returns
    -------
    FirmwareBundle
        C files, golden vectors, error map, manifest.

    Raises
    ------
    HandoffRefusedError
        Without a passing verdict, with a stale hash, if an integer could
        overflow, or if the error exceeds 0.25 K anywhere in the domain.

    Notes
    -----
    The error is that of the integers against the exact inversion, inputs
    rounded to words included: under 0.1 K for emissivities from 0.3, typically
    0.03 K at 0.9. It says nothing about a wrong emissivity.

    References
    ----------
    ``trivet.device.fixedpoint`` for the semantics.
    """
    _checked(design, calibration, verdict, hashes, unproven)
    bands = [card_band(card) for card in _cards(design)]
    tables = [fx.radiance_table(band_radiance(fx.node_temperatures_k(), band=b)) for b in bands]
    emissivity = np.linspace(float(design.estimation.min_emissivity_frac), 1.0, EMISSIVITIES)
    error_map = np.max(
        [
            _error_map(emissivity, band, table, design, calibration)
            for band, table in zip(bands, tables, strict=True)
        ],
        axis=0,
    )
    worst = float(error_map.max())
    if not worst <= WORST_ERROR_K:
        row, col = np.unravel_index(int(np.argmax(error_map)), error_map.shape)
        raise HandoffRefusedError(
            f"the integers miss the exact inversion by {worst:.3f} K at emissivity "
            f"{emissivity[row]:.2f} and {fx.FIRST_NODE_K + 2 * col - 273.15:.0f} C apparent; "
            f"allowed {WORST_ERROR_K} K"
        )
    seed = np.random.SeedSequence([design.project.seed, DRAWN_STREAM])
    generator = np.random.default_rng(seed)
    vectors = firmware.golden_vectors(tables, generator=generator)
    texts = firmware.inversion_texts(tables, vectors=vectors, unproven=unproven)
    alerts = settings_array(tuple(alert_settings(one, design=design) for one in design.alerts))
    alert_c, changes = alertfirmware.alert_texts(alerts, generator=generator)
    texts.update(alert_c)
    readings = head_readings(design, calibration=calibration)
    names = [card.name for card in _cards(design)]
    which = {head.name: names.index(design.card(head).name) for head in design.heads}
    texts.update(
        readingfirmware.reading_texts(readings, tables=[which[one.head] for one in readings])
    )
    frames = readingseeds.FRAMES * len(readings)
    texts[firmware.SETTINGS_NAME] = settings_text(design, calibration=calibration)
    texts["error_map.csv"] = _map_text(emissivity, error_map)
    texts["README.txt"] = _readme(
        design, worst, (int(vectors.expected.size), changes, frames), compared
    )
    files, manifest = _branded(texts, hashes, unproven, fingerprint(verdict))
    return FirmwareBundle(
        unproven=unproven,
        files=files,
        worst_error_k=worst,
        error_map_k=error_map,
        vectors=int(vectors.expected.size) + changes + frames,
        manifest=manifest,
    )


def _checked(
    design: Design,
    calibration: Calibration,
    verdict: Verdict,
    hashes: Mapping[str, str],
    unproven: bool,
) -> None:
    records: dict[str, object] = {
        "design": design,
        "calibration": calibration,
        f"calibration, {calibration.evidence}": calibration,
        "verdict": verdict,
    }
    for name, record in records.items():
        if name in hashes and hashes[name] != fingerprint(record):
            raise HandoffRefusedError(
                f"the {name} is not the one that was proven (hash {hashes[name][:12]} is stale): "
                "run the proof again"
            )
    if unproven:
        return
    if not verdict.requirements:
        raise HandoffRefusedError("the verdict holds no requirement: there is nothing proven")
    open_ones = [r for r in verdict.requirements if r.decision != "met"]
    if open_ones:
        listed = ", ".join(f"{r.id} {r.decision}" for r in open_ones)
        raise HandoffRefusedError(
            f"the verdict does not pass ({listed}); prove them, or ask for an unproven bundle"
        )


def _cards(design: Design) -> list[SensorCard]:
    """Return the distinct sensor cards of the heads, in the heads' order."""
    cards = {card.name: card for card in (design.card(head) for head in design.heads)}
    return list(cards.values())


def _spread(value: Figure, *more: float) -> list[float]:
    """Return a figure with the ends of its range and further values, off the words' grid."""
    ends = [float(x) for x in (value, value.low, value.high, *more) if x is not None]
    return sorted({x + 0.0037 for x in ends})


def _error_map(
    emissivity: Floats,
    band: Band,
    table: fx.RadianceTable,
    design: Design,
    calibration: Calibration,
) -> Floats:
    """Return the worst error (emissivity, interval of nodes) over the other inputs. [K]"""
    rise = 2.0 * np.arange(BETWEEN_NODES) / BETWEEN_NODES + 0.0113
    apparent = fx.node_temperatures_k()[:-1, None] + rise
    around = design.surroundings
    surrounds = _spread(around.reflected_k, 273.15, 363.15)
    windows = _spread(around.ambient_k, float(around.ambient_k) + 45.0)
    heads = {float(h.transmittance) for h in calibration.heads} or {1.0}
    worst = np.zeros((emissivity.size, fx.NODES - 1))
    for share in sorted({1.0, *heads, *(0.8 * h for h in heads)}):
        for window in windows:
            seen = band_radiance(apparent, band=band)
            before = before_window(seen, transmittance=share, window_k=window, band=band)
            for surround in surrounds:
                exact = _exact_k(before, emissivity, surround, band)
                words = fx.surface_words(
                    fx.temperature_q6(apparent)[None],
                    emissivity=np.array([fx.share_q15(float(e)) for e in emissivity])[
                        :, None, None
                    ],
                    transmittance=fx.share_q15(share),
                    surround=fx.temperature_q6(surround),
                    window=fx.temperature_q6(window),
                    table=table,
                )
                inside = (exact > fx.FIRST_NODE_K + 1.0) & (exact < fx.LAST_NODE_K - 1.0)
                error = np.where(inside, np.abs(words / fx.STEPS_PER_K - exact), 0.0)
                worst = np.maximum(worst, error.max(axis=2))
    return worst


def _exact_k(before: Floats, emissivity: Floats, surround_k: float, band: Band) -> Floats:
    """Return the exact surface temperature (emissivity, node, place), NaN where there is none."""
    share = emissivity[:, None, None]
    mirrored = float(band_radiance(surround_k, band=band))
    leaving = (before[None] - (1.0 - share) * mirrored) / share
    return np.asarray(
        radiating_temperature_k(np.where(leaving > 0.0, leaving, np.nan), band=band),
        dtype=np.float64,
    )


def _map_text(emissivity: Floats, error_map: Floats) -> str:
    nodes = ",".join(f"{k - 273.15:.2f}" for k in fx.node_temperatures_k()[:-1])
    rows = [
        f"{e:.4f}," + ",".join(f"{x:.4f}" for x in row)
        for e, row in zip(emissivity, error_map, strict=True)
    ]
    return "\n".join([f"emissivity \\ apparent_c from,{nodes}", *rows, ""])


def _readme(
    design: Design, worst: float, vectors: tuple[int, int, int], compared: tuple[str, ...]
) -> str:
    cards = [(float(c.band_low_m), float(c.band_high_m)) for c in _cards(design)]
    ends = ", ".join(f"{low * 1e6:g} to {high * 1e6:g} um" for low, high in cards)
    cooks = "\n".join(compared) or "not compared with any cook"
    return f"""\
{design.project.name}: frames to readings, and readings to alerts, in integers.

Compile and check:
  {firmware.COMPILE}
  {firmware.COMPILE_READING}
  {firmware.COMPILE_ALERTS}
They print how many of {vectors[0]} inversions, {vectors[2]} frames and {vectors[1]}
alert changes match; each returns 0 only if all do.

Words: a temperature is 1/64 K in 16 bits (0 none, 1 under range, 65535 at or
above range); a share is 1/32768. Tables in the order of the bands {ends}; nodes 2 K
apart from 234 K, straight lines between, rounded half up.
Domain: emissivity {float(design.estimation.min_emissivity_frac):g} to 1, surfaces -38 to 597 C.
Worst error of the integers over the domain: {worst:.3f} K (error_map.csv).
trivet_read_frame takes a frame of raw words and says of each burner what is reported,
its half-width of 95 %, the hottest 5 cm2 and the flags; it has an own, simpler reading
than the host's estimate. On simulated cooks:
{cooks}
A missing or over-range word must be shown as such, never as cool.
An alert-only device does not prevent fires.
"""


def _branded(
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
        first = f"/* {brand} */" if name.endswith((".c", ".h")) else f"# {brand}"
        files.append(BundleFile(name, f"{first}\n{text}"))
    manifest = tuple(
        (file.name, hashlib.sha256(file.text.encode()).hexdigest()) for file in files
    ) + tuple((f"record {name}", value) for name, value in sorted(hashes.items()))
    listing = {"status": brand, "hashes": dict(manifest)}
    text = json.dumps(listing, indent=2, sort_keys=True) + "\n"
    return (*files, BundleFile("manifest.json", text)), manifest
