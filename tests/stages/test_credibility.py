"""The bench beside the simulator: verdicts for like and unlike physics, and what is refused.

Bench cooks are made by a one-temperature pan in an ODE solver, which shares no code with
the simulator, or by the simulator itself with other draws.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from trivet.errors import EvidenceError, InputError, NotEnoughDataError
from trivet.files.design import read_design
from trivet.files.newproject import scenarios
from trivet.files.store import load, save
from trivet.records.benchsheet import SheetBurner, SheetProbe, Told
from trivet.records.cook import CookPlan
from trivet.records.credibility import Credibility, TwinPair
from trivet.records.figures import Figure
from trivet.records.recording import (
    Event,
    HeadFrames,
    ProbeSeries,
    ProductInput,
    Recording,
    Reference,
)
from trivet.scoring import answers, questions
from trivet.stages.credibility import bench_twin, conditions_of, credibility
from trivet.stages.simulate import simulate

DRAWS, SECONDS, OFF_S = 39, 150.0, 100.0
SIGMA = 5.670374419e-8  # CODATA 2018
PROBES_M = (0.02, 0.05, 0.08, 0.095, 0.11)


@pytest.fixture(scope="module")
def design():
    """The demo with a coarse, slow sensor: nothing here reads fine pictures."""
    demo = read_design(scenarios()["larkpane"] / "design.toml")
    card = demo.card(demo.heads[0]).model_copy(
        update={"name": "coarse", "rows": 8, "cols": 12, "frame_rate_hz": Figure(0.5)}
    )
    head = demo.heads[0].model_copy(update={"sensor": "coarse"})
    return demo.model_copy(update={"heads": (head,), "sensors": (*demo.sensors, card)})


def sheet(**changes):
    figures = {
        "burner": "front-left",
        "material": "aluminium",
        "finish": "ptfe-non-stick",
        "diameter_m": Figure(0.24),
        "depth_m": Figure(0.045),
    }
    return SheetBurner.model_validate(figures | changes)


def one_temperature(number: int, *, heat: float = 1.0, evidence="simulated") -> Recording:
    """A 4 mm aluminium pan as one temperature: the wall as a fin, losses by hand."""
    rng = np.random.default_rng([5, number])
    # The design's share is of what reached water; pan and hob took that over 0.83.
    power = 0.8 * 2600.0 * rng.uniform(0.40, 0.44) / 0.83 * heat
    thick, h = rng.uniform(0.0035, 0.0045), rng.uniform(9.0, 16.0)
    area, wall = np.pi * 0.12**2, 2 * np.pi * 0.12 * 0.045 * 0.8
    store = 2702 * 903 * thick * (area + wall)

    def rate(t, temperature):
        flow = power if t < OFF_S else 0.0
        air = 296.15
        lost = (1.7 * h * area + 2 * h * wall) * (temperature - air)
        glow = (0.9 + 0.6) * area * SIGMA * (temperature**4 - air**4)
        return (flow - lost - glow) / store

    time = np.arange(0.0, SECONDS, 1.0)
    pan = solve_ivp(rate, (0, SECONDS), [296.15], t_eval=time, max_step=1.0).y[0]
    probes = tuple(
        ProbeSeries(
            SheetProbe(
                column=f"tc{k}",
                attachment="cement",
                burner="front-left",
                touches="pan",
                x_m=Figure(r * np.cos(2.0 * k)),
                y_m=Figure(r * np.sin(2.0 * k)),
            ),
            time,
            pan + rng.normal(0, 0.2, time.size),
            np.full(time.size, 1.0),
        )
        for k, r in enumerate(PROBES_M)
    )
    frames = HeadFrames(
        "main",
        np.arange(0.0, SECONDS, 2.0),
        np.full((75, 8, 12), np.nan, dtype=np.float32),
        np.full(75, 300.0),
        np.arange(0.0, SECONDS, 2.0) + 600.0,
    )
    events = (Event(0.0, "front-left", "on", "0.8"), Event(OFF_S, "front-left", "off"))
    return Recording(
        name=f"Bench {number}",
        purpose="proof",
        evidence=evidence,
        unit="A1",
        altitude_m=150.0,
        inputs=ProductInput((frames,), Told()),
        reference=Reference(probes, events, (sheet(),)),
    )


@pytest.fixture(scope="module")
def twins(design):
    """Twins of the conditions that all cooks here share, and the questions asked of them."""
    first = one_temperature(0)
    twin = bench_twin(first, design=design)
    assert twin.plan is not None
    asked = questions(first, until_s=twin.until_s)
    plan = twin.plan.model_copy(update={"repeats": DRAWS})
    found = [
        answers(
            simulate(
                twin.design, plan=plan.model_copy(update={"unit": f"u{k}"}), repeat=k
            ).recording,
            design=twin.design,
            asked=asked,
        )
        for k in range(DRAWS)
    ]
    return asked, np.array(found), twin


def paired(recording, twins, design, **changes):
    asked, simulated, twin = twins
    values = {
        "cook": recording.name,
        "evidence": recording.evidence,
        "questions": asked,
        "bench": answers(recording, design=design, asked=asked),
        "simulated": simulated,
        "notes": (),
        "conditions": twin.conditions,
    }
    return TwinPair(**(values | changes))


def judged(design, twins, **changes) -> Credibility:
    pairs = [paired(one_temperature(k, **changes), twins, design) for k in range(6)]
    return credibility(design, pairs=pairs, planned=(), left_out=())


def by_topic(found: Credibility):
    return {one.topic: one for one in found.verdicts}


def test_like_physics_comes_out_inside(design, twins) -> None:
    found = by_topic(judged(design, twins))
    for topic in ("heating rate", "time to a level"):
        assert found[topic].agreement == "inside", found[topic]
        assert found[topic].cooks == 6
        # exact bound for no miss: 0.05 ** (1 / n)
        if found[topic].inside == 6:
            assert found[topic].low_frac == pytest.approx(0.05 ** (1 / 6), abs=1e-9)
            assert "29 without a miss" in found[topic].text


def test_a_pan_of_one_temperature_is_unlike_in_its_spread(design, twins) -> None:
    spread = by_topic(judged(design, twins))["spread over the pan"]
    assert spread.agreement == "outside"
    assert spread.bias > 5.0  # the simulator's pans are uneven
    assert "at most" in spread.text


def test_unlike_physics_comes_out_outside(design, twins) -> None:
    """Twice the heat: the pan cannot be like the simulator's."""
    found = judged(design, twins, heat=2.0)
    assert by_topic(found)["heating rate"].agreement == "outside"
    assert by_topic(found)["heating rate"].bias < 0.0  # the simulator is slower
    assert not found.believed


