"""The error map as a picture: one SVG, three maps over the apparent temperature."""

from __future__ import annotations

import math

import numpy as np

from trivet.arrays import FloatArray
from trivet.device import fixedpoint as fx
from trivet.stages.handoff.errormap import WORST_ERROR_K, ErrorMap

LEFT, TOP, WIDE, GAP, FOOT = 150, 62, 640, 46, 74  # layout in pixels; own choice
JOINED = 4
"""Intervals of nodes in one column of the picture; the worst of them shows."""
# Ends of the colours in kelvin; own choice.
COLOUR_STEPS_K = (0.0, 0.01, 0.02, 0.03, 0.04, 0.06, 0.10, WORST_ERROR_K)
COLOURS = ("#e3eef8", "#c6dbef", "#9ecae1", "#6baed6", "#3f8fc5", "#1c66ab", "#08306b")


def picture(found: ErrorMap, *, name: str) -> str:
    """Return the map by emissivity, by what is mirrored and by window as one SVG."""
    panels: tuple[tuple[str, FloatArray, list[str], int], ...] = (
        ("emissivity", found.by_emissivity_k, [f"{e:.2f}" for e in found.emissivity], 5),
        (
            "temperature of what is mirrored",
            found.by_mirrored_k,
            [f"{k - 273.15:.0f} C" for k in found.mirrored_k],
            16,
        ),
        ("transmittance and temperature of the window", found.by_window_k, list(found.windows), 14),
    )
    y, parts = float(TOP), []
    for title, values, rows, high in panels:
        parts.append(_panel(title, values, rows, (y, high)))
        y += high * len(rows) + GAP
    parts.append(_scale(y))
    total = y + FOOT
    title = f"{name}: worst error of the integer inversion, {found.worst_k:.3f} K"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {LEFT + WIDE + 30} {total:.0f}" '
        f'font-family="sans-serif" font-size="11">\n'
        f'<rect width="100%" height="100%" fill="white"/>\n'
        f'<text x="16" y="24" font-size="15">{_plain(title)}</text>\n'
        f'<text x="16" y="42">In each map the worst over the other inputs; white: outside '
        f"the table.</text>\n" + "\n".join(parts) + "\n</svg>\n"
    )


def _plain(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")


def _panel(title: str, values: FloatArray, rows: list[str], place: tuple[float, int]) -> str:
    y, high = place
    pad = -values.shape[1] % JOINED
    joined = np.pad(values, ((0, 0), (0, pad))).reshape(values.shape[0], -1, JOINED).max(axis=2)
    cell = WIDE / joined.shape[1]
    parts = [f'<text x="{LEFT}" y="{y - 6:.0f}">by {title}</text>']
    every = max(1, math.ceil(12 / high))
    for r, row in enumerate(joined.tolist()):
        if r % every == 0:
            parts.append(
                f'<text x="{LEFT - 6}" y="{y + r * high + high / 2 + 4:.1f}" '
                f'text-anchor="end">{rows[r]}</text>'
            )
        parts += _runs(row, (y + r * high, high, cell))
    foot = y + high * len(rows)
    parts += [
        f'<text x="{LEFT + (c + 273.15 - fx.FIRST_NODE_K) / 2 / JOINED * cell:.1f}" '
        f'y="{foot + 14:.0f}" text-anchor="middle">{c} C</text>'
        for c in range(0, 600, 100)
    ]
    return "\n".join(parts)


def _runs(row: list[float], place: tuple[float, int, float]) -> list[str]:
    """Return the cells of a row, neighbours of one colour joined."""
    y, high, cell = place
    colours = [_colour(value) for value in row]
    parts, begin = [], 0
    for at in range(1, len(row) + 1):
        if at < len(row) and colours[at] == colours[begin]:
            continue
        parts.append(
            f'<rect x="{LEFT + begin * cell:.1f}" y="{y:.1f}" width="{(at - begin) * cell:.1f}" '
            f'height="{high}" fill="{colours[begin]}"/>'
        )
        begin = at
    return parts


def _colour(value: float) -> str:
    if value <= 0.0:
        return "white"
    at = int(np.searchsorted(COLOUR_STEPS_K[1:], value))
    return COLOURS[min(at, len(COLOURS) - 1)]


def _scale(y: float) -> str:
    parts = [f'<text x="{LEFT}" y="{y:.0f}">apparent temperature across; error up to</text>']
    for at, colour in enumerate(COLOURS):
        x = LEFT + 70 * at
        parts.append(
            f'<rect x="{x}" y="{y + 10:.0f}" width="70" height="14" fill="{colour}" '
            f'stroke="#888" stroke-width="0.5"/>'
            f'<text x="{x + 35}" y="{y + 38:.0f}" text-anchor="middle">'
            f"{COLOUR_STEPS_K[at + 1]:.2f} K</text>"
        )
    return "\n".join(parts)
