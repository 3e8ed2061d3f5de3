"""The simulate stage: repeatable, honest noise, truth apart, streams apart, errors named."""

from __future__ import annotations

import copy
import time

import numpy as np
import pytest

from trivet.errors import InputError
from trivet.records.benchsheet import Told
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.provenance import fingerprint
from trivet.records.recording import HeadFrames, ProductInput, Recording
from trivet.records.requirement import OF_WORDS
from trivet.stages.simulate import simulate
from trivet.stages.simulate.cooking import cooked
from trivet.stages.simulate.draws import drawn_repeat, head_unit, stream


def plan(**changes):
    tables = {
        "name": "cook",
        "purpose": "proof",
        "duration": "60 s",
        "burners": [
            {
                "burner": "front-left",
                "pan": "iron-24",
                "base": "dry",
                "schedule": [{"at": "0 s", "level": "80 %"}],
            }
        ],
    }
    tables.update(changes)
    return CookPlan.model_validate(tables)


def burner(**changes):
    return plan().burners[0].model_dump(by_alias=True) | changes


def one_burner(base, *, pan="iron-24", level="80 %", **more):
    return {
        "burner": "front-left",
        "pan": pan,
        "base": base,
        "schedule": [{"at": "0 s", "level": level}],
    } | more


@pytest.fixture
def dry(plain_design):
    return simulate(plain_design, plan=plan())


def test_same_bytes_on_every_run_and_other_draws_in_every_repeat(plain_design, dry):
    again = simulate(plain_design, plan=plan())
    assert fingerprint(again) == fingerprint(dry)
    twice = plan(repeats=2)
    cooks = [simulate(plain_design, plan=twice, repeat=k) for k in range(2)]
    assert [one.recording.name for one in cooks] == ["cook-r0", "cook-r1"]
    assert len({fingerprint(one.recording.inputs) for one in cooks}) == 2
    assert {one.recording.unit for one in cooks} == {"simulated unit-1"}


def test_cooks_share_a_unit_unless_the_plan_names_another(plain_design, dry):
    other = simulate(plain_design, plan=plan(unit="unit-2"))
    assert other.recording.unit == "simulated unit-2"
    assert fingerprint(other.recording.inputs) != fingerprint(dry.recording.inputs)
    np.testing.assert_array_equal(other.truth.burners[0].pan_k, dry.truth.burners[0].pan_k)


def test_another_project_seed_draws_anew(design_tables, dry):
    design_tables["project"]["seed"] = 8
    other = simulate(Design.model_validate(design_tables), plan=plan())
    assert fingerprint(other.recording.inputs) != fingerprint(dry.recording.inputs)


def test_streams_do_not_disturb_one_another(design_tables, dry):
    """A second head adds frames; the first head's stay byte for byte."""
    second = copy.deepcopy(design_tables["heads"][0])
    second["name"], second["mount"] = "second", {"height": "0.80 m"}
    design_tables["heads"].append(second)
    both = simulate(Design.model_validate(design_tables), plan=plan())
    assert len(both.recording.inputs.heads) == 2
    assert fingerprint(both.recording.inputs.heads[0]) == fingerprint(dry.recording.inputs.heads[0])
    draws = [stream(7, cook="cook", name=name).standard_normal(4000) for name in ("a", "b")]
    assert abs(np.corrcoef(*draws)[0, 1]) < 0.06


def test_truth_stays_outside_of_the_recording(dry):
    assert isinstance(dry.recording, Recording)
    assert dry.recording.evidence == "simulated"
    names = {*ProductInput.__dataclass_fields__, *HeadFrames.__dataclass_fields__}
    assert not {"truth", "pan_k", "hottest_k", "emissivity"} & names
    truth = dry.truth.burners[0].pan_k[-1]
    for probe in dry.recording.reference.probes:
        assert not np.any(probe.temperature_k == truth)


def test_probes_and_pan_agree_within_their_stated_uncertainty(plain_design):
    """16 cooks, two probes each: between the pan's coldest and hottest part, within 3 u."""
    for repeat in range(16):
        cook = simulate(plain_design, plan=plan(repeats=16, duration="90 s"), repeat=repeat)
        truth = cook.truth.burners[0]
        for probe in cook.recording.reference.probes:
            low, high = truth.pan_p5_k[-1] - 6, truth.hottest_k[-1] + 3
            u = probe.u_k[-1]
            assert low - 3 * u < probe.temperature_k[-1] < high + 3 * u


