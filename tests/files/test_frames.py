"""Frames in every format, and every fault of them that must not pass in silence."""

from __future__ import annotations

import io
import json
import pickle
import zipfile

import h5py
import numpy as np
import pytest
import tifffile

from trivet.errors import FormatError, InputError, RecordingError
from trivet.files import frame_readers
from trivet.files.frames import frame_file, read_frames
from trivet.records.sensorcard import SensorCard

ROWS, COLS, COUNT = 24, 32, 40


def _card(**changes):
    table = {
        "name": "array-32x24",
        "technology": "thermopile",
        "rows": ROWS,
        "cols": COLS,
        "fov_h": "55 deg",
        "fov_v": "35 deg",
        "frame_rate": "4 Hz",
        "netd": "0.2 K",
        "range_low": "-40 degC",
        "range_high": "300 degC",
        "source": "figures for tests",
    }
    return SensorCard.model_validate(table | changes)


@pytest.fixture
def good():
    """A kitchen at 24 C with a pan that heats from 30 C at 1.5 K/s, noise 0.2 K."""
    rng = np.random.default_rng(5)
    time = np.arange(COUNT) * 0.25
    frames = 24.0 + rng.normal(0.0, 0.2, (COUNT, ROWS, COLS))
    frames[:, 8:16, 10:20] += 6.0 + 1.5 * time[:, None, None]
    return {"apparent_c": frames, "time_s": time, "sensor_c": 30.0 + 0.01 * time}


def _save(folder, arrays, name="frames.npz"):
    np.savez(folder / name, **arrays)
    return folder / name


def _read(path, **changes):
    return read_frames(path, head="main", card=_card(**changes))


def _refused(folder, arrays, words, error=RecordingError, **changes):
    path = _save(folder, arrays)
    before = path.read_bytes()
    with pytest.raises(error, match=words):
        _read(path, **changes)
    assert path.read_bytes() == before


def _notes(notes):
    return " | ".join(f"{note.what} @ {note.where} -> {note.advice}" for note in notes)


