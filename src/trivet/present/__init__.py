"""What people read: a section is made once as data, and drawn by terminal, page and JSON.

``numbers`` turns values into text, ``parts`` holds what the words in a table mean.  One
module a subject makes sections of records.  ``terminal`` draws them with tables of text,
``page`` as one HTML page with the pictures of ``figures``;
:func:`trivet.records.provenance.record_json` writes them as JSON.  No other room imports
a plotting library.
"""

from trivet.present.page import render_html
from trivet.present.terminal import on_terminal

__all__ = ["on_terminal", "render_html"]
