"""The hand-off: refuses what is not proven, and its C gives the twin's bits."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import numpy as np
import pytest

from trivet.device import fixedpoint as fx
from trivet.device.alertfirmware import EVERY_KIND
from trivet.errors import HandoffRefusedError
from trivet.records.calibration import (
    Calibration,
    DriftCalibration,
    HeadCalibration,
    PoseCalibration,
    SurfaceCalibration,
)
from trivet.records.design import Design
from trivet.records.provenance import fingerprint
from trivet.records.verdict import RequirementVerdict, Verdict
from trivet.stages.handoff import handoff

GCC = shutil.which("gcc")
FLAGS = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-fsanitize=undefined")


def _requirement(decision):
    return RequirementVerdict("R1", "text", "rim_in_view", "100 %", False, decision, "", ())


MET = Verdict((_requirement("met"),), ())
OPEN = Verdict((_requirement("met"), replace(_requirement("not proven"), id="R2")), ())


@pytest.fixture(scope="module")
def calibration():
    pose = PoseCalibration(
        "nominal", np.array([0.0, 0.0, 0.7, 0.0, 0.0, 0.0]), np.eye(6), float("nan"), "nominal"
    )
    drift = DriftCalibration(
        "nominal", np.zeros(4), np.eye(4), 300.0, 60.0, float("nan"), "nominal"
    )
    head = HeadCalibration("main", pose, drift, 0.85, 0.02, 0.01)
    nan = float("nan")
    surfaces = tuple(
        SurfaceCalibration(contents, "", "nominal", e, 0.02, nan, nan, nan, nan, 0, nan, "nominal")
        for contents, e in (("dry", 0.93), ("oil", 0.95), ("water", 0.96))
    )
    return Calibration("predicted", (head,), surfaces, (), ())


@pytest.fixture(scope="module")
def bundle(plain_design, calibration):
    return handoff(plain_design, calibration=calibration, verdict=MET, hashes={})


def _written(bundle, folder):
    for file in bundle.files:
        (folder / file.name).write_text(file.text)
    return folder


INVERSION = ("trivet_check.c", "trivet_inversion.c", "trivet_table.c")
ALERTS = ("trivet_alert_check.c", "trivet_alerts.c", "trivet_slope.c", "trivet_pot.c")
DEVICE = (
    *("trivet_device_check.c", "trivet_device.c", "trivet_device_data.c", *ALERTS[1:]),
    *("trivet_reading.c", "trivet_pixels.c", "trivet_reading_data.c"),
    *("trivet_inversion.c", "trivet_table.c"),
)
READING = (
    "trivet_reading_check.c",
    "trivet_reading.c",
    "trivet_pixels.c",
    "trivet_reading_data.c",
    "trivet_inversion.c",
    "trivet_table.c",
)


def _compiled(folder, sources=INVERSION):
    built = subprocess.run(
        [GCC, *FLAGS, *sources, "-o", "check"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert built.returncode == 0, built.stderr
    return subprocess.run(
        [str(folder / "check")], cwd=folder, capture_output=True, text=True, check=False
    )


needs_gcc = pytest.mark.skipif(GCC is None, reason="gcc is not on PATH: the C is not compiled")


@needs_gcc
def test_c_and_twin_agree_on_every_vector(bundle, tmp_path):
    run = _compiled(_written(bundle, tmp_path))
    assert (run.returncode, run.stderr) == (0, "")
    count, of = map(int, re.findall(r"(\d+) of (\d+) vectors match", run.stdout)[0])
    assert count == of > 2000


@needs_gcc
def test_a_corrupted_vector_or_table_fails_the_check(bundle, tmp_path):
    folder = _written(bundle, tmp_path)
    vectors = (folder / "trivet_vectors.h").read_text()
    last = re.findall(r"\}, (\d+)\}\n\};", vectors)[0]
    (folder / "trivet_vectors.h").write_text(
        re.sub(r"\}, \d+\}\n\};", f"}}, {int(last) ^ 1}}}\n}};", vectors)
    )
    run = _compiled(folder)
    assert run.returncode == 1
    count, of = map(int, re.findall(r"(\d+) of (\d+) vectors match", run.stdout)[0])
    assert count == of - 1
    (folder / "trivet_vectors.h").write_text(vectors)
    table = (folder / "trivet_table.c").read_text()
    (folder / "trivet_table.c").write_text(table.replace(str(fx.FULL_SCALE), "67108865"))
    assert _compiled(folder).returncode == 2


@needs_gcc
def test_alerts_in_c_change_when_the_twin_does(bundle, tmp_path):
    folder = _written(bundle, tmp_path)
    run = _compiled(folder, ALERTS)
    assert (run.returncode, run.stderr) == (0, "")
    vectors = (folder / "trivet_alert_vectors.h").read_text()
    # Moment, alert, on or off, and the time to the limit with its ends and rate.
    row = re.compile(r"\{(\d+), (\d+), ([01]), (-?\d+, -?\d+, -?\d+, \d+)\}")
    changes = row.findall(vectors)
    # Every alert goes on and off, again with brisk delays, and one of every kind beside them.
    found = {(int(alert), on) for _, alert, on, _ in changes}
    assert found == {(alert, on) for alert in range(6 + len(EVERY_KIND)) for on in "01"}
    assert len(changes) > 30
    moved = vectors.replace(f"{{{', '.join(changes[20])}}}", f"{{1, {', '.join(changes[20][1:])}}}")
    (folder / "trivet_alert_vectors.h").write_text(moved)
    assert _compiled(folder, ALERTS).returncode == 1


def _one_step_more(found):
    """1/64 K more of drift: the least that the firmware's words can show."""
    return f".drift_a_q12 = {int(found[1]) + 64}"