class TestGoodInput:
    def test_npz(self, tmp_path, good):
        frames, notes = _read(_save(tmp_path, good))
        assert frames.apparent_k.dtype == np.float32
        assert np.max(np.abs(frames.apparent_k - (good["apparent_c"] + 273.15))) < 1e-4
        assert np.array_equal(frames.time_s, good["time_s"])
        assert frames.sensor_k == pytest.approx(good["sensor_c"] + 273.15)
        assert frames.awake_s == pytest.approx(good["time_s"])
        assert _notes(notes).startswith("awake_s is not given")
        assert len(notes) == 1

    def test_npz_counts(self, tmp_path, good):
        counts = np.round((good["apparent_c"] + 273.15) / 0.01).astype(np.uint16)
        rest = {key: good[key] for key in ("time_s", "sensor_c")}
        awake = good["time_s"] + 300.0
        arrays = {"counts": counts, "scale_k": 0.01, "offset_k": 0.0, "awake_s": awake, **rest}
        frames, notes = _read(_save(tmp_path, arrays))
        assert np.max(np.abs(frames.apparent_k - (good["apparent_c"] + 273.15))) < 0.006
        assert frames.awake_s[0] == 300.0
        assert not notes

    def test_csv(self, tmp_path, good):
        names = [f"r{row}c{col}" for row in range(ROWS) for col in range(COLS)]
        table = np.column_stack(
            [good["time_s"], good["sensor_c"], good["apparent_c"].reshape(COUNT, -1)]
        )
        path = tmp_path / "frames.csv"
        header = ",".join(["time_s", "sensor_c", *names])
        np.savetxt(path, table, delimiter=",", header=header, comments="", fmt="%.3f")
        frames, _ = _read(path)
        assert np.max(np.abs(frames.apparent_k - (good["apparent_c"] + 273.15))) < 6e-4

    def test_tiff(self, tmp_path, good):
        counts = np.round((good["apparent_c"] + 273.15) / 0.01).astype(np.uint16)
        path = tmp_path / "frames.tif"
        with tifffile.TiffWriter(path) as writer:
            for index, page in enumerate(counts):
                text = json.dumps({"scale_k": 0.01, "offset_k": 0.0}) if index == 0 else None
                writer.write(page, description=text, metadata=None)
        _times(tmp_path, good)
        frames, _ = _read(path)
        assert np.max(np.abs(frames.apparent_k - (good["apparent_c"] + 273.15))) < 0.006

    def test_tiff_written_with_metadata(self, tmp_path, good):
        counts = np.round((good["apparent_c"] + 273.15) / 0.01).astype(np.uint16)
        path = tmp_path / "frames.tiff"
        tifffile.imwrite(path, counts, metadata={"scale_k": 0.01, "offset_k": 0.0})
        _times(tmp_path, good)
        frames, _ = _read(path)
        assert np.max(np.abs(frames.apparent_k - (good["apparent_c"] + 273.15))) < 0.006

    @pytest.mark.parametrize("suffix", ["h5", "nc"])
    def test_hdf(self, tmp_path, good, suffix):
        path = tmp_path / f"frames.{suffix}"
        with h5py.File(path, "w") as file:
            for name, values in good.items():
                file.create_dataset(name, data=values, compression="gzip")
            file["apparent_c"].attrs["units"] = "degC"
        frames, _ = _read(path)
        assert np.max(np.abs(frames.apparent_k - (good["apparent_c"] + 273.15))) < 1e-4

    def test_netcdf_by_xarray_with_packing(self, tmp_path, good):
        import xarray as xr

        data = xr.Dataset(
            {
                "apparent_c": (("time_s", "row", "col"), good["apparent_c"]),
                "sensor_c": ("time_s", good["sensor_c"]),
            },
            coords={"time_s": good["time_s"]},
        )
        path = tmp_path / "frames.nc"
        packing = {"dtype": "int16", "scale_factor": 0.01, "add_offset": 20.0, "_FillValue": -32768}
        data.to_netcdf(path, engine="h5netcdf", encoding={"apparent_c": packing})
        frames, _ = _read(path)
        assert np.max(np.abs(frames.apparent_k - (good["apparent_c"] + 273.15))) < 0.006

    def test_one_file_a_head(self, tmp_path, good):
        path = _save(tmp_path, good, "frames.left.npz")
        _save(tmp_path, good, "frames.right.npz")
        assert frame_file(tmp_path, head="left", only=False) == path
        with pytest.raises(RecordingError, match="no frames of head 'third'"):
            frame_file(tmp_path, head="third", only=False)
        _save(tmp_path, good, "words.left.npz")
        with pytest.raises(RecordingError, match="several files"):
            frame_file(tmp_path, head="left", only=False)


def _times(folder, good):
    table = np.column_stack([good["time_s"], good["sensor_c"]])
    np.savetxt(
        folder / "frames.times.csv", table, delimiter=",", header="time_s,sensor_c", comments=""
    )


class TestTimeAxis:
    def test_missing(self, tmp_path, good):
        good.pop("time_s")
        _refused(tmp_path, good, "no time axis: time_s is missing")

    @pytest.mark.parametrize("step", [0.0, -5.0])
    def test_not_rising(self, tmp_path, good, step):
        good["time_s"][20] = good["time_s"][19] + step
        _refused(tmp_path, good, r"time_s does not rise at frame 20.*split the recording")

    def test_not_a_number(self, tmp_path, good):
        good["time_s"][7] = np.nan
        _refused(tmp_path, good, "no number at frame 7")

    def test_milliseconds(self, tmp_path, good):
        good["time_s"] = good["time_s"] * 1000.0
        _refused(tmp_path, good, "looks like milliseconds")

    def test_of_another_length(self, tmp_path, good):
        good["time_s"] = good["time_s"][:-1]
        _refused(tmp_path, good, "40 frames and 39 moments")

    def test_gap_is_noted_and_not_filled(self, tmp_path, good):
        good["time_s"][20:] += 9.0
        frames, notes = _read(_save(tmp_path, good))
        assert len(frames.time_s) == COUNT
        assert "1 gaps in the frames, the longest 9.2 s @ frames.npz, 4.8 to 14.0 s" in _notes(
            notes
        )

    def test_another_rate_is_noted(self, tmp_path, good):
        good["time_s"] = good["time_s"] * 8.0
        _, notes = _read(_save(tmp_path, good))
        assert "a frame every 2 s where the sensor card says 0.25 s" in _notes(notes)


