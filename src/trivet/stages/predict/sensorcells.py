"""The questions of the sensor comparison: one function a question, card in, cell out."""

from __future__ import annotations

import math
from collections.abc import Callable

from trivet.models.contents import bare_range, fits, seen_of
from trivet.models.predicted import best_views
from trivet.physics.geometry.coverage import ENOUGH_PIXELS_ACROSS
from trivet.records.comparison import UNKNOWN, Cell, Kind
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.prediction import Budget
from trivet.stages.predict.readings import Wanted, error_budgets
from trivet.stages.predict.sensormoney import money_questions
from trivet.stages.predict.sensortrial import Trial, spec_words
from trivet.stages.predict.views import best_view
from trivet.units import celsius, kelvin

ERROR_AT_C = (100.0, 230.0)


Question = tuple[str, Kind, Callable[[Trial], Cell]]


def questions(design: Design) -> tuple[Question, ...]:
    """Return every question with its kind and what answers it for a card."""
    errors: tuple[Question, ...] = tuple(
        (f"95 % error of a dark dry pan at {at:.0f} °C", "difference", _error(design, kelvin(at)))
        for at in ERROR_AT_C
    )
    return (
        ("pans covered, of all pans on all burners", "fraction", _covered),
        ("least margin of a rim", "length", _least_margin),
        ("fewest pixels across the smallest pan", "number", _pixels(design, "smallest")),
        ("fewest pixels across the median pan", "number", _pixels(design, "median")),
        ("10 pixels across every pan", "words", _enough),
        ("dark dry pan measurable", "words", _measurable(design)),
        *errors,
        ("range headroom over the highest limit", "difference", _headroom),
        ("drift right after wake", "difference", _figure("settle_delta_k", "settle_offset")),
        ("settles within", "time", _figure("settle_s", "settle")),
        *money_questions(),
    )


def _optics(trial: Trial) -> str:
    card = trial.card
    specs = ("fov_h", card.fov_h_rad), ("fov_v", card.fov_v_rad), ("lens", card.lens)
    size = f"{card.rows} x {card.cols}"
    mounts = ", ".join(
        f"heads.{head.name}.mount.height = {head.mount.height_m.text}"
        for head in trial.design.heads
    )
    return f"{size}, {', '.join(spec_words(*one) for one in specs)}; {mounts}"


def _covered(trial: Trial) -> Cell:
    best = best_views(trial.seen.views).values()
    share = sum(view.margin_m >= 0.0 for view in best) / len(best)
    return Cell(share, "", f"share of views with margin_m >= 0; {_optics(trial)}")


def _least_margin(trial: Trial) -> Cell:
    worst = min(best_views(trial.seen.views).values(), key=lambda view: view.margin_m)
    where = f"views[{worst.head}, {worst.burner}, {worst.pan}].margin_m"
    return Cell(worst.margin_m, "", f"{where}; {_optics(trial)}")


