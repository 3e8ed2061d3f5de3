"""The house palette and line dashes: three hues at even steps of lightness.

Steps of OKLCH lightness (0.30 to 0.90) at hues 255 (blue), 75 (ochre) and 340
(plum); blue against ochre stays apart under every common colour deficiency, and
no meaning rests on colour alone: lines differ in dash, bars in hatch, decisions
in shape and word.
"""

from __future__ import annotations

INK = "#191b1d"
GREY_DARK = "#424850"
GREY = "#7a8189"
GREY_LIGHT = "#b7bec7"
GREY_PALE = "#dcdee1"
PAPER = "#f6f7f8"
WHITE = "#ffffff"
BLUE_DARK = "#002c5e"
BLUE = "#1d487c"
BLUE_MID = "#5682bb"
BLUE_PALE = "#cfe0f6"
OCHRE = "#845a0f"
OCHRE_MID = "#c39553"
OCHRE_PALE = "#ecdbc5"
PLUM = "#6d2c5a"
PLUM_MID = "#ab6595"

Dash = tuple[float, tuple[float, ...]]
# Dashes in widths of the line; own choice: told apart in grey print.
SOLID: Dash = (0, ())
DASHED: Dash = (0, (6, 2))  # as above
SHORT_DASH: Dash = (0, (3, 2))  # as above
DOTTED: Dash = (0, (1, 1.5))  # as above
DASH_DOT: Dash = (0, (6, 2, 1, 2))  # as above
DASHES = (SOLID, DASHED, SHORT_DASH, DOTTED, DASH_DOT)
"""Of lines that are told apart, in their order; so are colours and markers."""
LINE_COLOURS = (BLUE, OCHRE, PLUM, BLUE_MID, OCHRE_MID)
LINE_MARKERS = ("o", "s", "^", "D", "v")
HATCH = "//////"
