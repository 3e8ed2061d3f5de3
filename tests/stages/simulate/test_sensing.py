"""Scene, sensor and probes of the simulator: each effect against what it was declared to be."""

from __future__ import annotations

import copy

import numpy as np
import pytest

from trivet.errors import InputError
from trivet.files.frame_checks import check_time, whole_frames
from trivet.files.framesource import FrameSource
from trivet.physics.radiation.planck import band_radiance, flat_band
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.stages.simulate import simulate

BAND = flat_band(8e-6, 14e-6)


def plan(**changes):
    tables = {
        "name": "cook",
        "purpose": "proof",
        "duration": "30 s",
        "burners": [
            {
                "burner": "front-left",
                "pan": changes.pop("pan", "iron-24"),
                "base": changes.pop("base", "dry"),
                "schedule": [{"at": "0 s", "level": changes.pop("level", "0 %")}],
            }
        ],
    }
    return CookPlan.model_validate(tables | changes)


def frames(design, run):
    return simulate(design, plan=run).recording.inputs.heads[0]


@pytest.fixture(scope="module")
def calm(plain_design):
    return frames(plain_design, plan())


def changed(design_tables, path, value):
    tables = copy.deepcopy(design_tables)
    part = tables
    for key in path[:-1]:
        part = part[key]
    part[path[-1]] = value
    return Design.model_validate(tables)


def test_noise_is_the_cards_within_five_percent(plain_design, design_tables):
    """Pixel noise over time of a bare cold hob, against the NETD at 25 C, ageing drift removed."""
    one = frames(plain_design, plan(duration="60 s"))
    pixels = one.apparent_k.astype(float).reshape(one.time_s.size, -1)
    common = pixels.mean(axis=1, keepdims=True)
    noise = (np.diff(pixels - common, axis=0) / np.sqrt(2)).std()
    tau = 0.85  # of the window, by which the noise is not weakened
    assert tau < 1
    cold = pixels.mean()
    slope = [
        float(np.diff(band_radiance(np.array([t - 0.5, t + 0.5]), band=BAND))[0])
        for t in (298.15, cold)
    ]
    assert noise == pytest.approx(0.28 * slope[0] / slope[1], rel=0.05)


def test_dropped_frames_are_missing_and_the_rest_unchanged(plain_design, calm):
    lossy = frames(plain_design, plan(faults={"dropped": "20 %"}))
    kept = np.isin(calm.time_s, lossy.time_s)
    assert 0.10 < 1 - kept.mean() < 0.32
    assert np.array_equal(lossy.apparent_k, calm.apparent_k[kept])
    gap = frames(plain_design, plan(faults={"gaps": [{"at": "10 s", "for": "5 s"}]}))
    assert np.diff(gap.time_s).max() == pytest.approx(5.25, abs=0.26)
    assert not ((gap.time_s >= 10) & (gap.time_s < 15)).any()


def test_faults_come_in_the_form_that_the_importer_flags(plain_design, calm):
    """Dead and stuck: the importer's own checks find them in the simulated frames."""
    bad = frames(
        plain_design,
        plan(
            faults={
                "dead_pixels": [{"row": 3, "col": 5}],
                "stuck": [{"at": "10 s", "for": "2 s"}],
                "gaps": [{"at": "20 s", "for": "4 s"}],
            }
        ),
    )
    assert np.isnan(bad.apparent_k[:, 3, 5]).all()
    assert np.isnan(bad.apparent_k).sum() == bad.time_s.size
    source = FrameSource(
        "cook", bad.apparent_k - 273.15, bad.time_s, bad.sensor_k - 273.15, None, False
    )
    card = plain_design.sensors[0]
    notes = [note.what for note in check_time(source, card)]
    notes += [note.what for note in whole_frames(source, card)[1]]
    assert any("1 gaps in the frames" in one for one in notes)
    assert any("repeat the one before" in one for one in notes)
    assert any("1 pixels never have one, first row 3 col 5" in one for one in notes)


