"""Freeze what the program gives, and check that it still gives it.

``python -m tests.frozen.net check [--part PART]`` against ``net.json``;
``capture DIR``, and later ``check --against DIR``, keep every value and show how far one moved;
``renew --why "REASON"`` freezes anew, when behaviour changes on purpose.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import time
from collections import Counter
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

import llvmlite.binding
import numpy as np
from tests.frozen.captured import PARTS
from tests.frozen.flat import Flat, Renamed, digests, flat, token

NET = Path(__file__).with_name("net.json")
PAGES = ("dossier",)
Digests = dict[str, dict[str, str]]
LISTED, SHOWN = 40, 3


def made_on() -> dict[str, str]:
    """Return what last bits depend on beside the program."""
    found = {name: version(name) for name in ("numba", "numpy", "scipy")}
    return {"processor": llvmlite.binding.get_host_cpu_name(), **found}


def captured(part: str) -> Iterator[tuple[str, Flat]]:
    """Yield the records of a part under their old names."""
    renamed = Renamed()
    for name, record in PARTS[part]():
        yield name, renamed.old(flat(name, record))


def part_digests(part: str, keep: Path | None = None) -> Digests:
    """Return record -> field -> digest of a part; every value goes to ``keep``, if given."""
    found: Digests = {}
    values: dict[str, Any] = {}
    arrays: dict[str, np.ndarray] = {}
    for name, record in captured(part):
        found[name] = digests(record, page=name in PAGES)
        if keep:
            values[name] = {path: token(value) for path, value in record.items()}
            arrays |= {
                f"{name}|{path}": value
                for path, value in record.items()
                if isinstance(value, np.ndarray)
            }
    if keep:
        keep.mkdir(parents=True, exist_ok=True)
        (keep / f"{part}.json").write_text(json.dumps(values, indent=0), "utf-8")
        np.savez(keep / f"{part}.npz", **arrays)
    return found


def differences(part: str, now: Digests) -> tuple[list[str], list[str]]:
    """Return what differs from the frozen net, and what is excused or only stands elsewhere."""
    frozen: Digests = json.loads(NET.read_text("utf-8"))["parts"][part]
    renamed = Renamed()
    wrong: list[str] = []
    excused: list[str] = []
    for record in sorted({*frozen, *now}):
        old, new = frozen.get(record), now.get(record)
        if old is None or new is None:
            found = ["is new" if old is None else "is gone"]
        else:
            same = old["*"] == new["*"]
            fields = sorted(one for one in {*old, *new} if old.get(one) != new.get(one))
            found = fields if not same else [f"{one} (values the same elsewhere)" for one in fields]
        for one in found:
            where = f"{part}/{record}/{one}"
            why = "values stand elsewhere" if "elsewhere" in one else renamed.reason(where)
            (excused if why else wrong).append(f"{where}: {why}" if why else where)
    return wrong, excused


def explained(part: str, old: Path, new: Path) -> list[str]:
    """Return how two full captures differ, path by path, a few of each kind of path."""
    was = json.loads((old / f"{part}.json").read_text("utf-8"))
    now = json.loads((new / f"{part}.json").read_text("utf-8"))
    found: dict[str, list[str]] = {}
    with np.load(old / f"{part}.npz") as before, np.load(new / f"{part}.npz") as after:
        for record in sorted({*was, *now}):
            first, last = was.get(record, {}), now.get(record, {})
            for path in sorted({*first, *last}) if record not in PAGES else ():
                a, b = first.get(path, "absent"), last.get(path, "absent")
                key = f"{record}|{path}"
                if a != b and key in before and key in after:
                    b = f"{b}, {_moved(before[key], after[key])}"
                if a != b:
                    kind = "/".join(step for step in path.split("/") if not step.isdigit())
                    line = f"{part}/{record}/{path}: {a} -> {b}"
                    found.setdefault(f"{record.split()[0]}/{kind}", []).append(line)
    return [
        line if at < SHOWN else f"{kind}: {len(lines) - SHOWN} more"
        for kind, lines in found.items()
        for at, line in enumerate(lines[: SHOWN + 1])
    ]


def printed(part: str, old: Path, new: Path) -> list[str]:
    """Return which numbers in the prose and tables of a page are gone, and which are new."""
    lines = []
    for page in PAGES:
        counts = []
        for folder in (old, new):
            with np.load(folder / f"{part}.npz") as kept:
                texts = [kept[key] for key in kept.files if re.match(rf"{page}\|.*#", key)]
            counts.append(Counter(np.concatenate([*texts, np.empty(0)]).tolist()))
        gone, come = counts[0] - counts[1], counts[1] - counts[0]
        if gone or come:
            lines += [f"{page} prints no more {dict(gone)}", f"{page} prints now {dict(come)}"]
    return lines


def _moved(a: np.ndarray, b: np.ndarray) -> str:
    if a.shape != b.shape or a.dtype.kind not in "biuf" or b.dtype.kind not in "biuf":
        return "of another shape or kind"
    one, other = a.astype(float), b.astype(float)
    apart = (one != other) & ~(np.isnan(one) & np.isnan(other))
    far = np.abs(one - other)[apart & np.isfinite(one) & np.isfinite(other)]
    return f"{apart.sum()} of {a.size} differ, at most by {far.max(initial=0.0):.3g}"


def _check(parts: list[str], against: Path | None, keep: Path) -> int:
    bad = 0
    for part in parts:
        begun = time.process_time()
        now = part_digests(part, keep if against else None)
        wrong, excused = differences(part, now)
        bad += len(wrong)
        print(f"{part}: {len(now)} records, {time.process_time() - begun:.0f} s CPU,", end=" ")
        print(f"{len(wrong)} fields differ, {len(excused)} excused")
        print("".join(f"  {line}\n" for line in wrong[:LISTED] + excused[:SHOWN]), end="")
        if against:
            lines = explained(part, against, keep) if wrong else []
            lines += printed(part, against, keep)
            print("".join(f"    {line}\n" for line in lines[: 5 * LISTED]), end="")
    return 1 if bad else 0


def _renew(parts: list[str], why: str) -> None:
    frozen = json.loads(NET.read_text("utf-8")) if NET.exists() else {"renewed": [], "parts": {}}
    frozen["renewed"].append({"parts": parts, "why": why})
    frozen["made_on"] = made_on()
    frozen["parts"] |= {part: part_digests(part) for part in parts}
    NET.write_text(json.dumps(frozen, indent=0, ensure_ascii=False) + "\n", "utf-8")


def main() -> int:
    """Run one command; 1 if something differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.frozen.net", description=__doc__)
    parser.add_argument("command", choices=("check", "capture", "renew"))
    parser.add_argument("folder", nargs="?", type=Path, help="where capture puts every value")
    parser.add_argument("--part", choices=tuple(PARTS), action="append")
    parser.add_argument("--against", type=Path, help="a full capture that explains differences")
    parser.add_argument("--keep", type=Path, default=Path("results") / "net")
    parser.add_argument("--why", help="why the net is renewed")
    given = parser.parse_args()
    parts = given.part or list(PARTS)
    if given.command == "check":
        return _check(parts, given.against, given.keep)
    if given.command == "renew":
        if not given.why:
            parser.error("say why: --why REASON")
        _renew(parts, given.why)
    elif given.folder is None:
        parser.error("say where to: capture FOLDER")
    else:
        for part in parts:
            part_digests(part, given.folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
