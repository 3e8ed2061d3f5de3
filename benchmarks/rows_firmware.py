"""What the firmware takes of a stated budget: bytes by ``size``, instructions under valgrind."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from trivet.files.bundle import footprint
from trivet.files.cooks import read_cooks
from trivet.files.design import read_design
from trivet.records.alertlog import DeviceState
from trivet.records.bundle import ReplayedCook
from trivet.records.verdict import Verdict
from trivet.stages.alert import alert, watching
from trivet.stages.calibrate import calibrate
from trivet.stages.firmware_reading import as_words, device_estimate
from trivet.stages.handoff import handoff
from trivet.stages.simulate import simulate

DEMO = Path(__file__).parents[1] / "examples" / "larkpane"
COOK = "proof-oil-deep"


def rows() -> list[dict[str, Any]]:
    """Return budget over what is taken, of the demonstration's own budget."""
    design = read_design(DEMO / "design.toml")
    plan = next(
        one for one in read_cooks(DEMO / "cooks.toml", design).cooks if one.name.startswith(COOK)
    )
    calibration = calibrate(design, recordings=[])
    inputs = as_words(simulate(design, plan=plan).recording.inputs)
    state = DeviceState()
    watch = watching(inputs, design=design, state=state)
    read = device_estimate(inputs, design=design, calibration=calibration)
    log = alert(read, design=design, told=inputs.told, watch=watch, state=state)
    bundle = handoff(
        design,
        calibration=calibration,
        verdict=Verdict((), ()),
        hashes={},
        cooks=[ReplayedCook(COOK, inputs, log, watch, 0.0)],
        unproven=True,
    )
    taken, budget = footprint(bundle), design.firmware
    pairs = (
        ("bytes of flash", budget.flash_bytes, taken.flash_bytes, taken.target),
        ("bytes of ram", budget.ram_bytes, taken.ram_bytes, taken.target),
        (
            "instructions a frame",
            budget.most_instructions,
            taken.frame_instructions,
            "valgrind on this machine over one whole cook: an estimate, not cycles",
        ),
    )
    return [
        {
            "name": f"firmware, {what}",
            "baseline": "the budget of the demonstration's design",
            "ratio": allowed / used,
            "goal": 1.0,
            "detail": f"{used:,} of {allowed:,}; {how}",
        }
        for what, allowed, used, how in pairs
        if allowed is not None and used is not None
    ]
