"""The command line: every command documented, exits as stated, clear messages."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import typer.main

from trivet.cli import app

ROOT = Path(__file__).parents[2]
COMMANDS = sorted(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
STAGES = (  # noqa: SIM905
    "new check predict simulate import calibrate estimate alert verify dossier handoff prove"
).split()


def test_the_stages_are_the_commands() -> None:
    assert set(STAGES) <= set(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_shows_an_example(command: str, trivet) -> None:
    done = trivet(command, "--help")
    assert done.returncode == 0
    assert f"Example: trivet {command}" in done.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_the_manual_names_every_command(command: str) -> None:
    text = (ROOT / "docs" / "commands.md").read_text("utf-8")
    assert f"trivet {command}" in text


def test_wrong_command_line_exits_2(trivet) -> None:
    assert trivet("predict").returncode == 2
    assert trivet("no-such-command").returncode == 2


def test_missing_project_is_one_clear_message(tmp_path: Path, trivet) -> None:
    done = trivet("check", str(tmp_path / "nothing"))
    assert done.returncode == 2
    assert "design.toml" in done.stderr
    assert "Traceback" not in done.stderr


def test_faulty_design_names_file_line_key(tmp_path: Path, trivet) -> None:
    assert trivet("new", str(tmp_path / "p")).returncode == 0
    path = tmp_path / "p" / "design.toml"
    text = path.read_text("utf-8")
    path.write_text(text.replace('height = "', 'hieght = "', 1), "utf-8")
    done = trivet("check", str(tmp_path / "p"))
    assert done.returncode == 2
    assert "design.toml:" in done.stderr
    assert "hieght" in done.stderr
    assert "height" in done.stderr
    assert "Traceback" not in done.stderr


def test_new_refuses_to_overwrite(tmp_path: Path, trivet) -> None:
    assert trivet("new", str(tmp_path / "p")).returncode == 0
    before = (tmp_path / "p" / "design.toml").read_bytes()
    assert trivet("new", str(tmp_path / "p")).returncode == 2
    assert (tmp_path / "p" / "design.toml").read_bytes() == before


def test_json_is_the_only_thing_on_stdout(tmp_path: Path, trivet) -> None:
    assert trivet("new", str(tmp_path / "p")).returncode == 0
    done = trivet("predict", str(tmp_path / "p"), "--json")
    assert done.returncode == 0
    record = json.loads(done.stdout)
    assert record["views"]
    assert record["budgets"]


def _hears_interrupts() -> None:
    """In the child: a runner in the background of a shell ignores interrupts, and hands that on."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def test_an_interrupt_exits_130_and_leaves_nothing_half_written(tmp_path: Path, trivet) -> None:
    assert trivet("new", str(tmp_path / "p")).returncode == 0
    running = subprocess.Popen(
        [sys.executable, "-m", "trivet", "prove", str(tmp_path / "p")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=_hears_interrupts,  # noqa: PLW1509
    )
    deadline = time.monotonic() + 240  # the first run of all compiles
    while not list((tmp_path / "p").glob("results/recording/*")):
        assert running.poll() is None, "finished before it could be interrupted"
        assert time.monotonic() < deadline
        time.sleep(0.05)
    running.send_signal(signal.SIGINT)
    _, said = running.communicate(timeout=240)
    assert running.returncode == 130
    assert "interrupted" in said
    assert "Traceback" not in said
    assert not list((tmp_path / "p").glob("results/*/.*"))