@needs_gcc
def test_reading_in_c_says_what_the_twin_says_of_every_frame(bundle, tmp_path):
    folder = _written(bundle, tmp_path)
    run = _compiled(folder, READING)
    assert (run.returncode, run.stderr) == (0, "")
    assert "head 0: 12000 of 12000 frames match" in run.stdout
    # A constant off by one step of the words must not pass.
    data = (folder / "trivet_reading_data.c").read_text()
    text, changed = re.subn(r"\.drift_a_q12 = (\d+)", _one_step_more, data)
    assert changed == 1
    (folder / "trivet_reading_data.c").write_text(text)
    run = _compiled(folder, READING)
    assert (run.returncode, run.stdout) == (2, "head 0: its constants differ\n")


@needs_gcc
def test_rules_of_all_that_can_be_told_match_and_a_changed_one_does_not(bundle, tmp_path):
    folder = _written(bundle, tmp_path)
    run = _compiled(folder, DEVICE)
    assert (run.returncode, run.stderr) == (0, "")
    assert run.stdout.count("match") == 2
    data = (folder / "trivet_device_data.c").read_text()
    assert data.count("{0, 5131,") == 1
    (folder / "trivet_device_data.c").write_text(data.replace("{0, 5131,", "{0, 5132,"))
    assert _compiled(folder, DEVICE).returncode == 1


@needs_gcc
def test_tables_compile_and_hold_the_design(bundle, design, tmp_path):
    folder = _written(bundle, tmp_path)
    (folder / "main.c").write_text(
        "#include <stdio.h>\n"
        '#include "trivet_device.h"\n'
        "int main(void)\n{\n"
        "    const uint8_t *rule = trivet_rule_of[TRIVET_CONTENTS_OIL][TRIVET_BAND_NONE];\n"
        "    const trivet_alert *level = &trivet_rules[rule[TRIVET_ALERT_OVER_TEMPERATURE]];\n"
        "    const trivet_alert *ahead = &trivet_rules[rule[TRIVET_ALERT_SMOKE_AHEAD]];\n"
        '    printf("%d %d %d %d", TRIVET_ALERTS, level->set_dk, ahead->set_dk, ahead->lead_ms);\n'
        '    printf(" %d", trivet_heads[0].numbers.transmittance);\n    return 0;\n}\n'
    )
    sources = ["main.c", "trivet_device_data.c", "trivet_reading_data.c", "trivet_table.c"]
    subprocess.run([GCC, *FLAGS, *sources, "-o", "main"], cwd=folder, check=True)
    out = subprocess.run([str(folder / "main")], capture_output=True, text=True, check=True)
    # 240 C and 230 C in 0.1 K rounded down, 60 s in ms, 0.85 in 1/32768.
    assert out.stdout == "3 5131 5031 60000 27853"


