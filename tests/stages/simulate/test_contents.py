"""Contents and food of simulated cooks: butter, lids, films, steak, smoke, and named faults."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from trivet.errors import InputError
from trivet.physics.geometry.optics import Pose
from trivet.physics.radiation.film import film_emissivity
from trivet.physics.radiation.planck import Band
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.requirement import OF_WORDS
from trivet.stages.simulate import simulate
from trivet.stages.simulate.cooking import cooked
from trivet.stages.simulate.draws import Repeat, kitchen, stream
from trivet.stages.simulate.surfaces import _film_emissivity, constants_of, emissivity_of
from trivet.stages.verify.foodsafety import core_verdict

BAND = Band(np.array([8e-6, 14e-6]), np.ones(2))
POSE = Pose(x_m=0.0, y_m=0.0, height_m=0.7)


@pytest.fixture
def kitchen_of(design_tables):
    """Return a design with one base on the first pan, and the pan's name."""

    def make(base, **pan):
        tables = design_tables
        tables["bases"] = [{"name": "it", **base}]
        tables["pans"][0] = {**tables["pans"][0], **pan}
        tables["bands"] = []
        return Design.model_validate(tables), tables["pans"][0]["name"]

    return make


def plan(pan, *, seconds, level="80 %", stop="400 degC", **burner):
    return CookPlan.model_validate(
        {
            "name": "cook",
            "purpose": "proof",
            "duration": f"{seconds} s",
            "stop_at": stop,
            "burners": [
                {
                    "burner": "front-left",
                    "pan": pan,
                    "base": "it",
                    **{"schedule": [{"at": "0 s", "level": level}], **burner},
                }
            ],
        }
    )


def history(made, **more):
    design, pan = made
    the_plan = plan(pan, **more)
    room = kitchen(design, plan=the_plan, generator=stream(1, cook="c", name="kitchen"))
    cook = cooked(Repeat(design, the_plan, "c", room))
    assert max(float(one.closure_frac.max()) for one in cook.ledgers) <= 0.005
    return cook.pans[0], cook


def mean(values, one):
    return values @ one.setting.area_m2 / one.setting.area_m2.sum()


def test_butter_foams_while_its_water_boils_and_browns_after(kitchen_of):
    """3 mL of whole butter hold 0.44 g of water (16 %, Codex 279): it goes near 100 C."""
    one, cook = history(
        kitchen_of({"contents": "butter", "volume": "3 mL"}, emissivity="20 %"),
        seconds=200,
        level="90 %",
    )
    assert one.mass_kg[0] == pytest.approx(0.003 * 0.911 * 0.16, rel=1e-6)
    half = int(np.argmin(np.abs(one.mass_kg - 0.5 * one.mass_kg[0])))
    assert 80.0 < mean(one.surface_k, one)[half] - 273.15 < 120.0  # hot over the flames first
    assert one.mass_kg[-1] < 0.01 * one.mass_kg[0]
    eps = mean(emissivity_of(one, pose=POSE, band=BAND), one)
    calm = eps[-1]
    foaming = eps[half]
    assert foaming > eps[0] + 0.05
    assert foaming > calm
    assert sum(float(run.latent_j[0]) for run in cook.ledgers) == pytest.approx(
        (one.mass_kg[0] - one.mass_kg[-1]) * 2.2565e6, rel=1e-3
    )


def test_boil_off_at_altitude_is_heat_over_latent_heat(kitchen_of, design_tables):
    """Within 3 % of net power over latent heat, at the boiling point of 2000 m (ISO 2533)."""
    design_tables["surroundings"]["altitude"] = "2000 m"
    one, cook = history(
        kitchen_of({"contents": "water", "volume": "400 mL"}), seconds=600, level="100 %"
    )
    assert one.surface_k.max() == pytest.approx(366.467, abs=0.5)
    ledgers = cook.ledgers[-4:-1]  # whole half minutes at the boil
    net = sum(float(run.input_j[0] - run.lost_j[0] - run.stored_j[0]) for run in ledgers)
    latent = sum(float(run.latent_j[0] + run.vapour_j[0]) for run in ledgers)
    assert latent == pytest.approx(net, rel=0.03)


