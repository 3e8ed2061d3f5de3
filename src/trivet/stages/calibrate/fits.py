"""Drift of a head and emissivities of surfaces from paired series."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

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
from trivet.physics.radiation.planck import Band, band_radiance, band_radiance_slope
from trivet.physics.sensor.drift import (
    DriftFit,
    DriftModel,
    DriftSamples,
    drift_terms,
    fit_drift,
    pooled_units,
)
from trivet.records.calibration import DriftCalibration, HeadCalibration, SurfaceCalibration
from trivet.records.design import Contents, Design, Head
from trivet.stages.calibrate.nominal import (
    bare_emissivity,
    nominal_surface,
    oil_constants,
    surface_prior,
)
from trivet.stages.calibrate.pairs import PairSeries

Group = tuple[Contents, str, bool]
Prior = tuple[float, float]

REFLECTED_HALF_K = 10.0
LINEARISATIONS = 3
LIKE_ROOM_K, MIN_DARK = 25.0, 0.7
"""So near to what it mirrors, and from this emissivity on, a pan's drift shows: 0.1 of emissivity
are then 2.5 K at most (assumed)."""
K_SCALE_U = 0.2
"""Relative doubt of the oil's k, for which oleic acid stands in; assumed, no source."""
KEPT = "in force: as declared"
OTHERS = "in force: what the other cooks say"


@dataclass(frozen=True)
class HeadView:
    """What the pairs of one head are read with."""

    design: Design
    head: Head
    nominal: HeadCalibration
    band: Band

    @property
    def window_rise_k(self) -> float:
        """Temperature of the window over the housing, as designed. [K]"""
        return float(self.head.window.rise_delta_k)

    @property
    def reflected_k(self) -> float:
        """What the pans mirror: as patches showed it, else as designed. [K]"""
        measured = self.nominal.reflected_k
        return measured if math.isfinite(measured) else float(self.design.surroundings.reflected_k)

    @property
    def reflected_u_k(self) -> float:
        """Standard uncertainty of the reflected temperature. [K]"""
        if math.isfinite(self.nominal.reflected_u_k):
            return self.nominal.reflected_u_k
        figure = self.design.surroundings.reflected_k
        return figure.standard_uncertainty or REFLECTED_HALF_K / math.sqrt(3)

    def declared(self) -> DriftModel:
        """Return the drift as declared."""
        drift = self.nominal.drift
        return DriftModel(drift.value, drift.covariance, drift.housing_ref_k, drift.tau_s)

    def expected_k(self, series: PairSeries, *, emissivity: float, **off: float) -> FloatArray:
        """Return the apparent temperature without drift; ``off`` shifts single causes."""
        sight = LineOfSight(
            emissivity=min(max(emissivity, 1e-3), 1.0),
            reflected_k=self.reflected_k + off.get("reflected", 0.0),
            transmittance=min(self.nominal.transmittance + off.get("window", 0.0), 1.0),
            window_k=series.housing_k + self.window_rise_k,
            gain=off.get("gain", 0.0),
            housing_k=series.housing_k,
        )
        return np.asarray(
            sighted_apparent_k(
                series.reference_k + off.get("reference", 0.0), sight=sight, band=self.band
            )
        )


def fitted_drift(
    series: Sequence[PairSeries], *, view: HeadView, priors: Mapping[Group, Prior]
) -> tuple[DriftCalibration, dict[str, DriftModel], tuple[str, ...]]:
    """Return the head's drift, that of each sensor unit, and what was refused."""
    series = _telling_drift(series, view=view, priors=priors)
    nominal, units = view.nominal.drift, sorted({one.unit for one in series})
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
        pooled = pooled_units(tuple(models.values()), declared=view.declared())
    except NotEnoughDataError as error:
        reason = f"nominal: {error}" if units else "nominal: no paired reference readings"
        refused.append(f"drift of head {view.head.name}: {error}; {KEPT}")
        return replace(nominal, reason=reason), models, tuple(dict.fromkeys(refused))
    rms = math.sqrt(float(np.mean([fit.residual_rms_k**2 for fit in fits.values()])))
    reason = f"mean of {len(fits)} sensor units, their spread included"
    return _record(pooled, rms, reason), models, tuple(refused)


