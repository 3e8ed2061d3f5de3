"""Records as pages, pictures and tables; the only room that imports a plotting library."""

from __future__ import annotations

from trivet.records.design import Display
from trivet.records.dossier import Dossier

__all__ = ["render_html"]


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
    from trivet.present.page import page

    return page(dossier, display=display)