def test_the_simulators_own_cooks_come_out_inside(design, twins) -> None:
    _, _, twin = twins
    plan = twin.plan.model_copy(update={"name": "other-draws", "repeats": 6})
    pairs = []
    for k in range(6):
        cook = simulate(twin.design, plan=plan.model_copy(update={"unit": f"o{k}"}), repeat=k)
        pairs.append(paired(cook.recording, twins, design))
    found = credibility(design, pairs=pairs, planned=(), left_out=())
    assert {one.agreement for one in found.verdicts} <= {"inside", "undecided"}
    assert by_topic(found)["heating rate"].agreement == "inside"
    assert "apparent temperature" in by_topic(found)


def test_the_record_says_both_grades_and_keeps_its_caution(design, twins, tmp_path) -> None:
    found = judged(design, twins)
    assert (found.bench_evidence, found.simulated_evidence) == ("simulated", "simulated")
    assert any("rehearsal" in note for note in found.notes)
    assert "proves no safety claim" in found.caution
    save(tmp_path, "credibility", "key", found)
    assert load(tmp_path, "credibility", "key", Credibility) == found


def test_measured_and_made_cooks_never_mix(design, twins) -> None:
    pairs = [
        paired(one_temperature(0), twins, design),
        paired(one_temperature(1, evidence="bench"), twins, design),
    ]
    with pytest.raises(EvidenceError, match="synthetic"):
        credibility(design, pairs=pairs, planned=(), left_out=())


def test_few_cooks_decide_nothing(design, twins) -> None:
    pairs = [paired(one_temperature(k), twins, design) for k in range(4)]
    found = credibility(design, pairs=pairs, planned=(), left_out=())
    assert {one.agreement for one in found.verdicts} == {"too few"}
    assert not found.believed


def test_the_band_is_exact_for_any_distribution(design, twins) -> None:
    """39 draws and one more of a lopsided distribution: inside 19 times of 20."""
    rng = np.random.default_rng(11)
    asked, _, twin = twins
    inside = 0
    for _ in range(400):
        draws = np.exp(rng.normal(0, 1, (DRAWS + 1, 1)))
        pair = TwinPair("x", "simulated", asked[:1], draws[0], draws[1:], (), twin.conditions)
        inside += credibility(design, pairs=[pair], planned=(), left_out=()).rows[0].inside
    assert inside / 400 == pytest.approx(0.95, abs=0.03)  # 2.8 standard deviations


