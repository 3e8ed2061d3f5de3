"""What a project predicts, sealed before any data, and then its recordings, kept in the store."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

from trivet.errors import StorageError
from trivet.files import store
from trivet.flow.cooks import CookEntry, Project, Tell, silent
from trivet.records.prediction import Prediction
from trivet.records.provenance import fingerprint
from trivet.records.recording import Recording, SimulatedCook, Truth


class Recordings(Project):
    """A project with its prediction and its recordings, each made when first asked for."""

    def __init__(self, folder: Path, *, fresh: bool = False, tell: Tell = silent):
        super().__init__(folder, fresh=fresh, tell=tell)
        self._recordings: dict[str, Recording] = {}

    @cached_property
    def prediction(self) -> Prediction:
        """What the design alone says; sealed in the store before any recording is read."""
        return self._stage("predict", Prediction, (self.design,), self._predict)

    def _predict(self) -> Prediction:
        from trivet.stages.predict import predict

        self.tell("predict", 0, 1)
        return predict(self.design)

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
