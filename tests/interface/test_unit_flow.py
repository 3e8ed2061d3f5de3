"""The chain refuses to read a recording with another unit's calibration."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from trivet.errors import EvidenceError
from trivet.flow import Chain
from trivet.records.calibration import Calibration


def test_chain_refuses_another_unit(monkeypatch, tmp_path):
    (tmp_path / "design.toml").write_text("")
    chain = Chain(tmp_path)
    recording = SimpleNamespace(name="monday", unit="B02", evidence="bench", inputs=None)
    head = SimpleNamespace(fitted=True)
    made = Calibration("bench", (head,), (), ("cal-1",), (), ("A17",))
    monkeypatch.setattr(chain, "recording", lambda entry: recording)
    monkeypatch.setattr(chain, "calibration", lambda evidence: made)
    with pytest.raises(EvidenceError, match=r"'monday' is of sensor unit 'B02'.*'A17'"):
        chain.estimate(SimpleNamespace(name="monday"))
