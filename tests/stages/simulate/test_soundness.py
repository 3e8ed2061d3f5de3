"""A cook that cannot be is named and stopped."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.stages.simulate.stage import require_physical


def pan(at: int, value_k: float) -> Any:
    temperature = np.full((5, 3), 300.0)
    temperature[at, 1] = value_k
    burner = SimpleNamespace(name="left")
    return SimpleNamespace(
        time_s=np.arange(5.0), pan_k=temperature, setting=SimpleNamespace(burner=burner)
    )


@pytest.mark.parametrize("value_k", [float("nan"), float("inf"), 1e9, -5.0])
def test_names_cook_burner_and_moment(value_k: float) -> None:
    with pytest.raises(OutOfRangeError, match=r"'sear'.*2\.0 s.*'left'"):
        require_physical([pan(0, 400.0), pan(2, value_k)], name="sear")


def test_a_red_hot_pan_passes() -> None:
    require_physical([pan(3, 1100.0)], name="sear")