def test_stamps_jitter_and_drift_but_rise(plain_design, calm):
    wild = {"clock_jitter": "0.1 s", "clock_drift": "0.01"}
    stamped = frames(plain_design, plan(faults=wild))
    assert np.array_equal(stamped.apparent_k, calm.apparent_k)
    off = stamped.time_s - calm.time_s
    slope, _ = np.polyfit(calm.time_s, off, 1)
    assert slope == pytest.approx(0.01, abs=0.004)
    assert np.std(off - slope * calm.time_s) == pytest.approx(0.1, rel=0.25)
    assert np.diff(stamped.time_s).min() > 0


def test_declared_faults_are_in_the_events_only(plain_design):
    run = plan(faults={"dropped": "5 %", "dead_pixels": [{"row": 0, "col": 0}]})
    cook = simulate(plain_design, plan=run).recording
    found = {(e.event, e.value) for e in cook.reference.events}
    assert {("sensor_fault", "dropped"), ("sensor_fault", "dead")} <= found
    with pytest.raises(InputError, match="has 24 x 32 pixels"):
        simulate(plain_design, plan=plan(faults={"dead_pixels": [{"row": 24, "col": 0}]}))


def test_what_belongs_to_the_unit_and_what_to_the_cook(plain_design):
    """Two cooks of one unit share its pattern; two units in one cook share scene and noise."""
    one, again, other = (
        frames(plain_design, plan(name=name, unit=unit)).apparent_k.astype(float)
        for name, unit in (("a", "u1"), ("b", "u1"), ("a", "u2"))
    )
    pattern = [two.mean(axis=0) - np.median(two.mean(axis=0)) for two in (one, again, other)]
    cold = pattern[0] < np.quantile(pattern[0], 0.6)
    same = np.corrcoef(pattern[0][cold], pattern[1][cold])[0, 1]
    strange = np.corrcoef(pattern[0][cold], pattern[2][cold])[0, 1]
    assert same > strange + 0.2
    noise = [np.diff(two, axis=0)[20:, 0, :] for two in (one, other)]
    assert np.corrcoef(noise[0].ravel(), noise[1].ravel())[0, 1] > 0.98


def test_steel_mirrors_the_hood_and_the_lamp(design_tables, calm):
    """A polished pan shows the lamp where the mirror ray meets it; a dark one hardly."""
    lamp = {
        "name": "lamp", "follows": "lamp", "shape": "disc", "x": "-400 mm", "y": "-260 mm",
        "width": "150 mm", "height": "0.70 m", "temperature": "150 degC",
    }  # fmt: skip
    design = changed(design_tables, ("surroundings", "mirrored"), [lamp])
    rise = []
    for pan in ("steel-24", "iron-24"):
        lit, dark = (
            frames(design, plan(pan=pan, lamp_on=on, duration="120 s")).apparent_k[-1].astype(float)
            for on in (True, False)
        )
        rise.append(lit - dark)
    # head over (0, 0) at 0.70 m, pan at (-0.2, -0.13): the ray goes on to twice that
    row, col = np.unravel_index(np.argmax(rise[0]), rise[0].shape)
    assert rise[0][row, col] > 10
    assert rise[1].max() < 1.0
    middle = (np.array([row, col]) - (11.5, 15.5)) * (0.44 / 24, 0.73 / 32)
    assert np.hypot(middle[1] + 0.2, -middle[0] + 0.13) < 0.03


def test_housing_follows_the_heat(plain_design):
    cold, hot = (
        frames(plain_design, plan(duration="240 s", level=level)).sensor_k
        for level in ("0 %", "100 %")
    )
    assert np.ptp(cold) < 3.2
    assert hot[-1] > cold[-1] + 2
    quarter = hot.size // 4
    assert hot[quarter] - hot[0] > hot[-1] - hot[-quarter]  # slower and slower


def test_face_hides_the_pan_for_its_time(design_tables):
    """Seen by a head over the burner; one in the middle of the hob looks past the face."""
    over = {"height": "0.70 m", "x": "-200 mm", "y": "-150 mm"}
    design = changed(design_tables, ("heads", 0, "mount"), over)
    run = plan(duration="80 s", level="100 %")
    away = frames(design, run)
    there = frames(design, run.model_copy(update={"faces": plan(faces=[{"at": "60 s"}]).faces}))
    gap = np.abs(away.apparent_k - there.apparent_k).max(axis=(1, 2))
    times = there.time_s[gap > 20]
    assert 60 <= times.min() <= 60.5
    assert 62.5 <= times.max() <= 63.5


