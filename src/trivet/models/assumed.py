"""Figures that no design states and no source gives, each with its wording and why."""

from __future__ import annotations

from dataclasses import dataclass

from trivet.records.figures import Figure


@dataclass(frozen=True)
class Assumed:
    """A figure that no design states and no source gives: value in SI and why."""

    value: float
    text: str
    note: str


AROUND_PAN_K = Assumed(
    333.15, "60 degC", "radiative temperature of what lies around a pan in the picture"
)
AROUND_PAN_HALF_K = Assumed(30.0, "30 K", "half-width of the temperature around a pan")
HALO_FEW_FRAC = Assumed(
    0.05, "5 %", "most of a pixel's signal that wide halo brings in, under 10 pixels across"
)
HALO_MANY_FRAC = Assumed(0.02, "2 %", "the same with 10 pixels across or more")
COVERED_LOW_FRAC = Assumed(0.5, "50 %", "least share of the base that thin oil still wets")
FILM_DOUBT_FRAC = Assumed(0.2, "20 %", "doubt of a film's thickness where it wets")
OPAQUE_FILM_M = Assumed(0.5e-3, "0.5 mm", "from this thickness the sensor sees oil, not the pan")
OIL_CONDUCTIVITY_W_MK = Assumed(0.13, "0.13 W/m/K", "conductivity of hot oil (fair source)")
EMISSIVITY_HALF = Assumed(0.03, "0.03", "half-width of a pan's emissivity given without a range")
WATER_EMISSIVITY_HALF = Assumed(
    0.01, "0.01", "half-width about the Fresnel value of water, good to 65 degrees"
)
REFLECTED_HALF_K = Assumed(10.0, "10 K", "half-width of a reflected temperature without a range")
WINDOW_HALF_K = Assumed(5.0, "5 K", "half-width of a window temperature without a range")
TRANSMITTANCE_HALF = Assumed(0.03, "0.03", "half-width of a transmittance without a range")
COOKING_SIGMA = Assumed(0.25, "25 %", "log-normal spread of cooking hours without a range")
HOT_SPOT_BESIDE_FRAC = Assumed(
    0.5, "50 %", "what a pixel sees beside the hottest 5 cm2: half-way from the mean to it"
)
COOKS_PER_DAY = Assumed(2.0, "2", "cooks a day where the diary gives hours only")
SELF_DISCHARGE_DOUBLING_K = Assumed(10.0, "10 K", "warming that doubles the self-discharge")

OWN: dict[str, Assumed] = {
    "around_pan": AROUND_PAN_K,
    "around_pan_half": AROUND_PAN_HALF_K,
    "halo_few_pixels": HALO_FEW_FRAC,
    "halo_many_pixels": HALO_MANY_FRAC,
    "covered_low": COVERED_LOW_FRAC,
    "film_doubt": FILM_DOUBT_FRAC,
    "opaque_film": OPAQUE_FILM_M,
    "oil_conductivity": OIL_CONDUCTIVITY_W_MK,
    "emissivity_half": EMISSIVITY_HALF,
    "water_emissivity_half": WATER_EMISSIVITY_HALF,
    "reflected_half": REFLECTED_HALF_K,
    "window_temperature_half": WINDOW_HALF_K,
    "transmittance_half": TRANSMITTANCE_HALF,
    "cooking_sigma": COOKING_SIGMA,
    "hot_spot_beside": HOT_SPOT_BESIDE_FRAC,
    "cooks_per_day": COOKS_PER_DAY,
    "self_discharge_doubling": SELF_DISCHARGE_DOUBLING_K,
}


def range_of(figure: Figure, *, otherwise: Assumed) -> tuple[float, float]:
    """Return the lower and upper end of a figure, an assumed half-width where it has no range."""
    if figure.low is None or figure.high is None:
        return float(figure) - otherwise.value, float(figure) + otherwise.value
    return figure.low, figure.high


DARK_EMISSIVITY = 0.95  # common practice, no source: oiled or seasoned metal, painted plates
