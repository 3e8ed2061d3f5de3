"""The calibrate stage on small recordings drawn here, not by the simulator."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.stages.calibrate.conftest import POSE, Drawn, drawn

from trivet.errors import EvidenceError, RecordingError
from trivet.models.optics import card_band, card_lens
from trivet.physics.geometry.optics import Pose, pixel_of_point, point_of_pixel
from trivet.physics.radiation.measurement import LineOfSight as Seen
from trivet.physics.radiation.measurement import sighted_apparent_k
from trivet.physics.radiation.planck import band_radiance, radiating_temperature_k
from trivet.records.provenance import fingerprint
from trivet.records.recording import (
    Event,
)
from trivet.stages.calibrate import calibrate

DRIFT = np.array(Drawn.drift)
ALL = ("front-left", "front-right", "rear-left", "rear-right")


def _cook(
    design, name, *, probe_k=0.0, probes=True, purpose="calibration", evidence="bench", **planted
):
    """Draw one cook: even pans that warm up, seen through a planted pose, window and drift."""
    errors = (probe_k,) if probes else ()
    cook = drawn(design, Drawn(name=name, probes_k=errors, **planted))
    return replace(cook, purpose=purpose, evidence=evidence)


def test_no_recording_gives_the_design_and_says_so(design):
    got = calibrate(design, recordings=())
    assert got.evidence == "predicted"
    assert got.refusals
    head = got.head("main")
    assert head.pose.how == head.drift.how == "nominal"
    assert head.transmittance_u == pytest.approx(0.03 / math.sqrt(3))
    assert head.gain_u == pytest.approx(0.02 / math.sqrt(3))
    assert {(one.contents, one.finish) for one in got.surfaces} >= {
        ("dry", "seasoned-cast-iron"),
        ("dry", "polished-stainless"),
        ("water", ""),
        ("oil", "polished-stainless"),
    }
    assert all(one.how == "nominal" and one.cooks == 0 for one in got.surfaces)
    iron = next(s for s in got.surfaces if (s.contents, s.finish) == ("dry", "seasoned-cast-iron"))
    assert (iron.emissivity, iron.emissivity_u) == pytest.approx((0.93, 0.03 / math.sqrt(3)))


@pytest.fixture
def four_pans(design):
    return _cook(design, "cal-all", burners=ALL, seed=1)


def test_registration_within_5_mm(design, four_pans):
    """The picture of the hob lands within 5 mm rms although rims are cut by the field."""
    got = calibrate(design, recordings=[four_pans]).head("main").pose
    assert got.how == "fitted"
    assert got.residual_rms_m <= 0.005
    lens = card_lens(design.card(design.heads[0]))
    points = np.array([[float(b.x_m), float(b.y_m), 0.0] for b in design.burners])
    seen = pixel_of_point(points, lens=lens, pose=POSE)
    fitted = point_of_pixel(seen, lens=lens, pose=Pose(*got.value)) - points
    nominal = point_of_pixel(seen, lens=lens, pose=Pose(0, 0, 0.70)) - points
    assert math.sqrt((fitted**2).sum(axis=1).mean()) <= 0.005
    assert math.sqrt((nominal**2).sum(axis=1).mean()) > 0.006
    assert np.linalg.eigvalsh(got.covariance).min() > 0


def test_drift_and_emissivity_of_one_unit(design, four_pans):
    cooks = [four_pans]
    cooks += [_cook(design, f"cal-dry-{k}", seed=2 + k, probe_k=0.5 * (-1) ** k) for k in range(3)]
    got = calibrate(design, recordings=cooks)
    drift = got.head("main").drift
    assert drift.how == "fitted"
    assert "unit-a" in drift.reason
    off = drift.value - DRIFT
    assert off @ np.linalg.solve(drift.covariance, off) < 13.3  # chi2 of 4 degrees, 99 %
    late = np.array([1.0, 11.0, 0.0, 0.0])
    assert abs(late @ off) < 1.5
    assert abs(late @ DRIFT) > 2.0
    iron = next(s for s in got.surfaces if (s.contents, s.finish) == ("dry", "seasoned-cast-iron"))
    assert iron.how == "fitted"
    assert iron.cooks == 4
    assert abs(iron.emissivity - 0.94) < 2 * iron.emissivity_u
    assert iron.emissivity_u < 0.03
    assert 333 < iron.span_low_k < 345
    assert 470 < iron.span_high_k < 475
    assert got.recordings == ("cal-all", "cal-dry-0", "cal-dry-1", "cal-dry-2")


def test_calibrated_reading_beats_the_nominal_one(design, four_pans):
    """A fresh pan at 200 C read with both calibrations: the fitted one is within its interval."""
    cooks = [four_pans, *(_cook(design, f"cal-{k}", seed=2 + k) for k in range(3))]
    seen = sighted_apparent_k(
        473.15,
        sight=Seen(0.94, float(design.surroundings.reflected_k), Drawn.tau, 308.0, housing_k=308.0),
        band=card_band(design.card(design.heads[0])),
    )
    errors = {}
    for label, chosen in (("fitted", cooks), ("nominal", [])):
        got = calibrate(design, recordings=chosen)
        terms = np.array([1.0, 308.0 - 298.15, 0.0, math.exp(-300 / 80)])
        apparent = seen + terms @ (DRIFT - got.head("main").drift.value)
        iron = next(
            s for s in got.surfaces if (s.contents, s.finish) == ("dry", "seasoned-cast-iron")
        )
        band = card_band(design.card(design.heads[0]))
        scene = (band_radiance(apparent, band=band) - 0.15 * band_radiance(308.0, band=band)) / 0.85
        mirror = band_radiance(float(design.surroundings.reflected_k), band=band)
        emitted = (scene - (1 - iron.emissivity) * mirror) / iron.emissivity
        errors[label] = float(radiating_temperature_k(emitted, band=band)) - 473.15
    assert abs(errors["fitted"]) < 2.0
    assert abs(errors["fitted"]) < abs(errors["nominal"])


def test_refusals_are_named_and_terms_stay_nominal(design):
    one = _cook(design, "cal-one", burners=("front-left", "rear-right"), probes=False)
    got = calibrate(design, recordings=[one])
    head = got.head("main")
    assert head.pose.how == head.drift.how == "nominal"
    assert got.evidence == "bench"
    text = "\n".join(got.refusals)
    for word in ("registration of head main", "needed: 3", "no probe", "drift of head main"):
        assert word in text
    nominal = calibrate(design, recordings=()).head("main")
    np.testing.assert_array_equal(head.drift.covariance, nominal.drift.covariance)


def test_units_that_differ_are_not_taken_for_one(design, four_pans):
    rng = np.random.default_rng(3)
    cooks = [
        _cook(
            design,
            f"cal-{k}",
            seed=k,
            unit=f"unit-{k}",
            drift=DRIFT * [rng.normal(1, 0.8), 1, 1, 1],
        )
        for k in range(2)
    ]
    got = calibrate(design, recordings=[four_pans, *cooks])
    assert got.head("main").drift.how == "nominal"
    assert any("warm-ups" in text for text in got.refusals)
    iron = next(s for s in got.surfaces if (s.contents, s.finish) == ("dry", "seasoned-cast-iron"))
    assert iron.how == "fitted"
    assert abs(iron.emissivity - 0.94) < 2 * iron.emissivity_u


def test_oil_film_on_shiny_steel(design, four_pans):
    cooks = [four_pans]
    cooks += [
        _cook(
            design, f"cal-film-{k}", contents="oil", volume="5 mL", finish="polished-stainless",
            emissivity=0.62, seed=k,
        )
        for k in range(2)
    ]  # fmt: skip
    got = calibrate(design, recordings=cooks)
    film = next(s for s in got.surfaces if s.contents == "oil" and s.how == "fitted")
    assert film.finish == "polished-stainless"
    assert film.emissivity == pytest.approx(0.62, abs=2 * film.emissivity_u)
    assert 20e-6 < film.film_m < 120e-6
    assert film.film_u_m > 0


def test_what_is_fitted_ignores_moments_with_a_lid(design, four_pans):
    cook = _cook(design, "cal-lid", seed=4)
    frames = cook.inputs.heads[0]
    covered = frames.apparent_k.copy()
    covered[300:360] = 330.0
    lidded = replace(
        cook,
        inputs=replace(cook.inputs, heads=(replace(frames, apparent_k=covered),)),
        reference=replace(
            cook.reference,
            events=(Event(300.0, "front-left", "lid_on"), Event(360.0, "front-left", "lid_off")),
        ),
    )
    plain = calibrate(design, recordings=[four_pans, cook])
    other = calibrate(design, recordings=[four_pans, lidded])
    pick = [next(s for s in c.surfaces if s.cooks == 2) for c in (plain, other)]
    assert pick[0].emissivity == pytest.approx(pick[1].emissivity, abs=0.003)


def test_proof_cooks_and_mixed_evidence_are_refused(design):
    proof = _cook(design, "proof", purpose="proof")
    with pytest.raises(EvidenceError, match="kept for proof"):
        calibrate(design, recordings=[proof])
    pair = [_cook(design, "a"), _cook(design, "b", evidence="simulated")]
    with pytest.raises(EvidenceError, match="each kind"):
        calibrate(design, recordings=pair)


def test_foreign_heads_and_frames_are_refused(design):
    cook = _cook(design, "a")
    frames = cook.inputs.heads[0]
    for change, match in (
        ({"head": "other"}, "head 'other'"),
        ({"apparent_k": frames.apparent_k[:, :12]}, "pixels"),
    ):
        bad = replace(cook, inputs=replace(cook.inputs, heads=(replace(frames, **change),)))
        with pytest.raises(RecordingError, match=match):
            calibrate(design, recordings=[bad])
    with pytest.raises(RecordingError, match="two recordings"):
        calibrate(design, recordings=[cook, cook])


def test_order_of_recordings_does_not_matter(design, four_pans):
    other = _cook(design, "cal-x", seed=9)
    a = calibrate(design, recordings=[four_pans, other])
    b = calibrate(design, recordings=[other, four_pans])
    assert fingerprint(a) == fingerprint(b)
