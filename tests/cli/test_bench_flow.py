"""A bench cook through the command line, painted by code that shares nothing with the chain."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from trivet.files.design import read_design
from trivet.files.newproject import new_project

SHEET = """format = 1
purpose = "proof"
synthetic = true
note = "painted for a test"

[told]
base_contents = "dry"
pan = "iron-skillet"

[[burners]]
burner = "front-left"
material = "cast-iron"
finish = "seasoned-cast-iron"
diameter = "260 mm"

[[probes]]
column = "centre"
burner = "front-left"
attachment = "welded"
touches = "pan"
"""
HIDDEN = (
    SHEET.replace('"cast-iron"', '"aluminium"')
    .replace("260 mm", "200 mm")
    .replace("seasoned-cast-iron", "ptfe-non-stick")
)


@pytest.fixture
def project(tmp_path: Path, painting: SimpleNamespace) -> Path:
    """A project with one painted bench cook: a dark pan rising from 150 C at 1 K/s."""
    folder = new_project(tmp_path / "project")
    # No calibration cooks: terms fitted on one simulated unit do not hold for a painted one.
    (folder / "cooks.toml").unlink()
    design = read_design(folder / "design.toml")
    tau = float(design.heads[0].window.transmittance_frac)
    painter = painting.Painter(design, reflected_k=308.15, transmittance=tau, housing_k=308.15)
    pan = painting.Disc(
        -0.2, -0.13, 0.13, 0.93, lambda dx, dy, t: np.full(dx.shape, 423.15 + 1.0 * t)
    )
    frames = painter.inputs([pan], seconds=40).heads[0]
    cook = folder / "bench" / "rise"
    cook.mkdir(parents=True)
    np.savez(
        cook / "frames.npz",
        apparent_c=frames.apparent_k - 273.15,
        time_s=frames.time_s,
        sensor_c=frames.sensor_k - 273.15,
        awake_s=frames.awake_s,
    )
    (cook / "cook.toml").write_text(SHEET)
    write_probe(cook, rate_kps=1.0)
    (cook / "events.csv").write_text("time_s,burner,event,value,note\n0,front-left,on,,\n")
    return folder


def write_probe(cook: Path, *, rate_kps: float) -> None:
    rows = [f"{t},{150.0 + rate_kps * t:.2f}" for t in range(41)]
    (cook / "probes.csv").write_text("\n".join(["time_s,centre", *rows]) + "\n")


def rows(path: Path, burner: str) -> list[dict[str, str]]:
    with path.open(newline="") as file:
        return [row for row in csv.DictReader(file) if row["burner"] == burner]


def test_estimate_writes_a_row_a_frame_and_burner(project: Path, tmp_path: Path, trivet) -> None:
    done = trivet("estimate", str(project), "rise", "--csv", str(tmp_path / "rise.csv"))
    assert done.returncode == 0, done.stderr
    found = rows(tmp_path / "rise.csv", "front-left")
    columns = "time_s,burner,present,of,reported_c,u95_k,valid,reason,nonuniformity_k,shown_c,"
    columns += "nonuniformity_u_k,pan_x_mm,pan_y_mm,pan_diameter_mm,"
    columns += "hot_x_mm,hot_y_mm,hot_u_mm,hot_kps,hot_u_kps"
    assert ",".join(found[0]) == columns
    assert len(found) == 160
    valid = [row for row in found if row["valid"] == "1"]
    assert len(valid) > 120
    for row in valid:
        assert row["of"] == "pan"
        error = float(row["reported_c"]) - (150.0 + float(row["time_s"]))
        assert abs(error) <= float(row["u95_k"])
    assert all(row["reported_c"] == "" for row in found if row["valid"] == "0")
    other = rows(tmp_path / "rise.csv", "back-right")
    assert all(row["valid"] == "0" and row["reported_c"] == "" for row in other)


def test_what_estimate_must_not_see_changes_nothing(project: Path, tmp_path: Path, trivet) -> None:
    cook = project / "bench" / "rise"
    first, second = tmp_path / "first.csv", tmp_path / "second.csv"
    assert trivet("estimate", str(project), "rise", "--csv", str(first)).returncode == 0
    (cook / "cook.toml").write_text(HIDDEN)
    write_probe(cook, rate_kps=0.2)
    (cook / "events.csv").write_text("time_s,burner,event,value,note\n30,front-left,off,,\n")
    assert trivet("estimate", str(project), "rise", "--csv", str(second)).returncode == 0
    assert first.read_bytes() == second.read_bytes()


def test_alert_writes_a_row_on_each_change(project: Path, tmp_path: Path, trivet) -> None:
    done = trivet("alert", str(project), "rise", "--csv", str(tmp_path / "alerts.csv"))
    assert done.returncode == 0, done.stderr
    header = (tmp_path / "alerts.csv").read_text().splitlines()[0]
    assert header == "time_s,burner,alert,state"


def test_import_never_writes_into_the_bench_folder(project: Path, trivet) -> None:
    cook = project / "bench" / "rise"
    before = {path.name: path.read_bytes() for path in cook.iterdir()}
    assert trivet("import", str(project), "rise").returncode == 0
    assert {path.name: path.read_bytes() for path in cook.iterdir()} == before


@pytest.mark.parametrize(
    ("array", "value", "word"),
    [
        ("time_s", None, "time_s"),
        ("apparent_c", "transposed", "32"),
        ("apparent_c", "kelvin", "kelvin"),
    ],
)
def test_bad_frames_are_one_clear_message(
    project: Path, array: str, value: str | None, word: str, trivet
) -> None:
    path = project / "bench" / "rise" / "frames.npz"
    with np.load(path) as stored:
        arrays = dict(stored)
    if value is None:
        del arrays[array]
    elif value == "transposed":
        arrays[array] = arrays[array].transpose(0, 2, 1)
    else:
        arrays[array] = arrays[array] + 273.15
    np.savez(path, **arrays)
    done = trivet("import", str(project), "rise")
    assert done.returncode == 2
    assert word in done.stderr
    assert "frames.npz" in done.stderr
    assert "Traceback" not in done.stderr
