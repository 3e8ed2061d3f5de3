"""Small changes to the C of the bundle: how many of them the checkers notice."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator

import pytest

from trivet.records.verdict import Verdict
from trivet.stages.calibrate import calibrate
from trivet.stages.handoff import handoff

GCC = shutil.which("gcc")
EVERY = 3
"""Every third change is tried."""
LIBRARY = (
    *("trivet_device", "trivet_device_data", "trivet_alerts", "trivet_slope", "trivet_pot"),
    *("trivet_reading", "trivet_pixels", "trivet_reading_data", "trivet_inversion", "trivet_table"),
)
CHECKERS = {
    "trivet_reading_check": LIBRARY[5:],
    "trivet_alert_check": LIBRARY[2:5],
    "trivet_check": LIBRARY[8:],
    "trivet_device_check": LIBRARY,
}
CHECKED = {
    "trivet_reading": ("trivet_reading_check",),
    "trivet_pixels": ("trivet_reading_check",),
    "trivet_inversion": ("trivet_check", "trivet_reading_check"),
    "trivet_alerts": ("trivet_alert_check",),
    "trivet_slope": ("trivet_alert_check",),
    "trivet_pot": ("trivet_alert_check",),
}

_CODE = re.compile(r"/\*.*?\*/|#include[^\n]*|\"[^\"\n]*\"", flags=re.S)
_NUMBER = re.compile(r"(?<![\w.])([2-9]|\d\d+)(u?)(?![\w.])")
_SWAPS = {
    " < ": " > ",
    " <= ": " > ",
    " > ": " < ",
    " >= ": " < ",
    " && ": " || ",
    " || ": " && ",
    " == ": " != ",
    " != ": " == ",
}


def mutants(text: str) -> Iterator[tuple[int, str, str]]:
    """Yield line, what was changed, and the changed text, of every number and comparison.

    A number above 1 grows by a tenth, by 1 at least; a comparison is turned round.
    """
    skipped = [match.span() for match in _CODE.finditer(text)]

    def free(at: int) -> bool:
        return not any(a <= at < b for a, b in skipped)

    for match in _NUMBER.finditer(text):
        if free(match.start()):
            more = f"{int(match[1]) + max(1, int(match[1]) // 10)}{match[2]}"
            yield _changed(text, match.start(), match.end(), more)
    for match in re.finditer("|".join(map(re.escape, _SWAPS)), text):
        if free(match.start()):
            yield _changed(text, match.start(), match.end(), _SWAPS[match[0]])


def _changed(text: str, begin: int, end: int, new: str) -> tuple[int, str, str]:
    line = text.count("\n", 0, begin) + 1
    code = text.splitlines()[line - 1].strip()
    what = f"{text[begin:end].strip()} -> {new.strip()} in: {code}"
    return line, what, text[:begin] + new + text[end:]


@pytest.fixture(scope="module")
def folder(plain_design, tmp_path_factory):
    calibration = calibrate(plain_design, recordings=[])
    bundle = handoff(
        plain_design, calibration=calibration, verdict=Verdict((), ()), hashes={}, unproven=True
    )
    path = tmp_path_factory.mktemp("mutants")
    for file in bundle.files:
        (path / file.name).write_text(file.text)
    for name in (*LIBRARY, *CHECKERS):
        assert _compiled(path, name, "-O2")
    return path


def _compiled(folder, name, level="-O1"):
    command = [GCC, "-std=c99", level, "-w", "-c", f"{name}.c"]
    return subprocess.run(command, cwd=folder, capture_output=True, check=False).returncode == 0


def _passes(folder, checker):
    objects = [f"{name}.o" for name in (checker, *CHECKERS[checker])]
    subprocess.run([GCC, *objects, "-o", "check"], cwd=folder, capture_output=True, check=True)
    try:
        ran = subprocess.run(["./check"], cwd=folder, capture_output=True, timeout=20, check=False)
    except subprocess.TimeoutExpired:
        return False
    return ran.returncode == 0


@pytest.mark.slow
@pytest.mark.skipif(GCC is None, reason="gcc is not on PATH: the C is not compiled")
@pytest.mark.parametrize("name", CHECKED)
def test_small_changes_are_noticed(folder, name):
    text = (folder / f"{name}.c").read_text()
    tried, missed = 0, []
    assert all(_passes(folder, checker) for checker in CHECKED[name])
    for line, what, changed in list(mutants(text))[::EVERY]:
        (folder / f"{name}.c").write_text(changed)
        if _compiled(folder, name):
            tried += 1
            if all(_passes(folder, checker) for checker in CHECKED[name]):
                missed.append((line, what))
    (folder / f"{name}.c").write_text(text)
    assert _compiled(folder, name, "-O2")
    # Some changes change nothing (the gaps of a sort, the start of a search), some need more
    # than a minute without frames or over 400 K in ten seconds to show.
    assert tried >= 6
    assert len(missed) <= max(3, 0.15 * tried), missed
