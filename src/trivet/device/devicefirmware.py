"""The chain from frames to alerts as C: its names, its tables, and the checker of whole cooks."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from trivet.arrays import IntArray
from trivet.device.alertsettings import BOIL_DRY, COLUMN_NAMES, KIND, KINDS, TIME_TO_LIMIT
from trivet.device.readingfirmware import code_text
from trivet.device.toldtables import NO_RULE, ToldRules

NAMES, DATA = "trivet_names.h", "trivet_device_data.c"
CODE, HEADER = "trivet_device.c", "trivet_device.h"
CHECKS = ("trivet_cook_check.c", "trivet_device_check.c")


@dataclass(frozen=True)
class DeviceTables:
    """Everything that the chain needs beside the reading's constants."""

    burners: tuple[str, ...]
    alerts: tuple[str, ...]
    told: ToldRules
    units: tuple[tuple[int, int], ...]
    """Each burner's head and its place there."""
    untold_uses: int
    stale_ms: int
    hand_counts_ms: int
    handled_ms: int
    even_dk: int

    def kind_places(self, kind: int) -> list[int]:
        """Return, alert by alert, its place among those of a kind, NO_RULE for the others."""
        places: list[int] = []
        for alert in range(len(self.alerts)):
            used = set(self.told.rule_of[:, :, alert].ravel().tolist()) - {NO_RULE}
            mine = any(int(self.told.rules[at, KIND]) == kind for at in used)
            count = sum(one != NO_RULE for one in places)
            places.append(count if mine else NO_RULE)
        return places


def device_texts(tables: DeviceTables) -> dict[str, str]:
    """Return the C files of the chain: name and text.

    Parameters
    ----------
    tables : DeviceTables
        Of the design.

    Returns
    -------
    dict
        Code, names, tables and the checker of whole cooks.

    Notes
    -----
    The code is the same for every design; only names and tables differ.

    References
    ----------
    ISO/IEC 9899:1999.
    """
    return {
        **{name: code_text(name) for name in (CODE, HEADER, *CHECKS)},
        NAMES: _names_text(tables),
        DATA: _data_text(tables),
    }


def macro(name: str) -> str:
    """Return a name as the tail of a macro."""
    return re.sub(r"[^A-Z0-9]+", "_", name.upper()).strip("_") or "NONE"


def _names_text(tables: DeviceTables) -> str:
    words = tables.told.words
    lines = ["#ifndef TRIVET_NAMES_H", "#define TRIVET_NAMES_H", ""]
    lists: tuple[tuple[str, Sequence[str]], ...] = (
        ("UNIT", (*tables.burners, "device")),
        ("ALERT", tables.alerts),
        ("PAN", words.pans),
        ("CONTENTS", words.contents),
        ("BAND", words.bands),
        ("OIL", words.oils),
    )
    for kind, listed in lists:
        lines += [f"#define TRIVET_{kind}_{macro(one)} {at}" for at, one in enumerate(listed)]
        lines.append("")
    most = {
        kind: sum(at != NO_RULE for at in tables.kind_places(number))
        for kind, number in (("SLOPES", TIME_TO_LIMIT), ("POTS", BOIL_DRY))
    }
    sizes = {
        "BURNERS": len(tables.burners),
        "UNITS": len(tables.burners) + 1,
        "ALERTS": len(tables.alerts),
        "PANS": len(words.pans),
        "CONTENTS": len(words.contents),
        "BANDS": len(words.bands),
        "OILS": len(words.oils),
        "RULES": tables.told.rules.shape[0],
        "OIL_ROWS": tables.told.oil_dk.shape[0],
        "OIL_USES": tables.told.oil_dk.shape[2],
        "UNTOLD_USES": tables.untold_uses,
        **{f"MOST_{kind}": max(count, 1) for kind, count in most.items()},
        "STALE_MS": tables.stale_ms,
        "HAND_COUNTS_MS": tables.hand_counts_ms,
        "HANDLED_MS": tables.handled_ms,
        "EVEN_DK": tables.even_dk,
    }
    lines += [f"#define TRIVET_{name} {value}" for name, value in sizes.items()]
    return "\n".join([*lines, "", "#endif", ""])


def _braced(values: Iterable[object]) -> str:
    return "{" + ", ".join(map(str, values)) + "}"


def _table(kind: str, name: str, values: IntArray) -> str:
    """Return a const array of one, two or three dimensions."""
    sizes = "".join(f"[{n}]" for n in values.shape)

    def body(part: IntArray, depth: int) -> str:
        if part.ndim == 1:
            return "    " * depth + _braced(part.tolist())
        rows = ",\n".join(body(one, depth + 1) for one in part)
        return "    " * depth + "{\n" + rows + "\n" + "    " * depth + "}"

    return f"const {kind} {name}{sizes} =\n{body(values, 0)};\n\n"


def _data_text(tables: DeviceTables) -> str:
    kinds = ", ".join(f"{number} {name}" for name, number in KINDS.items())
    units = ",\n".join("    " + _braced(one) for one in tables.units)
    rows = ",\n".join("    " + _braced(row) for row in tables.told.rules.tolist())
    alerts = len(tables.alerts)
    parts = [
        f'#include "{HEADER}"\n\n',
        f"/* {', '.join(COLUMN_NAMES)}; kinds: {kinds}. */\n",
        f"const trivet_alert trivet_rules[TRIVET_RULES] = {{\n{rows}\n}};\n\n",
        _table("uint8_t", "trivet_rule_of", tables.told.rule_of),
        _table("uint8_t", "trivet_device_rule", tables.told.device_rule),
        _table("uint8_t", "trivet_place_of", tables.told.place_of),
        _table("uint8_t", "trivet_band_of", tables.told.band_of),
        _table("uint8_t", "trivet_oil_row", tables.told.oil_row),
        _table("uint16_t", "trivet_oil_dk", tables.told.oil_dk),
        *(
            f"const uint8_t trivet_{name}_of[{alerts}] = {_braced(tables.kind_places(kind))};\n\n"
            for name, kind in (("slope", TIME_TO_LIMIT), ("pot", BOIL_DRY))
        ),
        f"const trivet_unit trivet_units[TRIVET_BURNERS] = {{\n{units}\n}};\n",
    ]
    return "".join(parts)
