"""Hold times at core temperatures that make food safe."""

from __future__ import annotations

from trivet.constants import ZERO_C_K
from trivet.facts.tables import known_name, number, read_table


def hold_table(name: str = "beef-6.5-log") -> tuple[tuple[float, float], ...]:
    """Return a time-temperature table.

    name : name of the table
    Returns : tuple of (temperature [K], time [s]): rows from cold to hot
    Raises : InputError if the name is unknown; the message offers the nearest
    Notes : Rules differ by country, food and edition: the table is one of them and no advice.
    """
    rows = read_table("holdtimes.csv")
    wanted = known_name(name, names={row["name"] for row in rows}, what="hold-time table")
    return tuple(
        ((number(row, "temperature_f") - 32.0) / 1.8 + ZERO_C_K, number(row, "value"))
        for row in rows
        if row["name"] == wanted
    )