def test_too_few_twins_and_no_overlap_are_named(design, twins) -> None:
    _, simulated, _ = twins
    pair = paired(one_temperature(0), twins, design, simulated=simulated[:20])
    with pytest.raises(InputError, match="39"):
        credibility(design, pairs=[pair], planned=(), left_out=())
    with pytest.raises(NotEnoughDataError, match="copper"):
        credibility(design, pairs=[], planned=(), left_out=["x: no pan of the design is copper"])


def test_conditions_of_one_side_only_are_listed(design, twins) -> None:
    plan = CookPlan.model_validate(
        {
            "name": "planned",
            "purpose": "proof",
            "duration": "60 s",
            "burners": [
                {"burner": "front-left", "pan": "saucepan", "base": "water"}
                | {"schedule": [{"at": "0 s", "level": "30 %"}]}
            ],
        }
    )
    pair = paired(one_temperature(0), twins, design)
    found = credibility(
        design, pairs=[pair], planned=conditions_of(plan, design=design), left_out=()
    )
    alone = {(gap.only, gap.factor, gap.level) for gap in found.gaps}
    assert ("bench", "pan", "nonstick-pan") in alone
    assert ("simulated", "pan", "saucepan") in alone
    assert ("simulated", "power", "25 to 50 %") in alone
    assert not any(factor == "burner" for _, factor, _ in alone)


# -- twins -------------------------------------------------------------------------


def changed(recording, *, events=None, burners=None):
    reference = dataclasses.replace(
        recording.reference,
        events=recording.reference.events if events is None else events,
        sheet=recording.reference.sheet if burners is None else burners,
    )
    return dataclasses.replace(recording, reference=reference)


def test_a_twin_cooks_what_was_recorded(design) -> None:
    twin = bench_twin(one_temperature(0), design=design)
    one = twin.plan.burners[0]
    assert (one.burner, one.pan, one.base) == ("front-left", "nonstick-pan", "dry")
    assert [(float(s.at_s), float(s.level_frac)) for s in one.schedule] == [
        (0.0, 0.8),
        (OFF_S, 0.0),
    ]
    assert [probe.column for probe in twin.plan.probes] == ["tc0", "tc1", "tc2", "tc3", "tc4"]
    assert float(twin.design.surroundings.altitude_m) == 150.0


def test_what_a_sheet_lacks_is_named(design) -> None:
    cook = one_temperature(0)
    copper = bench_twin(changed(cook, burners=(sheet(material="copper"),)), design=design)
    assert copper.plan is None
    assert "no pan of the design is copper" in " ".join(copper.notes)
    cold = bench_twin(changed(cook, events=()), design=design)
    assert cold.plan is None
    assert "its heat is not known" in " ".join(cold.notes)
    fed = (*cook.reference.events, Event(60.0, "front-left", "food_in", "patty"))
    half = bench_twin(changed(cook, events=fed), design=design)
    assert half.until_s == 60.0
    assert "mass and diameter are not stated" in " ".join(half.notes)
    whole = (*cook.reference.events, Event(60.0, "front-left", "food_in", "patty", "150 g, 110 mm"))
    food = bench_twin(changed(cook, events=whole), design=design).plan.burners[0].food
    assert (food.kind, float(food.mass_kg), float(food.diameter_m)) == ("patty", 0.15, 0.11)


def test_other_contents_join_the_twins_design(design) -> None:
    oily = sheet(contents="oil", volume_m3=Figure(60e-6))
    twin = bench_twin(changed(one_temperature(0), burners=(oily,)), design=design)
    assert twin.plan.burners[0].base == "oil 60 mL"
    assert twin.design.base("oil 60 mL").contents == "oil"


def test_a_warm_start_is_not_followed(design) -> None:
    cook = one_temperature(0)
    first, *others = cook.reference.probes
    warm = dataclasses.replace(first, temperature_k=first.temperature_k + 60.0)
    reference = dataclasses.replace(cook.reference, probes=(warm, *others))
    twin = bench_twin(dataclasses.replace(cook, reference=reference), design=design)
    assert twin.plan is None
    assert "starts cold" in " ".join(twin.notes)
