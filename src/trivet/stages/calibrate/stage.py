"""From calibration cooks to a calibration, term by term."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from trivet.errors import EvidenceError, RecordingError
from trivet.kernels.geometry.optics import Pose
from trivet.records.calibration import Calibration, HeadCalibration, SurfaceCalibration
from trivet.records.design import Base, Design, Pan
from trivet.records.recording import Recording
from trivet.stages.calibrate.fits import (
    HeadView,
    fitted_drift,
    fitted_surface,
    group_prior,
)
from trivet.stages.calibrate.nominal import (
    nominal_head,
    nominal_surface,
    surface_prior,
)
from trivet.stages.calibrate.pairs import PairSeries, pair_series
from trivet.stages.calibrate.pose import registered_pose
from trivet.terms.assumed import OPAQUE_FILM_M
from trivet.terms.optics import card_band

NO_RECORDING = "nominal: no calibration cook"
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
    three units.  Emissivity: two cooks with a probe on what the head sees, 30 K
    above the surroundings; its uncertainty is that of the next cook and holds
    the window's and gain's uncertainty too, so that intervals built on it are
    cautious.  Window transmittance and gain stay nominal: at one time of a
    window's life they cannot be told from emissivity.

    References
    ----------
    Methods and sources in kernels/geometry/registration.py, drift.py and filmfit.py.
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
        )
    ordered = sorted(recordings, key=lambda one: one.name)
    heads_found: list[HeadCalibration] = []
    pairs: list[tuple[HeadView, HeadCalibration, list[PairSeries]]] = []
    refusals: list[str] = []
    for head in design.heads:
        nominal = nominal_head(head, card=design.card(head), reason=NO_RECORDING)
        pose, refused = registered_pose(ordered, design=design, head=head, nominal=nominal.pose)
        refusals += refused
        view = HeadView(design, head, replace(nominal, pose=pose), card_band(design.card(head)))
        pairs.append((view, view.nominal, _series(ordered, view=view, refusals=refusals)))
    surfaces = _calibrated(pairs, heads=heads_found, refusals=refusals)
    return Calibration(
        recordings[0].evidence,
        tuple(heads_found),
        surfaces,
        tuple(one.name for one in ordered),
        tuple(dict.fromkeys(refusals)),
    )


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
    for frames in recording.sight.heads:
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
    recordings: Sequence[Recording], *, view: HeadView, refusals: list[str]
) -> list[PairSeries]:
    pose = Pose(*(float(x) for x in view.nominal.pose.value))
    found: list[PairSeries] = []
    for recording in recordings:
        series, left = pair_series(recording, design=view.design, head=view.head, pose=pose)
        found += series
        refusals += [f"pairs of head {view.head.name}: {text}" for text in left]
    return found


def _calibrated(
    pairs: list[tuple[HeadView, HeadCalibration, list[PairSeries]]],
    *,
    heads: list[HeadCalibration],
    refusals: list[str],
) -> tuple[SurfaceCalibration, ...]:
    """Fit the drift of every head, then each surface with the head that saw most of it."""
    found: dict[tuple[str, str, bool], SurfaceCalibration] = {}
    for view, nominal, series in pairs:
        groups = {one.group: [s for s in series if s.group == one.group] for one in series}
        priors = {key: group_prior(key, series=mine, view=view) for key, mine in groups.items()}
        drift, units, refused = fitted_drift(series, view=view, priors=priors)
        refusals += refused
        heads.append(replace(nominal, drift=drift))
        for key, mine in groups.items():
            surface, left = fitted_surface(mine, view=view, drifts=units, prior=priors[key])
            refusals += left
            if key not in found or found[key].cooks < surface.cooks:
                found[key] = surface
    rest = _nominal_surfaces(pairs[0][0].design, reason=NOT_COOKED)
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