class TestShape:
    def test_of_another_head(self, tmp_path, good):
        good["apparent_c"] = good["apparent_c"][:, :8, :8]
        _refused(tmp_path, good, r"shape \(40, 8, 8\); allowed: .*\(40, 24, 32\)")

    def test_swapped(self, tmp_path, good):
        good["apparent_c"] = good["apparent_c"].transpose(0, 2, 1)
        _refused(tmp_path, good, "rows and columns are swapped")

    @pytest.mark.parametrize("extra", [1, 2, 3, 4])
    def test_telemetry_rows(self, tmp_path, good, extra):
        rows = np.zeros((COUNT, extra, COLS)) + np.arange(COUNT)[:, None, None]
        good["apparent_c"] = np.concatenate([good["apparent_c"], rows], axis=1)
        _refused(
            tmp_path, good, rf"{24 + extra} rows where the sensor has 24: {extra} telemetry row"
        )

    def test_telemetry_that_took_rows_of_the_picture(self, tmp_path, good):
        good["apparent_c"][:, -2:, :] = 8000.0 + np.arange(COLS)
        _refused(tmp_path, good, r"rows 22, 23 hold values.*telemetry rows inside the frame")

    def test_csv_with_telemetry(self, tmp_path):
        path = tmp_path / "frames.csv"
        header = ",".join(["time_s", "sensor_c", *(f"p{at}" for at in range((ROWS + 2) * COLS))])
        row = ",".join(["25.0"] * ((ROWS + 2) * COLS + 1))
        path.write_text("\n".join([header, f"0,{row}", f"1,{row}"]))
        with pytest.raises(RecordingError, match="2 telemetry rows"):
            _read(path)

    def test_csv_pixels_out_of_order(self, tmp_path):
        path = tmp_path / "frames.csv"
        names = [f"r{row}c{col}" for col in range(COLS) for row in range(ROWS)]
        row = ",".join(["25.0"] * (ROWS * COLS + 1))
        path.write_text(
            "\n".join([",".join(["time_s", "sensor_c", *names]), f"0,{row}", f"1,{row}"])
        )
        with pytest.raises(RecordingError, match="'r1c0' where r0c1 is due"):
            _read(path)


