"""Which pairs can stand for one emissivity: those whose probe and pixels saw one place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scipy.stats import chi2

from trivet.errors import NotEnoughDataError
from trivet.kernels.radiation.filmfit import fit_emissivity
from trivet.stages.calibrate.fits import Group, HeadView, Prior, paired_samples
from trivet.stages.calibrate.pairs import PairSeries

FALSE_REFUSALS = 1e-3
"""Share of sound series that scatter this much by chance; own choice."""


def sound_series(
    series: Sequence[PairSeries], *, view: HeadView, priors: Mapping[Group, Prior]
) -> tuple[list[PairSeries], list[str]]:
    """Return the series that one emissivity can explain, and why the others are refused.

    A probe in a steep place of the pan reads another temperature than the footprint
    round it, by an amount that changes as the pan heats. No emissivity explains that,
    and least squares with common causes may then answer with one that no pair says.
    """
    kept: list[PairSeries] = []
    refused: list[str] = []
    for one in series:
        why = _contradiction(one, view=view, prior=priors[one.group])
        if why:
            contents, finish, _ = one.group
            refused.append(
                f"emissivity of {contents} on {finish or 'any finish'}, {one.recording}, burner "
                f"{one.burner}: {why}; the probe and the pixels round it did not see one "
                "temperature; put it where the pan is even, or heat more slowly; in force: what "
                "the other cooks say"
            )
        else:
            kept.append(one)
    return kept, refused


def _contradiction(one: PairSeries, *, view: HeadView, prior: Prior) -> str:
    samples = paired_samples(one, view=view, drift=view.declared(), emissivity=prior[0])
    try:
        fit = fit_emissivity(samples, band=view.band)
    except NotEnoughDataError:
        return ""  # too cool for an emissivity, which the drift can do without
    most = float(chi2.isf(FALSE_REFUSALS, fit.pairs - 1)) / (fit.pairs - 1)
    if fit.reduced_chi2 > most:
        return (
            f"its {fit.pairs} pairs scatter round one emissivity by chi2 {fit.reduced_chi2:.1f} a "
            f"pair where {most:.1f} is the most"
        )
    return ""