def _telling_drift(
    series: Sequence[PairSeries], *, view: HeadView, priors: Mapping[Group, Prior]
) -> list[PairSeries]:
    """Return the samples whose temperature is known whatever the surface: water, and dark pans
    about as warm as what they mirror.

    A hot pan is uneven, its oil thins while it heats, and both go with the housing's rate: fitted
    on such pans, drift takes over what is the pan's.
    """
    found = []
    for one in series:
        if one.contents == "water":
            found.append(one)
        elif priors[one.group][0] >= MIN_DARK:
            cold = np.abs(one.reference_k - view.reflected_k) <= LIKE_ROOM_K
            found.append(one.kept(cold))
    return [one for one in found if one.apparent_k.size]


def _record(model: DriftModel, rms_k: float, reason: str) -> DriftCalibration:
    return DriftCalibration(
        "fitted", model.value, model.covariance, model.housing_ref_k, model.tau_s, rms_k, reason
    )


def _unit_drift(
    series: Sequence[PairSeries], *, view: HeadView, priors: Mapping[Group, Prior]
) -> DriftFit:
    """Fit the drift of one unit with emissivities, probes, gain and window as other causes."""
    if not series:
        raise NotEnoughDataError("no paired reference readings")
    at = [priors[one.group][0] for one in series]
    fit: DriftFit | None = None
    for _ in range(LINEARISATIONS):
        samples = _drift_samples(series, view=view, priors=priors, at=at)
        fit = fit_drift(samples, declared=view.declared())
        moved = [eps + float(step) for eps, step in zip(at, fit.nuisance, strict=False)]
        at = [min(max(eps, 0.02), 1.0) for eps in moved]
    assert fit is not None
    return fit


def _drift_samples(
    series: Sequence[PairSeries],
    *,
    view: HeadView,
    priors: Mapping[Group, Prior],
    at: Sequence[float],
) -> DriftSamples:
    """Causes in order: an emissivity each series, a probe each series, what lies beside each probe,
    gain, window, mirror."""
    n = len(series)
    besides = series[0].beside_k.shape[1]
    first = (2 + besides) * n
    rows: list[FloatArray] = []
    offsets: list[FloatArray] = []
    for k, one in enumerate(series):
        base = view.expected_k(one, emissivity=at[k])
        row = np.zeros((one.apparent_k.size, first + 3))
        step = 0.01 if at[k] < 0.98 else -0.01
        row[:, k] = (view.expected_k(one, emissivity=at[k] + step) - base) / step
        row[:, n + k] = view.expected_k(one, emissivity=at[k], reference=1.0) - base
        row[:, 2 * n + besides * k : 2 * n + besides * (k + 1)] = one.beside_k
        for column, (cause, size) in enumerate(
            (("gain", 0.01), ("window", -0.01), ("reflected", 1.0)), start=first
        ):
            shifted = view.expected_k(one, emissivity=at[k], **{cause: size})
            row[:, column] = (shifted - base) / size
        rows.append(row)
        offsets.append(one.apparent_k - base)
    own = [priors[one.group] for one in series]
    names = sorted({one.recording for one in series})
    steady = np.zeros(first - n + 3)
    return DriftSamples(
        offset_k=np.concatenate(offsets),
        u_k=np.concatenate([one.u_k for one in series]),
        housing_k=np.concatenate([one.housing_k for one in series]),
        housing_rate_kps=np.concatenate([one.housing_rate_kps for one in series]),
        awake_s=np.concatenate([one.awake_s for one in series]),
        ramp=np.concatenate(
            [np.full(one.apparent_k.size, names.index(one.recording)) for one in series]
        ),
        nuisance=np.concatenate(rows),
        nuisance_mean=np.concatenate(
            [[prior[0] - eps for prior, eps in zip(own, at, strict=True)], steady]
        ),
        nuisance_u=np.concatenate(
            [
                [prior[1] for prior in own],
                [one.reference_u_k for one in series],
                np.ones(besides * n),
                [view.nominal.gain_u, view.nominal.transmittance_u, view.reflected_u_k],
            ]
        ),
    )