class TestValues:
    def test_counts_without_scale(self, tmp_path, good):
        good["counts"] = (good.pop("apparent_c") * 100 + 27315).astype(np.uint16)
        _refused(tmp_path, good, "counts without scale_k and offset_k")
        good["scale_k"] = 0.01
        _refused(tmp_path, good, "counts without offset_k")

    def test_counts_called_temperatures(self, tmp_path, good):
        good["apparent_c"] = (good["apparent_c"] * 100 + 27315).astype(np.uint16)
        _refused(tmp_path, good, "apparent_c is of type uint16")
        good["apparent_c"] = good["apparent_c"].astype(float)
        _refused(tmp_path, good, r"29\d+.*look like counts")

    def test_scale_of_nonsense(self, tmp_path, good):
        good["counts"] = (good.pop("apparent_c") * 100 + 27315).astype(np.uint16)
        good |= {"scale_k": -0.01, "offset_k": 0.0}
        _refused(tmp_path, good, "scale_k above 0")
        good |= {"scale_k": 0.01, "offset_k": -273.15}
        _refused(tmp_path, good, "check scale_k and offset_k")

    def test_tiff_without_scale_or_times(self, tmp_path, good):
        path = tmp_path / "frames.tif"
        tifffile.imwrite(path, np.full((COUNT, ROWS, COLS), 29800, np.uint16))
        with pytest.raises(RecordingError, match=r"no time axis: frames\.times\.csv is missing"):
            _read(path)
        _times(tmp_path, good)
        with pytest.raises(RecordingError, match="counts without scale_k"):
            _read(path)

    def test_picture_of_eight_bits(self, tmp_path, good):
        good["apparent_c"] = np.clip(good["apparent_c"] * 4, 0, 255).astype(np.uint8)
        _refused(tmp_path, good, "0 to 255: a picture")

    def test_picture_in_colour(self, tmp_path, good):
        good["apparent_c"] = np.zeros((COUNT, ROWS, COLS, 3), np.uint8)
        _refused(tmp_path, good, "0 to 255: a picture")

    def test_hdf_scale_as_attributes(self, tmp_path, good):
        path = tmp_path / "frames.h5"
        with h5py.File(path, "w") as file:
            file["time_s"], file["sensor_c"] = good["time_s"], good["sensor_c"]
            file["counts"] = np.round((good["apparent_c"] + 273.15) / 0.01).astype(np.uint16)
            file["counts"].attrs.update({"scale_k": 0.01, "offset_k": 0.0})
        frames, _ = _read(path)
        assert np.max(np.abs(frames.apparent_k - (good["apparent_c"] + 273.15))) < 0.006

    def test_picture_called_temperatures(self, tmp_path, good):
        picture = np.round((good["apparent_c"] - 23.0) * 10)
        good["apparent_c"] = np.clip(picture, 0, 255)
        _refused(tmp_path, good, "a picture of 0 to 255")

    def test_whole_degrees_of_a_coarse_sensor_are_fine(self, tmp_path, good):
        good["apparent_c"] = np.round(good["apparent_c"])
        frames, _ = _read(_save(tmp_path, good), step="1 K")
        assert np.isfinite(frames.apparent_k).all()

    def test_picture_scaled_to_one(self, tmp_path, good):
        good["apparent_c"] = (good["apparent_c"] - 22.0) / 40.0
        _refused(tmp_path, good, "from 0 to 1")

    def test_kelvin(self, tmp_path, good):
        good["apparent_c"] += 273.15
        _refused(tmp_path, good, "kelvin, not C")

    def test_fahrenheit(self, tmp_path, good):
        good["apparent_c"] = good["apparent_c"] * 1.8 + 32.0
        _refused(tmp_path, good, r"Fahrenheit, not C \(2\d\.\d C would fit\)")

    def test_sensor_in_kelvin_or_fahrenheit(self, tmp_path, good):
        good["sensor_c"] += 273.15
        _refused(tmp_path, good, "sensor_c is about 303: kelvin")
        good["sensor_c"] = (good["sensor_c"] - 273.15) * 1.8 + 32.0
        _refused(tmp_path, good, "sensor_c reads 86.*Fahrenheit")

    def test_both_in_fahrenheit(self, tmp_path, good):
        good["sensor_c"] = good["sensor_c"] * 1.8 + 32.0
        good["apparent_c"] = good["apparent_c"] * 1.8 + 32.0
        _refused(tmp_path, good, "both far above the design's kitchen")

    def test_hot_view_is_not_called_fahrenheit(self, tmp_path, good):
        """A pan at 120 C that fills the whole view from the start is unusual, not impossible."""
        good["apparent_c"] += 100.0
        frames, _ = _read(_save(tmp_path, good))
        assert np.nanmin(frames.apparent_k) > 390.0

    def test_hdf_that_declares_another_unit(self, tmp_path, good):
        path = tmp_path / "frames.h5"
        with h5py.File(path, "w") as file:
            for name, values in good.items():
                file[name] = values
            file["apparent_c"].attrs["units"] = "K"
        with pytest.raises(RecordingError, match="apparent_c declares the unit 'K'"):
            _read(path)

    def test_sensor_temperature_missing(self, tmp_path, good):
        good.pop("sensor_c")
        _refused(tmp_path, good, "sensor_c is missing")

    def test_sensor_temperature_missing_at_moments(self, tmp_path, good):
        good["sensor_c"][10:13] = np.nan
        frames, notes = _read(_save(tmp_path, good))
        assert frames.sensor_k[12] == frames.sensor_k[9]
        assert "sensor_c is missing at 3 frames" in _notes(notes)


