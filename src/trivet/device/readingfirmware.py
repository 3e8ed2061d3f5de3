"""The reading's constants as C: sizes, tables, masks, surfaces, and the checker's fingerprints.

The code itself stands in ``device/c`` as C files, which compile as they are; only
numbers are written here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from trivet.device import readingrules as rules
from trivet.device.firmware import braced, code_text
from trivet.device.readingburner import FOOD
from trivet.device.readingrules import HeadReading
from trivet.device.readingseeds import (
    DRAW_SEED,
    FRAMES,
    SCENE,
    SCENES,
    hashed,
    said_fingerprints,
    seeded_words,
)
from trivet.device.thresholds import header_text
from trivet.quality import BLOCKING, Quality

CODE = ("trivet_reading.h", "trivet_reading.c", "trivet_pixels.h", "trivet_pixels.c")
CHECK = "trivet_reading_check.c"
THRESHOLDS = "trivet_thresholds.h"
SIZES, DATA, SEEDS = "trivet_reading_sizes.h", "trivet_reading_data.c", "trivet_reading_seeds.h"


def reading_texts(
    heads: Sequence[HeadReading], *, tables: Sequence[int], frames: int = FRAMES
) -> dict[str, str]:
    """Return the C files of the reading: name and text.

    Parameters
    ----------
    heads : sequence of HeadReading
        Constants of each head.
    tables : sequence of int
        Which radiance table is each head's.
    frames : int
        Seeded frames that the checker draws for each head. [-]

    Returns
    -------
    dict
        Code, sizes, data, checker and its fingerprints.

    Raises
    ------
    ValueError
        If there is not one table a head.

    Notes
    -----
    Constants are const, so that they stay in flash.
    """
    pairs = list(enumerate(zip(heads, tables, strict=True)))
    data = "".join(_head_text(at, one) for at, (one, _) in pairs)
    rows = "".join(_head_row(at, one, table) for at, (one, table) in pairs)
    return {
        **{name: code_text(name) for name in (*CODE, CHECK)},
        THRESHOLDS: header_text(),
        SIZES: _sizes_text(heads),
        DATA: '#include "trivet_reading.h"\n\n'
        + data
        + f"const trivet_head trivet_heads[TRIVET_HEADS] = {{\n{rows}}};\n",
        SEEDS: _seeds_text(heads, frames),
    }


def _sizes_text(heads: Sequence[HeadReading]) -> str:
    lines = ["#ifndef TRIVET_READING_SIZES_H", "#define TRIVET_READING_SIZES_H", ""]
    lines += [
        f"#define TRIVET_HEADS {len(heads)}",
        f"#define TRIVET_MOST_PIXELS {max(one.pixels for one in heads)}",
        f"#define TRIVET_MOST_BURNERS {max(len(one.burners) for one in heads)}",
        f"#define TRIVET_OF_FOOD {FOOD}",
        f"#define TRIVET_BLOCKING 0x{int(BLOCKING):x}u",
        *(
            f"#define TRIVET_FLAG_{flag.name} 0x{int(flag):x}u"
            for flag in Quality
            if flag.name and int(flag)
        ),
        "",
        "/* Burners, head after head, in the order in which they are said: */",
        *(f"/*   {one.head}: {', '.join(one.burners)} */" for one in heads),
        "/* What can be told of a burner, by its place: */",
        *(f"/*   {at}: {name} */" for at, name in enumerate(heads[0].surfaces)),
    ]
    return "\n".join([*lines, "", "#endif", ""])


def _numbers(kind: str, name: str, values: Iterable[object]) -> str:
    listed = [str(value) for value in values] or ["0"]
    lines = ",\n".join("    " + ", ".join(listed[at : at + 12]) for at in range(0, len(listed), 12))
    return f"static const {kind} {name}[{len(listed)}] = {{\n{lines}\n}};\n\n"


def _head_text(at: int, one: HeadReading) -> str:
    parts = [
        f"/* Head {one.head}. */\n",
        _numbers("uint16_t", f"decay_{at}", one.decay.tolist()),
        _numbers("uint16_t", f"beside_{at}", one.beside.tolist()),
        _numbers("uint16_t", f"pixel_{at}", one.mask_pixel.tolist()),
        _numbers("uint8_t", f"weight_{at}", one.mask_weight.tolist()),
        _numbers("uint16_t", f"hot_{at}", one.hot_pixel.tolist()),
        _numbers("trivet_mask", f"masks_{at}", _mask_rows(at, one)),
        _numbers("trivet_seen", f"surfaces_{at}", _surface_rows(one)),
    ]
    if _has_terms(one):
        parts.append(_numbers("int16_t", f"offset_{at}", one.pixel_offset.tolist()))
        parts.append(_numbers("uint16_t", f"gain_{at}", one.pixel_gain.tolist()))
    return "".join(parts)


def _has_terms(one: HeadReading) -> bool:
    return bool(one.numbers.has_pixel_term) or bool((one.pixel_gain == 0).any())


def _mask_rows(at: int, one: HeadReading) -> list[str]:
    starts, hots = one.mask_start.tolist(), one.hot_start.tolist()
    return [
        f"{{pixel_{at} + {start}, weight_{at} + {start}, hot_{at} + {hot}, "
        f"{end - start}, {hot_end - hot}, {rim}, {edge}}}"
        for start, end, hot, hot_end, rim, edge in zip(
            starts[:-1],
            starts[1:],
            hots[:-1],
            hots[1:],
            one.mask_rim.tolist(),
            one.mask_edge.tolist(),
            strict=True,
        )
    ]


def _surface_rows(one: HeadReading) -> list[str]:
    order = (rules.MASK, rules.EPS_LOW, rules.EPS_HIGH, rules.EPS_MIDDLE)
    last = (rules.SURFACE_OF, rules.BITS, rules.WIDE)
    rows = one.surface.reshape(-1, one.surface.shape[2])[:, [*order, *last]]
    return [braced(row) for row in rows.tolist()]


def _head_row(at: int, one: HeadReading, table: int) -> str:
    numbers = ", ".join(f".{name} = {value}" for name, value in one.numbers._asdict().items())
    terms = (f"offset_{at}", f"gain_{at}") if _has_terms(one) else ("0", "0")
    names = (f"trivet_table[{table}]", f"decay_{at}", *terms)
    lists = (f"beside_{at}", f"masks_{at}", f"surfaces_{at}")
    sizes = (one.pixels, one.beside.size, len(one.burners), len(one.surfaces))
    return (
        f"    {{ {{ {numbers} }},\n      {', '.join((*names, *lists))},\n"
        f"      {', '.join(map(str, sizes))} }},\n"
    )


def _seeds_text(heads: Sequence[HeadReading], frames: int) -> str:
    rows = ",\n".join(
        "    " + braced(f"{value}u" for value in said_fingerprints(words))
        for words in (seeded_words(one, frames=frames) for one in heads)
    )
    sums = ", ".join(f"{hashed(constant_words(one))}u" for one in heads)
    return (
        f"#define TRIVET_SEEDED {frames}\n#define TRIVET_SCENE {SCENE}\n"
        f"#define TRIVET_SCENES {SCENES}\n"
        f"#define TRIVET_FIRST_SEED {DRAW_SEED}u\n\n"
        f"static const uint32_t trivet_constants[TRIVET_HEADS] = {{{sums}}};\n\n"
        f"static const uint32_t trivet_seeded[TRIVET_HEADS][TRIVET_SEEDED] = {{\n{rows}\n}};\n"
    )


def constant_words(one: HeadReading) -> Iterator[int]:
    """Yield everything that a head's reading is made of, in the checker's order."""
    yield from one.numbers
    yield from one.decay.tolist()
    yield from one.beside.tolist()
    if _has_terms(one):
        for pair in zip(one.pixel_offset.tolist(), one.pixel_gain.tolist(), strict=True):
            yield from pair
    masks = [hashed(_mask_words(one, at)) for at in range(one.mask_edge.size)]
    order = [rules.EPS_LOW, rules.EPS_HIGH, rules.EPS_MIDDLE]
    for row in one.surface.reshape(-1, one.surface.shape[2]):
        yield from row[[*order, rules.SURFACE_OF, rules.BITS, rules.WIDE]].tolist()
        yield masks[int(row[rules.MASK])]


def _mask_words(one: HeadReading, at: int) -> Iterator[int]:
    yield int(one.mask_rim[at])
    yield int(one.mask_edge[at])
    part = slice(int(one.mask_start[at]), int(one.mask_start[at + 1]))
    for pair in zip(one.mask_pixel[part].tolist(), one.mask_weight[part].tolist(), strict=True):
        yield from pair
    yield from one.hot_pixel[int(one.hot_start[at]) : int(one.hot_start[at + 1])].tolist()