def test_error_map_covers_the_domain_and_stays_under_a_quarter_kelvin(bundle):
    assert bundle.worst_error_k == pytest.approx(bundle.error_map_k.max())
    assert 0.01 < bundle.worst_error_k <= 0.25
    assert bundle.error_map_k.shape == (36, fx.TABLE_NODES - 1)
    # Nodes alone would flatter: the map must see the chord's sag, h2/8 L''/L'
    # with L ~ T^n: 4/8 (n - 1)/T = 4/8 x 3.7/290 = 6 mK at 17 C.
    assert bundle.error_map_k[-1].min() > 0.004


def test_golden_vectors_hold_the_edges(bundle):
    text = next(f.text for f in bundle.files if f.name == "trivet_vectors.h")
    rows = np.array(
        [
            [int(x) for x in re.findall(r"\d+", line)]
            for line in text.splitlines()
            if line.startswith("    {")
        ]
    )
    assert len(rows) > 2000
    apparent, surround, expected = rows[:, 1], rows[:, 4], rows[:, 6]
    nodes = (fx.FIRST_NODE_K + 2 * np.arange(fx.TABLE_NODES)) * 64
    assert set(nodes) <= set(apparent)
    assert set(nodes[:-1] + 64) <= set(apparent)
    assert {0, 1, 65535} <= set(apparent)
    assert {0, 65535} <= set(surround)
    assert {fx.NO_READING, fx.UNDER_RANGE, fx.OVER_RANGE} <= set(expected)


def test_refused_without_a_passing_verdict_unless_branded(design, calibration):
    with pytest.raises(HandoffRefusedError, match="R2 not proven"):
        handoff(design, calibration=calibration, verdict=OPEN, hashes={})
    with pytest.raises(HandoffRefusedError, match="nothing proven"):
        handoff(design, calibration=calibration, verdict=Verdict((), ()), hashes={})
    bundle = handoff(design, calibration=calibration, verdict=OPEN, hashes={}, unproven=True)
    assert bundle.unproven
    assert all("UNPROVEN" in file.text for file in bundle.files)
    header = next(f.text for f in bundle.files if f.name == "trivet_inversion.h")
    assert "#define TRIVET_UNPROVEN 1" in header


def test_a_proven_bundle_bears_no_brand(bundle):
    assert not any("UNPROVEN:" in file.text for file in bundle.files)


def test_stale_hashes_are_refused(design, calibration):
    good = {
        "design": fingerprint(design),
        "calibration": fingerprint(calibration),
        "verdict": fingerprint(MET),
        "prediction": "of a record that the hand-off does not see",
    }
    bundle = handoff(design, calibration=calibration, verdict=MET, hashes=good)
    assert ("record design", good["design"]) in bundle.manifest
    for name in ("design", "calibration", "verdict"):
        with pytest.raises(HandoffRefusedError, match=name):
            handoff(design, calibration=calibration, verdict=MET, hashes={**good, name: "0" * 64})


def test_manifest_holds_the_hash_of_every_file(bundle):
    manifest = dict(bundle.manifest)
    listed = json.loads(bundle.files[-1].text)["hashes"]
    for file in bundle.files[:-1]:
        assert manifest[file.name] == hashlib.sha256(file.text.encode()).hexdigest()
        assert listed[file.name] == manifest[file.name]