def test_noise_is_that_of_the_card(design_tables):
    """An unheated, warm scene: frame-to-frame noise against the card's NETD, within 5 %."""
    design_tables["sensors"][0] |= {"half_frames": False, "step": "0 K", "netd_at": "22 degC"}
    design_tables["surroundings"] = {"ambient": "22 degC", "reflected": "22 degC"}
    cold = plan(burners=[one_burner("dry", level="0 %")])
    frames = simulate(Design.model_validate(design_tables), plan=cold).recording.inputs.heads[0]
    change = np.diff(frames.apparent_k.astype(float), axis=0)
    netd = np.sqrt((change**2).mean() / 2)
    assert netd == pytest.approx(0.28, rel=0.05)


def test_noise_is_constant_in_radiance(plain_design):
    """Hot pixels are less noisy in kelvin: by the ratio of the Planck slopes."""
    hot = plan(duration="150 s", burners=[one_burner("dry", level="100 %")])
    frames = simulate(plain_design, plan=hot).recording.inputs.heads[0]
    late = frames.apparent_k[-120:].astype(float)
    second = np.diff(late[::2], n=2, axis=0)  # every second frame: both halves refreshed
    noise = second.std(axis=0) / np.sqrt(6)
    mean = late.mean(axis=0)
    warm, cool = mean > np.quantile(mean, 0.98), mean < np.quantile(mean, 0.5)
    assert mean[warm].mean() > mean[cool].mean() + 60
    assert noise[warm].mean() < 0.85 * noise[cool].mean()


def test_black_pan_looks_as_hot_as_it_is(plain_design):
    """Closure: emissivity, window and offsets undone by hand, in the middle of the pan."""
    from trivet.physics.radiation.planck import band_radiance, flat_band, radiating_temperature_k

    run = plan(duration="90 s")
    cook = simulate(plain_design, plan=run)
    unit = head_unit(plain_design.heads[0], design=plain_design, plan=run)
    room = drawn_repeat(plain_design, plan=run, repeat=0).room
    frames, truth, band = (
        cook.recording.inputs.heads[0],
        cook.truth.burners[0],
        flat_band(8e-6, 14e-6),
    )
    n, housing = -1, frames.sensor_k[-1]
    offset, per, rate, wake = unit.errors.drift
    drift = (
        offset
        + per * (housing - 298.15)
        + rate * np.gradient(frames.sensor_k, frames.time_s)[-40:].mean()
        + wake * np.exp(-frames.awake_s[n] / unit.errors.wake_tau_s)
    )
    seen = frames.apparent_k[n].astype(float) - drift
    seen -= unit.errors.gain_frac * (seen - housing)
    signal = band_radiance(seen, band=band)
    window = band_radiance(housing + unit.window_rise_k, band=band)
    before = (signal - (1 - unit.transmittance) * window) / unit.transmittance
    eps = truth.emissivity[n]
    mirrored = band_radiance(room.reflected_k, band=band)
    pan = radiating_temperature_k((before - (1 - eps) * mirrored) / eps, band=band)
    hottest = np.sort(pan[np.isfinite(pan)])[-4:].mean()
    assert truth.pan_k[n] < hottest < truth.hottest_k[n] + 3.0


@pytest.mark.parametrize(
    ("base", "of"), [("dry", "pan"), ("film", "pan"), ("deep-oil", "oil"), ("water", "liquid")]
)
def test_truth_says_what_is_seen(plain_design, base, of):
    cook = simulate(plain_design, plan=plan(burners=[one_burner(base)]))
    truth = cook.truth.burners[0]
    assert np.all(truth.seen_of == OF_WORDS.index(of))
    assert np.all(truth.pan_p5_k <= truth.pan_p95_k + 1e-9)
    assert np.all(truth.hottest_k >= truth.pan_k - 1e-9)
    assert np.isfinite(truth.contents_k).all() == (base != "dry")
    assert truth.emissivity.min() > (0.9 if base in ("deep-oil", "water") else 0.5)
    touched = {probe.probe.touches for probe in cook.recording.reference.probes}
    assert touched == ({"pan", of})


