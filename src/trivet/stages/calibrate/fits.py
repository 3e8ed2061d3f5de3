"""Drift of a head and emissivities of surfaces from paired series."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError
from trivet.physics.radiation.filmfit import (
    EmissivityFit,
    PairedSamples,
    fit_emissivity,
    fit_film,
    pooled_emissivity,
)
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.physics.radiation.planck import band_radiance_slope
from trivet.physics.sensor.drift import (
    DriftFit,
    DriftModel,
    DriftSamples,
    fit_drift,
    pooled_units,
)
from trivet.records.calibration import DriftCalibration, SurfaceCalibration
from trivet.stages.calibrate.headscenes import HeadTerms
from trivet.stages.calibrate.nominal import (
    EmissivityPrior,
    bare_emissivity,
    nominal_surface,
    oil_constants,
    surface_prior,
)
from trivet.stages.calibrate.pairs import PairSeries, SurfaceGroup

LINEARISATIONS = 3  # own estimate: the model is nearly linear in an emissivity
LIKE_ROOM_K, MIN_DARK = 25.0, 0.7
"""So near to the reflected temperature, and from this emissivity on, drift shows in a pan's signal:
0.1 of emissivity are then 2.5 K at most (assumed)."""
K_SCALE_U = 0.2
"""Relative doubt of the oil's k, for which oleic acid stands in; assumed, no source."""
KEPT = "in force: as declared"
OTHERS = "in force: what the other cooks say"


def expected_k(
    series: PairSeries, *, view: HeadTerms, emissivity: float, cause: str = "", by: float = 0.0
) -> FloatArray:
    """Return the apparent temperature without drift, (sample,), one cause shifted by so much."""
    off = {cause: by}
    housing_k = series.state.housing_k
    sight = LineOfSight(
        emissivity=min(max(emissivity, 1e-3), 1.0),
        reflected_k=view.reflected_k + off.get("reflected", 0.0),
        transmittance=min(view.terms.transmittance + off.get("window", 0.0), 1.0),
        window_k=housing_k + view.window_rise_k,
        gain=off.get("gain", 0.0),
        housing_k=housing_k,
    )
    true_k = series.reference_k + off.get("reference", 0.0)
    return np.asarray(sighted_apparent_k(true_k, sight=sight, band=view.band))


def fitted_drift(
    series: Sequence[PairSeries], *, view: HeadTerms, priors: Mapping[SurfaceGroup, EmissivityPrior]
) -> tuple[DriftCalibration, dict[str, DriftModel], tuple[str, ...]]:
    """Return the head's drift, that of each sensor unit, and what was refused."""
    series = _telling_drift(series, view=view, priors=priors)
    nominal, units = view.terms.drift, sorted({one.unit for one in series})
    fits: dict[str, DriftFit] = {}
    refused = []
    for unit in units:
        mine = [one for one in series if one.unit == unit]
        try:
            fits[unit] = _unit_drift(mine, view=view, priors=priors)
        except NotEnoughDataError as error:
            who = f"head {view.head.name}, unit {unit or 'unnamed'}"
            refused.append(f"drift of {who}: {error}; {KEPT}")
    models = {unit: fit.model for unit, fit in fits.items()}
    if len(units) == 1 and fits:
        fit = fits[units[0]]
        refused += [f"drift of head {view.head.name}: {text}; {KEPT}" for text in fit.refused]
        held = f"; kept as declared: {'; '.join(fit.refused)}" if fit.refused else ""
        reason = f"fitted for unit {units[0] or 'unnamed'} only; another unit needs its own{held}"
        return _record(fit.model, fit.residual_rms_k, reason), models, tuple(refused)
    try:
        pooled = pooled_units(tuple(models.values()), declared=view.drift)
    except NotEnoughDataError as error:
        reason = f"nominal: {error}" if units else "nominal: no paired reference readings"
        refused.append(f"drift of head {view.head.name}: {error}; {KEPT}")
        return replace(nominal, reason=reason), models, tuple(dict.fromkeys(refused))
    rms = math.sqrt(float(np.mean([fit.residual_rms_k**2 for fit in fits.values()])))
    reason = f"mean of {len(fits)} sensor units, their spread included"
    return _record(pooled, rms, reason), models, tuple(refused)


def _telling_drift(
    series: Sequence[PairSeries], *, view: HeadTerms, priors: Mapping[SurfaceGroup, EmissivityPrior]
) -> list[PairSeries]:
    """Return the samples whose temperature is known whatever the surface: water, and dark pans
    about as warm as the reflected temperature.

    A hot pan is uneven, its oil thins while it heats, and both go with the housing's rate: fitted
    on such pans, drift takes over what is the pan's.
    """
    found = []
    for one in series:
        if one.group.contents == "water":
            found.append(one)
        elif priors[one.group].emissivity >= MIN_DARK:
            cold = np.abs(one.reference_k - view.reflected_k) <= LIKE_ROOM_K
            found.append(one.kept(cold))
    return [one for one in found if one.apparent_k.size]


