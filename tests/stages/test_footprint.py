"""Budget and energy of the firmware: against hand-made figures."""

from __future__ import annotations

import shutil
from dataclasses import replace

import numpy as np
import pytest

from trivet.errors import HandoffRefusedError
from trivet.files.bundle import checked_footprint, footprint, footprint_lines
from trivet.models.sensing import frames_w
from trivet.records.design import Design
from trivet.records.product import Firmware
from trivet.stages.calibrate import calibrate
from trivet.stages.handoff import handoff

TOOLS = ("gcc", "size", "nm")
needs_tools = pytest.mark.skipif(
    any(shutil.which(one) is None for one in TOOLS), reason="gcc, size or nm is not on PATH"
)


@pytest.fixture(scope="module")
def bundle(plain_design):
    calibration = calibrate(plain_design, recordings=[])
    from trivet.records.verdict import Verdict

    return handoff(
        plain_design, calibration=calibration, verdict=Verdict((), ()), hashes={}, unproven=True
    )


@needs_tools
def test_footprint_is_counted_and_what_is_missing_is_named(bundle, plain_design):
    one = footprint(bundle)
    # 14 bytes a pixel padded to 16, and 2 of scratch, are the larger part of the memory.
    assert 768 * 16 < one.ram_bytes < 20_000
    assert 3_000 < one.table_bytes < one.flash_bytes < 60_000
    assert one.emulated is not False
    for tool, found in (
        ("arm-none-eabi-gcc", "Cortex" in one.target),
        ("valgrind", one.frame_instructions is not None),
    ):
        assert found == (shutil.which(tool) is not None)
        assert found or any(tool in note for note in one.notes)
    if one.frame_instructions is not None:
        assert 10_000 < one.frame_instructions < 1_000_000
    assert any("not stated" in line for line in footprint_lines(one, design=plain_design))


@needs_tools
def test_a_budget_that_does_not_hold_is_refused(bundle, plain_design):
    tight = Firmware.model_validate({"ram_bytes": 1000})
    with pytest.raises(HandoffRefusedError, match="ram"):
        checked_footprint(replace(bundle, unproven=False), firmware=tight)
    taken = checked_footprint(bundle, firmware=tight)
    design = plain_design.model_copy(update={"firmware": tight})
    line = next(one for one in footprint_lines(taken, design=design) if "1,000" in one)
    # The budget over what it takes: under 1 it is exceeded.
    assert f"{1000 / taken.ram_bytes:.2f} times what it takes: EXCEEDED" in line


def test_power_of_frames_is_instructions_over_speed(design_tables):
    assert frames_w(Design.model_validate(design_tables)) == 0.0
    design_tables["firmware"] = {
        "frame_instructions": "100000",
        "instructions_per_s": "40000000",
        "computing": "12 mW",
    }
    # 4 frames a second of 2.5 ms each: 1 % of 12 mW.
    assert np.isclose(frames_w(Design.model_validate(design_tables)), 1.2e-4)