def paired_samples(
    one: PairSeries, *, view: HeadView, drift: DriftModel, emissivity: float
) -> PairedSamples:
    """Return a series as scene radiance: drift taken off, window taken out."""
    terms = drift_terms(
        one.housing_k,
        housing_rate_kps=one.housing_rate_kps,
        awake_s=one.awake_s,
        housing_ref_k=drift.housing_ref_k,
        tau_s=drift.tau_s,
    )
    apparent = one.apparent_k - terms @ drift.value
    tau, mirror_k = view.nominal.transmittance, view.reflected_k
    window = band_radiance(one.housing_k + view.window_rise_k, band=view.band)
    radiance = (band_radiance(apparent, band=view.band) - (1 - tau) * window) / tau
    slope = band_radiance_slope(apparent, band=view.band) / tau
    root = np.linalg.cholesky(drift.covariance + 1e-12 * np.eye(4))
    probe = emissivity * band_radiance_slope(one.reference_k, band=view.band)
    mirror = (1 - emissivity) * float(band_radiance_slope(mirror_k, band=view.band))
    common = np.column_stack(
        [
            slope[:, None] * (terms @ root),
            slope * view.nominal.gain_u * (apparent - one.housing_k),
            (radiance - window) / tau * view.nominal.transmittance_u,
            probe * one.reference_u_k,
            slope[:, None] * one.beside_k,
            np.full(one.apparent_k.size, mirror * view.reflected_u_k),
        ]
    )
    return PairedSamples(radiance, slope * one.u_k, one.reference_k, mirror_k, common)


def fitted_surface(
    series: Sequence[PairSeries],
    *,
    view: HeadView,
    drifts: Mapping[str, DriftModel],
    prior: Prior,
) -> tuple[SurfaceCalibration, tuple[str, ...]]:
    """Return one group's emissivity and film, or the nominal one with the refusal."""
    contents, finish, film = series[0].group
    label = f"{contents} on {finish or 'any finish'}{', film' if film else ''}"
    depth = float(np.mean([one.depth_m for one in series]))
    fits: dict[str, list[EmissivityFit]] = {}
    refused = []
    samples = {
        id(one): paired_samples(
            one, view=view, drift=drifts.get(one.unit, view.declared()), emissivity=prior[0]
        )
        for one in series
    }
    for one in series:
        try:
            found = fit_emissivity(samples[id(one)], band=view.band)
            fits.setdefault(one.recording, []).append(found)
        except NotEnoughDataError as error:
            refused.append(f"emissivity of {label}, {one.recording}: {error}; {OTHERS}")
    shared = prior[0] * view.nominal.transmittance_u / view.nominal.transmittance
    cooks = tuple(_one_cook(found) for found in fits.values())
    try:
        pooled = pooled_emissivity(cooks, declared=prior[0], declared_u=prior[1], common_u=shared)
    except NotEnoughDataError as error:
        refused.append(f"emissivity of {label}: {error}; {KEPT}")
        film_m = depth if film else math.nan
        nominal = nominal_surface(
            contents, finish=finish, prior=prior, film_m=film_m, reason=f"nominal: {error}"
        )
        return nominal, tuple(refused)
    film_m, film_u_m, spread = math.nan, math.nan, None
    if film:
        film_m, spread, why = _film(series, samples=samples, view=view, depth_m=depth)
        film_u_m = math.nan if spread is None else film_m * math.sqrt(float(spread[0, 0]))
        refused += [f"film of {label}: {why}; in force: the emissivity alone"] if why else []
    reason = f"fitted to {len(cooks)} cooks; spread between cooks {pooled.between_u:.3f}"
    if pooled.conflict:
        reason += f"; the declared {prior[0]:.3f} disagrees and was not used"
    surface = SurfaceCalibration(
        contents=contents,
        finish=finish,
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
        film=film,
    )
    return surface, tuple(refused)


def _one_cook(found: Sequence[EmissivityFit]) -> EmissivityFit:
    """Several probes or burners of one cook count as one: they share unit and day."""
    if len(found) == 1:
        return found[0]
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
    view: HeadView,
    depth_m: float,
) -> tuple[float, FloatArray | None, str]:
    """Geometric mean thickness over the series, and the film terms' covariance for another cook.

    Terms: log thickness, emissivity below, log of the liquid's k scale.
    """
    logs, covariances, why = [], [], ""
    below = bare_emissivity(series[0].finish, design=view.design)
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


def group_prior(group: Group, *, series: Sequence[PairSeries], view: HeadView) -> Prior:
    """Return a group's emissivity before any cook, at the mean depth of its series."""
    contents, finish, _ = group
    depth = float(np.mean([one.depth_m for one in series]))
    return surface_prior(contents, finish=finish, depth_m=depth, design=view.design, band=view.band)
