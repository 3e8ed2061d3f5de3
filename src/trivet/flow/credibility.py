"""The bench beside the simulator: every recorded cook with its simulated twins."""

from __future__ import annotations

import numpy as np

from trivet.errors import NotEnoughDataError
from trivet.flow.cooks import CookEntry
from trivet.flow.recordings import Recordings
from trivet.records.credibility import Condition, Credibility, Pair, Question, Twin
from trivet.records.recording import Recording
from trivet.records.requirement import Evidence

SYNTHETIC = "marked synthetic, so it is no evidence beside measured cooks"


class Bench(Recordings):
    """A project whose recorded cooks are compared with simulated ones."""

    def credibility(self, *, draws: int) -> Credibility:
        """Return how far the simulator agrees with the bench, from so many twins a cook."""
        from trivet.stages.credibility import credibility

        chosen, left_out = self._recorded()
        pairs = []
        for done, entry in enumerate(chosen):
            self.tell("twins", done, len(chosen))
            pair = self._pair(entry, draws)
            if isinstance(pair, str):
                left_out.append(pair)
            else:
                pairs.append(pair)
        self.tell("twins", len(chosen), len(chosen))
        planned = self._planned()
        return self._stage(
            "credibility",
            Credibility,
            (self.design, tuple(pairs), planned, tuple(left_out)),
            lambda: credibility(self.design, pairs=pairs, planned=planned, left_out=left_out),
        )

    def _planned(self) -> tuple[Condition, ...]:
        """Return the conditions of every planned cook, those of matrices too."""
        from trivet.stages.credibility import conditions_of

        plans = list(self.plans)
        for matrix in self.cook_set.matrices if self.cook_set else ():
            plans += [cook.plan for cook in matrix.cooks]
        found = (one for plan in plans for one in conditions_of(plan, design=self.design))
        return tuple(dict.fromkeys(found))

    def _recorded(self) -> tuple[list[CookEntry], list[str]]:
        """Return the recorded cooks of the best grade of evidence, and those left out."""
        bench = [entry for entry in self.cooks if entry.folder is not None]
        if not bench:
            raise NotEnoughDataError(
                f"{self.folder}: no recorded cooks; put them into {self.folder.name}/bench/NAME "
                "(docs/formats/bench-cook.md), then 'trivet import' reads them"
            )
        grade: dict[str, Evidence] = {one.name: self.recording(one).evidence for one in bench}
        if "bench" not in grade.values():
            return bench, []
        made = [f"{one.name}: {SYNTHETIC}" for one in bench if grade[one.name] != "bench"]
        return [one for one in bench if grade[one.name] == "bench"], made

    def _pair(self, entry: CookEntry, draws: int) -> Pair | str:
        """Return a recorded cook and its twins, or why it has none."""
        from trivet.scoring import questions
        from trivet.stages.credibility import bench_twin

        recording = self.recording(entry)
        twin = bench_twin(recording, design=self.design)
        if twin.plan is None:
            return f"{entry.name}: {'; '.join(twin.notes)}"
        asked = questions(recording, until_s=twin.until_s)
        if not asked:
            return f"{entry.name}: no probe on a pan or in a liquid rises past 60 C"
        key = (self.design, recording, draws)
        return self._stage("twins", Pair, key, lambda: self._cooked(recording, twin, asked, draws))

    def _cooked(
        self, recording: Recording, twin: Twin, asked: tuple[Question, ...], draws: int
    ) -> Pair:
        """Simulate the twins of a recorded cook, each on a sensor unit of its own."""
        from trivet.scoring import answers
        from trivet.stages.simulate import simulate

        assert twin.plan is not None
        plan = twin.plan.model_copy(update={"repeats": draws})
        found = np.full((draws, len(asked)), np.nan)
        for draw in range(draws):
            one = plan.model_copy(update={"unit": f"{plan.name}-{draw}"})
            cook = simulate(twin.design, plan=one, repeat=draw)
            found[draw] = answers(cook.recording, design=twin.design, asked=asked)
        return Pair(
            cook=twin.cook,
            evidence=recording.evidence,
            questions=asked,
            bench=answers(recording, design=twin.design, asked=asked),
            simulated=found,
            notes=twin.notes,
            conditions=twin.conditions,
        )
