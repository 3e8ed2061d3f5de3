"""The spine: one chain of stages over a project folder.

``Chain`` is the house's table in code. Every link takes the records before it,
looks whether the store already has its result for just these inputs and this
code, and computes it otherwise. It alone joins stages, files and report.
Stages are imported where they are run, so that a command waits only for its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Literal

from trivet.errors import HandoffRefusedError
from trivet.files import store
from trivet.files.atomic import write_text
from trivet.flow.cooks import CookEntry, Tell, silent
from trivet.flow.recordings import Recordings
from trivet.flow.versions import code_version
from trivet.models.windowloss import window_loss_frac
from trivet.records.alertlog import AlertLog, DeviceState
from trivet.records.bundle import FirmwareBundle
from trivet.records.calibration import Calibration
from trivet.records.dossier import Chart, Dossier, ShownCook
from trivet.records.estimate import Estimate
from trivet.records.prediction import Remedies
from trivet.records.provenance import fingerprint
from trivet.records.reporting import ReporterChoice
from trivet.records.requirement import Evidence
from trivet.records.trade import TradeStudy
from trivet.records.verdict import ProofCook, Verdict

Reader = Literal["host", "device"]
"""Whose reading alerts and verdict rest on: the estimate's, or the firmware's."""


class Chain(Recordings):
    """All stages of one project, each computed when first asked for and kept."""

    def __init__(
        self,
        folder: Path,
        *,
        fresh: bool = False,
        tell: Tell = silent,
        reader: Reader = "host",
    ):
        super().__init__(folder, fresh=fresh, tell=tell)
        self.reader = reader
        self._estimates: dict[str, Estimate] = {}

    @cached_property
    def remedies(self) -> Remedies:
        """What each declared change does to each predicted requirement that fails."""
        from trivet.stages.predict import remedies

        prediction = self.prediction
        return self._stage(
            "remedies",
            Remedies,
            (self.design, prediction),
            lambda: remedies(self.design, prediction),
        )

    @cached_property
    def trade(self) -> TradeStudy:
        """The design's options by weighted criteria, and how firmly the winner stands."""
        from trivet.stages.predict.tradeoff import trade

        return self._stage("trade", TradeStudy, (self.design,), lambda: trade(self.design))

    def calibration(self, evidence: Evidence) -> Calibration:
        """Return the calibration from the calibration cooks of one grade of evidence."""
        fitted = self._fitted(evidence)
        if self.design.estimation.reporter != "ranked":
            return fitted
        choice = self.reporters(evidence)
        return replace(fitted, reporter=choice.chosen, reporter_reason=choice.reason)

    def reporters(self, evidence: Evidence) -> ReporterChoice:
        """Return which reporter the calibration cooks of a grade favour: each reads them all."""
        from trivet.stages.calibrate.reporters import REPORTERS, TriedCook, rank_reporters
        from trivet.stages.estimate import estimate

        fitted, design = self._fitted(evidence), self.design

        def ranked() -> ReporterChoice:
            cooks = []
            entries = self._calibration_cooks(evidence)
            for done, entry in enumerate(entries):
                self.tell("reporters", done, len(entries))
                recording = self.recording(entry)
                readings = {
                    one: estimate(
                        recording.inputs,
                        design=design,
                        calibration=replace(fitted, reporter=one),
                    )
                    for one in REPORTERS
                }
                cooks.append(TriedCook(recording, entry.group, readings))
            self.tell("reporters", len(entries), len(entries))
            return rank_reporters(cooks, design=design)

        return self._stage("reporters", ReporterChoice, (design, fitted), ranked)

    def _calibration_cooks(self, evidence: Evidence) -> list[CookEntry]:
        may = [one for one in self.cooks if one.plan is None or one.plan.purpose == "calibration"]
        return [
            entry
            for entry in may
            if (recording := self.recording(entry)).purpose == "calibration"
            and recording.evidence == evidence
        ]

    def _fitted(self, evidence: Evidence) -> Calibration:
        from trivet.stages.calibrate import calibrate

        chosen = [self.recording(entry) for entry in self._calibration_cooks(evidence)]
        return self._stage(
            "calibrate",
            Calibration,
            (self.design, *chosen),
            lambda: calibrate(self.design, recordings=chosen),
        )

    def moved_mounts(self, evidence: Evidence) -> tuple[str, ...]:
        """Return which recordings of a grade see the pans elsewhere than the calibration does."""
        from trivet.stages.calibrate.mountings import moved_since

        calibration = self.calibration(evidence)
        return tuple(
            text
            for recording in map(self.recording, self.cooks)
            if recording.evidence == evidence
            for text in moved_since(recording, design=self.design, calibration=calibration)
        )

    def estimate(self, entry: CookEntry) -> Estimate:
        """Return the readings of one cook, by the reader of this chain."""
        if self.reader == "device":
            return self.device_estimate(entry)
        return self.host_estimate(entry)

    def host_estimate(self, entry: CookEntry) -> Estimate:
        """Return the readings of one cook by the estimate."""
        from trivet.stages.calibrate.unit import refuse_other_unit
        from trivet.stages.estimate import estimate

        if entry.name not in self._estimates:
            recording = self.recording(entry)
            calibration = self.calibration(recording.evidence)
            refuse_other_unit(calibration, recording)
            self._estimates[entry.name] = self._stage(
                "estimate",
                Estimate,
                (self.design, calibration, recording.inputs),
                lambda: estimate(recording.inputs, design=self.design, calibration=calibration),
            )
        return self._estimates[entry.name]

    def alerts(self, entry: CookEntry) -> AlertLog:
        """Return the alert log of one cook."""
        return self.alerts_of(entry, self.estimate(entry))

    def alerts_of(self, entry: CookEntry, read: Estimate) -> AlertLog:
        """Return the alert log of one cook as some reading of it gives it."""
        from trivet.stages.alert import alert, watching

        recording = self.recording(entry)
        inputs = recording.inputs
        state = DeviceState(
            window_loss_frac=window_loss_frac(self.design, self.calibration(recording.evidence))
        )
        return self._stage(
            "alert",
            AlertLog,
            (self.design, inputs, state, read),
            lambda: alert(
                read,
                design=self.design,
                told=inputs.told,
                watch=watching(inputs, design=self.design, state=state),
                state=state,
            ),
        )

    @cached_property
    def proof_cooks(self) -> tuple[CookEntry, ...]:
        """The cooks kept for proof; each is read on the way, with progress."""
        chosen = []
        for done, entry in enumerate(self.cooks):
            self.tell("cooks", done, len(self.cooks))
            if self.recording(entry).purpose == "proof":
                chosen.append(entry)
        self.tell("cooks", len(self.cooks), len(self.cooks))
        return tuple(chosen)

    @cached_property
    def verdict(self) -> Verdict:
        """Requirement by requirement, from the proof cooks."""
        from trivet.stages.verify import verify

        cooks = []
        for done, entry in enumerate(self.proof_cooks):
            self.tell("readings", done, len(self.proof_cooks))
            recording = self.recording(entry)
            cooks.append(
                ProofCook(
                    name=entry.name,
                    plan=entry.group,
                    evidence=recording.evidence,
                    estimate=self.estimate(entry),
                    alerts=self.alerts(entry),
                    reference=recording.reference,
                    truth=self.truth(entry),
                )
            )
        self.tell("readings", len(self.proof_cooks), len(self.proof_cooks))
        return self._stage(
            "verify",
            Verdict,
            (self.design, self.prediction, *cooks),
            lambda: verify(self.design, prediction=self.prediction, cooks=cooks),
        )

    @cached_property
    def grades(self) -> tuple[Evidence, ...]:
        """Grades of evidence that the project's recordings have."""
        found = {
            "simulated" if entry.plan else self.recording(entry).evidence for entry in self.cooks
        }
        order: tuple[Evidence, ...] = ("simulated", "bench")
        return tuple(grade for grade in order if grade in found)

    @cached_property
    def hashes(self) -> dict[str, str]:
        """Hashes of what the verdict rests on."""
        return {
            "design": fingerprint(self.design),
            "prediction": fingerprint(self.prediction),
            **{
                f"calibration, {grade}": fingerprint(self.calibration(grade))
                for grade in self.grades
            },
            "verdict": fingerprint(self.verdict),
            "code": code_version(),
        }

    @cached_property
    def dossier(self) -> Dossier:
        """The review."""
        from trivet.present.dossier import dossier
        from trivet.stages.predict.comparison import compare_sensors

        shown = [
            ShownCook(
                recording=self.recording(entry),
                estimate=self.estimate(entry),
                alerts=self.alerts(entry),
                truth=self.truth(entry),
            )
            for entry in self.proof_cooks
        ]
        verdict = self.verdict
        self.tell("dossier", 0, 1)
        return dossier(
            self.design,
            prediction=self.prediction,
            calibrations=[self.calibration(grade) for grade in self.grades],
            cooks=shown,
            verdict=verdict,
            hashes=self.hashes,
            sensors=compare_sensors(self.design),
            remedies=self.remedies,
        )

    def write_dossier(self) -> Path:
        """Render the dossier and return where its page lies."""
        from trivet.present import render_html

        page = render_html(self.dossier, display=self.design.display)
        self.tell("dossier", 1, 1)
        return store.save_page(self.folder, "dossier", page)

    def write_pictures(self, folder: Path) -> tuple[Path, ...]:
        """Write the pictures of the prediction as SVG files and return where they lie."""
        from trivet.present.dossier import prediction_charts

        charts = prediction_charts(self.design, prediction=self.prediction)
        return self._write_charts(charts, folder)

    def _write_charts(self, charts: Iterable[Chart], folder: Path) -> tuple[Path, ...]:
        from trivet.present.figures import chart_file

        written = []
        for at, chart in enumerate(charts):
            words = re.sub(r"[^a-z0-9]+", "-", chart.title.lower()).strip("-")
            text = chart_file(chart, display=self.design.display)
            written.append(folder / f"{at + 1:02d}-{words}.svg")
            write_text(written[-1], text)
        return tuple(written)

    def device_estimate(self, entry: CookEntry) -> Estimate:
        """Return what the firmware would say of one cook."""
        from trivet.stages.calibrate.unit import refuse_other_unit
        from trivet.stages.devicereading import device_estimate

        recording = self.recording(entry)
        calibration = self.calibration(recording.evidence)
        refuse_other_unit(calibration, recording)
        return self._stage(
            "device-estimate",
            Estimate,
            (self.design, calibration, recording.inputs),
            lambda: device_estimate(recording.inputs, design=self.design, calibration=calibration),
        )

    @cached_property
    def device_verdict(self) -> Verdict:
        """The verdict on what the firmware would say of the proof cooks."""
        if self.reader == "device":
            return self.verdict
        other = Chain(self.folder, fresh=self.fresh, tell=self.tell, reader="device")
        return other.verdict

    @cached_property
    def device_compared(self) -> tuple[str, ...]:
        """How the firmware's reading differs from its exact twin and from the estimate."""
        from trivet.flow.shipped import device_compared

        return device_compared(self)

    def bundle(self, *, unproven: bool) -> FirmwareBundle:
        """Return what is handed to the firmware; refused without a passing verdict."""
        from trivet.flow.shipped import replayed_cooks
        from trivet.stages.handoff import handoff

        if not unproven and self.verdict.passes and not self.device_verdict.passes:
            open_ones = [r for r in self.device_verdict.requirements if r.decision != "met"]
            raise HandoffRefusedError(
                "the verdict passes on the estimate, but not on the reading that is shipped ("
                + ", ".join(f"{one.id} {one.decision}" for one in open_ones)
                + "): see 'trivet prove --reader device'"
            )
        grade: Evidence = "bench" if "bench" in self.grades else "simulated"
        return handoff(
            self.design,
            calibration=self.calibration(grade),
            verdict=self.verdict,
            hashes=self.hashes,
            cooks=replayed_cooks(self),
            compared=self.device_compared,
            unproven=unproven,
        )
