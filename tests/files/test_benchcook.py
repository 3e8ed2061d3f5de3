"""A bench cook as a folder: joined into a recording, and every fault of it named."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path

import numpy as np
import pytest

from trivet.errors import DesignError, FormatError, InputError, ProbeLogError, RecordingError
from trivet.files.benchcook import bench_folders, folder_hash, import_bench_cook
from trivet.records.benchsheet import CookSheet
from trivet.records.design import Design
from trivet.records.recording import EVENTS

SHEET = """\
format = 1
purpose = "proof"
sensor_head = "main"
altitude = "150 m"
clock_offset = "2 s"
unit = "A17"

[told]
base_contents = "oil"

[[burners]]
burner = "left"
material = "cast-iron"
finish = "seasoned-cast-iron"
diameter = "260 mm"
depth = "50 mm"
contents = "oil"
volume = "5 mL"

[[probes]]
column = "tc1"
kind = "K"
class = "iec-1"
attachment = "welded"
burner = "left"
touches = "pan"
x = "60 mm"

[[probes]]
column = "room"
attachment = "air"
touches = "room"
"""


def _head(name):
    return {
        "name": name,
        "sensor": "array-32x24",
        "mount": {"height": "0.70 m"},
        "window": {"transmittance": "0.9"},
    }


def _design(*heads):
    sensor = {
        "name": "array-32x24",
        "technology": "thermopile",
        "rows": 24,
        "cols": 32,
        "fov_h": "55 deg",
        "fov_v": "35 deg",
        "frame_rate": "2 Hz",
        "netd": "0.2 K",
        "range_high": "300 degC",
        "source": "figures for tests",
    }
    burner = {"kind": "gas", "y": "0 mm", "power": "2 kW", "efficiency": "40 %"}
    burner["ring_diameter"] = "130 mm"
    pan = {"name": "iron-26", "material": "cast-iron", "finish": "seasoned-cast-iron"}
    pan |= {"diameter": "260 mm", "depth": "50 mm", "thickness": "5 mm"}
    requirement = {"id": "R1", "text": "seen", "metric": "rim_in_view", "limit": "100 %"}
    costs = {"price": "149.00 USD", "channel": "35 %", "unit_cost": "41.00 USD", "duty": "5 %"}
    costs |= {"freight": "2.50 USD", "warranty": "3 %", "returns": "4 %", "support": "2.00 USD"}
    return Design.model_validate(
        {
            "format": 1,
            "project": {"name": "Testpane", "invented": True},
            "surroundings": {"altitude": "100 m", "ambient": "22 degC"},
            "cooktop": {"width": "760 mm", "depth": "535 mm"},
            "burners": [
                burner | {"name": "left", "x": "-200 mm"},
                burner | {"name": "right", "x": "200 mm"},
            ],
            "heads": [_head(name) for name in heads or ("main",)],
            "sensors": [sensor],
            "pans": [pan],
            "bases": [{"name": "film", "contents": "oil", "volume": "5 mL"}],
            "requirements": [requirement | {"evidence": "predicted"}],
            "battery": {
                "energy": "13.5 Wh",
                "sleep": "190 uW",
                "measure": "128.9 mW",
                "message": "0.03 mJ",
                "message_every": "1 s",
            },
            "diary": {"cooking_per_day": "1.5 h"},
            "costs": costs | {"fixed": "310000.00 USD", "units_per_month": "500"},
        }
    )


@pytest.fixture(scope="module")
def design():
    return _design()


def _pan_c(time):
    """Heat at 30 s, food at 120 s, off at 200 s: uneven, so that clocks can be compared."""
    rise = 1.5 * np.clip(time - 30.0, 0.0, 90.0)
    food = 25.0 / (1.0 + np.exp(-(time - 130.0) / 3.0))
    return 24.0 + rise - food - 0.3 * np.clip(time - 200.0, 0.0, None)


def _write(folder, *, shift=2.0, arrays=None, sheet=SHEET):
    """Write a good folder; the probe log's clock runs ``shift`` behind the frames'."""
    rng = np.random.default_rng(8)
    folder.mkdir(parents=True, exist_ok=True)
    time = np.arange(0.0, 280.0, 0.5)
    frames = 23.0 + rng.normal(0.0, 0.2, (time.size, 24, 32))
    frames[:, 8:16, 4:14] += (_pan_c(time) - 23.0)[:, None, None]
    state = {"time_s": time, "sensor_c": 28.0 + 0.01 * time, "awake_s": time + 600.0}
    np.savez(folder / "frames.npz", **({"apparent_c": frames} | state | (arrays or {})))
    moments = np.arange(0.0, 270.0, 1.0)
    readings = np.column_stack(
        [moments, _pan_c(moments + shift) + rng.normal(0, 0.05, moments.size), 0 * moments + 22.0]
    )
    header = "time_s,tc1,room"
    np.savetxt(
        folder / "probes.csv", readings, delimiter=",", header=header, comments="", fmt="%.3f"
    )
    (folder / "events.csv").write_text(
        "time_s,burner,event,value,note\n30,left,on,,\n120,left,food_in,patty,\n200,left,off,,\n"
    )
    (folder / "cook.toml").write_text(sheet)
    return folder


def _digest(folder):
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}


def _notes(recording):
    return " | ".join(f"{n.what} @ {n.where} -> {n.advice}" for n in recording.notes)


class TestGoodFolder:
    def test_everything_arrives(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01")
        before = _digest(folder)
        got = import_bench_cook(folder, design=design)
        assert (got.name, got.purpose, got.evidence, got.unit) == (
            "oil-01",
            "proof",
            "bench",
            "A17",
        )
        assert got.altitude_m == 150.0
        assert got.inputs.told.about("left").base_contents == "oil"
        assert got.inputs.heads[0].apparent_k.shape == (560, 24, 32)
        assert got.inputs.heads[0].awake_s[0] == 600.0
        assert [event.event for event in got.reference.events] == ["on", "food_in", "off"]
        assert got.reference.sheet[0].diameter_m == pytest.approx(0.26)
        assert _digest(folder) == before
        assert not got.notes

    def test_probes_stand_on_the_frames_clock_with_uncertainty(self, tmp_path, design):
        got = import_bench_cook(_write(tmp_path / "oil-01"), design=design)
        pan = got.reference.probes[0]
        assert pan.time_s[0] == 2.0
        assert np.max(np.abs(pan.temperature_k - 273.15 - _pan_c(pan.time_s))) < 0.3
        # IEC class 1 is 1.5 K to 375 C; logger 0.2 K; welded 0.2 K + 0.5 % of (T - 22 C)
        half = np.stack(np.broadcast_arrays(1.5, 0.2, 0.2 + 0.005 * (pan.temperature_k - 295.15)))
        # and while it moves: half a second of clock, 0.3 s of a weld's lag as a half-width
        rate = np.gradient(pan.temperature_k, pan.time_s)
        moving = rate * np.hypot(0.5, 0.3 / np.sqrt(3.0))
        expected = np.sqrt(np.sum(half**2, axis=0) / 3.0 + moving**2)
        assert np.median(np.abs(pan.u_k - expected)) < 0.02
        still = np.abs(rate) < 0.01
        assert still.any()
        assert pan.u_k[still] == pytest.approx(expected[still], abs=0.03)

    def test_own_uncertainty_and_altitude_of_the_design(self, tmp_path, design):
        sheet = SHEET.replace('altitude = "150 m"\n', "").replace(
            'x = "60 mm"', 'x = "60 mm"\nu = "0.4 K"'
        )
        got = import_bench_cook(_write(tmp_path / "oil-01", sheet=sheet), design=design)
        assert got.altitude_m == 100.0
        assert set(got.reference.probes[0].u_k) == {0.4}

    def test_made_folder_is_not_bench_evidence(self, tmp_path, design):
        sheet = SHEET.replace('unit = "A17"', 'unit = "A17"\nsynthetic = true')
        got = import_bench_cook(_write(tmp_path / "oil-01", sheet=sheet), design=design)
        assert got.evidence == "simulated"

    def test_several_heads(self, tmp_path):
        sheet = SHEET.replace('sensor_head = "main"', 'sensor_head = ["east", "west"]')
        folder = _write(tmp_path / "oil-01", sheet=sheet)
        (folder / "frames.npz").rename(folder / "frames.east.npz")
        (folder / "frames.west.npz").write_bytes((folder / "frames.east.npz").read_bytes())
        got = import_bench_cook(folder, design=_design("east", "west"))
        assert [head.head for head in got.inputs.heads] == ["east", "west"]
        (folder / "frames.west.npz").unlink()
        with pytest.raises(RecordingError, match=r"no frames of head 'west'.*frames\.west\.npz"):
            import_bench_cook(folder, design=_design("east", "west"))

    def test_heads_are_found_by_their_files(self, tmp_path):
        folder = _write(tmp_path / "oil-01", sheet=SHEET.replace('sensor_head = "main"\n', ""))
        with pytest.raises(RecordingError, match="say which recorded it"):
            import_bench_cook(folder, design=_design("east", "west"))
        (folder / "frames.npz").rename(folder / "frames.west.npz")
        got = import_bench_cook(folder, design=_design("east", "west"))
        assert [head.head for head in got.inputs.heads] == ["west"]

    def test_channel_offsets_are_taken_off(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01")
        time = np.arange(0.0, 400.0, 5.0)
        bath = np.where(time < 200.0, 22.0, 95.0)
        table = np.column_stack([time, bath + 0.8, bath - 0.8])
        header = "time_s,tc1,room"
        np.savetxt(folder / "probe_offsets.csv", table, delimiter=",", header=header, comments="")
        plain = import_bench_cook(_write(tmp_path / "oil-02"), design=design)
        got = import_bench_cook(folder, design=design)
        difference = got.reference.probes[0].temperature_k - plain.reference.probes[0].temperature_k
        assert difference == pytest.approx(-0.8, abs=0.01)
        assert "channel offsets taken off, settled at 22.0 C, 95.0 C" in _notes(got)

    def test_hash_knows_content_and_names_only(self, tmp_path):
        one, two = _write(tmp_path / "a" / "x"), _write(tmp_path / "b" / "y")
        assert folder_hash(one) == folder_hash(two)
        (two / "note.md").write_text("windy")
        assert folder_hash(one) != folder_hash(two)

    def test_folders_of_a_project(self, tmp_path):
        assert bench_folders(tmp_path) == ()
        for name in ("b", "a", "_aside", ".hidden"):
            _write(tmp_path / "bench" / name)
        (tmp_path / "bench" / "empty").mkdir()
        assert [folder.name for folder in bench_folders(tmp_path)] == ["a", "b"]


class TestSheet:
    def test_all_faults_at_once_with_lines(self, tmp_path, design):
        sheet = (
            SHEET.replace('sensor_head = "main"', 'sensor_head = "mian"')
            .replace('burner = "left"\nmaterial', 'burner = "lift"\nmaterial')
            .replace('column = "room"', 'column = "tc1"')
            .replace('base_contents = "oil"', 'base_contents = "oil"\npan = "iron-27"')
        )
        folder = _write(tmp_path / "oil-01", sheet=sheet)
        with pytest.raises(DesignError) as caught:
            import_bench_cook(folder, design=design)
        text = str(caught.value)
        assert text.startswith("4 faults")
        assert "cook.toml:3: sensor_head: 'mian' is not defined" in text
        assert "did you mean 'main'" in text
        assert "burners[0].burner: 'lift' is not defined" in text
        assert "column: 'tc1' stands twice" in text
        assert "'iron-27' is not defined; allowed: did you mean 'iron-26'" in text

    @pytest.mark.parametrize(
        ("old", "new", "words"),
        [
            ('purpose = "proof"', 'purpose = "both"', "purpose"),
            ('altitude = "150 m"', "altitude = 150", "bare number"),
            ('purpose = "proof"', 'porpoise = "proof"', "unknown key 'porpoise'"),
        ],
    )
    def test_shape(self, tmp_path, design, old, new, words):
        folder = _write(tmp_path / "oil-01", sheet=SHEET.replace(old, new))
        with pytest.raises(DesignError, match=words):
            import_bench_cook(folder, design=design)

    def test_unknown_format(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01", sheet=SHEET.replace("format = 1", "format = 9"))
        with pytest.raises(FormatError, match="format = 9 is not known"):
            import_bench_cook(folder, design=design)

    def test_missing_files(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01")
        (folder / "probes.csv").unlink()
        with pytest.raises(InputError, match=r"probes\.csv.*lists the columns tc1, room"):
            import_bench_cook(folder, design=design)
        (folder / "frames.npz").unlink()
        with pytest.raises(RecordingError, match="no frames of head 'main'"):
            import_bench_cook(folder, design=design)
        (folder / "cook.toml").unlink()
        with pytest.raises(InputError, match=r"cook\.toml is missing"):
            import_bench_cook(folder, design=design)
        with pytest.raises(InputError, match="no such folder"):
            import_bench_cook(tmp_path / "none", design=design)

    def test_column_that_is_not_in_the_log(self, tmp_path, design):
        sheet = SHEET.replace('column = "tc1"', 'column = "tc2"')
        folder = _write(tmp_path / "oil-01", sheet=sheet)
        with pytest.raises(ProbeLogError, match=r"no column 'tc2'.*did you mean 'tc1'"):
            import_bench_cook(folder, design=design)

    def test_unknown_tolerance_class(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01", sheet=SHEET.replace('"iec-1"', '"iec-9"'))
        with pytest.raises(ProbeLogError, match="class 'iec-9' is unknown"):
            import_bench_cook(folder, design=design)

    def test_what_is_not_read_is_said(self, tmp_path, design):
        sheet = SHEET[: SHEET.index('[[probes]]\ncolumn = "room"')]
        folder = _write(tmp_path / "oil-01", sheet=sheet)
        (folder / "event.csv").write_text("misspelt")
        (folder / "events.csv").unlink()
        text = _notes(import_bench_cook(folder, design=design))
        assert "columns that cook.toml does not name: room" in text
        assert "files that are not read: event.csv" in text
        assert "no events.csv" in text

    def test_two_logs(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01")
        (folder / "probes.xlsx").write_bytes(b"")
        with pytest.raises(RecordingError, match=r"probes\.csv and probes\.xlsx"):
            import_bench_cook(folder, design=design)


def test_documented_example_is_valid():
    page = (Path(__file__).parents[2] / "docs" / "formats" / "bench-cook.md").read_text("utf-8")
    text = page.split("```toml\n")[1].split("```")[0]
    sheet = CookSheet.model_validate(tomllib.loads(text))
    assert sheet.clock_offset_s == -3.2
    assert sheet.told.about("front-right").pan == "iron-26"
    assert sheet.probes[0].u_delta_k == pytest.approx(0.8)
    assert all(f"`{event}`" in page for event in EVENTS)


class TestClocks:
    def test_no_overlap(self, tmp_path, design):
        sheet = SHEET.replace('clock_offset = "2 s"', 'clock_offset = "2 h"')
        folder = _write(tmp_path / "oil-01", sheet=sheet)
        with pytest.raises(ProbeLogError, match=r"another clock\. State clock_offset"):
            import_bench_cook(folder, design=design)

    def test_little_overlap(self, tmp_path, design):
        sheet = SHEET.replace('clock_offset = "2 s"', 'clock_offset = "200 s"')
        folder = _write(tmp_path / "oil-01", sheet=sheet)
        text = _notes(import_bench_cook(folder, design=design))
        assert "probes cover 80 of 280 s of frames" in text

    @pytest.mark.parametrize("wrong", [-25.0, 18.0])
    def test_offset_shows_in_the_shape(self, tmp_path, design, wrong):
        """The sheet says 2 s; the log's clock really runs ``2 - wrong`` behind."""
        folder = _write(tmp_path / "oil-01", shift=2.0 - wrong)
        text = _notes(import_bench_cook(folder, design=design))
        assert "the probe log seems" in text
        said = float(text.split("add ")[1].split(" s to clock_offset")[0])
        assert said == pytest.approx(-wrong, abs=1.5)

    def test_events_on_another_clock(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01")
        (folder / "events.csv").write_text("time_s,burner,event\n43230,left,on\n")
        text = _notes(import_bench_cook(folder, design=design))
        assert "1 events outside the frames' time, first 'on' at 43230.0 s" in text


class TestFaultsInside:
    def test_fault_of_the_frames(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01", arrays={"sensor_c": np.full(560, 301.0)})
        with pytest.raises(RecordingError, match=r"frames\.npz: sensor_c is about 301: kelvin"):
            import_bench_cook(folder, design=design)

    def test_probe_log_in_fahrenheit(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01")
        log = np.loadtxt(folder / "probes.csv", delimiter=",", skiprows=1)
        log[:, 1:] = log[:, 1:] * 1.8 + 32.0
        np.savetxt(folder / "probes.csv", log, delimiter=",", header="time_s,tc1,room", comments="")
        with pytest.raises(ProbeLogError, match=r"all probes start at 7\d\.\d.*Fahrenheit"):
            import_bench_cook(folder, design=design)

    def test_notes_of_every_part_arrive(self, tmp_path, design):
        folder = _write(tmp_path / "oil-01")
        lines = (folder / "probes.csv").read_text().splitlines()
        lines[50] = lines[50].replace(lines[50].split(",")[1], "1372.0")
        (folder / "probes.csv").write_text("\n".join(lines[:100] + lines[130:]))
        got = import_bench_cook(folder, design=design)
        text = _notes(got)
        assert "open circuit: 1 readings of 'tc1'" in text
        assert "1 gaps in the log, the longest 31.0 s" in text
        series = got.reference.probes[0]
        assert np.isnan(series.temperature_k[49])
        assert np.isnan(series.u_k[49])
        assert np.isnan(np.interp(115.0, series.time_s, series.temperature_k))