def test_old_windows_read_low(design_tables):
    """Grease by its age: 2 um and more take a few per cent of a hot pan's signal."""
    design = changed(design_tables, ("heads", 0, "window", "grease_growth"), "0.2 um")
    run = plan(duration="100 s", level="100 %")
    lost = []
    for weeks in ("0", "10", "40"):
        aged = run.model_copy(
            update={"window_age_weeks": plan(window_age_weeks=weeks).window_age_weeks}
        )
        lost.append(float(frames(design, aged).apparent_k[-1].max()))
    assert lost[0] - lost[1] > 1
    assert lost[1] - lost[2] > 2 * (lost[0] - lost[1])


def test_cold_windows_mist_over(design_tables):
    """Below the dew point of humid air the signal goes; a dry kitchen's window stays clear."""
    tables = copy.deepcopy(design_tables)
    tables["heads"][0]["window"] |= {"condenses": True, "rise": "-10 K"}
    seen = []
    for humidity in ("20 %", "95 %"):
        tables["surroundings"]["humidity"] = humidity
        design = Design.model_validate(tables)
        run = plan(duration="90 s", level="60 %")
        seen.append(float(frames(design, run).apparent_k[-1].max()))
    assert seen[0] - seen[1] > 10


def test_reflecting_window_shows_the_housing(design_tables):
    """What the window mirrors is at the housing's temperature, not the window's."""
    tables = copy.deepcopy(design_tables)
    tables["heads"][0]["window"]["rise"] = "20 K"
    glowing = frames(Design.model_validate(tables), plan()).apparent_k.astype(float)
    tables["heads"][0]["window"]["reflectance"] = "0.1"
    mirroring = frames(Design.model_validate(tables), plan()).apparent_k.astype(float)
    fall = float((glowing - mirroring).mean())
    span = float(np.diff(band_radiance(np.array([297.0, 317.0]), band=BAND))[0])
    slope = float(np.diff(band_radiance(np.array([299.5, 300.5]), band=BAND))[0])
    assert fall == pytest.approx(0.1 * span / slope, rel=0.1)


@pytest.mark.parametrize(
    ("key", "value", "sign"),
    [("gain", "0.05", 1), ("offset", "5 K", 1), ("emissivity_scale", "0.8", -1)],
)
def test_mismatch_acts_and_is_written_down(plain_design, key, value, sign):
    run = plan(duration="80 s", level="100 %")
    wrong = plan(duration="80 s", level="100 %", mismatch={key: value})
    plain, set_apart = (simulate(plain_design, plan=one).recording for one in (run, wrong))
    top = [float(one.inputs.heads[0].apparent_k[-1].max()) for one in (plain, set_apart)]
    assert sign * (top[1] - top[0]) > 3
    assert plain.notes == ()
    (note,) = set_apart.notes
    assert key in note.what
    assert value in note.what


def test_halo_and_blur_spread_the_pan(plain_design):
    """A halo takes its share of the contrast from the pan's middle and gives it to the hob."""
    run = {"duration": "80 s", "level": "100 %"}
    sharp = frames(plain_design, plan(**run)).apparent_k[-1].astype(float)
    halo = frames(plain_design, plan(**run, mismatch={"halo": "10 %"})).apparent_k[-1].astype(float)
    hot, cold = sharp > np.quantile(sharp, 0.97), sharp < np.quantile(sharp, 0.5)
    assert (halo - sharp)[hot].mean() < -1
    assert (halo - sharp)[cold].mean() > 0.02
    blurred = frames(plain_design, plan(**run, mismatch={"blur_scale": "2"})).apparent_k[-1]
    edge = (
        np.abs(np.diff(sharp, axis=1)).max(),
        np.abs(np.diff(blurred.astype(float), axis=1)).max(),
    )
    assert edge[1] < 0.9 * edge[0]