def _record(model: DriftModel, rms_k: float, reason: str) -> DriftCalibration:
    return DriftCalibration(
        "fitted", model.value, model.covariance, model.housing_ref_k, model.tau_s, rms_k, reason
    )


def _unit_drift(
    series: Sequence[PairSeries], *, view: HeadTerms, priors: Mapping[SurfaceGroup, EmissivityPrior]
) -> DriftFit:
    """Fit the drift of one unit with emissivities, probes, gain and window as other causes."""
    if not series:
        raise NotEnoughDataError("no paired reference readings")
    at = [priors[one.group].emissivity for one in series]
    fit: DriftFit | None = None
    for _ in range(LINEARISATIONS):
        samples = _drift_samples(series, view=view, priors=priors, at=at)
        fit = fit_drift(samples, declared=view.drift)
        moved = [eps + float(step) for eps, step in zip(at, fit.nuisance, strict=False)]
        at = [min(max(eps, 0.02), 1.0) for eps in moved]
    assert fit is not None
    return fit


def _drift_samples(
    series: Sequence[PairSeries],
    *,
    view: HeadTerms,
    priors: Mapping[SurfaceGroup, EmissivityPrior],
    at: Sequence[float],
) -> DriftSamples:
    """Causes in order: an emissivity each series, a probe each series, what lies beside each probe,
    gain, window, reflected temperature."""
    n = len(series)
    besides = series[0].beside_k.shape[1]
    first = (2 + besides) * n
    rows: list[FloatArray] = []
    offsets: list[FloatArray] = []
    for k, one in enumerate(series):
        expected = partial(expected_k, one, view=view, emissivity=at[k])
        base = expected()
        row = np.zeros((one.apparent_k.size, first + 3))
        step = 0.01 if at[k] < 0.98 else -0.01
        row[:, k] = (expected(emissivity=at[k] + step) - base) / step
        row[:, n + k] = expected(cause="reference", by=1.0) - base
        row[:, 2 * n + besides * k : 2 * n + besides * (k + 1)] = one.beside_k
        for column, (cause, size) in enumerate(
            (("gain", 0.01), ("window", -0.01), ("reflected", 1.0)), start=first
        ):
            row[:, column] = (expected(cause=cause, by=size) - base) / size
        rows.append(row)
        offsets.append(one.apparent_k - base)
    own = [priors[one.group] for one in series]
    names = sorted({one.recording for one in series})
    steady = np.zeros(first - n + 3)
    return DriftSamples(
        offset_k=np.concatenate(offsets),
        u_k=np.concatenate([one.u_k for one in series]),
        housing_k=np.concatenate([one.state.housing_k for one in series]),
        housing_rate_kps=np.concatenate([one.state.rate_kps for one in series]),
        awake_s=np.concatenate([one.state.awake_s for one in series]),
        ramp=np.concatenate(
            [np.full(one.apparent_k.size, names.index(one.recording)) for one in series]
        ),
        nuisance=np.concatenate(rows),
        nuisance_mean=np.concatenate(
            [[prior.emissivity - eps for prior, eps in zip(own, at, strict=True)], steady]
        ),
        nuisance_u=np.concatenate(
            [
                [prior.u for prior in own],
                [one.reference_u_k for one in series],
                np.ones(besides * n),
                [view.terms.gain_u, view.terms.transmittance_u, view.reflected_u_k],
            ]
        ),
    )


def paired_samples(
    one: PairSeries, *, view: HeadTerms, drift: DriftModel, emissivity: float
) -> PairedSamples:
    """Return a series as scene radiance: drift taken off, window taken out."""
    terms = one.state.terms(drift)
    apparent = one.apparent_k - terms @ drift.value
    tau, reflected_k = view.terms.transmittance, view.reflected_k
    window = view.window_radiance(one.state.housing_k)
    radiance = view.scene_radiance(apparent, housing_k=one.state.housing_k)
    slope = band_radiance_slope(apparent, band=view.band) / tau
    root = np.linalg.cholesky(drift.covariance + 1e-12 * np.eye(4))
    probe = emissivity * band_radiance_slope(one.reference_k, band=view.band)
    by_reflected = (1 - emissivity) * float(band_radiance_slope(reflected_k, band=view.band))
    common = np.column_stack(
        [
            slope[:, None] * (terms @ root),
            slope * view.terms.gain_u * (apparent - one.state.housing_k),
            (radiance - window) / tau * view.terms.transmittance_u,
            probe * one.reference_u_k,
            slope[:, None] * one.beside_k,
            np.full(one.apparent_k.size, by_reflected * view.reflected_u_k),
        ]
    )
    return PairedSamples(radiance, slope * one.u_k, one.reference_k, reflected_k, common)


