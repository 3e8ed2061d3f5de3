"""The spine: one chain of stages over a project folder.

``Chain`` is the house's table in code. Every link takes the records before it,
looks whether the store already has its result for just these inputs and this
code, and computes it otherwise. It alone joins stages, files and report.
Stages are imported where they are run, so that a command waits only for its own.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from trivet.errors import InputError, StorageError
from trivet.files import store
from trivet.files.cooks import read_cooks
from trivet.files.design import read_design
from trivet.records.alertlog import AlertLog
from trivet.records.bundle import FirmwareBundle
from trivet.records.calibration import Calibration
from trivet.records.cook import CookPlan, CookPlans, cook_name
from trivet.records.design import Design
from trivet.records.dossier import Dossier, ShownCook
from trivet.records.estimate import Estimate
from trivet.records.prediction import Prediction, Remedies
from trivet.records.provenance import fingerprint
from trivet.records.recording import Recording, SimulatedCook, Truth
from trivet.records.requirement import Evidence
from trivet.records.verdict import ProofCook, Verdict

Record = TypeVar("Record")
Tell = Callable[[str, int, int], None]
"""Called with a task, how many of its steps are done, and how many there are."""


def _silent(task: str, done: int, total: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class CookEntry:
    """One cook of the project: planned to be simulated, or recorded on the bench."""

    name: str
    group: str
    """Cook plan or bench folder; repeats share it."""
    plan: CookPlan | None
    repeat: int
    folder: Path | None


class Chain:
    """All stages of one project, each computed when first asked for and kept."""

    def __init__(self, folder: Path, *, fresh: bool = False, tell: Tell = _silent):
        if not (folder / "design.toml").is_file():
            raise InputError(
                f"{folder}: no design.toml here; make a project with 'trivet new {folder}'"
            )
        self.folder, self.fresh, self.tell = folder, fresh, tell
        self._recordings: dict[str, Recording] = {}
        self._estimates: dict[str, Estimate] = {}

    # -- inputs ---------------------------------------------------------------

    @cached_property
    def design(self) -> Design:
        """The design file."""
        return read_design(self.folder / "design.toml")

    @cached_property
    def plans(self) -> tuple[CookPlan, ...]:
        """The cooks to simulate; none without a cooks.toml."""
        path = self.folder / "cooks.toml"
        if not path.is_file():
            return ()
        plans: CookPlans = read_cooks(path, self.design)
        return plans.cooks

    @cached_property
    def cooks(self) -> tuple[CookEntry, ...]:
        """Every cook of the project, simulated ones first."""
        from trivet.files.benchcook import bench_folders

        planned = [
            CookEntry(cook_name(plan, repeat), plan.name, plan, repeat, None)
            for plan in self.plans
            for repeat in range(plan.repeats)
        ]
        bench = [
            CookEntry(folder.name, folder.name, None, 0, folder)
            for folder in bench_folders(self.folder)
        ]
        names = [entry.name for entry in planned]
        for entry in bench:
            if entry.name in names:
                raise InputError(
                    f"bench/{entry.name}: a simulated cook has the same name; rename one of them"
                )
        return (*planned, *bench)

    def entry(self, name: str) -> CookEntry:
        """Return a cook by its name, or the first repeat of a plan by the plan's name."""
        for entry in self.cooks:
            if name in (entry.name, entry.group):
                return entry
        known = ", ".join(entry.name for entry in self.cooks) or "none"
        raise InputError(f"no cook named {name!r} in {self.folder}; its cooks: {known}")

    # -- stages ---------------------------------------------------------------

    @cached_property
    def prediction(self) -> Prediction:
        """What the design alone says; sealed in the store before any recording is read."""
        return self._stage("predict", Prediction, (self.design,), self._predict)

    def _predict(self) -> Prediction:
        from trivet.stages.predict import predict

        self.tell("predict", 0, 1)
        return predict(self.design)

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

    def recording(self, entry: CookEntry) -> Recording:
        """Return a cook's recording, simulated or imported."""
        from trivet.files.recording_store import read_recording

        if entry.name not in self._recordings:
            self._recordings[entry.name] = read_recording(self._cook_path(entry))
        return self._recordings[entry.name]

    def truth(self, entry: CookEntry) -> Truth | None:
        """Return the truth of a simulated cook; a recorded one has none."""
        from trivet.files.recording_store import read_truth

        return read_truth(self._cook_path(entry)) if entry.plan else None

    def _cook_path(self, entry: CookEntry) -> Path:
        """Return where the cook lies in the store, made when it is not there yet."""
        from trivet.files.benchcook import folder_hash
        from trivet.files.recording_store import write_recording

        _ = self.prediction  # predicted and sealed before data
        if entry.plan is not None:
            key = self._key(self.design, entry.plan, entry.repeat)
        else:
            assert entry.folder is not None
            key = self._key(self.design, folder_hash(entry.folder))
        path = store.record_path(self.folder, "recording", key)
        if not path.exists():
            write_recording(path, self._cook(entry))
        elif self.fresh and entry.name not in self._recordings:
            self._compare(entry, path)
        return path

    def _compare(self, entry: CookEntry, path: Path) -> None:
        """Make a stored cook again; nothing is overwritten, and a difference is a fault."""
        from trivet.files.recording_store import read_recording

        again = self._cook(entry)
        recording = again.recording if isinstance(again, SimulatedCook) else again
        if fingerprint(recording) != fingerprint(read_recording(path)):
            raise StorageError(
                f"{path}: made again, cook {entry.name!r} differs from what is stored; "
                "move the folder away to keep both"
            )

    def _cook(self, entry: CookEntry) -> SimulatedCook | Recording:
        if entry.plan is not None:
            from trivet.stages.simulate import simulate

            return simulate(self.design, plan=entry.plan, repeat=entry.repeat)
        from trivet.files.benchcook import import_bench_cook

        assert entry.folder is not None
        return import_bench_cook(entry.folder, design=self.design)

    def calibration(self, evidence: Evidence) -> Calibration:
        """Return the calibration from the calibration cooks of one grade of evidence."""
        from trivet.stages.calibrate import calibrate

        chosen = [
            recording
            for recording in map(self.recording, self.cooks)
            if recording.purpose == "calibration" and recording.evidence == evidence
        ]
        return self._stage(
            "calibrate",
            Calibration,
            (self.design, *chosen),
            lambda: calibrate(self.design, recordings=chosen),
        )

    def estimate(self, entry: CookEntry) -> Estimate:
        """Return the readings of one cook."""
        from trivet.stages.estimate import estimate

        if entry.name not in self._estimates:
            recording = self.recording(entry)
            calibration = self.calibration(recording.evidence)
            self._estimates[entry.name] = self._stage(
                "estimate",
                Estimate,
                (self.design, calibration, recording.sight),
                lambda: estimate(recording.sight, design=self.design, calibration=calibration),
            )
        return self._estimates[entry.name]

    def alerts(self, entry: CookEntry) -> AlertLog:
        """Return the alert log of one cook."""
        from trivet.stages.alert import alert

        recording, read = self.recording(entry), self.estimate(entry)
        return self._stage(
            "alert",
            AlertLog,
            (self.design, recording.sight.told, read),
            lambda: alert(read, design=self.design, told=recording.sight.told),
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
        found = {self.recording(entry).evidence for entry in self.cooks}
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
        from trivet.stages.dossier import dossier
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
        from trivet.report import render_html

        page = render_html(self.dossier, display=self.design.display)
        self.tell("dossier", 1, 1)
        return store.save_page(self.folder, "dossier", page)

    def bundle(self, *, unproven: bool) -> FirmwareBundle:
        """Return what is handed to the firmware; refused without a passing verdict."""
        from trivet.stages.handoff import handoff

        grade: Evidence = "bench" if "bench" in self.grades else "simulated"
        return handoff(
            self.design,
            calibration=self.calibration(grade),
            verdict=self.verdict,
            hashes=self.hashes,
            unproven=unproven,
        )

    # -- the store ------------------------------------------------------------

    def _key(self, *inputs: object) -> str:
        return fingerprint(code_version(), *inputs)[:32]

    def _stage(
        self,
        stage: str,
        kind: type[Record],
        inputs: tuple[object, ...],
        make: Callable[[], Record],
    ) -> Record:
        key = self._key(stage, *inputs)
        if not self.fresh:
            kept = store.load(self.folder, stage, key, kind)
            if kept is not None:
                return kept
        return store.save(self.folder, stage, key, make())


def code_version() -> str:
    """Return the hash of the package's own sources and tables."""
    return _code_version(Path(__file__).parent)


def _code_version(package: Path) -> str:
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*")):
        if path.suffix in (".py", ".csv", ".toml", ".j2", ".css"):
            digest.update(path.relative_to(package).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


@dataclass(frozen=True)
class Proof:
    """What the whole chain gave."""

    verdict: Verdict
    page: Path
    bundle: Path | None
    """None: the hand-off was skipped, since the verdict does not pass."""


def prove(folder: Path, *, fresh: bool = False, tell: Tell = _silent) -> Proof:
    """Run the whole chain, from the prediction to the dossier and the hand-off."""
    chain = Chain(folder, fresh=fresh, tell=tell)
    verdict = chain.verdict
    page = chain.write_dossier()
    if not verdict.passes:
        return Proof(verdict, page, None)
    from trivet.files.bundle import write_bundle

    bundle = write_bundle(folder, chain.bundle(unproven=False))
    return Proof(verdict, page, bundle)
