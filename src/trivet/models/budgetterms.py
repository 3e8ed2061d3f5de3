"""Names of the terms of an error budget, as files may refer to them."""

from __future__ import annotations

TERM_NAMES = (
    "sensor offset",
    "sensor gain",
    "noise of one pixel",
    "drift with housing",
    "drift after wake",
    "self-heating",
    "output step",
    "stored constants",
    "firmware's words",
    "emissivity",
    "reflected temperature",
    "window transmittance",
    "window temperature",
    "window reflectance",
    "grease on the window",
    "condensation",
    "steam column",
    "size of source",
    "registration and edge",
    "temperature around the pan",
    "drop through the film",
    "end-of-line fixture",
)
