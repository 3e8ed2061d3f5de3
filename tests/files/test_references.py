"""References joined with the sheet: clock, lag, conduction, displaced channels."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import ProbeLogError
from trivet.files.references import read_references
from trivet.records.benchsheet import CookSheet

TIME = np.arange(0.0, 900.0, 1.0)
PAN_C = np.where(TIME <= 20, 24.0, 24.0 + 160.0 * (1.0 - np.exp(-(TIME - 20.0) / 200.0)))
AIR_K = 295.15


def _sheet(probe=None, room=False, **keys):
    probes = [{"column": "pan", "attachment": "welded", "burner": "left"} | (probe or {})]
    if room:
        probes.append({"column": "room", "attachment": "air", "touches": "room"})
    return CookSheet.model_validate({"format": 1, "purpose": "proof", "probes": probes} | keys)


def _read(folder, sheet, pan_c, *, time=TIME, room_c=None):
    columns = [time, pan_c] + ([] if room_c is None else [room_c])
    head = "time_s,pan" + ("" if room_c is None else ",room")
    rows = [",".join(f"{value:.4f}" for value in row) for row in zip(*columns, strict=True)]
    path = folder / "probes.csv"
    path.write_text("\n".join([head, *rows]), encoding="utf-8")
    return read_references(path, offsets=None, sheet=sheet, air_k=AIR_K)


def _shared(pairs):
    return [{"frames": f"{frames:.3f} s", "log": f"{log:.3f} s"} for frames, log in pairs]


def test_shared_moments_give_clock_and_drift_within_0_2_s(tmp_path):
    """Offset -7.3 s, 300 ppm, four lid claps read to 0.1 s: planted, 50 draws."""
    rng = np.random.default_rng(0)
    worst = 0.0
    for _ in range(50):
        log = np.array([30.0, 240.0, 520.0, 860.0])
        frames = log - 7.3 + 3e-4 * log + rng.normal(0, 0.1, 4)
        sheet = _sheet(shared=_shared(zip(frames, log, strict=True)), clock_u="0.1 s")
        (pan,), notes = _read(tmp_path, sheet, PAN_C)
        worst = max(worst, float(np.median(np.abs(pan.time_s - (TIME - 7.3 + 3e-4 * TIME)))))
    assert worst <= 0.2
    assert any("4 shared moments" in note.what and "ppm" in note.what for note in notes)
    assert any("lag is not in it" in note.advice for note in notes)


def test_one_shared_moment_knows_no_drift_and_says_so(tmp_path):
    (pan,), notes = _read(tmp_path, _sheet(shared=_shared([(10.0, 12.5)])), PAN_C)
    assert pan.time_s[0] == pytest.approx(-2.5)
    assert any("drift not known" in note.what for note in notes)


def test_contradicting_moments_and_offsets_are_refused(tmp_path):
    jumped = _shared([(10.0, 12.0), (200.0, 202.0), (400.0, 402.0), (600.0, 640.0)])
    with pytest.raises(ProbeLogError, match="shared moments"):
        _read(tmp_path, _sheet(shared=jumped, clock_u="0.1 s"), PAN_C)
    sheet = _sheet(shared=_shared([(10.0, 12.0)]), clock_offset="30 s")
    with pytest.raises(ProbeLogError, match="keep one of both"):
        _read(tmp_path, sheet, PAN_C)


def test_a_lag_from_its_own_step_is_taken_out(tmp_path):
    """A first-order bead of 4 s, integrated by itself: late by 3.2 K at most, then by 0.3 K."""
    late = np.empty_like(PAN_C)
    late[0] = PAN_C[0]
    for k in range(1, TIME.size):
        late[k] = PAN_C[k] + (late[k - 1] - PAN_C[k]) * np.exp(-1.0 / 4.0)
    (raw,), _ = _read(tmp_path, _sheet({"attachment": "spring"}), late)
    (mended,), _ = _read(tmp_path, _sheet({"attachment": "spring", "lag": "4 s"}), late)
    use = TIME > 60
    truth = PAN_C[use] + 273.15
    assert np.nanmax(np.abs(raw.temperature_k[use] - truth)) > 1.8
    assert np.nanmax(np.abs(mended.temperature_k[use] - truth)) < 0.35
    fast = (TIME > 30) & (TIME < 60)
    assert np.nanmedian(mended.u_k[fast]) < np.nanmedian(raw.u_k[fast])
    assert np.all(np.abs(raw.temperature_k[use] - truth) < 3 * raw.u_k[use])


def test_a_conduction_error_is_taken_out_and_paid_for(tmp_path):
    """A share of 7 % of (surface - air), as the fin model gives for cement."""
    low = PAN_C - 0.07 * (PAN_C - (AIR_K - 273.15))
    (got,), _ = _read(tmp_path, _sheet({"conduction": "7 %"}), low)
    late = TIME > 600
    assert np.max(np.abs(got.temperature_k[late] - 273.15 - PAN_C[late])) < 0.01
    assert np.min(got.u_k[late]) > 0.3 * 0.07 * 140


def test_a_room_channel_that_follows_the_pan_is_refused(tmp_path):
    sheet = _sheet(room=True)
    warm = 22.0 + 0.03 * (PAN_C - 24.0)
    probes, _ = _read(tmp_path, sheet, PAN_C, room_c=warm)
    assert len(probes) == 2
    with pytest.raises(ProbeLogError, match=r"'room'.*displaced"):
        _read(tmp_path, sheet, PAN_C, room_c=22.0 + 0.7 * (PAN_C - 24.0))