def test_boiling_water_stays_at_the_boil_and_loses_mass(plain_design):
    boil = plan(duration="420 s", burners=[one_burner("water", level="100 %")])
    truth = simulate(plain_design, plan=boil).truth.burners[0]
    # 100 m over the sea: 99.63 C (standard atmosphere with IF97)
    assert truth.seen_k[-1] - 273.15 == pytest.approx(99.3, abs=0.6)
    assert truth.contents_kg[-1] < truth.contents_kg[0] - 0.005


def test_butter_and_film_differ_in_emissivity_over_time(plain_design):
    butter = plan(duration="150 s", burners=[one_burner("butter", pan="steel-24", level="60 %")])
    eps = simulate(plain_design, plan=butter).truth.burners[0].emissivity
    assert eps.max() > eps[0] + 0.02  # foam while its water boils off
    assert eps.max() == pytest.approx(0.95, abs=0.01)


def test_food_hides_the_pan_and_cools_it(plain_design):
    food = {"kind": "patty", "mass": "300 g", "diameter": "200 mm", "in": "40 s", "out": "80 s"}
    fed, bare = (
        simulate(plain_design, plan=plan(duration="100 s", burners=[one_burner("dry", **more)]))
        for more in ({"food": food}, {})
    )
    truth = fed.truth.burners[0]
    word = OF_WORDS.index("food")
    inside = (truth.time_s >= 40) & (truth.time_s < 80)
    assert np.array_equal(truth.seen_of == word, inside)
    assert np.array_equal(np.isfinite(truth.food_k), inside)
    gap = bare.truth.burners[0].pan_k - truth.pan_k
    assert abs(np.interp(39.5, truth.time_s, gap)) < 1e-9
    # a half space of meat takes less than two nodes did: its resistance grows with time
    assert 8 < np.interp(75, truth.time_s, gap) < 60
    events = [(e.event, e.time_s) for e in fed.recording.reference.events]
    assert ("food_in", 40.0) in events
    assert ("food_out", 80.0) in events


def test_hand_is_seen_for_two_seconds(plain_design):
    away, there = (
        simulate(plain_design, plan=plan(hands_at_s=hands)).recording.inputs.heads[0]
        for hands in ((), ("50 s",))
    )
    differs = np.abs(away.apparent_k - there.apparent_k).max(axis=(1, 2)) > 5
    times = there.time_s[differs]
    assert 50 <= times.min() <= 50.75
    assert 51.25 <= times.max() <= 52.25


def test_stops_where_the_plan_says(plain_design):
    hot = plan(duration="300 s", stop_at="120 degC", burners=[one_burner("dry", level="100 %")])
    cook = simulate(plain_design, plan=hot)
    assert "120 C" in cook.truth.stopped
    assert cook.truth.burners[0].hottest_k[-1] == pytest.approx(393.15, abs=3)
    end = cook.truth.burners[0].time_s[-1]
    assert cook.recording.inputs.heads[0].time_s[-1] == pytest.approx(end, abs=0.25)
    assert end < 200


def test_range_ends_show_as_infinities(design_tables):
    design_tables["sensors"][0] |= {"range_low": "29 degC", "range_high": "80 degC"}
    run = plan(duration="90 s", burners=[one_burner("dry", level="100 %")])
    frames = simulate(Design.model_validate(design_tables), plan=run).recording.inputs.heads[0]
    assert np.isposinf(frames.apparent_k).any()
    assert np.isneginf(frames.apparent_k).any()
    finite = frames.apparent_k[np.isfinite(frames.apparent_k)]
    assert finite.min() >= 302.1
    assert finite.max() < 353.2


def test_another_sensor(design_tables):
    design_tables["sensors"][0] |= {
        "rows": 120, "cols": 160, "fov_h": "57 deg", "fov_v": "44 deg", "half_frames": False,
        "frame_rate": "2 Hz", "technology": "bolometer",
    }  # fmt: skip
    run = plan(duration="10 s")
    frames = simulate(Design.model_validate(design_tables), plan=run).recording.inputs.heads[0]
    assert frames.apparent_k.shape == (21, 120, 160)
    assert np.isfinite(frames.apparent_k).all()


