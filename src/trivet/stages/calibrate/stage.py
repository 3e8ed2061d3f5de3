"""From calibration cooks to a calibration, term by term."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from trivet.errors import EvidenceError, RecordingError
from trivet.models.assumed import OPAQUE_FILM_M
from trivet.models.optics import card_band
from trivet.physics.geometry.optics import Pose
from trivet.physics.heat.water import boiling_point_k
from trivet.physics.sensor.drift import DriftModel
from trivet.records.calibration import Calibration, HeadCalibration, SurfaceCalibration
from trivet.records.design import Base, Design, Head, Pan
from trivet.records.recording import Recording
from trivet.stages.calibrate.blackbody import blackbody_term
from trivet.stages.calibrate.fits import (
    HeadView,
    fitted_drift,
    fitted_surface,
    group_prior,
)
from trivet.stages.calibrate.fixedpoints import window_term
from trivet.stages.calibrate.flat_field import evened_recording, pixel_term
from trivet.stages.calibrate.mountings import mountings
from trivet.stages.calibrate.nominal import (
    nominal_head,
    nominal_surface,
    surface_prior,
)
from trivet.stages.calibrate.pairs import PairSeries, pair_series
from trivet.stages.calibrate.reflected import reflected_term
from trivet.stages.calibrate.reporters import reporter_as_designed

NO_RECORDING = "nominal: no calibration cook"
BOIL_MARGIN_K = 5.0
NOT_COOKED = "nominal: no calibration cook with these contents in this finish"


def calibrate(design: Design, *, recordings: Sequence[Recording]) -> Calibration:
    """Return what calibration cooks teach about heads and surfaces; the rest as designed.

    Parameters
    ----------
    design : Design
    recordings : sequence of Recording
        All with purpose ``calibration`` and of one evidence grade; may be empty.

    Returns
    -------
    Calibration
        Each term fitted or nominal with the reason; ``refusals`` lists by name
        what the data could not carry.

    Raises
    ------
    EvidenceError
        For a proof cook, or simulated and bench recordings together.
    RecordingError
        For a head that the design does not have, frames of another shape, a
        burner that is not the design's, or two recordings of one name.

    Notes
    -----
    Pose: three burners not on one line, misfit 5 mm rms from four pans; the
    difference between seen and rendered centroids takes out the walls' pull
    (up to 8 mm at 0.24 m off nadir).  Drift: two warm-ups of one sensor unit, or
    three units; water and cold dark pans alone tell it.  Emissivity: two cooks with a
    probe on what the head sees, 30 K above the surroundings; its uncertainty is that
    of the next cook and holds the window's and gain's uncertainty too, so that
    intervals built on it are cautious.  The window comes from boils or a black body,
    the gain from a black body alone: cooks cannot tell it from emissivity.

    References
    ----------
    Methods and sources in physics/geometry/registration.py, drift.py and filmfit.py.
    """
    _check(design, recordings)
    if not recordings:
        heads = tuple(
            nominal_head(head, card=design.card(head), reason=NO_RECORDING) for head in design.heads
        )
        return Calibration(
            "predicted",
            heads,
            tuple(_nominal_surfaces(design, reason=NO_RECORDING).values()),
            (),
            ("all terms: no calibration cook",),
            reporter=reporter_as_designed(design),
        )
    ordered = sorted(recordings, key=lambda one: one.name)
    heads_found: list[HeadCalibration] = []
    views: list[_Fitted] = []
    refusals: list[str] = []
    advice: list[str] = []
    for head in design.heads:
        found = _head(ordered, design=design, head=head)
        views.append(found)
        refusals += found.refusals
        advice += found.advice
    surfaces = _calibrated(views, heads=heads_found, refusals=refusals)
    return Calibration(
        recordings[0].evidence,
        tuple(heads_found),
        surfaces,
        tuple(one.name for one in ordered),
        tuple(dict.fromkeys(refusals)),
        tuple(sorted({one.unit for one in ordered})),
        tuple(advice),
        reporter=reporter_as_designed(design),
    )


@dataclass(frozen=True)
class _Fitted:
    """One head on the way: its view, pairs and poses, what was refused and what to do."""

    view: HeadView
    series: tuple[PairSeries, ...]
    recordings: tuple[Recording, ...]
    poses: dict[str, Pose]
    refusals: tuple[str, ...]
    advice: tuple[str, ...]


def _head(recordings: Sequence[Recording], *, design: Design, head: Head) -> _Fitted:
    """Return pixels, pose and window of one head, and its pairs read through them."""
    nominal = nominal_head(head, card=design.card(head), reason=NO_RECORDING)
    pixels, refused = pixel_term(recordings, design=design, head=head)
    even = tuple(evened_recording(one, pixels={head.name: pixels}) for one in recordings)
    hung = mountings(even, design=design, head=head, nominal=nominal.pose)
    terms = replace(nominal, pose=hung.pose, pixels=pixels)
    view = HeadView(design, head, terms, card_band(design.card(head)))
    known, dark = blackbody_term(recordings, view=view)
    view = replace(view, nominal=known)
    window = window_term(even, view=view, poses=hung.poses)
    view = replace(view, nominal=window.head)
    left: list[str] = []
    series = _series(even, view=view, poses=hung.poses, refusals=left)
    return _Fitted(
        view,
        tuple(_without_boils(one, window.boiled, even) for one in series),
        even,
        hung.poses,
        (*refused, *dark, *hung.refusals, *window.refusals, *left),
        (*hung.advice, *window.advice),
    )


def _without_boils(
    one: PairSeries, boiled: tuple[str, ...], recordings: Sequence[Recording]
) -> PairSeries:
    """Leave out of a water series the boil that already told the window's transmittance."""
    if one.contents != "water" or one.recording not in boiled:
        return one
    altitude = next(r.altitude_m for r in recordings if r.name == one.recording)
    return one.kept(one.reference_k < float(boiling_point_k(altitude)) - BOIL_MARGIN_K)


