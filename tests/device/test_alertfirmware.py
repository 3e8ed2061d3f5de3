"""The alert machine's C and its Python twin agree, change by change and time by time."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from trivet.device import alertrules, thresholds
from trivet.device import alertwords as words
from trivet.device.alertfirmware import alert_texts
from trivet.device.alertwords import AlertSettings, settings_array
from trivet.device.firmware import code_text

AHEAD = AlertSettings(
    "time_to_limit",
    set_dk=5031,
    lead_ms=60_000,
    deadband_dk=50,
    on_ms=2000,
    off_ms=10_000,
    gate_dk=3831,
    escalate_ms=15_000,
)
LEVEL = AlertSettings("level", set_dk=5431, deadband_dk=80, on_ms=1000, escalate_ms=20_000)
POT = AlertSettings(
    "boil_dry",
    signal=words.APPARENT,
    set_dk=3780,
    gate_dk=3430,
    top_dk=150,
    deadband_dk=40,
    lead_ms=30_000,
    window_ms=20_000,
    on_ms=4000,
    off_ms=5000,
)
BAND = {"signal": words.REPORTED, "set_dk": 4500, "deadband_dk": 30, "on_ms": 4000, "off_ms": 2000}
ROWS = (
    LEVEL,
    AHEAD,
    AlertSettings("loss_of_sight", on_ms=1000, off_ms=5000),
    AlertSettings("below", top_dk=4500, gate_dk=4000, needs=words.HEAT_ON, **BAND),
    AlertSettings("in_band", top_dk=4700, **BAND),
    AlertSettings("level", signal=words.SPREAD, set_dk=600, deadband_dk=50, on_ms=3000),
    POT,
    AlertSettings("condition", needs=words.HEAT_ON, forbids=words.PERSON, on_ms=20_000),
    AlertSettings("condition", needs=words.LINK_LOST, on_ms=1000, escalate_ms=3000),
)


@pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler here")
@pytest.mark.parametrize("seed", [1, 2])
def test_the_c_of_every_rule_gives_the_twins_changes(tmp_path, seed):
    texts, count = alert_texts(settings_array(ROWS), generator=np.random.default_rng(seed))
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    flags = ["-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-fsanitize=undefined"]
    build = [
        "gcc",
        *flags,
        "-fno-sanitize-recover",
        "trivet_alerts.c",
        "trivet_slope.c",
        "trivet_pot.c",
        "trivet_alert_check.c",
    ]
    subprocess.run([*build, "-o", "check"], cwd=tmp_path, check=True)
    ran = subprocess.run(["./check"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stdout) == (0, f"{count} of {count} changes, 0 wrong\n")
    rows = texts["trivet_alert_vectors.h"].split("trivet_changes[")[1].splitlines()[1:-2]
    said = {tuple(int(v) for v in row.strip(" {},").split(", ")[1:3]) for row in rows}
    # Every rule goes on and off; pots are armed and disarmed, and what escalates does.
    assert said >= {(k, what) for k in range(len(ROWS)) for what in (0, 1)}
    assert said >= {(6, 3), (6, 4), (0, 2), (1, 2), (8, 2)}


@pytest.mark.parametrize(
    ("file", "name", "value"),
    [
        ("trivet_alerts.h", "TRIVET_READING_AT_RANGE", words.AT_RANGE),
        ("trivet_alerts.h", "TRIVET_SIGNALS", words.SIGNALS),
        ("trivet_slope.c", "WIDEST_DK", alertrules.WIDEST_DK),
        ("trivet_slope.c", "UNBOUNDED_MS", alertrules.UNBOUNDED_MS),
        ("trivet_device.c", "TOP_Q6", words.TOP_Q6),
    ],
)
def test_constants_of_the_c_are_those_of_the_twin(file, name, value):
    found = re.findall(rf"^#define {name} (?:INT64_C\()?(\d+)", code_text(file), flags=re.M)
    assert list(map(int, found)) == [value]


def test_every_threshold_of_the_header_is_used_by_the_c():
    code = "".join(
        path.read_text() for path in (Path(thresholds.__file__).parent / "c").glob("*.c")
    )
    named = re.findall(r"^#define (TRIVET_\w+) (\d+)$", thresholds.header_text(), flags=re.M)
    assert len(named) > 20
    assert not [name for name, _ in named if not re.search(rf"\b{name}\b", code)]
    assert ("TRIVET_HAND_PERCENT", "8") in named
    assert ("TRIVET_FRESH_MS", "2500") in named
