"""The exception tree.

Every error that Trivet raises on purpose is a :class:`TrivetError`; its
``exit_code`` is what the command line returns. The tree::

    TrivetError                     (exit 2: the input or the command is at fault)
    ├── InputError                  a file, field or argument is wrong
    │   ├── DesignError             the design file, all faults at once
    │   ├── QuantityError           text that is not a number with a fitting unit
    │   ├── OutOfRangeError         a value outside the validity of a function
    │   ├── RecordingError          frames, words or their time axis
    │   ├── ProbeLogError           a reference probe's log
    │   └── FormatError             an unknown or damaged file format
    ├── NotEnoughDataError          a fit that the data cannot carry
    ├── EvidenceError               evidence of two kinds would be mixed, or a seal broken
    ├── HandoffRefusedError         no passing verdict, or stale hashes
    └── StorageError                (exit 3: disk full, not writable, internal fault)

A message says what is wrong, where, and what to do about it.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


class TrivetError(Exception):
    """Base of all errors raised on purpose; ``exit_code`` is for the command line."""

    exit_code = 2


class InputError(TrivetError):
    """A file, a field or an argument is wrong."""


class QuantityError(InputError):
    """Text that is not a number with a unit of the kind the field wants."""


class OutOfRangeError(InputError):
    """A value outside the range in which a function is valid."""


class RecordingError(InputError):
    """Frames, raw words or their time axis cannot be read as what they claim to be."""


class ProbeLogError(InputError):
    """A reference probe's log cannot be read as what it claims to be."""


class FormatError(InputError):
    """A file of an unknown format version, or one that is damaged."""


class NotEnoughDataError(TrivetError):
    """A fit was asked for that the data cannot carry."""


class EvidenceError(TrivetError):
    """Simulated and measured evidence would be mixed, or a sealed record was changed."""


class HandoffRefusedError(TrivetError):
    """The hand-off lacks a passing verdict, or its hashes are stale."""


class StorageError(TrivetError):
    """The disk is full or not writable, or a stored record is damaged."""

    exit_code = 3


@dataclass(frozen=True)
class Fault:
    """One fault of an input file: where it stands, what was found, what is allowed."""

    file: str
    line: int | None
    key: str
    found: str
    allowed: str

    def __str__(self) -> str:
        """Return the fault as ``file:line: key: found; allowed``."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{place}: {self.key}: {self.found}; allowed: {self.allowed}"


class DesignError(InputError):
    """A design or cook file with faults, all of them reported at once."""

    def __init__(self, faults: tuple[Fault, ...]):
        self.faults = faults
        head = f"{len(faults)} fault{'s' if len(faults) != 1 else ''}"
        super().__init__("\n".join([head, *(f"  {fault}" for fault in faults)]))


def nearest(name: str, known: Iterable[str]) -> str:
    """Return what is allowed as text: the names nearest to a wrong one, else all of them."""
    names = sorted(set(known))
    close = difflib.get_close_matches(name, names, n=3, cutoff=0.6)
    if close:
        return f"did you mean {' or '.join(repr(one) for one in close)}?"
    return "one of " + ", ".join(names) if names else "nothing: none is defined"
