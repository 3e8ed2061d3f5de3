"""Foods: composition, how they touch a hot base, and the surface they show."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from trivet.facts.tables import known_name, number, read_table


@dataclass(frozen=True)
class Food:
    """A food; shares are of mass, ``porosity_frac`` of volume."""

    name: str
    surface: str
    """Name in the surface library."""
    composition: tuple[float, float, float, float, float]
    """Water, protein, fat, carbohydrate, ash."""
    porosity_frac: float
    contact_start_w_m2k: float
    contact_peak_w_m2k: float
    contact_peak_s: float
    contact_decay_s: float
    source: str
    grade: str


@lru_cache(maxsize=1)
def foods() -> dict[str, Food]:
    """Return the whole library by name.

    Returns : dict: name to food
    """
    made = {}
    for row in read_table("foods.csv"):
        made[row["name"]] = Food(
            name=row["name"],
            surface=row["surface"],
            composition=(
                number(row, "water"),
                number(row, "protein"),
                number(row, "fat"),
                number(row, "carbohydrate"),
                number(row, "ash"),
            ),
            porosity_frac=number(row, "porosity"),
            contact_start_w_m2k=number(row, "contact_start_w_m2k"),
            contact_peak_w_m2k=number(row, "contact_peak_w_m2k"),
            contact_peak_s=number(row, "contact_peak_s"),
            contact_decay_s=number(row, "contact_decay_s"),
            source=row["source"],
            grade=row["grade"],
        )
    return made


def food(name: str) -> Food:
    """Return a food of the library.

    name : name; spaces, underscores and case do not matter
    Returns : composition, contact and surface
    Raises : InputError if the name is unknown; the message offers the nearest
    Notes : Compositions of one sort of food vary by some per cent of the mass; contact coefficients
        by a factor of two between pieces.
    """
    return foods()[known_name(name, names=foods(), what="food")]
