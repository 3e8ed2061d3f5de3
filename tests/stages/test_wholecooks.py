"""Frames in, alerts out: the C chain answers whole cooks as the twin and the alert stage do."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from trivet.device import readingrules as rules
from trivet.device.alertwords import even_frames, repeated_frames, said_signals
from trivet.device.devicefirmware import encoded_rows
from trivet.models.firmware_words import device_readings, moment_words
from trivet.records.alertlog import DeviceState
from trivet.records.bundle import ReplayedCook
from trivet.records.cook import CookPlan
from trivet.records.verdict import Verdict
from trivet.stages.alert import alert, watching
from trivet.stages.alert.injection import faulty_input, unlinked
from trivet.stages.alert.stage import burner_signals
from trivet.stages.calibrate import calibrate
from trivet.stages.firmware_reading import as_words, device_estimate
from trivet.stages.handoff import handoff
from trivet.stages.simulate import simulate

GCC = shutil.which("gcc")
FLAGS = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-fsanitize=undefined")
SOURCES = (
    *(
        "trivet_cook_check.c",
        "trivet_device.c",
        "trivet_device_data.c",
        "trivet_alerts.c",
        "trivet_slope.c",
        "trivet_pot.c",
    ),
    *("trivet_reading.c", "trivet_pixels.c", "trivet_reading_data.c"),
    *("trivet_inversion.c", "trivet_table.c"),
)
FAULTS = ("", "dropped frames", "stuck frame", "lens covered")
needs_gcc = pytest.mark.skipif(GCC is None, reason="gcc is not on PATH: the C is not compiled")


@pytest.fixture(scope="module")
def calibration(plain_design):
    return calibrate(plain_design, recordings=[])


@pytest.fixture(scope="module")
def oil(plain_design):
    schedule = [{"at": "0 s", "level": "100 %"}]
    burner = {"burner": "front-left", "pan": "iron-24", "base": "film", "schedule": schedule}
    plan = {"name": "oil", "purpose": "proof", "duration": "100 s", "burners": [burner]}
    return as_words(simulate(plain_design, plan=CookPlan.model_validate(plan)).recording.inputs)


def _replayed(inputs, design, calibration, name="oil", link_s=1e9):
    state = DeviceState(battery_frac=0.5, window_loss_frac=0.034)
    watch = unlinked(watching(inputs, design=design, state=state), at_s=link_s)
    read = device_estimate(inputs, design=design, calibration=calibration)
    log = alert(read, design=design, told=inputs.told, watch=watch, state=state)
    return ReplayedCook(name, inputs, log, watch, state.window_loss_frac)


@pytest.fixture(scope="module")
def cooks(plain_design, calibration, oil):
    sights = {fault: faulty_input(oil, fault, at_s=60.0) if fault else oil for fault in FAULTS}
    whole = [
        _replayed(one, plain_design, calibration, name=fault or "oil")
        for fault, one in sights.items()
    ]
    return [*whole, _replayed(oil, plain_design, calibration, name="link", link_s=50.0)]


@pytest.fixture(scope="module")
def folder(plain_design, calibration, cooks, tmp_path_factory):
    bundle = handoff(
        plain_design,
        calibration=calibration,
        verdict=Verdict((), ()),
        hashes={},
        cooks=cooks,
        unproven=True,
    )
    path = tmp_path_factory.mktemp("bundle")
    for file in bundle.files:
        (path / file.name).write_text(file.text)
    return path


def _check(folder):
    command = [GCC, *FLAGS, *SOURCES, "-o", "check"]
    built = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stderr
    files = sorted(one.name for one in folder.glob("cook_*.txt"))
    return subprocess.run(
        ["./check", *files], cwd=folder, capture_output=True, text=True, check=False
    )


@needs_gcc
def test_whole_cooks_in_c_say_and_warn_as_the_twin(folder, cooks):
    run = _check(folder)
    assert (run.returncode, run.stderr) == (0, "")
    found = re.search(r"(\d+) cooks: (\d+) frames, (\d+) readings, (\d+) alert changes", run.stdout)
    counts = list(map(int, found.groups()))
    frames = sum(head.time_s.size for cook in cooks for head in cook.inputs.heads)
    changes = sum(len(cook.alerts.changes) for cook in cooks)
    assert counts == [len(FAULTS) + 1, frames, 4 * frames, changes]
    assert changes > 10


@needs_gcc
@pytest.mark.parametrize(
    ("pattern", "becomes"),
    [
        (r"alert 0 1 1 (\d+)", lambda m: f"alert 0 1 1 {int(m[1]) + 1}"),
        (r"\nsaid 0 (\d\d+)", lambda m: f"\nsaid 0 {int(m[1]) + 1}"),
        (r"\nalert [^\n]*", lambda m: ""),
    ],
)
def test_a_changed_answer_stops_the_checker(folder, tmp_path, pattern, becomes):
    for file in folder.iterdir():
        if file.suffix in (".c", ".h"):
            shutil.copy(file, tmp_path)
    text = (folder / "cook_01.txt").read_text()
    changed, times = re.subn(pattern, becomes, text, count=1)
    assert times == 1
    (tmp_path / "cook_01.txt").write_text(changed)
    run = _check(tmp_path)
    assert run.returncode == 1
    assert re.search(r"cook_01.txt, line \d+: .* differs", run.stdout)


def test_words_of_the_reading_are_the_signals_of_the_stage(plain_design, calibration, oil):
    read = device_estimate(oil, design=plain_design, calibration=calibration)
    said = moment_words(oil, design=plain_design, calibration=calibration)
    blind = np.zeros(read.time_s.size, dtype=np.bool_)
    for burner in read.burners:
        words = said[burner.burner][1]
        staged = burner_signals(burner, band=None, blind=blind)
        plain = said_signals(words)
        np.testing.assert_array_equal(staged[[0, 1, 2, 4]], plain[[0, 1, 2, 4]])
        assert (words[:, rules.REPORTED] > 0).any() == (plain[1] > 0).any()


def test_a_second_head_that_stops_says_nothing_more(design_tables):
    from trivet.records.design import Design

    tables = design_tables
    tables["heads"].append({**tables["heads"][0], "name": "side"})
    tables["heads"][0]["mount"] = {"height": "0.70 m", "x": "-300 mm"}
    tables["heads"][1]["mount"] = {"height": "0.70 m", "x": "300 mm"}
    design = Design.model_validate(tables)
    own = calibrate(design, recordings=[])
    burner = {
        "burner": "front-right",
        "pan": "iron-24",
        "base": "dry",
        "schedule": [{"at": "0 s", "level": "80 %"}],
    }
    plan = {"name": "two", "purpose": "proof", "duration": "60 s", "burners": [burner]}
    inputs = simulate(design, plan=CookPlan.model_validate(plan)).recording.inputs
    assert len(device_readings(inputs, design=design, calibration=own)) == 2
    second = inputs.heads[1]
    part = {
        name: getattr(second, name)[: second.time_s.size // 2]
        for name in ("time_s", "apparent_k", "sensor_k", "awake_s")
    }
    halved = replace(inputs, heads=(inputs.heads[0], replace(second, **part)))
    read = device_estimate(halved, design=design, calibration=own)
    mine = next(one for one in read.burners if one.burner == "front-right")
    assert mine.head == "side"
    stale_s = float(design.estimation.stale_after_s)
    gone = read.time_s > part["time_s"][-1] + stale_s + 0.001
    assert np.isfinite(mine.apparent_k[~gone]).any()
    assert not np.isfinite(mine.apparent_k[gone]).any()
    assert np.all(mine.flags[gone] & 1)


def test_frames_as_text_come_back_as_they_were():
    generator = np.random.default_rng(3)
    frames = generator.integers(0, 65536, (20, 30))
    frames[5] = frames[4]
    last = np.zeros(30, dtype=np.int64)
    for row, text in zip(frames, encoded_rows(frames), strict=True):
        value, shift, steps = 0, 0, []
        for digit in (ord(one) - 48 for one in text):
            value |= (digit & 31) << shift
            shift += 5
            if digit < 32:
                steps.append(-(value + 1) // 2 if value % 2 else value // 2)
                value = shift = 0
        last = last + np.array(steps)
        np.testing.assert_array_equal(last, row)


def test_covered_and_repeated_frames_are_known():
    frames = np.array([[19000, 19000], [19000, 19000], [19000, 19300], [0, 65535], [0, 0]])
    assert repeated_frames(frames).tolist() == [False, True, False, False, False]
    # 4 K are 256 words; a dead pixel shows nothing, and a frame of none but such is not even.
    assert even_frames(frames, least_dk=40).tolist() == [True, True, False, True, False]
