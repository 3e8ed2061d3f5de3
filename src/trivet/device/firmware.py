"""The inversion as C99: the same integers, line by line, as ``device/fixedpoint.py``."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import resources

import numpy as np

from trivet.arrays import IntArray
from trivet.device import fixedpoint as fx

HEADER_NAME = "trivet_inversion.h"
SOURCE_NAME = "trivet_inversion.c"
TABLE_NAME = "trivet_table.c"
VECTORS_NAME = "trivet_vectors.h"
CHECK_NAME = "trivet_check.c"
_COMPILER = "cc -std=c99 -Wall -Wextra -Wconversion -Werror -fsanitize=undefined"
COMPILE = f"{_COMPILER} {CHECK_NAME} {SOURCE_NAME} {TABLE_NAME} -o trivet_check && ./trivet_check"
COMPILE_READING = (
    f"{_COMPILER} trivet_reading_check.c trivet_reading.c trivet_pixels.c trivet_reading_data.c"
    f" {SOURCE_NAME} {TABLE_NAME} -o trivet_reading_check && ./trivet_reading_check"
)
COMPILE_COOKS = (
    f"{_COMPILER} trivet_cook_check.c trivet_device.c trivet_device_data.c trivet_alerts.c"
    " trivet_slope.c trivet_pot.c"
    f" trivet_reading.c trivet_pixels.c trivet_reading_data.c {SOURCE_NAME} {TABLE_NAME}"
    " -o trivet_cook_check && ./trivet_cook_check cook_*.txt"
)
COMPILE_DEVICE = (
    f"{_COMPILER} trivet_device_check.c trivet_device.c trivet_device_data.c trivet_alerts.c"
    " trivet_slope.c trivet_pot.c trivet_reading.c trivet_pixels.c trivet_reading_data.c"
    f" {SOURCE_NAME} {TABLE_NAME} -o trivet_device_check && ./trivet_device_check"
)
COMPILE_ALERTS = (
    f"{_COMPILER} trivet_alert_check.c trivet_alerts.c trivet_slope.c trivet_pot.c"
    " -o trivet_alert_check"
    " && ./trivet_alert_check"
)

_HEADER = """\
#ifndef TRIVET_INVERSION_H
#define TRIVET_INVERSION_H
#include <stdint.h>

#define TRIVET_UNPROVEN %(unproven)d
/* A temperature is 1/64 K in 16 bits; a share is 1/32768, 1 to 32768. */
#define TRIVET_NO_READING ((uint16_t)%(none)du)
#define TRIVET_UNDER_RANGE ((uint16_t)%(under)du)
#define TRIVET_OVER_RANGE ((uint16_t)%(over)du)
#define TRIVET_FIRST_NODE (%(first)d)
#define TRIVET_NODE_SHIFT %(shift)d
#define TRIVET_NODES %(nodes)d
#define TRIVET_TABLES %(tables)d

typedef struct {
    uint16_t emissivity;
    uint16_t transmittance;
    uint16_t surround;
    uint16_t window;
} trivet_scene;

extern const int32_t trivet_table[TRIVET_TABLES][TRIVET_NODES];

uint16_t trivet_surface(uint16_t apparent, const trivet_scene *scene, const int32_t *table);
#endif
"""


def code_text(name: str) -> str:
    """Return one of the C files of ``device/c``."""
    return resources.files("trivet.device").joinpath("c", name).read_text(encoding="utf-8")


def braced(values: Iterable[object]) -> str:
    """Return values as a C initialiser."""
    return "{" + ", ".join(map(str, values)) + "}"


@dataclass(frozen=True)
class GoldenVectors:
    """Inputs and the twin's answers; columns of words, (vector,)."""

    table: IntArray
    apparent: IntArray
    emissivity: IntArray
    transmittance: IntArray
    surround: IntArray
    window: IntArray
    expected: IntArray


def golden_vectors(
    tables: Sequence[fx.RadianceTable], *, generator: np.random.Generator, random: int = 1500
) -> GoldenVectors:
    """Return edge and random vectors with the answers of the twin.

    Parameters
    ----------
    tables : sequence of RadianceTable
        One a band.
    generator : numpy.random.Generator
        Source of the random vectors.
    random : int
        Random vectors a table. [-]

    Returns
    -------
    GoldenVectors
        Nodes, midpoints, ends, sentinels, extremes of surround and window,
        impossible shares, and random scenes.

    Raises
    ------
    ValueError
        If there are no tables.

    Notes
    -----
    About 2,700 a table.
    """
    parts = [_vectors_of(i, table, generator, random) for i, table in enumerate(tables)]
    return GoldenVectors(*np.concatenate(parts, axis=1))


