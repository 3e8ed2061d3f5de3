"""Window transmittance from boils; what an anchor that never boils changes: nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trivet.physics.heat.water import boiling_point_k
from trivet.records.recording import Event
from trivet.stages.calibrate import calibrate

ALL = ("front-left", "front-right", "rear-left", "rear-right")
BOIL_K = float(boiling_point_k(100.0))


def _water(draw, name, **planted):
    planted = {"emissivity": 0.96, "top_k": BOIL_K, "volume": "1 L"} | planted
    return draw(name=name, contents="water", **planted)


def test_boils_give_the_window_within_its_uncertainty(design, draw):
    """A window of 0.80 where 0.85 is declared; drift as planted is not told."""
    offs = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        drift = (rng.normal(0, 1.1), 0.05 + rng.normal(0, 0.03), 0.0, 3 + rng.normal(0, 1))
        tau = 0.80 + 0.02 * rng.uniform(-1, 1)
        cooks = [_water(draw, f"b{k}", tau=tau, seed=10 * seed + k, drift=drift) for k in range(2)]
        head = calibrate(design, recordings=cooks).head("main")
        assert head.transmittance_how == "fitted"
        assert 0.004 < head.transmittance_u < 0.03
        offs.append((head.transmittance - tau) / head.transmittance_u)
    assert np.sqrt(np.mean(np.square(offs))) < 1.8
    assert np.max(np.abs(offs)) < 3.5


def test_an_offset_is_not_taken_for_a_window(design, draw):
    """Three kelvin of offset: the cold water of the same cook tells it from the window."""
    cook = _water(draw, "b", tau=0.85, drift=(3.0, 0.05, 0.0, 3.0))
    head = calibrate(design, recordings=[cook]).head("main")
    assert head.transmittance == pytest.approx(0.85, abs=0.02)
    assert "offset" in head.transmittance_reason


def _terms(made):
    head = made.head("main")
    return (
        head.pose.value, head.pose.covariance, head.drift.value, head.drift.covariance,
        [head.transmittance, head.transmittance_u],
        [[one.emissivity, one.emissivity_u] for one in made.surfaces],
    )  # fmt: skip


def test_a_pot_that_never_boils_is_refused_and_what_was_in_force_stays(design, draw):
    good = [_water(draw, f"boil-{k}", tau=0.80, seed=k) for k in range(2)]
    cold = _water(draw, "simmer", tau=0.80, top_k=BOIL_K - 6.0, seed=7, probes_k=(0.0,))
    before, after = (calibrate(design, recordings=part) for part in (good, [*good, cold]))
    text = next(text for text in after.refusals if "simmer" in text and "window" in text)
    assert "never boiled" in text
    assert "in force: what boil-0, boil-1 show" in text
    got, had = (
        (made.head("main").transmittance, made.head("main").transmittance_u)
        for made in (after, before)
    )
    assert got == had


def test_only_a_simmer_leaves_the_declared_window(design, draw):
    cold = _water(draw, "simmer", tau=0.80, top_k=BOIL_K - 6.0)
    made = calibrate(design, recordings=[cold])
    head = made.head("main")
    assert head.transmittance_how == "nominal"
    assert head.transmittance == 0.85
    assert any("never boiled" in t and "0.850 as designed" in t for t in made.refusals)


def test_a_called_boil_needs_no_probe(design, draw):
    cook = _water(draw, "b", tau=0.80, probes_k=())
    silent = calibrate(design, recordings=[cook])
    assert any("no boil in events.csv" in text for text in silent.refusals)
    events = (Event(245.0, "front-left", "boil"), Event(410.0, "front-left", "off"))
    called = replace(cook, reference=replace(cook.reference, events=events))
    head = calibrate(design, recordings=[called]).head("main")
    assert head.transmittance_how == "fitted"
    assert abs(head.transmittance - 0.80) < 3 * head.transmittance_u


def test_a_fouled_window_is_called_and_the_boils_since_count(design, draw):
    """Five clean boils, then 6 % lost: the advice names the cook."""
    cooks = [
        _water(draw, f"b{k:02d}", tau=0.86 if k < 5 else 0.808, seed=k, drift=(0.3, 0.05, 0.0, 3.0))
        for k in range(10)
    ]
    made = calibrate(design, recordings=cooks)
    assert any("clean the window" in text and "b05" in text for text in made.advice)
    assert made.head("main").transmittance == pytest.approx(0.808, abs=0.025)
    clean = calibrate(design, recordings=cooks[:5])
    assert not clean.advice


def test_probes_that_disagree_are_refused_by_name(design, draw):
    """Two of u 0.8 K may differ by 2.8 K; 5 K is one probe too wrong, and nobody knows which."""
    good = [draw(name=f"g{k}", seed=k) for k in range(3)]
    bad = draw(name="bad", probes_k=(0.0, 5.0), seed=9)
    before, after = (calibrate(design, recordings=part) for part in (good, [*good, bad]))
    text = next(text for text in after.refusals if "bad" in text and "T00" in text)
    assert "T01" in text
    assert "5.0 K" in text
    assert "2.8 K" in text
    for one, other in zip(_terms(before), _terms(after), strict=True):
        np.testing.assert_array_equal(np.array(one), np.array(other))
    fine = draw(name="fine", probes_k=(0.0, 1.0), seed=9)
    assert not any("differ" in t for t in calibrate(design, recordings=[*good, fine]).refusals)


def test_of_three_probes_the_odd_one_is_left_out(design, draw):
    cook = draw(name="three", probes_k=(0.0, 6.0, 0.3), seed=9)
    other = draw(name="other", seed=10)
    made = calibrate(design, recordings=[cook, other])
    iron = next(s for s in made.surfaces if s.contents == "dry" and s.how == "fitted")
    assert iron.cooks == 2
    assert iron.emissivity == pytest.approx(0.94, abs=2 * iron.emissivity_u)


def test_a_steep_place_gives_no_verdict(design, draw):
    """4 K a pixel: more over half a footprint than the probe is known."""
    cook = draw(name="steep", seed=3)
    frames = cook.inputs.heads[0]
    slope = 4.0 * np.arange(32) * np.clip(frames.time_s / 240, 0, 1)[:, None]
    tilted = frames.apparent_k + slope[:, None, :].astype(np.float32)
    steep = replace(cook, inputs=replace(cook.inputs, heads=(replace(frames, apparent_k=tilted),)))
    made = calibrate(design, recordings=[steep, draw(name="even", seed=4)])
    assert any("steep" in t and "95 % uncertainty, 1.6 K" in t for t in made.refusals)