def test_half_frames_hold_the_older_half(design_tables):
    """Against the same cook of a whole-frame sensor: one half is equal, the other older."""
    run, got = plan(duration="60 s", burners=[one_burner("dry", level="100 %")]), []
    for half in (True, False):
        design_tables["sensors"][0] |= {"step": "0 K", "half_frames": half}
        cook = simulate(Design.model_validate(design_tables), plan=run)
        got.append(cook.recording.inputs.heads[0].apparent_k[-1].astype(float))
    lag, (row, col) = got[1] - got[0], np.indices(got[0].shape)
    late = (row + col) % 2 == 1
    assert np.abs(lag[late]).max() < 1e-3
    hot = got[1] > np.quantile(got[1], 0.95)
    assert lag[~late & hot].min() > 0.01  # an eighth of a second of heating


def test_energy_closes(plain_design):
    """Every part of a cook with four pans and food closes its ledger within 0.5 %."""
    names = ["front-left", "front-right", "rear-left", "rear-right"]
    food = {"kind": "patty", "mass": "150 g", "diameter": "110 mm", "in": "30 s", "turn": "50 s"}
    burners = [
        one_burner(base, level="90 %") | {"burner": name}
        for name, base in zip(names, ["dry", "film", "deep-oil", "water"], strict=True)
    ]
    burners[1]["food"] = food
    run = plan(duration="90 s", burners=burners)
    done = cooked(drawn_repeat(plain_design, plan=run, repeat=0))
    assert len(done.ledgers) >= 4
    for ledger in done.ledgers:
        assert ledger.closure_frac.max() <= 0.005


def test_told_follows_the_designs_channels(plain_design, design_tables):
    about = simulate(plain_design, plan=plan()).recording.inputs.told.about("front-left")
    assert (about.base_contents, about.pan, about.target_band) == ("dry", "iron-24", None)
    design_tables["told"] = {"channels": []}
    silent = Design.model_validate(design_tables)
    assert simulate(silent, plan=plan()).recording.inputs.told.about("front-left").pan is None
    assert simulate(plain_design, plan=plan(tells=False)).recording.inputs.told == Told()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"burner": "middle"}, "no burner 'middle'"),
        ({"pan": "wok"}, "no pan 'wok'"),
        ({"base": "honey"}, "no base 'honey'"),
    ],
)
def test_unknown_names_are_named(plain_design, changes, words):
    with pytest.raises(InputError, match=words):
        simulate(plain_design, plan=plan(burners=[one_burner("dry") | changes]))


def test_impossible_cooks_are_refused(plain_design, design_tables):
    with pytest.raises(InputError, match="repeats 0 to 0, not 1"):
        simulate(plain_design, plan=plan(), repeat=1)
    double = [one_burner("dry"), one_burner("film")]
    with pytest.raises(InputError, match="two pans"):
        simulate(plain_design, plan=plan(burners=double))
    near = [
        one_burner("dry", offset_y="30 mm"),
        one_burner("dry", offset_y="-30 mm") | {"burner": "rear-left"},
    ]
    with pytest.raises(InputError, match="overlap"):
        simulate(plain_design, plan=plan(burners=near))
    design_tables["bases"].append({"name": "flood", "contents": "water", "volume": "9 L"})
    with pytest.raises(InputError, match="do not fit"):
        simulate(Design.model_validate(design_tables), plan=plan(burners=[one_burner("flood")]))


def test_six_burners_run_a_hundred_times_faster_than_real_time(design_tables):
    """Warm kernels; processor time, so that other work on the machine does not count."""
    more = [
        {**design_tables["burners"][0], "name": f"extra-{k}", "x": f"{x} mm", "y": "0 mm"}
        for k, x in enumerate((-520, 520))
    ]
    design_tables["burners"] += more
    names = [one["name"] for one in design_tables["burners"]]
    burners = [one_burner("dry") | {"burner": name} for name in names]
    design, run = Design.model_validate(design_tables), plan(duration="240 s", burners=burners)
    simulate(design, plan=plan(duration="2 s", burners=burners))
    start = time.process_time()
    simulate(design, plan=run)
    assert time.process_time() - start < 2.4
