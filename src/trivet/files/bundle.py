"""Writes a firmware bundle as a folder of text files, and says what it takes.

Bytes of code and constants are of a 32-bit microcontroller where its compiler is found,
else of this machine. Instructions are counted on this machine and say so: they are an
estimate for sizing, not cycles of the target.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

from trivet.errors import HandoffRefusedError
from trivet.files.atomic import new_folder
from trivet.records.bundle import FirmwareBundle, Footprint
from trivet.records.design import Design
from trivet.records.product import Firmware
from trivet.records.provenance import fingerprint


def write_bundle(project: Path, bundle: FirmwareBundle) -> Path:
    """Write the files and return their folder, named by the bundle's hash; never overwritten."""
    folder = project / "results" / "bundle" / fingerprint(bundle)[:32]
    if folder.exists():
        return folder
    with new_folder(folder) as part:
        for file in bundle.files:
            (part / file.name).write_text(file.text, encoding="utf-8", newline="\n")
    return folder


READING = (
    "trivet_reading.c",
    "trivet_pixels.c",
    "trivet_reading_data.c",
    "trivet_inversion.c",
    "trivet_table.c",
)
ALERTING = (
    "trivet_alerts.c",
    "trivet_slope.c",
    "trivet_pot.c",
    "trivet_device.c",
    "trivet_device_data.c",
)
CHECK = "trivet_reading_check.c"
COOK_CHECK, COOK = "trivet_cook_check.c", "cook_01.txt"
ARM = ("-mcpu=cortex-m0plus", "-mthumb", "-ffreestanding")
_PROBE = """\
#include "trivet_reading.h"
char trivet_size_state[sizeof(trivet_reading_state)];
char trivet_size_burner[sizeof(trivet_burner_state) + sizeof(trivet_said)];
"""
_PROBE_DEVICE = """\
#include "trivet_device.h"
#define ALERTS sizeof(trivet_alert_state) * TRIVET_ALERTS
char trivet_size_state[sizeof(trivet_device)];
char trivet_size_burner[sizeof(trivet_burner_state) + 2 * sizeof(trivet_said)
                        + sizeof(trivet_told) + ALERTS
                        + sizeof(trivet_slope) * TRIVET_MOST_SLOPES
                        + sizeof(trivet_pot) * TRIVET_MOST_POTS];
"""
_START = """\
#include <stddef.h>
int main(void);
void _start(void);
void *memcpy(void *to, const void *from, size_t n);
void *memset(void *to, int value, size_t n);
void *memcpy(void *to, const void *from, size_t n)
{
    volatile char *a = to;
    const char *b = from;
    while (n--) {
        *a++ = *b++;
    }
    return to;
}
void *memset(void *to, int value, size_t n)
{
    volatile char *a = to;
    while (n--) {
        *a++ = (char)value;
    }
    return to;
}
void _start(void)
{
    register int code __asm__("r0") = main();
    register int call __asm__("r7") = 1;
    __asm__ volatile("svc 0" : : "r"(code), "r"(call));
    for (;;) { }
}
"""


def footprint(bundle: FirmwareBundle) -> Footprint:
    """Return what a bundle takes; what could not be measured is in the notes."""
    notes: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        for file in bundle.files:
            if file.name.endswith((".c", ".h")) or file.name == COOK:
                (work / file.name).write_text(file.text, encoding="utf-8")
        target, flash, tables, ram, burner = _compiled(work, notes)
        return Footprint(
            target=target,
            flash_bytes=flash,
            table_bytes=tables,
            ram_bytes=ram,
            burner_ram_bytes=burner,
            frame_instructions=_counted(work, notes),
            emulated=_emulated(work, notes),
            notes=tuple(notes),
        )


def checked_footprint(bundle: FirmwareBundle, *, firmware: Firmware) -> Footprint:
    """Return what a bundle takes, or refuse a proven one that exceeds the design's budget."""
    taken = footprint(bundle)
    for what, used, allowed in _budgets(taken, firmware):
        if allowed is not None and used is not None and used > allowed and not bundle.unproven:
            raise HandoffRefusedError(
                f"the firmware takes {used:,} {what} ({taken.target}); the design's "
                f"firmware table allows {allowed:,}: read with fewer pixels or pans, or "
                "raise the budget. Nothing is written"
            )
    if taken.emulated is False:
        raise HandoffRefusedError(
            "the checker fails on an emulated processor of the target's kind: nothing is written"
        )
    return taken


def _budgets(
    taken: Footprint, firmware: Firmware
) -> tuple[tuple[str, int | None, int | None], ...]:
    return (
        ("bytes of flash", taken.flash_bytes, firmware.flash_bytes),
        ("bytes of ram", taken.ram_bytes, firmware.ram_bytes),
        ("instructions a frame", taken.frame_instructions, firmware.most_instructions),
    )


def footprint_lines(taken: Footprint, *, design: Design) -> list[str]:
    """Return the footprint as sentences for the console."""
    lines = []
    if taken.flash_bytes is not None and taken.ram_bytes is not None:
        lines.append(
            f"firmware ({taken.target}): {taken.flash_bytes:,} bytes of flash, of these "
            f"{taken.table_bytes or 0:,} of tables; {taken.ram_bytes:,} bytes of ram, of these "
            f"{taken.burner_ram_bytes:,} a burner"
        )
    lines += [_budget(*one) for one in _budgets(taken, design.firmware)]
    if taken.frame_instructions is not None:
        lines.append(
            f"{taken.frame_instructions:,} instructions a frame, counted on this machine: an "
            f"estimate, not cycles of the target{_energy(taken.frame_instructions, design)}"
        )
    if taken.emulated:
        lines.append("the checker passes on an emulated processor of the target's kind")
    return [*lines, *taken.notes]


