"""Past output of the program, frozen: a guard while the code is rebuilt, never validation.

That a number is in the net says that the program gave it once, not that it is right. Where
behaviour changes on purpose, ``python -m tests.frozen.net renew --part PART --why "REASON"``
freezes the part anew and adds the reason to the list in ``net.json``; names that changed stand in
``renamed.toml``. Last bits depend on the processor and on the libraries: elsewhere it is skipped.
"""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from tests.frozen import net
from tests.frozen.captured import PARTS
from tests.frozen.flat import Renamed, digests, flat


@pytest.mark.slow
@pytest.mark.parametrize("part", PARTS)
def test_what_the_program_gave_it_still_gives(part: str) -> None:
    frozen = json.loads(net.NET.read_text("utf-8"))
    assert all(one["why"] for one in frozen["renewed"])
    if frozen["made_on"] != net.made_on():
        pytest.skip(f"frozen on another machine: {frozen['made_on']}, here {net.made_on()}")
    wrong, _ = net.differences(part, net.part_digests(part))
    assert not wrong, "\n".join(wrong)


def _frozen(tmp_path: Path, record: object, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "net.json"
    path.write_text(json.dumps({"parts": {"p": {"r": digests(flat("r", record))}}}))
    monkeypatch.setattr(net, "NET", path)


def _compared(record: object) -> tuple[list[str], list[str]]:
    return net.differences("p", {"r": digests(Renamed().old(flat("r", record)))})


def test_a_value_that_moves_by_a_last_bit_is_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = {"sight": {"x_k": np.array([1.0, 2.0]), "u_k": 0.1}, "why": "since 2 of 3 cooks fail"}
    _frozen(tmp_path, old, monkeypatch)
    assert _compared(old) == ([], [])
    reworded = {"inputs": old["sight"], "why": "2 of 3 cooks fail, that is why it is so"}
    assert _compared(reworded) == ([], [])  # renamed.toml knows sight, and prose may change
    nearly = {"sight": {"x_k": np.array([1.0, np.nextafter(2.0, 3.0)]), "u_k": 0.1}, "why": ""}
    wrong, excused = _compared(nearly)
    assert "p/r/sight/x_k" in wrong
    assert not excused
    wrong, excused = _compared({"u_k": 0.1, "x_k": np.array([1.0, 2.0]), "why": old["why"]})
    assert not wrong
    assert excused  # the same values, but elsewhere: told, not refused
    assert _compared({"sight": {"u_k": 0.1}})[0]


def test_a_word_counts_and_a_hash_does_not() -> None:
    row = SimpleNamespace(decision="not met", key="0123456789abcdef")
    one, other = flat("r", vars(row)), flat("r", vars(row) | {"key": "fedcba9876543210"})
    assert digests(one) == digests(other)
    assert digests(one) != digests(flat("r", vars(row) | {"decision": "met"}))
    assert list(flat("file README.txt", "3 of 4")) == ["#"]
    assert flat("file cook_01.txt", "3 0x10 -1e2\nhash 0123456789abcdef")["numbers"].tolist() == [
        3.0,
        16.0,
        -100.0,
    ]
