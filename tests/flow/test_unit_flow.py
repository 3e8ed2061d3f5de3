"""The chain refuses to read a recording with another unit's calibration."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from trivet.errors import EvidenceError
from trivet.flow import steps
from trivet.flow.project import ProjectFolder
from trivet.records.calibration import Calibration


def test_chain_refuses_another_unit(monkeypatch, tmp_path):
    (tmp_path / "design.toml").write_text("")
    recording = SimpleNamespace(name="monday", unit="B02", evidence="bench", inputs=None)
    head = SimpleNamespace(fitted=True)
    made = Calibration("bench", (head,), (), ("cal-1",), (), ("A17",))
    monkeypatch.setattr(steps, "recorded", lambda project, entry: recording)
    monkeypatch.setattr(steps, "calibrated", lambda project, evidence: made)
    with pytest.raises(EvidenceError, match=r"'monday' is of sensor unit 'B02'.*'A17'"):
        steps.read(ProjectFolder(tmp_path), SimpleNamespace(name="monday"))