def _budget(what: str, used: int | None, allowed: int | None) -> str:
    if allowed is None:
        return f"  budget of {what}: not stated"
    if used is None:
        return f"  budget of {what}: {allowed:,}, not counted"
    word = "kept" if used <= allowed else "EXCEEDED"
    return f"  budget of {what}: {allowed:,}, {allowed / used:.2f} times what it takes: {word}"


def _energy(instructions: int, design: Design) -> str:
    speed, power = design.firmware.instructions_per_s, design.firmware.computing_w
    if speed is None or power is None:
        return "; energy unknown: the firmware table lacks instructions_per_s or computing"
    return f"; {1e6 * instructions / float(speed) * float(power):.1f} uJ a frame"


def _compiled(work: Path, notes: list[str]) -> tuple[str, int | None, int | None, int | None, int]:
    arm = shutil.which("arm-none-eabi-gcc")
    prefix, flags, target = "arm-none-eabi-", list(ARM), "Cortex-M0+, -Os"
    if arm is None:
        notes.append("not cross-compiled: arm-none-eabi-gcc is not on PATH")
        prefix, flags, target = "", [], "this machine, -Os"
    tools = [shutil.which(prefix + tool) for tool in ("gcc", "size", "nm")]
    if None in tools:
        notes.append("bytes not counted: gcc, size or nm is not on PATH")
        return "none", None, None, None, 0
    alerts = (work / ALERTING[0]).exists()
    (work / "probe.c").write_text(_PROBE_DEVICE if alerts else _PROBE, encoding="utf-8")
    sources = [*READING, *(ALERTING if alerts else ()), "probe.c"]
    _run(work, [f"{prefix}gcc", "-std=c99", "-Os", "-Wall", "-Wextra", *flags, "-c", *sources])
    objects = [Path(one).with_suffix(".o").name for one in sources if one != "probe.c"]
    rows = _run(work, [f"{prefix}size", *objects]).splitlines()[1:]
    sizes = {row.split()[-1]: int(row.split()[0]) + int(row.split()[1]) for row in rows}
    held = _run(work, [f"{prefix}nm", "-S", "probe.o"])
    found = {
        name: int(size, 16) for size, name in re.findall(r"\S+ (\S+) \S (trivet_size_\w+)", held)
    }
    data = ("trivet_reading_data.o", "trivet_table.o", "trivet_device_data.o")
    tables = sum(sizes.get(name, 0) for name in data)
    ram, burner = found["trivet_size_state"], found["trivet_size_burner"]
    return target, sum(sizes.values()), tables, ram, burner


def _counted(work: Path, notes: list[str]) -> int | None:
    if shutil.which("valgrind") is None or shutil.which("gcc") is None:
        notes.append("instructions not counted: valgrind or gcc is not on PATH")
        return None
    cook = (work / COOK).exists()
    sources = [COOK_CHECK, *ALERTING] if cook else [CHECK]
    calls = ("trivet_device_frame", "trivet_device_step") if cook else ("trivet_read_frame",)
    _run(work, ["gcc", "-std=c99", "-Os", "-g", *sources, *READING, "-o", "counted"])
    valgrind = ["valgrind", "--tool=callgrind", "--callgrind-out-file=counted.out"]
    command = [*valgrind, *(f"--toggle-collect={one}" for one in calls), "./counted"]
    told = _run(work, [*command, COOK] if cook else command, both=True)
    total = re.search(r"Collected : (\d+)", told)
    if cook:
        steps = [len(re.findall(r"^step ", (work / COOK).read_text("utf-8"), flags=re.M))]
    else:
        steps = [int(n) for n in re.findall(r"(\d+) of \d+ frames match", told)]
        notes.append("instructions are those of the reading alone: no cook to replay")
    if total is None or not sum(steps):
        notes.append("instructions not counted: valgrind gave no count")
        return None
    return round(int(total.group(1)) * len(steps) / sum(steps))


def _emulated(work: Path, notes: list[str]) -> bool | None:
    if shutil.which("qemu-arm") is None or shutil.which("arm-none-eabi-gcc") is None:
        notes.append("not run under emulation: qemu-arm or arm-none-eabi-gcc is not on PATH")
        return None
    (work / "start.c").write_text(_START, encoding="utf-8")
    flags = ["-std=gnu99", "-nostdlib", "-Os", *ARM, "-DTRIVET_BARE"]
    _run(
        work,
        ["arm-none-eabi-gcc", *flags, "start.c", CHECK, *READING, "-lgcc", "-o", "bare.elf"],
    )
    ran = subprocess.run(["qemu-arm", "./bare.elf"], cwd=work, capture_output=True, check=False)
    return ran.returncode == 0


def _run(work: Path, command: list[str], *, both: bool = False) -> str:
    done = subprocess.run(command, cwd=work, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise HandoffRefusedError(f"{' '.join(command)} fails: {done.stderr.strip()[-400:]}")
    return done.stdout + done.stderr if both else done.stdout
