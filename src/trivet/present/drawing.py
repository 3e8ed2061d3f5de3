"""A figure as inline SVG: the same bytes for the same content, labelled for screen readers."""

from __future__ import annotations

import io
import re
import textwrap
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from html import escape
from typing import TYPE_CHECKING, Any

from trivet.present.palette import GREY, GREY_DARK, GREY_PALE, INK
from trivet.records.dossier import Grade

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN = 7.2  # own estimate: the page's column at 100 % zoom
Look = dict[str, Any]
"""Arguments of the plotting library that say how something looks."""
STYLE: dict[str, object] = {
    "svg.hashsalt": "trivet",
    "svg.fonttype": "none",
    "text.parse_math": False,  # names come from files; a dollar sign is no formula
    "font.family": "DejaVu Sans",
    "font.size": 8.0,
    "axes.titlesize": 8.5,
    "axes.labelsize": 8.0,
    "axes.edgecolor": GREY,
    "axes.labelcolor": GREY_DARK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": GREY_PALE,
    "grid.linewidth": 0.6,
    "text.color": INK,
    "xtick.color": GREY_DARK,
    "ytick.color": GREY_DARK,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "hatch.linewidth": 0.5,
    "legend.fontsize": 7.5,
    "legend.frameon": False,
    "lines.solid_capstyle": "round",
    "axes.unicode_minus": True,
    "axes.formatter.use_locale": False,
    "path.simplify": True,
}


@contextmanager
def drawing_style() -> Iterator[None]:
    """Hold the house style while a figure is made and written."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE), warnings.catch_warnings():  # type: ignore[arg-type]
        # The page's own font draws the text, so a glyph missing here is no fault.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def new_figure(height_in: float, *, width_in: float = WIDTH_IN) -> Figure:
    """Return an empty figure without any global state."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_in, height_in), layout="constrained")


def short(text: str, width: int = 42) -> str:
    """Return a label that fits a chart."""
    return textwrap.shorten(text, width, placeholder="…") or "unnamed"


def evidence_tag(axes: Axes, evidence: Grade) -> None:
    """Write the grade of evidence into the picture itself, so that it survives a cut-out."""
    if evidence:
        axes.set_title(evidence.upper(), loc="right", fontsize=7, color=GREY_DARK, weight="bold")


def evidence_corner(figure: Figure, evidence: Grade) -> None:
    """Write the grade of evidence into the corner of a figure of many panels."""
    figure.suptitle(evidence.upper(), fontsize=7, x=0.99, ha="right", weight="bold")


def rows_down(axes: Axes, labels: Sequence[str], width: int = 42) -> None:
    """Make an axis of rows, the first one above, named at the left."""
    axes.set_yticks(range(len(labels)), [short(label, width) if label else "" for label in labels])
    axes.set_ylim(len(labels) - 0.4, -0.6)
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)


def beside(
    axes: Axes, text: str, at: tuple[float, float], shift: tuple[float, float] = (3, 0), **look: Any
) -> None:
    """Write a small text beside a point, shifted by points of type."""
    look = {"fontsize": 7} | look
    axes.annotate(text, at, xytext=shift, textcoords="offset points", **look)


def svg_text(figure: Figure, *, label: str, key: str) -> str:
    """Return a figure as an ``<svg>`` element with a label and names of its own.

    ``key`` keeps the names inside one picture apart from those of the others on
    the same page.
    """
    buffer = io.StringIO()
    nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
    figure.savefig(buffer, format="svg", metadata=nothing)
    text = buffer.getvalue()
    body = text[text.index("<svg") :]
    head, inner = body.split(">", 1)
    box = re.search(r'viewBox="([^"]*)"', head)
    view = box.group(1) if box else "0 0 1 1"
    inner = re.sub(r"<metadata>.*?</metadata>", "", inner, flags=re.DOTALL)
    inner = re.sub(r"<!--.*?-->", "", inner, flags=re.DOTALL)
    inner = re.sub(r'\bid="([^"]+)"', rf'id="{key}-\1"', inner)
    inner = re.sub(r'href="#([^"]+)"', rf'href="#{key}-\1"', inner)
    inner = re.sub(r"url\(#([^)]+)\)", rf"url(#{key}-\1)", inner)
    inner = inner.replace("xlink:href", "href")
    lines = (line.strip() for line in inner.splitlines())
    inner = "\n".join(line for line in lines if line)
    return f'<svg viewBox="{view}" role="img" aria-label="{escape(label, quote=True)}">{inner}'
