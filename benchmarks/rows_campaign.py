"""A campaign's memory: the peak with 200 cooks against that with 50, which must not differ."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

FEW, MANY = 50, 200
ALLOWED = 1.05
"""The peak may move by this much: allocators round up."""
DESIGN = Path(__file__).parents[1] / "examples" / "larkpane" / "design.toml"
COOKS = """
format = 1
[[cooks]]
name = "cal"
purpose = "calibration"
duration = "4 s"
burners = [{{ burner = "front-left", pan = "small-iron", base = "dry", schedule = [{{ at = "0 s", level = "80 %" }}] }}]
[[matrix]]
name = "m"
purpose = "proof"
repeats = {repeats}
[matrix.common]
duration = "4 s"
burner = "front-left"
base = "dry"
schedule = [{{ at = "0 s", level = "100 %" }}]
[[matrix.factors]]
name = "pan"
levels = ["nonstick-pan", "iron-skillet"]
"""  # noqa: E501
RUN = """
import resource, sys, time
from pathlib import Path
from trivet.flow.project import ProjectFolder
from trivet.flow.sweep import local_pools, sweep

if __name__ == "__main__":
    begun = time.perf_counter()
    done = sweep(ProjectFolder(Path(sys.argv[1])), pools=local_pools(1)).sweep
    assert done.failed == 0, done
    peaks = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    print(*peaks, time.perf_counter() - begun)
"""  # noqa: E501


def _measured(cooks: int) -> list[float]:
    """Return the peaks of parent and worker in MB, and the seconds it took."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "project"
        folder.mkdir()
        shutil.copy(DESIGN, folder)
        (folder / "cooks.toml").write_text(COOKS.format(repeats=cooks // 2))
        script = Path(name) / "run.py"
        script.write_text(RUN)
        done = subprocess.run(
            [sys.executable, str(script), str(folder)], check=True, capture_output=True, text=True
        )
    parent, worker, taken_s = (float(one) for one in done.stdout.split())
    return [parent / 1024.0, worker / 1024.0, taken_s]


def rows() -> list[dict[str, Any]]:
    """Return one row each for the process that leads and for the one that cooks."""
    few, many = _measured(FEW), _measured(MANY)
    return [
        {
            "name": f"memory of a campaign, {who}",
            "baseline": f"peak with {FEW} cooks",
            "ratio": few[at] / many[at],
            "goal": 1.0 / ALLOWED,
            "detail": f"{few[at]:.0f} MB with {FEW} cooks, {many[at]:.0f} MB with {MANY};"
            f" {many[2] / MANY:.2f} s a cook of 4 s, start-up included; 1 worker",
        }
        for at, who in enumerate(("parent", "worker"))
    ]