def _vectors_of(
    index: int, table: fx.RadianceTable, generator: np.random.Generator, random: int
) -> IntArray:
    one, room = fx.ONE_Q15, 300 * fx.STEPS_PER_K
    nodes = (fx.FIRST_NODE_K + 2 * np.arange(fx.TABLE_NODES)) * fx.STEPS_PER_K
    edges = np.array([0, 1, 2, nodes[0] - 1, nodes[0] + 1, nodes[-1] - 1, nodes[-1] + 1, 65534])
    apparent = np.unique(np.concatenate([nodes, nodes[:-1] + 64, edges, [65535]]))
    plain = np.array([[a, one, one, room, room] for a in apparent])
    around = [0, 1, nodes[0] - 1, nodes[0], nodes[-1], nodes[-1] + 1, 65535]
    shares = [0, 1, 9830, 16384, 32767, 32768, 32769, 65535]
    scenes = np.array(
        [[a, e, t, s, w] for a in (nodes[30], nodes[-2]) for e in shares for t in (26214, 1, 0)
         for s, w in ((room, room), *((x, room) for x in around), *((room, x) for x in around))]
    )  # fmt: skip
    low = np.array([nodes[0], 9830, 19660, 263 * 64, 263 * 64])
    high = np.array([nodes[-1] + 200, one + 1, one + 1, 373 * 64, 353 * 64])
    drawn = generator.integers(low, high, size=(random, 5))
    rows = np.concatenate([plain, scenes, drawn]).astype(np.int64)
    answers = fx.surface_words(
        rows[:, 0],
        emissivity=rows[:, 1],
        transmittance=rows[:, 2],
        surround=rows[:, 3],
        window=rows[:, 4],
        table=table,
    )
    return np.stack([np.full(rows.shape[0], index), *rows.T, answers])


def table_fingerprint(tables: Sequence[fx.RadianceTable]) -> int:
    """Return the FNV-1a hash of the tables that the checker recomputes.

    Parameters
    ----------
    tables : sequence of RadianceTable
        Tables in their order.

    Returns
    -------
    int
        32 bits.

    Notes
    -----
    Guards against mixed files, not against malice: the manifest holds SHA-256.

    References
    ----------
    Fowler, Noll and Vo's hash, variant 1a, from memory.
    """
    digest = 2166136261
    for table in tables:
        for byte in table.values.astype("<i4").tobytes():
            digest = ((digest ^ byte) * 16777619) & 0xFFFFFFFF
    return digest


def inversion_texts(
    tables: Sequence[fx.RadianceTable], *, vectors: GoldenVectors, unproven: bool
) -> dict[str, str]:
    """Return the C files of the inversion: name and text.

    Parameters
    ----------
    tables : sequence of RadianceTable
        One a band.
    vectors : GoldenVectors
        Vectors for the checker.
    unproven : bool
        Brands the header and the checker's output.

    Returns
    -------
    dict
        Header, source, table, vectors and checker.

    Notes
    -----
    C99 without extensions; no shift or division of a negative number.

    References
    ----------
    ISO/IEC 9899:1999, 6.5.7 (shifts), from memory.
    """
    words = {
        "unproven": int(unproven),
        "none": fx.NO_READING,
        "under": fx.UNDER_RANGE,
        "over": fx.OVER_RANGE,
        "first": fx.FIRST_NODE_K * fx.STEPS_PER_K,
        "shift": fx.NODE_SHIFT,
        "nodes": fx.TABLE_NODES,
        "tables": len(tables),
    }
    return {
        HEADER_NAME: _HEADER % words,
        SOURCE_NAME: code_text(SOURCE_NAME),
        TABLE_NAME: _table_text(tables),
        VECTORS_NAME: _vector_text(vectors, table_fingerprint(tables)),
        CHECK_NAME: code_text(CHECK_NAME),
    }


def _table_text(tables: Sequence[fx.RadianceTable]) -> str:
    blocks = []
    for table in tables:
        rows = table.values.reshape(-1, 8).tolist()
        lines = ",\n".join("        " + ", ".join(str(v) for v in row) for row in rows)
        blocks.append(
            f"    {{ /* full scale {table.scale * fx.FULL_SCALE:.9g} W/m2/sr */\n{lines}\n    }}"
        )
    body = ",\n".join(blocks)
    return (
        f'#include "{HEADER_NAME}"\n\n'
        f"const int32_t trivet_table[TRIVET_TABLES][TRIVET_NODES] = {{\n{body}\n}};\n"
    )


def _vector_text(vectors: GoldenVectors, digest: int) -> str:
    columns = (
        vectors.table,
        vectors.apparent,
        vectors.emissivity,
        vectors.transmittance,
        vectors.surround,
        vectors.window,
        vectors.expected,
    )
    rows = zip(*(column.tolist() for column in columns), strict=True)
    lines = ",\n".join("    " + braced((b, a, braced(scene), x)) for b, a, *scene, x in rows)
    return (
        f"#define TRIVET_VECTORS {vectors.expected.size}\n"
        f"#define TRIVET_TABLE_FINGERPRINT {digest}u\n\n"
        "typedef struct {\n    int table;\n    uint16_t apparent;\n"
        "    trivet_scene scene;\n    uint16_t expected;\n} trivet_vector;\n\n"
        f"static const trivet_vector trivet_vectors[TRIVET_VECTORS] = {{\n{lines}\n}};\n"
    )