def test_same_inputs_give_the_same_bytes(design, calibration, bundle):
    again = handoff(design, calibration=calibration, verdict=MET, hashes={})
    assert again.files == bundle.files


def test_a_table_that_misses_a_quarter_kelvin_is_refused(design, calibration, monkeypatch):
    sound = fx.radiance_table

    def bent(radiance):
        table = sound(radiance)
        values = table.values.copy()
        # A node in mid-range off by half a kelvin: 2 K of spacing, a quarter of a step.
        values[150] += (values[151] - values[150]) // 4
        return fx.RadianceTable(values, table.scale)

    monkeypatch.setattr(fx, "radiance_table", bent)
    with pytest.raises(HandoffRefusedError, match="miss the exact inversion"):
        handoff(design, calibration=calibration, verdict=MET, hashes={})


def test_two_bands_make_two_tables(design_tables, calibration):
    second = {**design_tables["sensors"][0], "name": "narrow", "band_high": "13 um"}
    design_tables["sensors"].append(second)
    design_tables["heads"].append({**design_tables["heads"][0], "name": "side", "sensor": "narrow"})
    bundle = handoff(
        Design.model_validate(design_tables), calibration=calibration, verdict=MET, hashes={}
    )
    header = next(f.text for f in bundle.files if f.name == "trivet_inversion.h")
    assert "#define TRIVET_TABLES 2" in header


@pytest.mark.parametrize(
    ("at", "value"), [(0, 1e5), (1, 1e4), (2, 1e6), (3, 1e5)], ids=["a", "b", "c", "d"]
)
def test_drift_that_the_integers_cannot_hold_is_refused(plain_design, calibration, at, value):
    (head,) = calibration.heads
    terms = head.drift.value.copy()
    terms[at] = value
    drift = replace(head.drift, value=terms)
    wild = replace(calibration, heads=(replace(head, drift=drift),))
    with pytest.raises(HandoffRefusedError, match=r"overflow|32 bits"):
        handoff(plain_design, calibration=wild, verdict=MET, hashes={})


LEAD = {
    "id": "R9",
    "text": "the alert leads",
    "metric": "lead_time",
    "limit": "60 s",
    "alert": "over-temperature",
}


def test_saturation_that_comes_too_late_for_a_lead_is_refused(design_tables, calibration):
    design_tables["requirements"].append(LEAD)
    alert = design_tables["alerts"][0]
    handoff(Design.model_validate(design_tables), calibration=calibration, verdict=MET, hashes={})
    # The card ends at 300 C. Window and emissivity take 43 K of a dark pan (44 K at 371 C, by
    # the range check): it saturates at 343 C, 14 s before 371 C at 2 K/s.
    alert["set_point"] = "360 degC"
    late = Design.model_validate(design_tables)
    for unproven in (False, True):
        with pytest.raises(HandoffRefusedError, match=r"R9.*saturates.*14 s before 371 C"):
            handoff(late, calibration=calibration, verdict=MET, hashes={}, unproven=unproven)
    # A lead that saturation leaves is enough.
    design_tables["requirements"][-1] = {**LEAD, "limit": "10 s"}
    handoff(Design.model_validate(design_tables), calibration=calibration, verdict=MET, hashes={})
    # What looks ahead from within the range needs no saturation.
    design_tables["requirements"][-1] = LEAD
    alert["kind"] = "time_to_limit"
    del alert["set_point"]
    handoff(Design.model_validate(design_tables), calibration=calibration, verdict=MET, hashes={})


def test_error_map_is_drawn_from_every_side(bundle):
    text = next(f.text for f in bundle.files if f.name == "error_map.svg")
    root = ElementTree.fromstring(text)
    words = " ".join(one.text or "" for one in root.iter() if one.tag.endswith("text"))
    for part in ("by emissivity", "by temperature of what is mirrored", "of the window"):
        assert part in words
    assert f"{bundle.worst_error_k:.3f} K" in words
