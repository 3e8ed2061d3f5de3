"""Pictures of what pixels show: a frame with its labels, a pan's profile, words for bare pans."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trivet.present import palette
from trivet.present.drawing import evidence_corner, evidence_tag, new_figure
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart
from trivet.records.recording import LABELS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from trivet.arrays import Int8Array

# A colour and a letter each: no meaning rests on colour alone.
INKS = {
    "hob": (palette.GREY_PALE, ""),
    "pan": (palette.BLUE_PALE, "p"),
    "liquid": (palette.BLUE_MID, "q"),
    "food": (palette.OCHRE_MID, "f"),
    "wall": (palette.GREY_LIGHT, "w"),
    "lid": (palette.PLUM_MID, "l"),
    "hand": (palette.PLUM, "h"),
    "steam": (palette.WHITE, "s"),
}
DARK_LABELS = {"liquid", "lid", "hand"}


def draw_labels(chart: Chart, scale: Scale) -> Figure:
    """Return a frame, what its pixels saw, and what the product says, side by side."""
    from matplotlib.colors import LinearSegmentedColormap

    frame = chart.frame
    if frame is None:
        return new_figure(0.5)
    figure = new_figure(3.2)
    seen, so, said = figure.subplots(1, 3)
    warm = LinearSegmentedColormap.from_list(
        "warm", [palette.BLUE_DARK, palette.BLUE_MID, palette.OCHRE_MID, palette.OCHRE_PALE]
    )
    image = seen.imshow(scale.temperature(frame.temperature_k), cmap=warm)
    bar = figure.colorbar(image, ax=(seen, so, said), orientation="horizontal", shrink=0.4)
    bar.set_label(f"apparent temperature / {scale.temperature_unit}")
    rows, cols = frame.outline_px.T
    seen.plot(cols, rows, color=palette.WHITE, linewidth=1.2, linestyle=palette.DASHED)
    seen.set_title("frame and found base", loc="left")
    _cells(so, frame.so, "what the pixels saw")
    _cells(said, frame.said, "what the product says")
    size = frame.temperature_k.shape
    for axes in (seen, so, said):
        axes.set_xlim(-0.5, size[1] - 0.5)
        axes.set_ylim(size[0] - 0.5, -0.5)
        axes.set_xticks([])
        axes.set_yticks([])
        axes.grid(visible=False)
    words = ", ".join(f"{INKS[word][1] or 'plain'} {word}" for word in LABELS)
    figure.supxlabel(words, fontsize=7, color=palette.GREY_DARK)
    evidence_tag(said, chart.evidence)
    said.set_title(said.get_title(loc="left"), loc="left")
    return figure


def _cells(axes: Axes, label: Int8Array, title: str) -> None:
    from matplotlib.colors import to_rgb

    colours = np.array([to_rgb(INKS[word][0]) for word in LABELS])
    axes.imshow(colours[label])
    for row in range(label.shape[0]):
        for col in range(label.shape[1]):
            word = LABELS[int(label[row, col])]
            ink = palette.WHITE if word in DARK_LABELS else palette.INK
            axes.text(col, row, INKS[word][1], ha="center", va="center", fontsize=5, color=ink)
    axes.set_title(title, loc="left")


def draw_profile(chart: Chart, scale: Scale) -> Figure:
    """Return a pan's radial profile on the left, its azimuthal one on the right."""
    figure = new_figure(2.7)
    along, around = figure.subplots(1, 2)
    looks = (
        {"color": palette.GREY_DARK, "linestyle": palette.DASHED, "marker": "s"},
        {"color": palette.BLUE, "linestyle": palette.SOLID, "marker": "o"},
    )
    for axes, lines, convert in (
        (along, chart.lines[:2], scale.temperature),
        (around, chart.lines[2:], scale.difference),
    ):
        for line, look in zip(lines, looks, strict=True):
            label = line.label.removesuffix(", round")
            axes.plot(line.x, convert(line.y), markersize=4, label=label, **look)
    along.set_xlabel(chart.x_label)
    along.set_xlim(0.0, 1.0)
    along.set_ylabel(f"{chart.y_label} / {scale.temperature_unit}")
    along.legend()
    around.set_xlabel("direction from +x, counter-clockwise / °")
    around.set_xticks(range(0, 361, 90))
    around.set_ylabel(f"eighth minus mean of all / {scale.difference_unit}")
    around.axhline(0.0, color=palette.GREY, linewidth=0.7)
    evidence_tag(around, chart.evidence)
    return figure


def draw_confusion(chart: Chart, scale: Scale) -> Figure:
    """Return cooks by what was so and what was said, shaded by their share of the row."""
    from matplotlib.colors import LinearSegmentedColormap

    rows = list(dict.fromkeys(label for label, _, _ in chart.bars))
    columns = list(dict.fromkeys(group for _, _, group in chart.bars))
    count = np.zeros((len(rows), len(columns)))
    for label, value, group in chart.bars:
        count[rows.index(label), columns.index(group)] = value
    figure = new_figure(1.0 + 0.26 * len(rows))
    axes = figure.add_subplot()
    share = count / np.maximum(count.sum(axis=1, keepdims=True), 1.0)
    blues = LinearSegmentedColormap.from_list("blues", [palette.WHITE, palette.BLUE])
    axes.imshow(share, cmap=blues, vmin=0.0, vmax=1.0, aspect="auto")
    for row in range(len(rows)):
        for col in range(len(columns)):
            ink = palette.WHITE if share[row, col] > 0.5 else palette.INK
            axes.text(col, row, f"{count[row, col]:.0f}", ha="center", va="center", color=ink)
    axes.set_xticks(range(len(columns)), columns)
    axes.set_yticks(range(len(rows)), rows)
    axes.xaxis.tick_top()
    axes.tick_params(length=0)
    axes.grid(visible=False)
    axes.set_xlabel("said at most moments; cells: cooks")
    evidence_corner(figure, chart.evidence)
    return figure
