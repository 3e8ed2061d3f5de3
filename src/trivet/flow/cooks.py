"""A project folder: its design, the cooks it plans or has recorded, and where each one lies."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from trivet.errors import InputError
from trivet.files import store
from trivet.files.cooks import read_cook_set
from trivet.files.design import read_design
from trivet.flow.versions import code_version
from trivet.records.campaign import CookSet
from trivet.records.cook import CookPlan, cook_name
from trivet.records.design import Design
from trivet.records.provenance import fingerprint

Record = TypeVar("Record")
Tell = Callable[[str, int, int], None]
"""Called with a task, how many of its steps are done, and how many there are."""


def silent(task: str, done: int, total: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class CookEntry:
    """One cook of the project: planned to be simulated, or recorded on the bench."""

    name: str
    group: str
    """Cook plan, combination of a matrix or bench folder; repeats share it."""
    plan: CookPlan | None
    repeat: int
    folder: Path | None


class Project:
    """The inputs of one project, and the store that keeps what is made of them."""

    def __init__(self, folder: Path, *, fresh: bool = False, tell: Tell = silent):
        if not (folder / "design.toml").is_file():
            raise InputError(
                f"{folder}: no design.toml here; make a project with 'trivet new {folder}'"
            )
        self.folder, self.fresh, self.tell = folder, fresh, tell

    @cached_property
    def design(self) -> Design:
        """The design file."""
        return read_design(self.folder / "design.toml")

    @cached_property
    def cook_set(self) -> CookSet | None:
        """The cooks of cooks.toml, matrices expanded; None without the file."""
        path = self.folder / "cooks.toml"
        return read_cook_set(path, self.design) if path.is_file() else None

    @cached_property
    def plans(self) -> tuple[CookPlan, ...]:
        """The cooks that the chain simulates; none without a cooks.toml."""
        return self.cook_set.chained if self.cook_set else ()

    @cached_property
    def cooks(self) -> tuple[CookEntry, ...]:
        """Every cook of the project, simulated ones first."""
        from trivet.files.benchcook import bench_folders

        group = self.cook_set.combinations if self.cook_set else {}
        planned = [
            CookEntry(cook_name(plan, repeat), group.get(plan.name, plan.name), plan, repeat, None)
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
