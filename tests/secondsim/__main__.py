"""``python -m tests.secondsim``: read the proof cooks of the second simulator and score them."""

from __future__ import annotations

import tempfile
from collections import defaultdict
from pathlib import Path

from tests.secondsim.project import CALIBRATION, build
from tests.secondsim.score import Moments, alert_account, figures, moments

from trivet.flow.project import ProjectFolder
from trivet.flow.steps import alerted, read


def main() -> None:
    """Print one line a stratum, and the alerts missed and not wanted."""
    found: dict[str, list[Moments]] = defaultdict(list)
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        project = ProjectFolder(build(Path(name) / "second"))
        for entry in project.cooks:
            if entry.name in CALIBRATION:
                continue
            said = read(project, entry)
            for stratum, parts in moments(entry.name, said).items():
                found[stratum] += parts
            missed, nuisance = alert_account(entry.name, alerted(project, entry, said))
            wrong += [f"missed: {one}" for one in missed] + [f"nuisance: {one}" for one in nuisance]
    for stratum, parts in sorted(found.items()):
        print(stratum, *(f"{key} {value:.3g}" for key, value in figures(parts).items()), sep=" | ")
    print("\n".join(wrong))


if __name__ == "__main__":
    main()
