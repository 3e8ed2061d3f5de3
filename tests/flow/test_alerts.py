"""The account of the alerts and the search of their settings, over a project with few cooks."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from trivet.errors import InputError
from trivet.flow.alertstudy import alert_account
from trivet.flow.project import ProjectFolder
from trivet.flow.tune import tuned
from trivet.stages import simulate as simulated
from trivet.stages.alert.injection import FAULTS
from trivet.stages.tune import KNOBS

ROOT = Path(__file__).parents[2]
PAN = """
[[cooks.burners]]
burner = "front-right"
pan = "nonstick-pan"
base = "deep-oil"
schedule = [{ at = "0 s", level = "100 %" }]
"""
COOKS = f"""
format = 1
[[cooks]]
name = "cal-oil"
purpose = "calibration"
duration = "240 s"
stop_at = "380 degC"
repeats = 2
{PAN}
[[cooks]]
name = "left"
purpose = "proof"
duration = "240 s"
stop_at = "380 degC"
{PAN}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a project with the demonstration's design and cooks of its own."""
    shutil.copy(ROOT / "examples" / "larkpane" / "design.toml", tmp_path)
    (tmp_path / "cooks.toml").write_text(COOKS)
    return tmp_path


@pytest.mark.slow
def test_every_fault_is_announced_in_time_and_loses_no_alert(folder: Path):
    study = alert_account(ProjectFolder(folder))
    assert [one.fault for one in study.faults] == list(FAULTS)
    for one in study.faults:
        assert one.announced_s <= one.within_s, one
        assert one.lost == 0, one
    pan = next(row for row in study.rows if row.alert == "pan-hot")
    assert (pan["missed"].count, pan["missed"].of) == (0, 1)
    assert pan["leads"].value >= 60.0
    # One cook proves nothing.
    assert {goal.decision for goal in study.goals} == {"not proven"}


@pytest.mark.slow
def test_settings_are_searched_on_calibration_cooks_only(folder: Path, monkeypatch):
    purposes = set()

    def spied(design, *, plan, repeat):
        purposes.add(plan.purpose)
        return simulate(design, plan=plan, repeat=repeat)

    simulate = simulated.simulate
    monkeypatch.setattr(simulated, "simulate", spied)
    found = tuned(ProjectFolder(folder), "pan-hot")
    assert purposes == {"calibration"}
    assert (found.cooks, found.due) == (("cal-oil-r0", "cal-oil-r1"), 1)
    assert found.pick in found.front
    assert [key for key, _ in found.pick.values] == [knob.key for knob in KNOBS["time_to_limit"]]
    # The pick is no worse than the design in anything that is counted.
    assert found.pick.missed <= found.now.missed
    assert found.pick.nuisance <= found.now.nuisance


def test_an_alert_that_cannot_be_tuned_is_refused_by_name(folder: Path):
    with pytest.raises(InputError, match="no alert 'no-sight' whose settings can be searched"):
        tuned(ProjectFolder(folder), "no-sight")
    (folder / "cooks.toml").write_text(COOKS.replace('"calibration"', '"proof"'))
    with pytest.raises(InputError, match="plans no calibration cook"):
        tuned(ProjectFolder(folder), "pan-hot")