def fitted_surface(
    series: Sequence[PairSeries],
    *,
    view: HeadTerms,
    drifts: Mapping[str, DriftModel],
    prior: EmissivityPrior,
) -> tuple[SurfaceCalibration, tuple[str, ...]]:
    """Return one group's emissivity and film, or the nominal one with the refusal."""
    group = series[0].group
    label = f"{group.contents} on {group.finish or 'any finish'}{', film' if group.film else ''}"
    depth = float(np.mean([one.depth_m for one in series]))
    samples = {
        id(one): paired_samples(
            one, view=view, drift=drifts.get(one.unit, view.drift), emissivity=prior.emissivity
        )
        for one in series
    }
    cooks, left = _cook_fits(series, samples=samples, view=view)
    refused = [f"emissivity of {label}, {text}" for text in left]
    shared = prior.emissivity * view.terms.transmittance_u / view.terms.transmittance
    try:
        pooled = pooled_emissivity(
            cooks, declared=prior.emissivity, declared_u=prior.u, common_u=shared
        )
    except NotEnoughDataError as error:
        refused.append(f"emissivity of {label}: {error}; {KEPT}")
        reason = f"nominal: {error}"
        return nominal_surface(group, prior=prior, depth_m=depth, reason=reason), tuple(refused)
    film_m, film_u_m, spread = math.nan, math.nan, None
    if group.film:
        film_m, spread, why = _film(series, samples=samples, view=view, depth_m=depth)
        film_u_m = math.nan if spread is None else film_m * math.sqrt(float(spread[0, 0]))
        refused += [f"film of {label}: {why}; in force: the emissivity alone"] if why else []
    reason = f"fitted to {len(cooks)} cooks; spread between cooks {pooled.between_u:.3f}"
    if pooled.conflict:
        reason += f"; the declared {prior.emissivity:.3f} disagrees and was not used"
    surface = SurfaceCalibration(
        contents=group.contents,
        finish=group.finish,
        how="fitted",
        emissivity=pooled.emissivity,
        emissivity_u=pooled.emissivity_u,
        film_m=film_m,
        film_u_m=film_u_m,
        span_low_k=min(one.span_k[0] for one in cooks),
        span_high_k=max(one.span_k[1] for one in cooks),
        cooks=len(cooks),
        reduced_chi2=float(np.mean([one.reduced_chi2 for one in cooks])),
        reason=reason,
        film_covariance=spread,
        film=group.film,
    )
    return surface, tuple(refused)


def _cook_fits(
    series: Sequence[PairSeries], *, samples: Mapping[int, PairedSamples], view: HeadTerms
) -> tuple[tuple[EmissivityFit, ...], list[str]]:
    """Return one emissivity a cook, and which series could not carry one."""
    fits: dict[str, list[EmissivityFit]] = {}
    refused = []
    for one in series:
        try:
            found = fit_emissivity(samples[id(one)], band=view.band)
            fits.setdefault(one.recording, []).append(found)
        except NotEnoughDataError as error:
            refused.append(f"{one.recording}: {error}; {OTHERS}")
    return tuple(_one_cook(found) for found in fits.values()), refused


def _one_cook(found: Sequence[EmissivityFit]) -> EmissivityFit:
    """Several probes or burners of one cook count as one: they share unit and day."""
    return EmissivityFit(
        float(np.mean([one.emissivity for one in found])),
        float(np.mean([one.emissivity_u for one in found])),
        (min(one.span_k[0] for one in found), max(one.span_k[1] for one in found)),
        sum(one.pairs for one in found),
        float(np.mean([one.reduced_chi2 for one in found])),
    )


def _film(
    series: Sequence[PairSeries],
    *,
    samples: Mapping[int, PairedSamples],
    view: HeadTerms,
    depth_m: float,
) -> tuple[float, FloatArray | None, str]:
    """Geometric mean thickness over the series, and the film terms' covariance for another cook.

    Terms: log thickness, emissivity below, log of the liquid's k scale.
    """
    logs, covariances, why = [], [], ""
    below = bare_emissivity(series[0].group.finish, design=view.design)
    for one in series:
        try:
            fit = fit_film(
                samples[id(one)],
                film=oil_constants(),
                substrate=below,
                start_m=min(max(depth_m, 1e-6), 2e-3),
                band=view.band,
                scale_u=K_SCALE_U,
            )
        except NotEnoughDataError as error:
            why = str(error)
            continue
        logs.append(math.log(fit.thickness_m))
        turn = np.array([1.0 / fit.thickness_m, 1.0, 1.0])
        covariances.append(fit.covariance * np.outer(turn, turn))
    if len(logs) < 2:
        return math.nan, None, why or "one series cannot show the spread"
    spread: FloatArray = np.mean(covariances, axis=0).astype(np.float64)
    spread[0, 0] += float(np.var(logs, ddof=1))
    return math.exp(float(np.mean(logs))), spread, ""


def group_prior(
    group: SurfaceGroup, *, series: Sequence[PairSeries], view: HeadTerms
) -> EmissivityPrior:
    """Return a group's emissivity before any cook, at the mean depth of its series."""
    depth = float(np.mean([one.depth_m for one in series]))
    return surface_prior(
        group.contents, finish=group.finish, depth_m=depth, design=view.design, band=view.band
    )
