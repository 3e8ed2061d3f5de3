"""The dossier as one self-contained HTML page; the template draws the sections as they are."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from trivet.present.figures import chart_svg
from trivet.present.parts import GRADE_WORDS, MARKS, MISSING, numeric_columns
from trivet.records.design import Display
from trivet.records.dossier import Chart, Dossier

if TYPE_CHECKING:
    from jinja2 import Environment

FOLDER = Path(__file__).parent
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|K|°C|°F|mm|in|s|min|W|mW)(?![A-Za-z]))")
_SIGN = re.compile(r"([≤≥<>]) (?=\d)")


def render_html(dossier: Dossier, *, display: Display) -> str:
    """Return the review as one self-contained HTML page.

    Parameters
    ----------
    dossier : Dossier
        Content; texts are already in the design's units.
    display : Display
        Units of the pictures.

    Returns
    -------
    str
        A page with style and pictures inside; it requests nothing, and the same
        dossier gives the same bytes.

    Notes
    -----
    All texts are escaped: a name out of a file cannot act in the page.  Pictures
    hold text, so a page of 24 traces stays near 2 MB.

    References
    ----------
    W3C, Web Content Accessibility Guidelines 2.1, 1.1.1 and 1.4.3.
    """

    def svg(chart: Chart, key: str) -> Markup:
        return Markup(chart_svg(chart, display=display, key=key))

    return _environment().get_template("page.html.j2").render(dossier=dossier, svg=svg)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"tied": tied, "numeric": numeric_columns}
    style = Markup((FOLDER / "page.css").read_text(encoding="utf-8"))
    environment.globals |= {
        "grades": GRADE_WORDS,
        "marks": MARKS,
        "missing": MISSING,
        "style": style,
    }
    return environment


def tied(text: str) -> str:
    """Return a text whose numbers are not parted from their unit or sign at a line's end."""
    return _BEFORE_UNIT.sub("\u00a0", _SIGN.sub("\\1\u00a0", text))
