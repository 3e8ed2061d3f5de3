"""The questions that are put to variants: one registry, a predicted variant in, a cell out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from decimal import Decimal

import numpy as np

from trivet.errors import InputError
from trivet.models.bill import exact, extra_returns, full_order, sensor_cost
from trivet.models.contents import bare_range, fits, seen_of
from trivet.models.predicted import best_view, best_views
from trivet.physics.geometry.coverage import ENOUGH_PIXELS_ACROSS
from trivet.records.comparison import UNKNOWN, Cell, Kind
from trivet.records.design import Design, Pan
from trivet.records.figures import Figure
from trivet.records.prediction import Budget, BudgetCase, PanView, PredictionPart
from trivet.records.sensorcard import SensorCard
from trivet.stages.variants.changes import spec_words
from trivet.stages.variants.loop import PredictedVariant, VariantQuestion
from trivet.units import celsius, kelvin

ERROR_AT_C = (100.0, 230.0)  # own estimate: water at the boil, and a hot sear
Ask = Callable[[PredictedVariant], Cell]


def _question(text: str, kind: Kind, ask: Ask, *parts: PredictionPart) -> VariantQuestion:
    return VariantQuestion(text, kind, ask, frozenset(parts))


def _card(one: PredictedVariant) -> SensorCard:
    return one.design.card(one.design.heads[0])


# --------------------------------------------------------------------- seeing
def _heads(one: PredictedVariant) -> Cell:
    heads = one.design.heads
    text = ", ".join(f"{head.sensor} at {float(head.mount.height_m):.2f} m" for head in heads)
    return Cell(math.nan, text, "heads")


def _optics(one: PredictedVariant) -> str:
    """Say which specifications the views of a variant rest on."""
    words = []
    for head in one.design.heads:
        card = one.design.card(head)
        specs = ("fov_h", card.fov_h_rad), ("fov_v", card.fov_v_rad), ("lens", card.lens)
        words.append(
            f"{card.rows} x {card.cols}, {', '.join(spec_words(*spec) for spec in specs)},"
            f" heads.{head.name}.mount.height = {head.mount.height_m.text}"
        )
    return "; ".join(words)


def _covered(one: PredictedVariant) -> Cell:
    best = best_views(one.prediction.views).values()
    share = sum(view.margin_m >= 0.0 for view in best) / len(best)
    return Cell(share, "", f"share of views with margin_m >= 0; {_optics(one)}")


def _least(one: PredictedVariant, field: str, views: Iterable[PanView]) -> Cell:
    """Return the least of a field of views; in no field where there is none."""
    worst = min(views, key=lambda view: float(getattr(view, field)), default=None)
    if worst is None:
        return Cell(math.nan, "in no field", f"views[*].{field}; {_optics(one)}")
    where = f"views[{worst.head}, {worst.burner}, {worst.pan}].{field}"
    return Cell(float(getattr(worst, field)), "", f"{where}; {_optics(one)}")


def _least_best(field: str) -> Ask:
    return lambda one: _least(one, field, best_views(one.prediction.views).values())


def _pixels(one: PredictedVariant) -> Cell:
    best = best_views(one.prediction.views).values()
    return _least(one, "pixels_across", [v for v in best if math.isfinite(v.pixels_across)])


def _pixels_of(pan: Pan) -> Ask:
    def ask(one: PredictedVariant) -> Cell:
        own = (
            best_view(one.prediction.views, burner=burner.name, pan=pan.name)
            for burner in one.design.burners
        )
        return _least(one, "pixels_across", [view for view in own if view is not None])

    return ask


def _enough(one: PredictedVariant) -> Cell:
    counts = [view.pixels_across for view in best_views(one.prediction.views).values()]
    ok = all(count >= ENOUGH_PIXELS_ACROSS for count in counts)
    return Cell(math.nan, "yes" if ok else "no", f"views[*].pixels_across; {_optics(one)}")


def _mounted(one: PredictedVariant) -> Cell:
    found = one.prediction.seeing.tolerance
    if found is None:
        return Cell(math.nan, UNKNOWN, "seeing.tolerance: not predicted")
    bounds = f"{found.low_frac:.2%} to {found.high_frac:.2%} at 95 %"
    source = f"seeing.tolerance: {found.ok_draws} of {found.draws}, {bounds}"
    return Cell(found.ok_frac, "", source)


def _unseen(one: PredictedVariant) -> Cell:
    return Cell(math.nan, ", ".join(one.prediction.seeing.unseen) or "none", "seeing.unseen")


# --------------------------------------------------------------------- errors
def _measurable(one: PredictedVariant) -> Cell:
    budgets = one.prediction.budgets
    share = sum(each.measurable for each in budgets) / len(budgets) if budgets else math.nan
    return Cell(share, "" if budgets else UNKNOWN, "share of budgets[*].measurable")


def _widest_error(one: PredictedVariant) -> Cell:
    good = [each for each in one.prediction.budgets if each.measurable]
    if not good:
        return Cell(math.nan, "not measurable", "budgets: none is measurable")
    worst = max(good, key=lambda each: each.u95_k)
    where = f"budgets[{worst.base}, {worst.pan}, {worst.temperature_k:.0f} K].u95_k"
    return Cell(worst.u95_k, "", f"{where}: {worst.reason}")


def _median_error(one: PredictedVariant) -> Cell:
    known = [each.u95_k for each in one.prediction.budgets if each.measurable]
    value = float(np.median(known)) if known else math.nan
    return Cell(value, "" if known else "not measurable", "median of budgets[*].u95_k")


def _dark_cases(design: Design) -> tuple[BudgetCase, ...]:
    """Return the cases of the pan that is read best: dry, of highest emissivity."""
    pan = max(design.pans, key=lambda one: bare_range(one)[0])
    bases = [one for one in design.bases if fits(one, pan=pan) and seen_of(one, pan=pan) == "pan"]
    dry = [one for one in bases if one.contents == "dry"]
    chosen = (dry or bases or list(design.bases))[0]
    return tuple(BudgetCase(chosen.name, pan.name, kelvin(at)) for at in ERROR_AT_C)


def _budget_source(one: PredictedVariant, case: BudgetCase) -> str:
    card = _card(one)
    specs = (
        ("accuracy", card.accuracy_delta_k),
        ("accuracy_gain", card.accuracy_gain_frac),
        ("netd", card.netd_delta_k),
        ("blur_px", card.blur_px),
        ("housing_drift", card.housing_drift_per_k),
    )
    where = f"budgets[{case.base}, {case.pan}, {celsius(case.temperature_k):.0f} degC].u95_k"
    return f"{where}; {', '.join(spec_words(*spec) for spec in specs)}"


def _error_at(case: BudgetCase) -> Ask:
    def ask(one: PredictedVariant) -> Cell:
        budget: Budget = one.budgets[case]
        source = f"{_budget_source(one, case)}: {budget.reason}"
        if budget.measurable:
            return Cell(budget.u95_k, "", source)
        if not math.isfinite(budget.u95_k):
            return Cell(math.nan, "not measurable", source)
        return Cell(budget.u95_k, f"not measurable (±{budget.u95_k:.0f} K)", source)

    return ask


def _all_measurable(cases: tuple[BudgetCase, ...]) -> Ask:
    def ask(one: PredictedVariant) -> Cell:
        texts = [
            f"{celsius(case.temperature_k):.0f} °C: {one.budgets[case].reason}"
            for case in cases
            if not one.budgets[case].measurable
        ]
        answer = "yes" if not texts else "no" if len(texts) == len(cases) else "in part"
        return Cell(math.nan, answer, "; ".join([_budget_source(one, cases[-1]), *texts]))

    return ask


def _figure(field: str, key: str) -> Ask:
    def ask(one: PredictedVariant) -> Cell:
        value: Figure | None = getattr(_card(one), field)
        source = f"sensors.{_card(one).name}.{key}"
        if value is None:
            return Cell(math.nan, UNKNOWN, f"{source}: the card does not say")
        return Cell(float(value), "", f"{source} = {value.text} ({value.origin})")

    return ask


# --------------------------------------------------------------------- alerts
def _headroom(one: PredictedVariant) -> Cell:
    ranges = one.prediction.ranges
    if not ranges:
        return Cell(math.nan, "no limit", "ranges: the design states no limit")
    blind = [each for each in ranges if math.isnan(each.headroom_k)]
    if blind:
        return Cell(math.nan, UNKNOWN, f"ranges[{blind[0].head}]: the card states no range")
    worst = min(ranges, key=lambda each: each.headroom_k)
    return Cell(worst.headroom_k, "", f"ranges[{worst.head}, {worst.limit}].headroom_k")


def _margin_lead(one: PredictedVariant) -> Cell:
    margins = one.prediction.margins
    if not margins:
        return Cell(math.nan, "no alert", "margins: no alert has a limit")
    if not all(math.isfinite(each.lead_s) for each in margins):
        return Cell(math.nan, UNKNOWN, "margins: a lead is not known")
    worst = min(margins, key=lambda each: each.lead_s)
    return Cell(worst.lead_s, "", f"margins[{worst.alert}, {worst.rate_kps:g} K/s].lead_s")


def _case_lead(one: PredictedVariant) -> Cell:
    """Return the shortest lead over the cases that physics allows; no trip leaves none."""
    found = one.prediction.warning
    cases = [
        each
        for each in (found.cases if found else ())
        if each.outcome not in ("impossible", "ordinary cooking")
    ]
    leads = (0.0 if math.isnan(each.lead_s) else each.lead_s for each in cases)
    return Cell(min(leads, default=math.nan), "", "least of warning.cases[*].lead_s")


def _first_reading(one: PredictedVariant) -> Cell:
    found = one.prediction.warning
    value = math.nan if found is None else found.first_reading_at_s(0.95)
    return Cell(value, "", "warning.first_reading_s, 95 % of starts")


# ------------------------------------------------------------- life and money
def _days(one: PredictedVariant) -> Cell:
    life, battery = one.prediction.battery, one.design.battery
    source = (
        f"battery.days_p50; P10 {life.days_p10:.0f}, P90 {life.days_p90:.0f};"
        f" battery.measure = {battery.measure_w.text}{one.variant.notes.get('power', '')}"
    )
    return Cell(life.days_p50, "", source)


def _days_p10(one: PredictedVariant) -> Cell:
    return Cell(one.prediction.battery.days_p10, "", "battery.days_p10")


def _money_source(one: PredictedVariant, field: str) -> str:
    return "; ".join([f"economics.{field}", *filter(None, [one.variant.notes.get("price")])])


def _money(field: str) -> Ask:
    def ask(one: PredictedVariant) -> Cell:
        money = one.prediction.economics
        amount = Decimal(getattr(money, field))
        source = _money_source(one, field)
        return Cell(float(amount), f"{amount:.2f} {money.currency}", source)

    return ask


def _contribution_frac(one: PredictedVariant) -> Cell:
    return Cell(one.prediction.economics.contribution_frac, "", "economics.contribution_frac")


def _units(one: PredictedVariant) -> Cell:
    units = one.prediction.economics.break_even_units
    source = _money_source(one, "break_even_units")
    return Cell(math.nan, "never", source) if units is None else Cell(float(units), "", source)


def _board(one: PredictedVariant) -> Cell:
    card = _card(one)
    price, source = card.board_price, f"sensors.{card.name}.board_price"
    if price is None:
        return Cell(math.nan, UNKNOWN, f"{source}: the card does not say")
    return Cell(float(price.amount), str(price), f"{source} = {price}; {card.source}")


def _in_bill(one: PredictedVariant) -> Cell:
    """Return what the sensors of all heads cost in one unit at a full order."""
    source = f"costs.bill; {one.variant.notes.get('price', '')}"
    try:
        cost = sensor_cost(one.design)
    except InputError as error:
        return Cell(math.nan, UNKNOWN, f"{source}: {error}")
    if cost is None:
        return Cell(math.nan, UNKNOWN, f"{source}: no line is marked as the sensor")
    text = f"{cost:.2f} {one.design.costs.price.currency}"
    return Cell(float(cost), text, f"{source}; orders of {full_order(one.design.costs)} units")


def _returns(one: PredictedVariant) -> Cell:
    """Return the share of units returned: declared, for short life, for blind readings."""
    costs = one.design.costs
    source = (
        f"costs.returns = {costs.returns_frac.text}, returns_short_life ="
        f" {costs.returns_short_life_frac.text} of users under the claim, returns_blind ="
        f" {costs.returns_blind_frac.text} of budgets not measurable"
    )
    found = one.prediction
    extra = extra_returns(costs, life=found.battery, budgets=found.budgets)
    return Cell(float(min(exact(costs.returns_frac) + extra, Decimal(1))), "", source)


# ----------------------------------------------------------------- registries
PANS_COVERED = _question("pans covered, of all pans on all burners", "fraction", _covered)
MARGIN = _question("least margin of a rim", "length", _least_best("margin_m"))
DAYS = _question("days of a charge, P50", "days", _days, "battery")
CONTRIBUTION = _question("contribution of a unit", "money", _money("contribution"), "economics")
BREAK_EVEN = _question("break-even units", "number", _units, "economics")
DESIGN_QUESTIONS: tuple[VariantQuestion, ...] = (
    _question("heads", "words", _heads),
    PANS_COVERED,
    MARGIN,
    _question("all covered as mounted, probability", "fraction", _mounted, "seeing"),
    _question("burners seen by no head", "words", _unseen, "seeing"),
    _question("fewest pixels across a pan", "number", _pixels),
    _question("cases that are measurable", "fraction", _measurable, "budgets"),
    _question("widest 95 % error of a measurable case", "difference", _widest_error, "budgets"),
    _question("least range headroom over a limit", "difference", _headroom, "ranges"),
    _question("least lead of an alert", "time", _margin_lead, "margins"),
    DAYS,
    CONTRIBUTION,
    BREAK_EVEN,
    _question("cash trough", "money", _money("cash_trough"), "economics"),
)
"""What whole designs are compared by."""

TRADE_QUESTIONS: dict[str, VariantQuestion] = {
    "battery_days": _question("days of a charge, P10", "days", _days_p10, "battery"),
    "contribution_frac": _question(
        "contribution over net", "fraction", _contribution_frac, "economics"
    ),
    "unit_cost": _question("landed cost", "money", _money("landed_cost"), "economics"),
    "npv": _question("present value", "money", _money("npv"), "economics"),
    "rim_in_view": _question("rim in view", "fraction", _least_best("rim_in_view_frac")),
    "pixels_across": _question("pixels across", "number", _least_best("pixels_across")),
    "measurable": _question("cases that are measurable", "fraction", _measurable, "budgets"),
    "u95": _question("median 95 % error", "difference", _median_error, "budgets"),
    "range_headroom": _question("range headroom", "difference", _headroom, "ranges"),
    "lead": _question("shortest lead", "time", _case_lead, "margins", "warning"),
    "first_reading": _question("first reading", "time", _first_reading, "warning"),
}
"""What options of the trade study are scored by, under the names of ``TRADE_METRICS``."""


def sensor_questions(design: Design) -> tuple[VariantQuestion, ...]:
    """Return what sensor cards under a design's mounts are compared by."""
    pans = sorted(design.pans, key=lambda pan: float(pan.diameter_m))
    small, median = pans[0], pans[(len(pans) - 1) // 2]
    cases, budgets = _dark_cases(design), frozenset[PredictionPart]({"budgets"})
    errors = tuple(
        VariantQuestion(
            f"95 % error of a dark dry pan at {at:.0f} °C",
            "difference",
            _error_at(case),
            budgets,
            (case,),
        )
        for at, case in zip(ERROR_AT_C, cases, strict=True)
    )
    return (
        PANS_COVERED,
        MARGIN,
        _question("fewest pixels across the smallest pan", "number", _pixels_of(small)),
        _question("fewest pixels across the median pan", "number", _pixels_of(median)),
        _question("10 pixels across every pan", "words", _enough),
        VariantQuestion("dark dry pan measurable", "words", _all_measurable(cases), budgets, cases),
        *errors,
        _question("range headroom over the highest limit", "difference", _headroom, "ranges"),
        _question(
            "drift right after wake", "difference", _figure("settle_delta_k", "settle_offset")
        ),
        _question("settles within", "time", _figure("settle_s", "settle")),
        DAYS,
        _question("board price", "money", _board),
        _question("sensor in the bill of a unit", "money", _in_bill),
        _question("landed cost of a unit", "money", _money("landed_cost"), "economics"),
        _question("returns", "fraction", _returns, "economics"),
        CONTRIBUTION,
        BREAK_EVEN,
    )
