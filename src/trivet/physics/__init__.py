"""Pure functions of arrays; SI inside; no files, no clock, no globals."""
