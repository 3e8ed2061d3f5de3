"""Raw words of a thermopile array as a recording, and their faults.

Data and licence: ``tests/data/thermopile-32x24-example`` (its README names the source).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from trivet.errors import RecordingError
from trivet.files.frames import read_frames
from trivet.records.sensorcard import SensorCard

DATA = Path(__file__).parents[1] / "data" / "thermopile-32x24-example"
COUNT = 24


def _words(name):
    with (DATA / name).open() as file:
        return np.array([int(row["word_hex"], 16) for row in csv.DictReader(file)])


@pytest.fixture
def card():
    return SensorCard.model_validate(
        {
            "name": "array-32x24",
            "technology": "thermopile",
            "rows": 24,
            "cols": 32,
            "fov_h": "55 deg",
            "fov_v": "35 deg",
            "frame_rate": "4 Hz",
            "netd": "0.2 K",
            "range_high": "300 degC",
            "source": "figures for tests",
        }
    )


@pytest.fixture
def arrays():
    """The two example half frames in turn, with a count or two of noise on renewed pixels."""
    rng = np.random.default_rng(2)
    row, col = np.indices((24, 32))
    turn = ((row + col) % 2).ravel()
    blocks = [_words("frame0_ram.csv"), _words("frame1_ram.csv")]
    rams = np.array([blocks[index % 2] for index in range(COUNT)])
    pixels = rams[0, :768].copy()
    for index in range(COUNT):
        renewed = turn == index % 2
        fresh = blocks[index % 2][:768] + (rng.integers(-1, 2, 768) if index > 1 else 0)
        pixels[renewed] = fresh[renewed]
        rams[index, :768] = pixels & 0xFFFF
    return {
        "memory": _words("eeprom.csv").astype(np.uint16),
        "ram": rams.astype(np.uint16),
        "time_s": np.arange(COUNT) * 0.25,
        "status": (np.arange(COUNT) % 2).astype(np.uint16),
        "control": np.full(COUNT, 0x1901, np.uint16),
        "awake_s": np.arange(COUNT) * 0.25 + 400.0,
    }


def _read(folder, arrays, card):
    np.savez(folder / "words.npz", **arrays)
    return read_frames(folder / "words.npz", head="main", card=card)


def _notes(notes):
    return " | ".join(f"{note.what} @ {note.where} -> {note.advice}" for note in notes)


def test_words_become_the_published_temperatures(tmp_path, arrays, card):
    want = np.loadtxt(DATA / "expected_object_temperature_c.csv", delimiter=",")
    frames, notes = _read(tmp_path, arrays, card)
    assert np.isnan(frames.apparent_k[0]).sum() == 384
    assert np.max(np.abs(frames.apparent_k[1] - 273.15 - want)) < 0.001
    assert frames.sensor_k[1] - 273.15 == pytest.approx(33.990, abs=0.001)
    assert frames.awake_s[0] == 400.0
    assert "whole frames composed of half frames" in _notes(notes)
    assert "2.08% of the values are NaN" in _notes(notes)  # the half before the first turn
    assert len(notes) == 2


def test_signed_words_are_the_same_words(tmp_path, arrays, card):
    plain, _ = _read(tmp_path, arrays, card)
    arrays["ram"] = arrays["ram"].view(np.int16)
    arrays["memory"] = arrays["memory"].view(np.int16)
    signed, _ = _read(tmp_path, arrays, card)
    assert np.array_equal(plain.apparent_k, signed.apparent_k, equal_nan=True)


def test_subpage_is_seen_where_it_is_not_told(tmp_path, arrays, card):
    told, _ = _read(tmp_path, arrays, card)
    del arrays["status"]
    seen, _ = _read(tmp_path, arrays, card)
    assert np.array_equal(told.apparent_k, seen.apparent_k, equal_nan=True)


def test_subpage_that_cannot_be_known(tmp_path, arrays, card):
    del arrays["status"]
    arrays["ram"][5] = arrays["ram"][4]
    with pytest.raises(RecordingError, match="half frame 5: its words do not tell"):
        _read(tmp_path, arrays, card)
    arrays["ram"] = arrays["ram"][:2] * 0 + arrays["ram"][0]
    arrays["time_s"] = arrays["time_s"][:2]
    del arrays["control"], arrays["awake_s"]
    with pytest.raises(RecordingError, match="store status"):
        _read(tmp_path, arrays, card)


def test_subpage_that_contradicts_the_words(tmp_path, arrays, card):
    arrays["status"] = 1 - arrays["status"]
    with pytest.raises(RecordingError, match=r"half frame 1: .*status says subpage 0, but"):
        _read(tmp_path, arrays, card)


def test_lost_turn_is_noted(tmp_path, arrays, card):
    keep = np.delete(np.arange(COUNT), 9)
    for key in ("ram", "status", "control", "awake_s", "time_s"):
        arrays[key] = arrays[key][keep]
    _, notes = _read(tmp_path, arrays, card)
    assert "1 times the same subpage twice in a row, first at half frame 9" in _notes(notes)


def test_truncated_memory_and_ram(tmp_path, arrays, card):
    whole = dict(arrays)
    arrays["memory"] = arrays["memory"][:768]
    with pytest.raises(RecordingError, match=r"words\.npz: calibration memory: 768 words"):
        _read(tmp_path, arrays, card)
    arrays["memory"] = np.full(832, 0xFFFF, np.uint16)
    with pytest.raises(RecordingError, match="0xFFFF throughout"):
        _read(tmp_path, arrays, card)
    whole["ram"] = whole["ram"][:, :800]
    with pytest.raises(RecordingError, match=r"ram has shape \(24, 800\).*0x073F"):
        _read(tmp_path, whole, card)


@pytest.mark.parametrize("name", ["memory", "ram", "time_s"])
def test_missing_array(tmp_path, arrays, card, name):
    del arrays[name]
    with pytest.raises(RecordingError, match=f"{name} missing"):
        _read(tmp_path, arrays, card)


def test_stuck_words_throughout(tmp_path, arrays, card):
    arrays["ram"][:, :768] = 0
    with pytest.raises(RecordingError, match=r"half frame 0 of 24: .*stuck words"):
        _read(tmp_path, arrays, card)


def test_one_torn_half_frame_is_blanked_and_noted(tmp_path, arrays, card):
    arrays["ram"][12, 778] = 0
    frames, notes = _read(tmp_path, arrays, card)
    text = _notes(notes)
    assert "1 half frames could not be converted and are blank; half frame 12" in text
    assert "gain word 0x070A is 0" in text
    # the pixels of that turn keep what they had two turns before
    row, col = np.indices((24, 32))
    even = (row + col) % 2 == 0
    assert np.array_equal(frames.apparent_k[12][even], frames.apparent_k[11][even])
    assert frames.sensor_k[12] == frames.sensor_k[11]


def test_many_torn_half_frames_are_refused(tmp_path, arrays, card):
    arrays["ram"][::4, 778] = 0
    with pytest.raises(RecordingError, match=r"gain word 0x070A is 0.*\(6 such of 24\)"):
        _read(tmp_path, arrays, card)


def test_stuck_pixel_is_left_out(tmp_path, arrays, card):
    arrays["ram"][:, 100] = arrays["ram"][0, 100]
    frames, notes = _read(tmp_path, arrays, card)
    assert np.isnan(frames.apparent_k[:, 3, 4]).all()
    assert "1 broken or stuck pixels, first row 3, col 4" in _notes(notes)


def test_clipped_word_is_saturated_not_a_temperature(tmp_path, arrays, card):
    arrays["ram"][2:, 0] = 0x7FFF
    frames, _ = _read(tmp_path, arrays, card)
    assert np.all(np.isposinf(frames.apparent_k[2:, 0, 0]))


def test_another_sensor(tmp_path, arrays, card):
    with pytest.raises(RecordingError, match=r"allowed: .*\(24, 8, 8\)"):
        _read(tmp_path, arrays, card.model_copy(update={"rows": 8, "cols": 8}))


def test_time_that_turns_back(tmp_path, arrays, card):
    arrays["time_s"][7] = 0.1
    with pytest.raises(RecordingError, match="time_s does not rise at frame 7"):
        _read(tmp_path, arrays, card)


@pytest.mark.parametrize("told", [True, False])
def test_replay_of_two_half_frames_is_converted_and_noted(tmp_path, arrays, card, told):
    blocks = np.array([_words("frame0_ram.csv"), _words("frame1_ram.csv")])
    arrays["ram"] = np.tile(blocks, (COUNT // 2, 1)).astype(np.uint16)
    if not told:
        del arrays["status"]
    frames, notes = _read(tmp_path, arrays, card)
    want = np.loadtxt(DATA / "expected_object_temperature_c.csv", delimiter=",")
    assert np.max(np.abs(frames.apparent_k[1:] - 273.15 - want)) < 0.001
    assert "22 half frames repeat the last but one word for word" in _notes(notes)


def test_frozen_words(tmp_path, arrays, card):
    arrays["ram"][:] = arrays["ram"][0]
    with pytest.raises(RecordingError, match=r"all 24 half frames are the same.*stuck words"):
        _read(tmp_path, arrays, card)
