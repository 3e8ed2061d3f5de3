"""Records as tables on the terminal: one function a record, each returns something to print.

Texts from files become :class:`rich.text.Text`, so that no name acts as markup.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from trivet.present.console_parts import (
    SIGNS,
    difference_text,
    rate_text,
    share_text,
    temperature_text,
    text_group,
    text_line,
    text_table,
)
from trivet.quality import Quality, reason
from trivet.records.alertlog import AlertLog
from trivet.records.calibration import DRIFT_TERMS, POSE_TERMS, Calibration
from trivet.records.design import Display
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.prediction import Prediction
from trivet.records.recording import Note, Recording
from trivet.records.requirement import OF_WORDS
from trivet.records.verdict import Verdict
from trivet.units import show_length

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table


def show_prediction(
    prediction: Prediction, *, display: Display, whole: bool = False
) -> RenderableType:
    """Return the prediction on one page, and after it every table where all is asked for."""
    from trivet.present.console_prediction import prediction_page
    from trivet.present.console_seeing import show_seeing

    page = prediction_page(prediction, display=display)
    if not whole:
        return page
    return text_group(
        page,
        _views(prediction, display),
        show_seeing(prediction.seeing, display=display),
        *_budgets(prediction, display),
        _ranges(prediction, display),
        _margins(prediction, display),
        *[text_line(f"Caution: {text}") for text in prediction.cautions],
        text_line(f"{len(prediction.assumed)} figures of the design are assumed."),
    )


def _views(prediction: Prediction, display: Display) -> Table:
    rows = [
        (
            one.burner,
            one.pan,
            one.head,
            share_text(one.rim_in_view_frac),
            show_length(one.margin_m, display.length),
            f"{one.pixels_across:.1f}",
            share_text(one.visible_base_frac),
        )
        for one in prediction.views
    ]
    columns = ("burner", "pan", "head", "rim in view>", "margin>", "pixels>", "base visible>")
    return text_table("View (predicted)", columns, rows)


def _budgets(prediction: Prediction, display: Display) -> list[Table]:
    """Return a table a base: the larger of both half-widths, a column a temperature."""
    tables = []
    for base in dict.fromkeys(one.base for one in prediction.budgets):
        budgets = [one for one in prediction.budgets if one.base == base]
        heats = sorted({one.temperature_k for one in budgets})
        cases: dict[tuple[str, str], dict[float, str]] = {}
        for one in budgets:
            u95 = difference_text(one.u95_k, display)
            text = f"±{u95}" if one.measurable else "blind"
            cases.setdefault((one.pan, one.of), {})[one.temperature_k] = text
        rows = [(*case, *(cells.get(heat, "–") for heat in heats)) for case, cells in cases.items()]
        columns = ("pan", "of", *(f"{temperature_text(heat, display)}>" for heat in heats))
        title = f"Base {base}: 95 % half-width (predicted); blind: not measurable"
        tables.append(text_table(title, columns, rows))
    return tables


def _ranges(prediction: Prediction, display: Display) -> Table:
    rows = [
        (
            one.head,
            one.limit,
            temperature_text(one.limit_k, display),
            temperature_text(one.range_high_k, display),
            difference_text(one.headroom_k, display),
        )
        for one in prediction.ranges
    ]
    return text_table("Range", ("head", "limit", "at>", "range ends>", "headroom>"), rows)


def _margins(prediction: Prediction, display: Display) -> Table:
    rows = [
        (
            one.alert,
            one.limit,
            rate_text(one.rate_kps, display),
            temperature_text(one.trip_k, display),
            f"{one.lead_s:.0f} s" if math.isfinite(one.lead_s) else "unknown",
            "yes" if one.possible else "no",
            one.note,
        )
        for one in prediction.margins
    ]
    columns = ("alert", "limit", "rate>", "trips at>", "lead left>", "possible", "remark")
    return text_table("Alert margins (predicted)", columns, rows)


def show_verdict(verdict: Verdict) -> RenderableType:
    """Return every requirement with its decision, and its evidence a line each."""
    rows = []
    for one in verdict.requirements:
        mark = f"{SIGNS[one.decision]} {one.decision}"
        rows.append((one.id, mark, one.text, one.limit, one.reason))
        for line in one.lines:
            if line.text in one.reason and len(one.lines) == 1:
                continue
            within = ", within the simulator" if line.evidence == "simulated" else ""
            rows.append(("", "", f"  {line.evidence}{within}", "", line.text))
    counts: Counter[str] = Counter(one.decision for one in verdict.requirements)
    tail = ", ".join(f"{counts[word]} {word}" for word in SIGNS)
    columns = ("requirement", "decision", "what must hold", "limit", "why; evidence")
    return text_group(text_table("Verdict", columns, rows), text_line(f"{tail}."))


def show_calibration(calibration: Calibration, *, moved: tuple[str, ...] = ()) -> RenderableType:
    """Return each term with its standard uncertainty, fitted or nominal, and why."""
    rows: list[tuple[str, ...]] = []
    for head in calibration.heads:
        for terms, part in ((POSE_TERMS, head.pose), (DRIFT_TERMS, head.drift)):
            spread = np.sqrt(np.maximum(np.diag(part.covariance), 0.0))
            for name, value, u in zip(terms, part.value, spread, strict=True):
                rows.append((head.head, name, f"{value:.5g}", f"{u:.2g}", part.how, part.reason))
        u = f"{head.transmittance_u:.2g}"
        why = head.transmittance_reason
        tau, how = f"{head.transmittance:.4g}", head.transmittance_how
        rows.append((head.head, "transmittance", tau, u, how, why))
        if np.isfinite(head.reflected_k):
            value, u = f"{head.reflected_k:.5g}", f"{head.reflected_u_k:.2g}"
            rows.append((head.head, "reflected_k", value, u, "fitted", head.reflected_reason))
        if head.pixels is not None:
            u = f"{head.pixels.residual_rms_k:.2g}"
            rows.append((head.head, "pixels", "", u, "fitted", head.pixels.reason))
    columns = ("head", "term", "value>", "u>", "how", "why")
    surfaces = [
        (
            one.contents,
            one.finish or "any",
            f"{one.emissivity:.3f}",
            f"{one.emissivity_u:.3f}",
            str(one.cooks),
            one.how,
            one.reason,
        )
        for one in calibration.surfaces
    ]
    heads = ("contents", "finish", "emissivity>", "u>", "cooks>", "how", "why")
    made_on = ", ".join(unit or "one without a name" for unit in calibration.units)
    return text_group(
        text_table(f"Heads ({calibration.evidence}; SI units)", columns, rows),
        text_table(f"Surfaces ({calibration.evidence})", heads, surfaces) if surfaces else None,
        text_line(f"Made on sensor unit {made_on}") if made_on else None,
        *[text_line(f"Refused: {text}") for text in calibration.refusals],
        *[text_line(f"To do: {text}") for text in (*calibration.advice, *moved)],
    )


def show_estimate(estimate: Estimate, *, display: Display) -> RenderableType:
    """Return a row a burner: last reading, share of moments with one, why not otherwise."""
    rows = [_estimate_row(one, display) for one in estimate.burners]
    columns = ("burner", "head", "moments>", "with a reading>", "last reading", "of", "highest>",
               "withheld for")  # fmt: skip
    return text_table("Estimate", columns, rows)


def _estimate_row(one: BurnerEstimate, display: Display) -> tuple[str, ...]:
    good = one.valid
    lost = Counter(reason(Quality(int(flags))).replace("_", " ") for flags in one.flags[~good])
    withheld = ", ".join(f"{word} {count}" for word, count in lost.most_common(3)) or "–"
    last, of = "no moment", "–"
    if good.size and good[-1]:
        half = difference_text(float(one.u95_k[-1]), display)
        last = f"{temperature_text(float(one.reported_k[-1]), display)} ± {half}"
        of = OF_WORDS[one.of[-1]].replace("_", " ") if one.of[-1] >= 0 else "–"
    elif good.size:
        last = f"no reading: {reason(Quality(int(one.flags[-1]))).replace('_', ' ')}"
    top = (
        temperature_text(float(np.max(one.reported_k[good])), display)
        if good.any()
        else "no reading"
    )
    share = share_text(float(good.mean())) if good.size else "none"
    return (one.burner, one.head, str(good.size), share, last, of, top, withheld)


def show_alerts(log: AlertLog) -> RenderableType:
    """Return every change of every alert."""
    rows = [
        (f"{one.time_s:.1f}", one.burner, one.alert, one.state, one.note) for one in log.changes
    ]
    if not rows:
        return text_line("No alert changed.")
    return text_table("Alerts", ("time / s>", "burner", "alert", "state", "note"), rows)


def show_check(notes: Sequence[Note]) -> RenderableType:
    """Return what is legal but unwise, where, and what to do."""
    if not notes:
        return text_line("Nothing to remark.")
    rows = [(one.what, one.where, one.advice) for one in notes]
    return text_table("Remarks", ("what", "where", "what to do"), rows)


def show_recording(recording: Recording) -> RenderableType:
    """Return what a recording holds, and what its import found."""
    rows = [
        (
            head.head,
            str(head.time_s.size),
            f"{head.time_s[-1] - head.time_s[0]:.1f}" if head.time_s.size else "0",
            " x ".join(str(size) for size in head.apparent_k.shape[1:]),
            share_text(float(np.isfinite(head.apparent_k).mean()))
            if head.apparent_k.size
            else "none",
        )
        for head in recording.inputs.heads
    ]
    columns = ("head", "frames>", "length / s>", "pixels>", "pixels with a value>")
    title = f"{recording.name}: {recording.purpose}, {recording.evidence}"
    reference = recording.reference
    tail = f"{len(reference.probes)} reference probes, {len(reference.events)} events."
    notes = show_check(recording.notes) if recording.notes else None
    return text_group(text_table(title, columns, rows), text_line(tail), notes)
