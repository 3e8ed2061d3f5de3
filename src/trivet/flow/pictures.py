"""Pictures as SVG files in a folder that the user names."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from trivet.files.atomic import write_text
from trivet.flow.project import ProjectFolder
from trivet.flow.steps import predicted
from trivet.records.dossier import Chart


def plain_words(text: str) -> str:
    """Return a text as part of a file name."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


def write_chart(project: ProjectFolder, chart: Chart, path: Path) -> Path:
    """Draw one chart in the units of the design's screen and return where it lies."""
    from trivet.present.figures import chart_file

    write_text(path, chart_file(chart, display=project.design.display))
    return path


def write_charts(project: ProjectFolder, charts: Iterable[Chart], folder: Path) -> tuple[Path, ...]:
    """Draw charts, numbered in their order and named by their titles."""
    return tuple(
        write_chart(project, one, folder / f"{at + 1:02d}-{plain_words(one.title)}.svg")
        for at, one in enumerate(charts)
    )


def write_prediction_pictures(project: ProjectFolder, folder: Path) -> tuple[Path, ...]:
    """Draw every picture of the prediction."""
    from trivet.present.dossier import prediction_sections

    sections = prediction_sections(project.design, prediction=predicted(project))
    return write_charts(project, (one for part in sections for one in part.charts), folder)