class TestMissingAndClipped:
    @pytest.mark.parametrize("filler", [np.nan, 0.0])
    @pytest.mark.parametrize("pattern", ["chess", "interleaved"])
    def test_half_frames(self, tmp_path, good, filler, pattern):
        row, col = np.indices((ROWS, COLS))
        turn = (row + col) % 2 if pattern == "chess" else row % 2
        whole = good["apparent_c"].copy()
        for index in range(COUNT):
            good["apparent_c"][index, turn != index % 2] = filler
        frames, notes = _read(_save(tmp_path, good))
        assert f"half frames ({pattern} pattern) composed" in _notes(notes)
        assert np.isnan(frames.apparent_k[0]).sum() == 384
        assert np.isfinite(frames.apparent_k[1:]).all()
        fresh = turn == 1
        assert frames.apparent_k[5, fresh] == pytest.approx(whole[5, fresh] + 273.15, abs=1e-4)
        assert frames.apparent_k[5, ~fresh] == pytest.approx(whole[4, ~fresh] + 273.15, abs=1e-4)

    def test_half_frames_with_a_lost_turn(self, tmp_path, good):
        row, col = np.indices((ROWS, COLS))
        turn = (row + col) % 2
        for index in range(COUNT):
            half = index % 2 if index < 20 else (index + 1) % 2
            good["apparent_c"][index, turn != half] = np.nan
        _, notes = _read(_save(tmp_path, good))
        assert "1 times the same half twice in a row" in _notes(notes)

    def test_frames_that_renew_half_of_the_pixels(self, tmp_path, good):
        row, col = np.indices((ROWS, COLS))
        turn = (row + col) % 2
        for index in range(1, COUNT):
            stale = turn != index % 2
            good["apparent_c"][index, stale] = good["apparent_c"][index - 1, stale]
        _, notes = _read(_save(tmp_path, good))
        assert "each frame renews half of the pixels (chess pattern)" in _notes(notes)
        assert "the sensor card does not say so" in _notes(notes)

    def test_frames_that_repeat_are_noted(self, tmp_path, good):
        good["apparent_c"][21:24] = good["apparent_c"][20]
        _, notes = _read(_save(tmp_path, good))
        assert "3 frames repeat the one before pixel for pixel" in _notes(notes)
        assert "first frame 21 at 5.25 s" in _notes(notes)

    def test_nan_is_left_out_and_counted(self, tmp_path, good):
        good["apparent_c"][:, 3, 4] = np.nan
        good["apparent_c"][9] = np.nan
        frames, notes = _read(_save(tmp_path, good))
        assert np.isnan(frames.apparent_k[:, 3, 4]).all()
        text = _notes(notes)
        assert "1 pixels never have one, first row 3 col 4" in text
        assert "1 frames have none, first frame 9" in text

    def test_mostly_nan(self, tmp_path, good):
        rng = np.random.default_rng(0)
        good["apparent_c"][rng.random(good["apparent_c"].shape) < 0.7] = np.nan
        _refused(tmp_path, good, "70% of all values are NaN")
        good["apparent_c"][:] = np.nan
        _refused(tmp_path, good, "no finite value")

    def test_beyond_the_range_is_marked_not_measured(self, tmp_path, good):
        good["apparent_c"][30:, 8:16, 10:20] = 310.0 + good["apparent_c"][30:, 8:16, 10:20]
        frames, notes = _read(_save(tmp_path, good))
        assert np.all(np.isposinf(frames.apparent_k[30:, 8:16, 10:20]))
        assert "10 frames have pixels at or above the sensor's limit of 300 C" in _notes(notes)

    def test_gain_left_high_clips_below_the_stated_range(self, tmp_path, good):
        hot = good["apparent_c"][:, 8:16, 10:20] + 20.0 * good["time_s"][:, None, None]
        good["apparent_c"][:, 8:16, 10:20] = np.minimum(hot, 181.92)
        frames, notes = _read(_save(tmp_path, good))
        assert "values clip at 181.92 C" in _notes(notes)
        assert np.isposinf(frames.apparent_k).sum() == np.sum(hot >= 181.92)


