"""The pictures of the prediction as files: complete, well-formed, with units."""

from __future__ import annotations

import xml.etree.ElementTree as ET

from trivet.files.newproject import new_project
from trivet.flow.pictures import write_prediction_pictures
from trivet.flow.project import ProjectFolder
from trivet.flow.steps import traded
from trivet.records.provenance import fingerprint


def texts(svg: str) -> list[str]:
    root = ET.fromstring(svg)
    return ["".join(node.itertext()) for node in root.iter() if node.tag.endswith("}text")]


def test_every_picture_of_the_prediction_is_a_file(tmp_path) -> None:
    new_project(tmp_path / "p")
    project = ProjectFolder(tmp_path / "p")
    written = write_prediction_pictures(project, tmp_path / "pictures")
    names = " ".join(path.name for path in written)
    for word in ("field-of-view", "error-against-temperature", "error-budget", "days", "cash",
                 "one-figure-at-a-time", "alert-timeline"):  # fmt: skip
        assert word in names
    for path in written:
        found = texts(path.read_text("utf-8"))
        assert "PREDICTED" in found, path.name
        assert any("/" in text or text in ("days", "month") for text in found), path.name
    # The study comes from the store the second time, the same to the last bit.
    study = traded(project)
    assert fingerprint(traded(ProjectFolder(tmp_path / "p"))) == fingerprint(study)
    assert any((tmp_path / "p" / "results" / "trade").iterdir())
    assert study.draws == 10_000
