"""A project folder: its design, its planned and recorded cooks, and the store of results."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

from trivet.errors import InputError
from trivet.files.cooks import read_cook_set
from trivet.files.design import read_design
from trivet.files.store import Store
from trivet.records.campaign import CookSet, SweepCook
from trivet.records.cook import CookPlan, cook_name
from trivet.records.design import Design
from trivet.records.requirement import Purpose

P = ParamSpec("P")
Item = TypeVar("Item")
Result = TypeVar("Result")
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


@dataclass
class ProjectFolder:
    """The inputs of one project, and the store that keeps what is made of them."""

    folder: Path
    tell: Tell = silent
    fresh: bool = False
    """Compute again what the store has; a difference is a fault."""
    memory: dict[tuple[object, ...], Any] = field(default_factory=dict)
    """What the steps of the spine gave, see :func:`once`."""

    def __post_init__(self) -> None:
        if not (self.folder / "design.toml").is_file():
            raise InputError(
                f"{self.folder}: no design.toml here; make a project with "
                f"'trivet new {self.folder}'"
            )
        self.store = Store(self.folder, fresh=self.fresh)

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

    def planned(self, purpose: Purpose) -> tuple[SweepCook, ...]:
        """Return every simulation of a purpose that cooks.toml plans; none without the file."""
        return self.cook_set.planned(purpose) if self.cook_set else ()

    def campaign(self) -> CookSet:
        """Return the planned cooks of a campaign; InputError without a proof cook among them."""
        if not self.planned("proof") or self.cook_set is None:
            raise InputError(
                f"{self.folder}: cooks.toml plans no cook of purpose 'proof'; a campaign runs those"
            )
        return self.cook_set

    def each(self, task: str, items: Sequence[Item]) -> Iterator[Item]:
        """Yield items one by one and tell how far it is."""
        for done, item in enumerate(items):
            self.tell(task, done, len(items))
            yield item
        self.tell(task, len(items), len(items))


def once(
    step: Callable[Concatenate[ProjectFolder, P], Result],
) -> Callable[Concatenate[ProjectFolder, P], Result]:
    """Return a step of the spine that a project takes once for each of its arguments."""

    @wraps(step)
    def remembered(project: ProjectFolder, /, *args: P.args, **named: P.kwargs) -> Result:
        words = [getattr(one, "name", one) for one in (*args, *named.values())]
        key = (step.__name__, *words)
        if key not in project.memory:
            project.memory[key] = step(project, *args, **named)
        found: Result = project.memory[key]
        return found

    return remembered
