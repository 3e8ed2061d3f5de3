"""Food-safety log: was the core of a food held long enough, by a probe in its middle?"""

from __future__ import annotations

import numpy as np

from trivet.errors import InputError
from trivet.facts.contents import hold_table
from trivet.physics.heat.lethality import HoldVerdict, hold_verdict
from trivet.records.recording import ProbeSeries, Reference

CORE_COVERAGE = 2.0
"""Standard uncertainties taken off a reading before it counts."""


def core_verdict(reference: Reference, *, column: str, table: str = "beef-6.5-log") -> HoldVerdict:
    """Return whether a probe's reading of a core met a hold-time table.

    Parameters
    ----------
    reference : Reference
        Probes of a cook, recorded or simulated.
    column : str
        The probe's column.
    table : str
        Name of the hold-time table.

    Returns
    -------
    HoldVerdict
        By the reading less twice its standard uncertainty.

    Raises
    ------
    InputError
        If there is no such probe, or it is not inserted into food: a surface reading is
        no core.

    Notes
    -----
    The uncertainty is taken off because a core read 1 K too warm counts half as many
    decades again. The log says what the probe saw, and no place beside it.

    References
    ----------
    The table's own source.
    """
    probe = _probe(reference, column)
    inside = probe.probe.attachment == "inserted" and probe.probe.touches == "food"
    return hold_verdict(
        np.asarray(probe.time_s),
        core_k=np.asarray(probe.temperature_k - CORE_COVERAGE * probe.u_k),
        table=hold_table(table),
        of="core" if inside else "surface",
    )


def _probe(reference: Reference, column: str) -> ProbeSeries:
    for one in reference.probes:
        if one.probe.column == column:
            return one
    known = ", ".join(one.probe.column for one in reference.probes) or "none"
    raise InputError(f"the cook has no probe {column!r}; it has {known}")