def test_pushed_pan_is_seen_elsewhere(plain_design):
    move = {"burner": "front-left", "at": "70 s", "x": "60 mm", "y": "0 mm"}
    run = plan(duration="80 s", level="100 %", moves=[move])
    cook = simulate(plain_design, plan=run).recording
    one = cook.inputs.heads[0]
    centres = []
    for moment in (69.0, 78.0):
        frame = one.apparent_k[np.searchsorted(one.time_s, moment)].astype(float)
        weight = np.clip(frame - np.quantile(frame, 0.8), 0, None)
        centres.append((weight.sum(axis=0) @ np.arange(32)) / weight.sum())
    # 60 mm at 0.70 m: 32 pixels over 2 x 0.70 m x tan(27.5 deg)
    assert centres[1] - centres[0] == pytest.approx(60 / 22.8, rel=0.12)
    assert [e.event for e in cook.reference.events if e.time_s == 70.0] == ["move"]


def test_flames_warm_the_ring_around_a_lit_pan(design_tables):
    tables = copy.deepcopy(design_tables)
    seen = []
    for glow in ("0 %", "10 %"):
        tables["surroundings"]["flame_emissivity"] = glow
        one = frames(Design.model_validate(tables), plan(duration="20 s", level="100 %"))
        seen.append(one.apparent_k[40:].mean(axis=0).astype(float))
    rise = seen[1] - seen[0]
    assert rise.max() > 3
    assert (rise > 0.5).mean() < 0.2


def test_boiling_hides_and_drifts(plain_design):
    """Steam lowers the pan's pixels, flickers, and reaches beside the pan."""
    run = {"base": "water", "level": "100 %", "duration": "420 s"}
    steam, none = (
        frames(plain_design, plan(**run, mismatch={"plume_scale": scale})) for scale in ("4", "0")
    )
    late = steam.time_s > 400
    lost = none.apparent_k[late].astype(float) - steam.apparent_k[late]
    over = lost.mean(axis=0) > 0.5 * lost.mean(axis=0).max()
    assert lost[:, over].mean() > 0.5
    assert lost[:, over].mean(axis=1).std() > 0.1


def probe_plan(**changes):
    probes = [
        {"column": "p1", "attachment": "cement", "burner": "front-left", "touches": "pan"},
        {"column": "p2", "attachment": "tape", "burner": "front-left", "touches": "pan"},
    ]
    return plan(duration="120 s", level="100 %", probes=probes, **changes)


def read(design, run):
    cook = simulate(design, plan=run)
    series = {one.probe.column: one for one in cook.recording.reference.probes}
    return series, cook.truth.burners[0]


def test_taped_probe_reads_lower_than_a_cemented_one(plain_design):
    series, _ = read(plain_design, probe_plan())
    gap = series["p1"].temperature_k[-20:] - series["p2"].temperature_k[-20:]
    assert 2 < gap.mean() < 40


def test_probe_faults(plain_design):
    good, _ = read(plain_design, probe_plan())
    faults = [
        {"probe": "p1", "kind": "open", "at": "30 s", "until": "40 s"},
        {"probe": "p2", "kind": "swapped", "at": "60 s"},
    ]
    bad, _ = read(plain_design, probe_plan(probe_faults=faults))
    time = bad["p1"].time_s
    assert np.array_equal(np.isnan(bad["p1"].temperature_k), (time >= 30) & (time < 40))
    before = time < 60
    assert np.array_equal(bad["p2"].temperature_k[before], good["p2"].temperature_k[before])
    assert np.all(np.diff(bad["p2"].temperature_k[~before])[::8] < 0.5)
    assert np.all(bad["p2"].temperature_k[~before] < 300)
    loose = [{"probe": "p1", "kind": "loose", "at": "60 s"}]
    off, _ = read(plain_design, probe_plan(probe_faults=loose))
    assert good["p1"].temperature_k[-1] - off["p1"].temperature_k[-1] > 30
    late = [{"probe": "p1", "kind": "clock", "clock": "-5 s"}]
    slow, _ = read(plain_design, probe_plan(probe_faults=late))
    rate = np.diff(np.interp([80.0, 90.0], time, good["p1"].temperature_k))[0] / 10
    gap = np.interp(90.0, time, good["p1"].temperature_k - slow["p1"].temperature_k)
    assert gap == pytest.approx(5 * rate, rel=0.1)
    with pytest.raises(InputError, match="no probe 'p9'"):
        read(plain_design, probe_plan(probe_faults=[{"probe": "p9", "kind": "open"}]))
