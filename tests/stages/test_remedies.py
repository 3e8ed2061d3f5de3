"""What would help most: declared changes, tried one by one on the design itself."""

from __future__ import annotations

import pytest

from trivet.records.design import Design
from trivet.stages.predict import predict, remedies


def options(design_tables, *entries):
    design_tables["options"] = list(entries)
    return Design.model_validate(design_tables)


@pytest.fixture
def failing(design_tables):
    """The pans' rims leave the field at 0.70 m: own calculation of the geometry tests."""
    design_tables["requirements"] = [
        {
            "id": "SEE",
            "text": "every rim in view",
            "metric": "rim_in_view",
            "limit": "100 %",
            "evidence": "predicted",
        }
    ]
    return design_tables


def test_a_higher_mount_brings_the_rims_inside_and_a_lower_one_does_not(failing) -> None:
    design = options(
        failing,
        {"name": "higher", "set": {"heads.0.mount.height": "1.10 m"}},
        {"name": "lower", "set": {"heads.0.mount.height": "0.60 m"}},
    )
    found = {one.option: one for one in remedies(design, predict(design)).tried}
    assert found["higher"].inside
    assert found["higher"].after > found["higher"].before
    assert not found["lower"].inside
    assert found["lower"].after < found["lower"].before


def test_nothing_is_tried_where_nothing_fails(failing) -> None:
    failing["heads"][0]["mount"]["height"] = "1.10 m"
    design = options(failing, {"name": "lower", "set": {"heads.0.mount.height": "0.60 m"}})
    found = remedies(design, predict(design))
    assert not found.failing