def _check(design: Design, recordings: Sequence[Recording]) -> None:
    names = [one.name for one in recordings]
    for one in recordings:
        if one.purpose != "calibration":
            raise EvidenceError(
                f"recording {one.name!r} is kept for proof; calibrate takes calibration cooks only"
            )
        if names.count(one.name) > 1:
            raise RecordingError(f"two recordings are named {one.name!r}; rename one")
        _check_heads(design, one)
        known = [burner.name for burner in design.burners]
        for sheet in one.reference.sheet:
            if sheet.burner not in known:
                raise RecordingError(
                    f"recording {one.name!r} is of burner {sheet.burner!r}, which the design does "
                    f"not have; its burners: {', '.join(known)}"
                )
    if len({one.evidence for one in recordings}) > 1:
        raise EvidenceError(
            "simulated and bench recordings together; make one calibration of each kind"
        )


def _check_heads(design: Design, recording: Recording) -> None:
    for frames in recording.inputs.heads:
        head = next((one for one in design.heads if one.name == frames.head), None)
        if head is None:
            raise RecordingError(
                f"recording {recording.name!r} is of head {frames.head!r}, which the design does "
                f"not have; its heads: {', '.join(one.name for one in design.heads)}"
            )
        card = design.card(head)
        if frames.apparent_k.shape[1:] != (card.rows, card.cols):
            raise RecordingError(
                f"recording {recording.name!r}, head {head.name!r}: frames of "
                f"{frames.apparent_k.shape[1:]} pixels; the sensor has {card.rows} x {card.cols}"
            )


def _series(
    recordings: Sequence[Recording],
    *,
    view: HeadView,
    poses: dict[str, Pose],
    refusals: list[str],
) -> list[PairSeries]:
    found: list[PairSeries] = []
    for recording in recordings:
        series, left = pair_series(
            recording, design=view.design, head=view.head, pose=poses[recording.name]
        )
        found += series
        refusals += [f"pairs of head {view.head.name}: {text}" for text in left]
    return found


def _calibrated(
    views: list[_Fitted],
    *,
    heads: list[HeadCalibration],
    refusals: list[str],
) -> tuple[SurfaceCalibration, ...]:
    """Fit the drift of every head, then each surface with the head that saw most of it."""
    found: dict[tuple[str, str, bool], SurfaceCalibration] = {}
    for one in views:
        view, series = one.view, [s for s in one.series if s.apparent_k.size]
        groups = {s.group: [t for t in series if t.group == s.group] for s in series}
        priors = {key: group_prior(key, series=mine, view=view) for key, mine in groups.items()}
        drift, units, refused = fitted_drift(series, view=view, priors=priors)
        refusals += refused
        model = DriftModel(drift.value, drift.covariance, drift.housing_ref_k, drift.tau_s)
        mirrored, refused = reflected_term(one.recordings, view=view, drift=model, poses=one.poses)
        refusals += refused
        heads.append(replace(mirrored, drift=drift))
        view = replace(view, nominal=mirrored)
        for key, mine in groups.items():
            surface, left = fitted_surface(mine, view=view, drifts=units, prior=priors[key])
            refusals += left
            if key not in found or found[key].cooks < surface.cooks:
                found[key] = surface
    rest = _nominal_surfaces(views[0].view.design, reason=NOT_COOKED)
    return (*found.values(), *(one for key, one in rest.items() if key not in found))


def _nominal_surfaces(
    design: Design, *, reason: str
) -> dict[tuple[str, str, bool], SurfaceCalibration]:
    """Return every base in every pan of the design as the library and the design say."""
    band = card_band(design.card(design.heads[0]))
    found: dict[tuple[str, str, bool], SurfaceCalibration] = {}
    for pan in design.pans:
        for base in design.bases:
            depth = _depth(base, pan)
            film = base.contents == "oil" and 0 < depth < OPAQUE_FILM_M.value
            finish = "" if base.contents == "water" else pan.finish
            key = (base.contents, finish, film)
            if key in found:
                continue
            prior = surface_prior(
                base.contents, finish=pan.finish, depth_m=depth, design=design, band=band
            )
            found[key] = nominal_surface(
                base.contents,
                finish=finish,
                prior=prior,
                film_m=depth if film else math.nan,
                reason=reason,
            )
    return found


def _depth(base: Base, pan: Pan) -> float:
    return float(base.volume_m3) / (math.pi * (float(pan.diameter_m) / 2) ** 2)
