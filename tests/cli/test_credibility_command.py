"""``trivet credibility``: a bench that was made, an empty one, and one of other pans."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from trivet.files.design import read_design
from trivet.files.newproject import new_project
from trivet.records.cook import CookPlan
from trivet.stages.simulate import simulate

SHEET = """format = 1
purpose = "proof"
synthetic = true
note = "made for a test"

[[burners]]
burner = "front-left"
material = "{material}"
finish = "ptfe-non-stick"
diameter = "240 mm"
depth = "45 mm"

[[probes]]
column = "ring"
burner = "front-left"
attachment = "cement"
touches = "pan"
x = "-48 mm"
y = "48 mm"

[[probes]]
column = "room"
attachment = "air"
touches = "room"
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    return new_project(tmp_path / "project")


def write_cook(project: Path, name: str, *, material: str = "aluminium") -> None:
    """Write a cook of the simulator's as a bench folder that says it was made."""
    design = read_design(project / "design.toml")
    plan = CookPlan.model_validate(
        {
            "name": "made",
            "purpose": "proof",
            "unit": "made-1",
            "duration": "70 s",
            "burners": [
                {"burner": "front-left", "pan": "nonstick-pan", "base": "dry"}
                | {"schedule": [{"at": "0 s", "level": "90 %"}, {"at": "60 s", "level": "0 %"}]}
            ],
        }
    )
    recording = simulate(design, plan=plan).recording
    frames, probe = recording.inputs.heads[0], recording.reference.probes[1]
    folder = project / "bench" / name
    folder.mkdir(parents=True)
    np.savez(
        folder / "frames.npz",
        apparent_c=frames.apparent_k - 273.15,
        time_s=frames.time_s,
        sensor_c=frames.sensor_k - 273.15,
        awake_s=frames.awake_s,
    )
    room = float(design.surroundings.ambient_k) - 273.15
    rows = [
        f"{t:.2f},{v - 273.15:.3f},{room:.2f}"
        for t, v in zip(probe.time_s, probe.temperature_k, strict=True)
    ]
    (folder / "probes.csv").write_text("\n".join(["time_s,ring,room", *rows]) + "\n")
    (folder / "events.csv").write_text(
        "time_s,burner,event,value,note\n0,front-left,on,0.9,\n60,front-left,off,,\n"
    )
    (folder / "cook.toml").write_text(SHEET.format(material=material))


def test_without_recorded_cooks_it_says_so(project: Path, trivet) -> None:
    done = trivet("credibility", str(project))
    assert done.returncode == 2
    assert "no recorded cooks" in done.stderr


def test_a_bench_of_other_pans_has_no_overlap(project: Path, trivet) -> None:
    write_cook(project, "copper", material="copper")
    done = trivet("credibility", str(project))
    assert done.returncode == 2
    assert "no recorded cook shares its conditions" in done.stderr
    assert "copper" in done.stderr


def test_one_made_cook_is_compared_and_decides_nothing(project: Path, trivet) -> None:
    write_cook(project, "copper", material="copper")
    write_cook(project, "made-pan")
    done = trivet("credibility", str(project), "--json")
    assert done.returncode == 1, done.stderr
    record = json.loads(done.stdout)
    assert record["bench_evidence"] == "simulated"
    assert record["cooks"] == ["made-pan"]
    assert {one["agreement"] for one in record["verdicts"]} == {"too few"}
    topics = [one["topic"] for one in record["verdicts"]]
    assert topics == ["heating rate", "time to a level", "apparent temperature"]
    assert record["left_out"][0].startswith("copper: ")
    shown = trivet("credibility", str(project))
    assert shown.returncode == 1
    assert "too few" in shown.stdout
    assert "proves no safety claim" in " ".join(shown.stdout.split())