class TestArchives:
    def test_pickled_objects_are_never_loaded(self, tmp_path, good):
        good["apparent_c"] = np.array([{"run": "me"}], dtype=object)
        path = tmp_path / "frames.npz"
        np.savez(path, **good)
        with pytest.raises(RecordingError, match="pickled objects"):
            _read(path)

    def test_bare_pickle(self, tmp_path):
        path = tmp_path / "frames.npz"
        path.write_bytes(pickle.dumps({"apparent_c": 1}))
        with pytest.raises(FormatError, match="not an npz archive"):
            _read(path)

    def _npy(self, shape, payload):
        stream = io.BytesIO()
        np.lib.format.write_array_header_1_0(
            stream, {"descr": "<f8", "fortran_order": False, "shape": shape}
        )
        return stream.getvalue() + payload

    def test_archive_that_swells(self, tmp_path, good):
        """64 MB of zeros behind a header of the right shape: refused from the directory."""
        path = _save(tmp_path, good)
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for name in ("time_s", "sensor_c"):
                stream = io.BytesIO()
                np.save(stream, good[name])
                archive.writestr(f"{name}.npy", stream.getvalue())
            shape = good["apparent_c"].shape
            archive.writestr("apparent_c.npy", self._npy(shape, bytes(64_000_000)))
        assert path.stat().st_size < 200_000
        with pytest.raises(RecordingError, match="swells to 64,"):
            _read(path)

    def test_time_axis_that_swells(self, tmp_path, good):
        path = tmp_path / "frames.npz"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("time_s.npy", self._npy((8_000_000_000,), bytes(1000)))
            archive.writestr("apparent_c.npy", self._npy((8_000_000_000, 24, 32), b""))
        with pytest.raises(RecordingError, match="swells to 8,000,000,000 values"):
            _read(path)

    def test_hdf_that_swells(self, tmp_path, good):
        path = tmp_path / "frames.h5"
        with h5py.File(path, "w") as file:
            file["time_s"] = good["time_s"]
            file["apparent_c"] = good["apparent_c"]
            file.create_dataset("sensor_c", shape=(10**11,), chunks=(10**6,), dtype="f8")
        with pytest.raises(RecordingError, match="sensor_c swells to 100,000,000,000 values"):
            _read(path)

    def test_unused_member_is_named_and_never_unpacked(self, tmp_path, good):
        path = _save(tmp_path, good)
        with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("junk.npy", bytes(50_000_000))
        _, notes = _read(path)
        assert "arrays that are not used: junk" in _notes(notes)

    def test_cut_file(self, tmp_path, good):
        path = _save(tmp_path, good)
        path.write_bytes(path.read_bytes()[:4000])
        with pytest.raises(FormatError, match="damaged"):
            _read(path)

    def test_flipped_bits(self, tmp_path, good):
        path = _save(tmp_path, good)
        content = bytearray(path.read_bytes())
        content[5000:5040] = bytes(40)
        path.write_bytes(bytes(content))
        with pytest.raises(FormatError, match=r"damaged|cannot be read"):
            _read(path)

    @pytest.mark.parametrize("name", ["frames.h5", "frames.tif", "frames.nc"])
    def test_other_damaged_files(self, tmp_path, good, name):
        _times(tmp_path, good)
        (tmp_path / name).write_bytes(b"nothing of the kind" * 50)
        with pytest.raises(FormatError, match="damaged"):
            _read(tmp_path / name)

    def test_missing_extra_is_named(self, tmp_path, good, monkeypatch):
        (tmp_path / "frames.h5").write_bytes(b"")
        monkeypatch.setattr(
            frame_readers.importlib,
            "import_module",
            lambda name: (_ for _ in ()).throw(ImportError),
        )
        with pytest.raises(InputError, match=r"extra 'exchange'"):
            _read(tmp_path / "frames.h5")

    def test_unknown_format_and_missing_file(self, tmp_path):
        (tmp_path / "frames.mat").write_bytes(b"x")
        with pytest.raises(FormatError, match=r"format '\.mat' is not known"):
            _read(tmp_path / "frames.mat")
        with pytest.raises(InputError, match="no such file"):
            _read(tmp_path / "frames.npz")