def _pixels(design: Design, which: str) -> Callable[[Trial], Cell]:
    pans = sorted(design.pans, key=lambda pan: float(pan.diameter_m))
    pan = pans[0] if which == "smallest" else pans[(len(pans) - 1) // 2]

    def ask(trial: Trial) -> Cell:
        found = [
            view
            for burner in trial.design.burners
            if (view := best_view(trial.seen.views, burner=burner.name, pan=pan.name)) is not None
        ]
        if not found:
            return Cell(math.nan, "in no field", f"views[*, *, {pan.name}].pixels_across")
        worst = min(found, key=lambda view: view.pixels_across)
        where = f"views[{worst.head}, {worst.burner}, {worst.pan}].pixels_across"
        return Cell(worst.pixels_across, "", f"{where}; {_optics(trial)}")

    return ask


def _enough(trial: Trial) -> Cell:
    counts = [view.pixels_across for view in best_views(trial.seen.views).values()]
    ok = all(count >= ENOUGH_PIXELS_ACROSS for count in counts)
    return Cell(math.nan, "yes" if ok else "no", f"views[*].pixels_across; {_optics(trial)}")


def _dark(design: Design) -> tuple[str, str]:
    """Return the base and the pan that are read best: dry, of highest emissivity."""
    pan = max(design.pans, key=lambda one: bare_range(one)[0])
    bases = [one for one in design.bases if fits(one, pan=pan) and seen_of(one, pan=pan) == "pan"]
    dry = [one for one in bases if one.contents == "dry"]
    chosen = (dry or bases or list(design.bases))[0]
    return chosen.name, pan.name


def _budget(trial: Trial, design: Design, temperature_k: float) -> Budget:
    base, pan = _dark(design)
    wanted = [Wanted(design.base(base), design.pan(pan), temperature_k)]
    return error_budgets(trial.design, seen=trial.seen, wanted=wanted, part="comparison")[0]


def _budget_source(design: Design, trial: Trial, temperature_k: float) -> str:
    card = trial.card
    specs = (
        ("accuracy", card.accuracy_delta_k),
        ("accuracy_gain", card.accuracy_gain_frac),
        ("netd", card.netd_delta_k),
        ("blur_px", card.blur_px),
        ("housing_drift", card.housing_drift_per_k),
    )
    base, pan = _dark(design)
    where = f"budgets[{base}, {pan}, {celsius(temperature_k):.0f} degC].u95_k"
    return f"{where}; {', '.join(spec_words(*one) for one in specs)}"


def _error(design: Design, temperature_k: float) -> Callable[[Trial], Cell]:
    def ask(trial: Trial) -> Cell:
        budget = _budget(trial, design, temperature_k)
        source = _budget_source(design, trial, temperature_k)
        if trial.card.accuracy_delta_k is None and trial.card.accuracy_gain_frac is None:
            return Cell(math.nan, UNKNOWN, f"{source}: the card states no accuracy")
        if not budget.measurable and not math.isfinite(budget.u95_k):
            return Cell(math.nan, "not measurable", f"{source}: {budget.reason}")
        if not budget.measurable:
            value = f"not measurable (±{budget.u95_k:.0f} K)"
            return Cell(budget.u95_k, value, f"{source}: {budget.reason}")
        return Cell(budget.u95_k, "", f"{source}: {budget.reason}")

    return ask


def _measurable(design: Design) -> Callable[[Trial], Cell]:
    def ask(trial: Trial) -> Cell:
        texts = []
        for at in ERROR_AT_C:
            budget = _budget(trial, design, kelvin(at))
            if not budget.measurable:
                texts.append(f"{at:.0f} °C: {budget.reason}")
        source = _budget_source(design, trial, kelvin(ERROR_AT_C[-1]))
        missing = trial.card.accuracy_delta_k is None and trial.card.accuracy_gain_frac is None
        if missing:
            return Cell(math.nan, UNKNOWN, f"{source}: the card states no accuracy")
        answer = "yes" if not texts else "no" if len(texts) == len(ERROR_AT_C) else "in part"
        return Cell(math.nan, answer, "; ".join([source, *texts]))

    return ask


def _headroom(trial: Trial) -> Cell:
    high, limits = trial.card.range_high_k, trial.design.limits
    if not limits:
        return Cell(math.nan, "no limit", "limits: the design states none")
    top = max(limits, key=lambda limit: float(limit.value_k))
    source = f"range_high - limits.{top.name}; {spec_words('range_high', high)}, {top.value_k.text}"
    if high is None:
        return Cell(math.nan, UNKNOWN, source)
    return Cell(float(high) - float(top.value_k), "", source)


def _figure(field: str, key: str) -> Callable[[Trial], Cell]:
    def ask(trial: Trial) -> Cell:
        value: Figure | None = getattr(trial.card, field)
        source = f"sensors.{trial.card.name}.{key}"
        if value is None:
            return Cell(math.nan, UNKNOWN, f"{source}: the card does not say")
        return Cell(float(value), "", f"{source} = {value.text} ({value.origin})")

    return ask
