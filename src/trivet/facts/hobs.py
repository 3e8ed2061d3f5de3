"""Efficiencies of burners by kind, and sizes of standard cookware."""

from __future__ import annotations

from dataclasses import dataclass

from trivet.facts.tables import known_name, number, read_table


@dataclass(frozen=True)
class HobFact:
    """One figure with its range and where it comes from."""

    value: float
    low: float
    high: float
    condition: str
    source: str
    grade: str


def _facts(property_name: str) -> dict[str, HobFact]:
    return {
        row["name"]: HobFact(
            number(row, "value"),
            number(row, "low"),
            number(row, "high"),
            row["condition"],
            row["source"],
            row["grade"],
        )
        for row in read_table("hobs.csv")
        if row["property"] == property_name
    }


def burner_efficiency(kind: str) -> HobFact:
    """Return the share of the energy used that a covered load gains, as published.

    kind : gas, coil, radiant or induction
    Returns : share and range
    Raises : InputError if the kind is unknown
    Notes : For a vessel as wide as the burner; a smaller one takes less.
    """
    facts = _facts("efficiency")
    return facts[known_name(kind, names=facts, what="burner kind")]


def retained_share(kind: str) -> HobFact:
    """Return the share of the heat into pan and hob that a covered load of water keeps.

    kind : gas, coil, radiant or induction
    Returns : share; the range is that of one and two litres at 1.5 and 2.2 kW
    Raises : InputError if the kind is unknown
    Notes : The simulator's own figure, not a measurement: it turns a published efficiency into the
        heat that the simulator has to be given. docs/simulator.md holds it to a fresh run.
    """
    facts = _facts("retained")
    return facts[known_name(kind, names=facts, what="burner kind")]


def vessel_diameters_m() -> tuple[float, ...]:
    """Return the diameters of standard cookware, smallest first.

    Returns : tuple of float: diameters [m]
    Notes : From memory; buy the standard before a claim rests on them.
    """
    return tuple(sorted(fact.value for fact in _facts("diameter").values()))
