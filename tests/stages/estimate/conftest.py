"""A painter on the tests' design, a pan, and a calibration that is just the design."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from trivet.records.calibration import (
    Calibration,
    DriftCalibration,
    HeadCalibration,
    PoseCalibration,
)
from trivet.records.design import Design


@pytest.fixture
def painter(painting: SimpleNamespace, design: Design) -> Any:
    """A painter of the tests' design."""
    return painting.Painter(design)


@pytest.fixture
def nominal(design: Design) -> Calibration:
    """A calibration that is just the design, with small uncertainties."""
    head = design.heads[0]
    mount = head.mount
    return Calibration(
        evidence="predicted",
        heads=(
            HeadCalibration(
                head=head.name,
                pose=PoseCalibration(
                    how="nominal",
                    value=np.array([0.0, 0.0, float(mount.height_m), 0.0, 0.0, 0.0]),
                    covariance=np.diag([3e-3, 3e-3, 3e-3, 0.01, 0.01, 1e-9]) ** 2,
                    residual_rms_m=float("nan"),
                    reason="test",
                ),
                drift=DriftCalibration(
                    how="nominal",
                    value=np.zeros(4),
                    covariance=np.diag([0.5, 0.02, 0.0, 1.0]) ** 2,
                    housing_ref_k=305.15,
                    tau_s=80.0,
                    residual_rms_k=float("nan"),
                    reason="test",
                ),
                transmittance=0.85,
                transmittance_u=0.01,
                gain_u=0.01,
            ),
        ),
        surfaces=(),
        recordings=(),
        refusals=(),
    )


@pytest.fixture
def two_heads(
    painting: SimpleNamespace, design_tables: dict[str, Any], nominal: Calibration
) -> tuple[Any, Calibration]:
    """A painter and a calibration of the tests' design with a second head beside the first."""
    tables = copy.deepcopy(design_tables)
    tables["heads"].append({**tables["heads"][0], "name": "aside"})
    aside = dataclasses.replace(nominal.heads[0], head="aside")
    both = dataclasses.replace(nominal, heads=(*nominal.heads, aside))
    return painting.Painter(Design.model_validate(tables)), both


@pytest.fixture
def disc(painting: SimpleNamespace) -> Callable[..., Any]:
    """A 240 mm pan on the front left burner."""

    def make(emissivity: float, temperature_k: Any, **rest: object) -> Any:
        return painting.Disc(-0.20, -0.13, 0.12, emissivity, temperature_k, **rest)

    return make