def test_boil_dry_breaks_up_and_the_pan_rises(kitchen_of):
    one, _ = history(
        kitchen_of({"contents": "water", "volume": "60 mL"}), seconds=400, level="100 %"
    )
    dry = int(np.flatnonzero(one.mass_kg <= 0.0)[0])
    pan = mean(one.pan_k, one)
    assert pan[dry // 2] < 385.0
    assert pan[min(dry + 120, len(pan) - 1)] > 420.0
    eps = emissivity_of(one, pose=POSE, band=BAND)
    assert eps[-1].mean() == pytest.approx(one.setting.bare_emissivity)
    broken = (one.mass_kg > 0.0) & (one.mass_kg / one.setting.area_m2.sum() < 0.2)
    between = eps[broken].mean(axis=1)
    assert between.size
    assert np.all(np.abs(np.diff(between)) < 0.2)  # it breaks up, it does not vanish at once


def test_a_lid_is_what_is_seen_and_keeps_vapour_in(kitchen_of):
    made = kitchen_of({"contents": "water", "volume": "300 mL"}, lid=True)
    open_pan, _ = history(made, seconds=240)
    lidded, _ = history(made, seconds=240, lid=[{"on": "0 s", "off": "200 s"}])
    on = lidded.time_s < 200.0
    assert np.array_equal(lidded.lidded, on)
    warm = (mean(open_pan.surface_k, open_pan) < 365.0) & on
    evaporated = [h.mass_kg[0] - h.mass_kg[np.flatnonzero(warm)[-1]] for h in (open_pan, lidded)]
    assert evaporated[1] < 0.3 * evaporated[0]
    assert np.nanmax(lidded.lid_k) < 373.2
    assert np.nanmin(lidded.lid_k) > 290.0
    np.testing.assert_array_equal(lidded.seen_k[on][:, 0], lidded.lid_k[on])
    eps = emissivity_of(lidded, pose=POSE, band=BAND)
    assert np.all(eps[on] == eps[0, 0])
    design, pan = made
    truth = simulate(design, plan=plan(pan, seconds=60, lid=[{"on": "20 s"}]))
    assert {event.event for event in truth.recording.reference.events} >= {"lid_on"}
    seen = truth.truth.burners[0]
    lid = OF_WORDS.index("lid")
    assert np.array_equal(seen.seen_of == lid, seen.time_s >= 20.0)
    assert seen.seen_k[-1] < seen.contents_k[-1]


def test_a_steak_draws_its_skillet_down_by_the_published_size(kitchen_of):
    """A skillet loses about 50 K by the turn of a steak (skillet-steak study, section 3.1)."""
    made = kitchen_of({"contents": "oil", "volume": "5 mL"})
    steak = {
        "kind": "steak", "mass": "350 g", "diameter": "160 mm",
        "in": "150 s", "turn": "300 s", "out": "420 s",
    }  # fmt: skip
    knob = [{"at": "0 s", "level": "100 %"}, {"at": "150 s", "level": "30 %"}]
    fed, _ = history(made, seconds=430, schedule=knob, food=steak)
    before, turn = mean(fed.pan_k, fed)[[149, 300]]
    assert 15.0 < before - turn < 90.0
    core = fed.inserted_k
    there = np.isfinite(core)
    assert np.array_equal(there, fed.food)
    assert core[there][0] == pytest.approx(278.15)
    assert 280.0 < core[there][-1] < 345.0
    top = fed.surface_k[:, fed.setting.pieces[0].cover].mean(axis=1)
    assert top[302] > top[298] + 20.0  # the seared face comes up


def test_two_foods_at_different_times(kitchen_of):
    made = kitchen_of({"contents": "dry"})
    pieces = [
        {"kind": "egg", "mass": "50 g", "diameter": "80 mm", "in": "40 s", "out": "90 s"},
        {"kind": "vegetables", "mass": "60 g", "diameter": "90 mm", "in": "60 s", "x": "60 mm"},
    ]
    pieces[0]["x"] = "-60 mm"
    one, _ = history(made, seconds=120, food=pieces[0], more_food=[pieces[1]])
    assert np.isfinite(one.core_k[:, 0]).sum() == 50
    assert np.isfinite(one.core_k[:, 1]).sum() == 61
    assert not one.covered[50, :].all()
    assert one.covered[75].sum() > one.covered[50].sum()


def test_film_table_is_the_film_law():
    """Emissivity from the table against the law itself: 0.002."""
    rng = np.random.default_rng(3)
    thick = np.exp(rng.uniform(np.log(2e-7), np.log(1.5e-3), (3, 200)))
    angle = rng.uniform(0.0, 0.8, 200)
    made = _film_emissivity(thick, bare=0.15, angle_rad=angle, band=BAND)
    wanted = film_emissivity(
        thick, film=constants_of("oil"), substrate=0.15, temperature_k=450.0, band=BAND,
        angle_rad=angle,
    )  # fmt: skip
    assert np.abs(made - wanted).max() <= 0.002
    bare = _film_emissivity(np.zeros((1, 200)), bare=0.15, angle_rad=angle, band=BAND)
    assert np.all(bare == 0.15)


def test_oil_smokes_then_ignites_and_the_cook_ends(kitchen_of, design_tables):
    design_tables["burners"][0] |= {"power": "4500 W"}
    made = kitchen_of({"contents": "oil", "volume": "60 mL", "oil": "canola"})
    one, cook = history(made, seconds=900, level="100 %", stop="600 degC")
    assert 204.0 <= one.marks.smoke_k - 273.15 <= 230.0  # published range of canola
    assert 409.0 <= one.marks.ignition_k - 273.15 <= 439.0  # 424 C, runs within 15 K
    assert "ignited" in cook.stopped
    assert one.time_s[-1] == pytest.approx(one.marks.ignition_s)
    assert 0.0 < one.marks.smoke_s < one.marks.ignition_s
    used = kitchen_of({"contents": "oil", "volume": "60 mL", "oil": "canola", "uses": 8})
    early, _ = history(used, seconds=200, level="100 %")
    assert early.marks.smoke_k == pytest.approx(one.marks.smoke_k - 24.0)
    left = one.film.left_frac(one.time_s, one.setting.area_m2)
    assert left[-1] < left[round(one.marks.smoke_s * 2)] <= 1.0


def test_butter_does_not_ignite_and_the_bench_limit_stops_the_cook(kitchen_of):
    made = kitchen_of({"contents": "butter", "volume": "15 mL"})
    one, cook = history(made, seconds=900, level="100 %", stop="250 degC")
    assert "reached 250 C" in cook.stopped
    assert np.isnan(one.marks.ignition_s)


@pytest.mark.parametrize(
    ("burner", "word"),
    [
        ({"food": {"mass": "100 g", "diameter": "400 mm", "in": "1 s"}}, "radius"),
        ({"lid": [{"on": "5 s"}]}, "lid = true"),
        ({"food": {"mass": "9 g", "diameter": "80 mm", "in": "9 s", "turn": "4 s"}}, "before turn"),
        ({"food": {"mass": "9 g", "diameter": "80 mm", "in": "9 s", "out": "4 s"}}, "before out"),
        (
            {
                "food": {"mass": "50 g", "diameter": "80 mm", "in": "1 s"},
                "more_food": [{"mass": "50 g", "diameter": "80 mm", "in": "3 s", "x": "10 mm"}],
            },
            "on one another",
        ),
    ],
)
def test_what_does_not_fit_is_named_before_the_first_step(kitchen_of, burner, word):
    design, pan = kitchen_of({"contents": "dry"})
    with pytest.raises(InputError, match=word):
        simulate(design, plan=plan(pan, seconds=20, **burner))


def test_food_without_a_mass_is_refused_by_its_plan(kitchen_of):
    _, pan = kitchen_of({"contents": "dry"})
    with pytest.raises(ValidationError, match="mass"):
        plan(pan, seconds=20, food={"mass": "0 g", "diameter": "80 mm", "in": "9 s"})


def test_oil_named_for_water_is_refused(kitchen_of):
    design, pan = kitchen_of({"contents": "water", "volume": "100 mL", "oil": "canola"})
    with pytest.raises(InputError, match="names the oil"):
        simulate(design, plan=plan(pan, seconds=20))


def test_negative_mass_is_named():
    with pytest.raises(ValidationError, match="mass"):
        plan("p", seconds=20, food={"mass": "-1 g", "diameter": "80 mm", "in": "50 s"})


def test_lids_out_of_order_are_named(kitchen_of):
    design, pan = kitchen_of({"contents": "dry"}, lid=True)
    for spans in ([{"on": "1 s"}, {"on": "5 s"}], [{"on": "10 s", "off": "5 s"}]):
        with pytest.raises(InputError, match="in turn"):
            simulate(design, plan=plan(pan, seconds=20, lid=spans))


def test_the_food_safety_log_reads_the_core_and_refuses_a_surface(kitchen_of):
    """A patty of 10 mm turned once is held by the table; the same read from the pan is refused."""
    design, pan = kitchen_of({"contents": "oil", "volume": "5 mL"})
    knob = [{"at": "0 s", "level": "100 %"}, {"at": "120 s", "level": "50 %"}]
    food = {
        "kind": "patty", "mass": "90 g", "diameter": "110 mm",
        "in": "120 s", "turn": "270 s", "out": "500 s",
    }  # fmt: skip
    made = simulate(design, plan=plan(pan, seconds=500, schedule=knob, food=food))
    columns = [probe.probe.column for probe in made.recording.reference.probes]
    log = core_verdict(made.recording.reference, column=next(c for c in columns if "food" in c))
    assert log.held
    assert log.log10 > 6.5
    with pytest.raises(InputError, match="surface"):
        core_verdict(made.recording.reference, column=next(c for c in columns if "pan" in c))
    with pytest.raises(InputError, match="no probe"):
        core_verdict(made.recording.reference, column="nothing")
    truth = made.truth.burners[0].core_k
    assert 340.0 < np.nanmax(truth) < 374.0
