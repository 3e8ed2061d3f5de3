"""The hand-off: the arithmetic that was proven, as C, with golden vectors and an error map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from trivet.device import (
    alertfirmware,
    devicefirmware,
    firmware,
    readingfirmware,
    readingseeds,
)
from trivet.device import fixedpoint as fx
from trivet.device.alertwords import ToldRules
from trivet.device.devicefirmware import DeviceTables, GoldenCook, cook_name, cook_text
from trivet.device.readingrules import HeadReading
from trivet.errors import HandoffRefusedError
from trivet.models.firmware_tables import head_readings
from trivet.models.firmware_told import rule_words, told_rules
from trivet.models.optics import card_band
from trivet.physics.radiation.planck import band_radiance
from trivet.records.bundle import FirmwareBundle, ReplayedCook
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.provenance import fingerprint
from trivet.records.sensorcard import SensorCard
from trivet.records.verdict import Verdict
from trivet.stages.handoff.bundletext import Counts, branded, readme
from trivet.stages.handoff.cooks import golden_cooks
from trivet.stages.handoff.errormap import error_map, map_text
from trivet.stages.handoff.errorpicture import picture
from trivet.stages.handoff.saturation import saturation_faults

DRAWN_STREAM = 0x601D
"""Keeps the vectors' random stream apart from the project's other streams."""


def handoff(
    design: Design,
    *,
    calibration: Calibration,
    verdict: Verdict,
    hashes: Mapping[str, str],
    cooks: Sequence[ReplayedCook] = (),
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
    cooks : sequence of ReplayedCook
        Recordings with the alerts of the firmware's own reading: they become the golden
        vectors of the whole chain, frame by frame.
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
        Without a passing verdict, with a stale hash, if an integer could overflow, if an
        alert's lead cannot be met since the sensor saturates before, or if the error
        exceeds 0.25 K anywhere in the domain.

    Notes
    -----
    The error is that of the integers against the exact inversion, inputs
    rounded to words included: under 0.1 K for emissivities from 0.3, typically
    0.03 K at 0.9. It says nothing about a wrong emissivity.
    """
    _checked(design, calibration, verdict, hashes, unproven)
    bands = [card_band(card) for card in cards_of(design)]
    tables = [fx.radiance_table(band_radiance(fx.node_temperatures_k(), band=b)) for b in bands]
    errors = error_map(design, calibration=calibration, bands=bands, tables=tables)
    seed = np.random.SeedSequence([design.project.seed, DRAWN_STREAM])
    generator = np.random.default_rng(seed)
    vectors = firmware.golden_vectors(tables, generator=generator)
    texts = firmware.inversion_texts(tables, vectors=vectors, unproven=unproven)
    readings = head_readings(design, calibration=calibration)
    names = [card.name for card in cards_of(design)]
    which = {head.name: names.index(design.card(head).name) for head in design.heads}
    texts.update(
        readingfirmware.reading_texts(readings, tables=[which[one.head] for one in readings])
    )
    changes = 0
    golden: tuple[GoldenCook, ...] = ()
    if design.alerts:
        told = told_rules(design)
        chain = device_tables(design, readings=readings, told=told)
        alert_c, changes = alertfirmware.alert_texts(told.rules, generator=generator)
        texts.update(alert_c)
        texts.update(devicefirmware.device_texts(chain))
        texts[devicefirmware.EXPECTED] = devicefirmware.expected_text(
            rule_words(design, rules=told), band_of=told.band_of
        )
        golden = golden_cooks(cooks, design=design, calibration=calibration, tables=chain)
        texts.update({cook_name(at): cook_text(one) for at, one in enumerate(golden)})
    counts = Counts(
        inversions=int(vectors.expected.size),
        changes=changes,
        frames=readingseeds.FRAMES * len(readings),
        cooks=len(golden),
        cook_frames=sum(int(s.shape[0]) for one in golden for _, s in one.frames),
        cook_changes=sum(int(one.changes.shape[0]) for one in golden),
    )
    texts["error_map.csv"] = map_text(errors)
    texts["error_map.svg"] = picture(errors, name=design.project.name)
    texts["README.txt"] = readme(design, errors, counts=counts, compared=compared)
    files, manifest = branded(texts, hashes, unproven, fingerprint(verdict))
    return FirmwareBundle(
        unproven=unproven,
        files=files,
        worst_error_k=errors.worst_k,
        error_map_k=errors.by_emissivity_k,
        vectors=counts.inversions + counts.changes + counts.frames + counts.cook_frames,
        manifest=manifest,
    )


def device_tables(
    design: Design, *, readings: Sequence[HeadReading], told: ToldRules
) -> DeviceTables:
    """Return names and tables of the chain from frames to alerts."""
    place = {
        name: (head, at) for head, one in enumerate(readings) for at, name in enumerate(one.burners)
    }
    burners = tuple(one.name for one in design.burners if one.name in place)
    alerting = design.alerting
    return DeviceTables(
        burners=burners,
        alerts=tuple(one.name for one in design.alerts),
        told=told,
        units=tuple(place[name] for name in burners),
        untold_uses=alerting.untold_uses,
        stale_ms=round(1000.0 * float(design.estimation.stale_after_s)),
        hand_counts_ms=round(1000.0 * float(alerting.hand_counts_s)),
        handled_ms=round(1000.0 * float(alerting.handled_s)),
        even_dk=round(10.0 * float(alerting.even_frame_delta_k)),
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
    faults = saturation_faults(design)
    if faults:
        raise HandoffRefusedError("; ".join(faults))
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


def cards_of(design: Design) -> list[SensorCard]:
    """Return the distinct sensor cards of the heads, in the heads' order."""
    cards = {card.name: card for card in (design.card(head) for head in design.heads)}
    return list(cards.values())
