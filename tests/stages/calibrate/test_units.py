"""A calibration holds for the sensor unit that it was made on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trivet.errors import EvidenceError
from trivet.models.calibration_views import refuse_other_unit
from trivet.stages.calibrate import calibrate

ALL = ("front-left", "front-right", "rear-left", "rear-right")


def test_another_units_recording_is_refused_by_name(design, draw):
    made = calibrate(design, recordings=[draw(name="cal-all", burners=ALL, unit="A17")])
    assert made.units == ("A17",)
    other = replace(draw(name="monday", unit="B02"), purpose="proof")
    with pytest.raises(EvidenceError, match=r"'monday' is of sensor unit 'B02'.*'A17'.*cal-all"):
        refuse_other_unit(made, other)
    with pytest.raises(EvidenceError, match="without a name"):
        refuse_other_unit(made, replace(other, unit=""))
    refuse_other_unit(made, replace(other, unit="A17"))


def test_nominal_terms_hold_for_every_unit(design, draw):
    made = calibrate(design, recordings=[draw(name="one", unit="A17", probes_k=())])
    assert not made.head("main").fitted
    refuse_other_unit(made, replace(draw(name="monday", unit="B02"), purpose="proof"))
    refuse_other_unit(calibrate(design, recordings=()), draw(name="x", unit="B02"))


def test_several_units_widen_and_say_so(design, draw):
    """Three units: the spread between them counts, and no pose of one stands for all."""
    offsets = (-1.0, 0.5, 2.0)
    cooks = [
        draw(name=f"u{k}-{j}", unit=f"U{k}", drift=(offset, 0.09, 0.0, 4.0), seed=10 * k + j)
        for k, offset in enumerate(offsets)
        for j in range(2)
    ]
    cooks += [
        draw(
            name=f"u{k}-all", burners=ALL, unit=f"U{k}", seed=40 + k, drift=(offsets[k], 0.09, 0, 4)
        )
        for k in range(3)
    ]
    made = calibrate(design, recordings=cooks)
    head = made.head("main")
    assert made.units == ("U0", "U1", "U2")
    assert head.pose.how == "nominal"
    assert any("3 sensor units" in text and "in force" in text for text in made.refusals)
    assert head.drift.how == "fitted"
    assert "3 sensor units" in head.drift.reason
    one = calibrate(design, recordings=[c for c in cooks if c.unit == "U0"]).head("main")
    assert head.drift.covariance[0, 0] > 2 * one.drift.covariance[0, 0]
    refuse_other_unit(made, draw(name="x", unit="U9"))


def test_unit_survives_the_store(design, draw, tmp_path):
    from trivet.files import store
    from trivet.records.calibration import Calibration

    made = calibrate(design, recordings=[draw(name="cal-all", burners=ALL, unit="A17")])
    store.save(tmp_path, "calibrate", "k", made)
    back = store.load(tmp_path, "calibrate", "k", Calibration)
    assert back is not None
    assert back.units == ("A17",)
    np.testing.assert_array_equal(back.heads[0].pose.value, made.heads[0].pose.value)
