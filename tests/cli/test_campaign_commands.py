"""``trivet plan`` and ``trivet sweep``: what they print, and what they refuse."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

MATRIX = """
[[matrix]]
name = "m"
purpose = "proof"
runs = 9
repeats = 40
[matrix.common]
duration = "60 s"
schedule = [{ at = "0 s", level = "100 %" }]
[[matrix.factors]]
name = "burner"
levels = ["front-left", "front-right", "back-right"]
[[matrix.factors]]
name = "base"
levels = ["dry", "thin-oil", "deep-oil"]
[[matrix.factors]]
name = "pan"
levels = ["nonstick-pan", "iron-skillet", "small-iron"]
"""
CALIBRATION = """
format = 1
[[cooks]]
name = "cal"
purpose = "calibration"
duration = "4 s"
[[cooks.burners]]
burner = "front-left"
pan = "small-iron"
base = "dry"
schedule = [{ at = "0 s", level = "80 %" }]
"""


@pytest.fixture
def project(tmp_path: Path, trivet) -> Path:
    assert trivet("new", str(tmp_path / "p")).returncode == 0
    (tmp_path / "p" / "cooks.toml").write_text(CALIBRATION + MATRIX, encoding="utf-8")
    return tmp_path / "p"


def test_plan_counts_and_bounds(project: Path, trivet) -> None:
    done = trivet("plan", str(project), "--json")
    assert done.returncode == 0, done.stderr
    record = json.loads(done.stdout)
    matrix = next(one for one in record["parts"] if one["name"] == "m")
    assert (matrix["full"], matrix["runs"], matrix["cooks"]) == (27, 9, 9)
    assert matrix["simulations"] == 360
    assert (matrix["pairs_possible"], matrix["pairs_covered"], matrix["pair_fewest"]) == (27, 27, 1)
    # 0 of 9, one-sided: 1 - 0.05 ** (1 / 9) (success-run theorem)
    assert matrix["miss_bound_frac"] == pytest.approx(1.0 - 0.05 ** (1 / 9))
    text = trivet("plan", str(project)).stdout
    assert "at most 28.3 %" in text
    assert "within the simulator" in text
    assert "count as" in text


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--workers", "0"), "--workers 0"),
        (("--workers", "2", "--scheduler", "tcp://127.0.0.1:1"), "a scheduler knows"),
        (("--limit", "0"), "limit"),
    ],
)
def test_sweep_refuses(project: Path, more: tuple[str, ...], says: str, trivet) -> None:
    done = trivet("sweep", str(project), *more)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def _hears_interrupts() -> None:
    """In the child: a runner in the background of a shell ignores interrupts, and hands that on."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.slow
def test_an_interrupted_sweep_keeps_what_is_done_and_leaves_no_worker(project: Path) -> None:
    running = subprocess.Popen(
        [sys.executable, "-m", "trivet", "sweep", str(project), "--workers", "1"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=_hears_interrupts,  # noqa: PLW1509
    )
    deadline = time.monotonic() + 300
    while not list(project.glob("results/sweep/*/cooks/*/*.jsonl")):
        assert running.poll() is None, running.communicate()
        assert time.monotonic() < deadline
        time.sleep(0.05)
    running.send_signal(signal.SIGINT)
    _, said = running.communicate(timeout=240)  # ends only when no worker holds the pipe
    assert running.returncode == 130
    assert "interrupted" in said
    assert "Traceback" not in said
    kept = list(project.glob("results/sweep/*/cooks/*/*.jsonl"))
    for path in kept:
        assert [json.loads(line)["evidence"] for line in path.read_text("utf-8").splitlines()]
    assert not list(project.glob("results/sweep/**/.*"))
