"""Every proof cook through the alerts, the account of them, and faults put into one."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from trivet.flow.campaign import campaign_cooks
from trivet.flow.chain import Chain
from trivet.models.windowloss import window_loss_frac
from trivet.records.alertaccount import AlertCase, AlertStudy, FaultRow
from trivet.records.alertlog import AlertChange, AlertLog, DeviceState, Watch
from trivet.records.campaign import SweepCook
from trivet.records.cook import cook_name
from trivet.records.dossier import Line, ShownCook
from trivet.records.estimate import Estimate
from trivet.records.recording import ProductInput, Recording, Truth
from trivet.records.verdict import ProofCook

MAX_PICTURES = 40
BEFORE_S = 15.0
"""Faults are put in so long before the most urgent alert would come."""


@dataclass(frozen=True)
class CookCases:
    """The cases of one cook, as they are kept."""

    cases: tuple[AlertCase, ...]


@dataclass(frozen=True)
class Heard:
    """One cook with what the product said."""

    recording: Recording
    truth: Truth | None
    estimate: Estimate
    alerts: AlertLog


class AlertChain(Chain):
    """A project whose alerts are accounted for."""

    def alert_study(self, *, limit: int | None = None) -> AlertStudy:
        """Return the account over the proof cooks, those of the matrices among them."""
        from trivet.scoring import alert_study

        cases: list[AlertCase] = []
        planned = self._planned(limit)
        for done, cook in enumerate(planned):
            self.tell("cooks", done, len(planned))
            cases += self._simulated_cases(cook)
        self.tell("cooks", len(planned), len(planned))
        bench = [one for one in self.cooks if one.folder is not None]
        for entry in bench:
            if self.recording(entry).purpose == "proof":
                heard = Heard(self.recording(entry), None, self.estimate(entry), self.alerts(entry))
                cases += self._cases(heard, entry.group, "").cases
        faults = self._faults(cases, planned)
        return alert_study(self.design, cases=cases, faults=faults)

    def _planned(self, limit: int | None) -> Sequence[SweepCook]:
        return campaign_cooks(self)[:limit] if self.cook_set else ()

    def _simulated_cases(self, cook: SweepCook) -> tuple[AlertCase, ...]:
        inputs = (self.design, self.calibration("simulated"), cook.plan, cook.repeat)
        kept = self._stage(
            "alertcases",
            CookCases,
            inputs,
            lambda: self._cases(self.heard(cook), cook.combination, cook.plan.style),
        )
        return kept.cases

    def heard(self, cook: SweepCook) -> Heard:
        """Return one planned cook with what the product says; nothing of it is stored."""
        from trivet.stages.simulate import simulate

        made = simulate(self.design, plan=cook.plan, repeat=cook.repeat)
        estimate, log = self._said(made.recording.inputs)
        return Heard(made.recording, made.truth, estimate, log)

    def _cases(self, heard: Heard, plan: str, style: str) -> CookCases:
        from trivet.scoring import alert_cases

        proof = ProofCook(
            name=heard.recording.name,
            plan=plan,
            evidence=heard.recording.evidence,
            estimate=heard.estimate,
            alerts=heard.alerts,
            reference=heard.recording.reference,
            truth=heard.truth,
        )
        return CookCases(alert_cases(proof, design=self.design, style=style))

    def _read(self, inputs: ProductInput) -> tuple[Estimate, Watch, DeviceState]:
        from trivet.stages.alert import watching
        from trivet.stages.estimate import estimate

        calibration = self.calibration("simulated")
        state = DeviceState(window_loss_frac=window_loss_frac(self.design, calibration))
        read = estimate(inputs, design=self.design, calibration=calibration)
        return read, watching(inputs, design=self.design, state=state), state

    def _said(self, inputs: ProductInput) -> tuple[Estimate, AlertLog]:
        from trivet.stages.alert import alert

        read, watch, state = self._read(inputs)
        log = alert(read, design=self.design, told=inputs.told, watch=watch, state=state)
        return read, log

    # -- faults ---------------------------------------------------------------

    def _faults(
        self, cases: Sequence[AlertCase], planned: Sequence[SweepCook]
    ) -> tuple[FaultRow, ...]:
        """Put each fault into the first oil cook with an urgent alert."""
        from trivet.stages.alert.injection import FAULTS

        urgent = {one.name for one in self.design.alerts if one.priority == "high"}
        hit = next(
            (one for one in cases if one.oily and one.alert in urgent and one.end == "in time"),
            None,
        )
        cook = next((c for c in planned if hit and cook_name(c.plan, c.repeat) == hit.cook), None)
        if hit is None or cook is None:
            return ()
        sound = self.heard(cook)
        at_s = hit.on_s - BEFORE_S
        return tuple(self._fault(name, sound, at_s) for name in FAULTS)

    def _fault(self, fault: str, sound: Heard, at_s: float) -> FaultRow:
        from trivet.stages.alert import injection

        log = self._faulty(fault, sound, at_s)
        # A clock that jumped back stamps what follows that much earlier.
        shift = injection.JUMP_S if fault == injection.CLOCK else 0.0
        kinds = {one.name: one.kind for one in self.design.alerts}
        telling = {
            injection.LINK: "link_lost",
            "housing over temperature": "housing_hot",
        }.get(fault, "loss_of_sight")
        after = log.changes[sum(c.time_s < at_s for c in sound.alerts.changes) :]
        said = next((c for c in after if c.state == "on" and kinds[c.alert] == telling), None)
        wanted = {
            (c.burner, c.alert)
            for c in sound.alerts.changes
            if c.state == "on" and c.time_s >= at_s and c.burner != "device"
        }
        told = {(c.burner, c.alert) for c in log.changes if c.state == "on"}
        blind = {
            c.burner for c in log.changes if c.state == "on" and kinds[c.alert] == "loss_of_sight"
        }
        lost = sum(one not in told and one[0] not in blind for one in wanted)
        silent = fault in (injection.CLOCK, injection.RESTART)
        return FaultRow(
            fault=fault,
            announced_s=0.0 if silent else (said.time_s + shift - at_s if said else math.inf),
            by="nothing to say: alerts stay, delays begin anew" if silent else _by(said),
            within_s=float(self.design.alerting.announce_within_s),
            lost=lost,
        )

    def _faulty(self, fault: str, sound: Heard, at_s: float) -> AlertLog:
        """Return what the product says of a cook with a fault from a moment on."""
        from trivet.stages.alert import alert, injection

        told = sound.recording.inputs.told
        inputs = injection.faulty_input(sound.recording.inputs, fault, at_s=at_s)
        if fault == injection.RESTART:
            return self._restarted(inputs, at_s)
        read, watch, state = self._read(inputs)
        if fault == injection.LINK:
            watch = injection.unlinked(watch, at_s=at_s)
        if fault == injection.CLOCK:
            time_s = injection.jumped_back(read.time_s, at_s=at_s)
            read, watch = replace(read, time_s=time_s), replace(watch, time_s=time_s)
        return alert(read, design=self.design, told=told, watch=watch, state=state)

    def _restarted(self, inputs: ProductInput, at_s: float) -> AlertLog:
        """Return the log over a restart: the reading begins anew, the machine's memory is kept."""
        from trivet.stages.alert import alert

        changes: tuple[AlertChange, ...] = ()
        memory = b""
        for first, last in ((-math.inf, at_s), (at_s + 5.0, math.inf)):
            heads = tuple(
                replace(
                    one,
                    **{
                        key: getattr(one, key)[(one.time_s >= first) & (one.time_s < last)]
                        for key in ("time_s", "apparent_k", "sensor_k", "awake_s")
                    },
                )
                for one in inputs.heads
            )
            read, watch, state = self._read(replace(inputs, heads=heads))
            state = replace(state, machine=memory)
            log = alert(read, design=self.design, told=inputs.told, watch=watch, state=state)
            changes, memory = (*changes, *log.changes), log.machine
        return AlertLog(changes, memory)

    # -- pictures -------------------------------------------------------------

    def write_case_pictures(
        self, study: AlertStudy, folder: Path, *, most: int = MAX_PICTURES
    ) -> tuple[Path, ...]:
        """Draw the trace of each cook with a missed, late or nuisance alert, urgent ones first."""
        from trivet.files.atomic import write_text
        from trivet.present.dossier import trace_chart
        from trivet.present.figures import chart_file

        written = []
        for done, case in enumerate(told := self.worth_drawing(study)[:most]):
            self.tell("pictures", done, len(told))
            heard = self._heard_again(case)
            read = next(b for b in heard.estimate.burners if b.burner == case.burner)
            shown = ShownCook(heard.recording, heard.estimate, heard.alerts, heard.truth)
            what = "nuisance" if case.nuisance else case.end
            chart = trace_chart(self.design, shown, read)
            apparent = Line(
                "apparent, over the pan", heard.estimate.time_s, read.apparent_k, style="apparent"
            )
            title = f"{case.alert}: {what}. {chart.title}"
            chart = replace(chart, title=title, lines=(*chart.lines, apparent))
            words = re.sub(r"[^a-z0-9]+", "-", f"{case.alert} {what} {case.cook}".lower())
            path = folder / f"{words}-{case.burner}.svg"
            write_text(path, chart_file(chart, display=self.design.display))
            written.append(path)
        self.tell("pictures", len(written), len(written))
        return tuple(written)

    def worth_drawing(self, study: AlertStudy) -> tuple[AlertCase, ...]:
        """Return the cases whose traces explain something, urgent ones first."""
        ranks = {
            one.name: ("high", "medium", "low").index(one.priority) for one in self.design.alerts
        }
        worth = [one for one in study.cases if one.nuisance or one.end in ("late", "missed")]
        return tuple(sorted(worth, key=lambda one: (ranks[one.alert], not one.nuisance)))

    def _heard_again(self, case: AlertCase) -> Heard:
        """Return the cook of a case with what the product says of it."""
        for cook in self._planned(None):
            if cook_name(cook.plan, cook.repeat) == case.cook:
                return self.heard(cook)
        entry = next(c for c in self.cooks if c.folder and self.recording(c).name == case.cook)
        return Heard(self.recording(entry), None, self.estimate(entry), self.alerts(entry))


def _by(change: AlertChange | None) -> str:
    return change.alert if change else "nothing"
