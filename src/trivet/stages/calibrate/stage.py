"""From calibration cooks to a calibration, term by term."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from trivet.errors import EvidenceError, RecordingError
from trivet.physics.heat.water import boiling_point_k
from trivet.records.calibration import Calibration, HeadCalibration, SurfaceCalibration
from trivet.records.design import Design
from trivet.records.recording import Recording
from trivet.records.sensorcard import Head
from trivet.stages.calibrate.evenscenes import blackbody_term, evened_recording, pixel_term
from trivet.stages.calibrate.fits import fitted_drift, fitted_surface, group_prior
from trivet.stages.calibrate.fixedpoints import window_term
from trivet.stages.calibrate.headscenes import HeadTerms
from trivet.stages.calibrate.mountings import mountings
from trivet.stages.calibrate.nominal import nominal_head, nominal_surfaces
from trivet.stages.calibrate.pairs import PairSeries, SurfaceGroup, pair_series
from trivet.stages.calibrate.reflected import reflected_term
from trivet.stages.calibrate.reporters import reporter_as_designed

NO_RECORDING = "nominal: no calibration cook"
BOIL_MARGIN_K = 5.0  # own estimate: clear of the boil's onset and of its steam
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
            tuple(nominal_surfaces(design, reason=NO_RECORDING).values()),
            (),
            ("all terms: no calibration cook",),
            reporter=reporter_as_designed(design),
        )
    ordered = sorted(recordings, key=lambda one: one.name)
    found = [_head(ordered, design=design, head=head) for head in design.heads]
    surfaces, heads, refusals = _calibrated(found)
    refusals = [*(text for one in found for text in one.refusals), *refusals]
    return Calibration(
        recordings[0].evidence,
        heads,
        surfaces,
        tuple(one.name for one in ordered),
        tuple(dict.fromkeys(refusals)),
        tuple(sorted({one.unit for one in ordered})),
        tuple(text for one in found for text in one.advice),
        reporter=reporter_as_designed(design),
    )


@dataclass(frozen=True)
class _Fitted:
    """One head on the way: its terms and pairs, what was refused and what to do."""

    view: HeadTerms
    series: tuple[PairSeries, ...]
    recordings: tuple[Recording, ...]
    refusals: tuple[str, ...]
    advice: tuple[str, ...]


def _head(recordings: Sequence[Recording], *, design: Design, head: Head) -> _Fitted:
    """Return pixels, pose and window of one head, and its pairs read through them."""
    view = HeadTerms(design, head, nominal_head(head, card=design.card(head), reason=NO_RECORDING))
    pixels, refused = pixel_term(recordings, view=view)
    even = tuple(evened_recording(one, pixels={head.name: pixels}) for one in recordings)
    hung = mountings(even, view=view)
    view = replace(view, terms=replace(view.terms, pose=hung.pose, pixels=pixels), poses=hung.poses)
    known, dark = blackbody_term(recordings, view=view)
    view = replace(view, terms=known)
    window = window_term(even, view=view)
    view = replace(view, terms=window.head)
    pairs = {one.name: pair_series(one, view=view) for one in even}
    left = [f"pairs of head {head.name}: {text}" for _, texts in pairs.values() for text in texts]
    series = [one for mine, _ in pairs.values() for one in mine]
    return _Fitted(
        view,
        tuple(_without_boils(one, window.boiled, even) for one in series),
        even,
        (*refused, *dark, *hung.refusals, *window.refusals, *left),
        (*hung.advice, *window.advice),
    )


def _without_boils(
    one: PairSeries, boiled: tuple[str, ...], recordings: Sequence[Recording]
) -> PairSeries:
    """Leave out of a water series the boil that already told the window's transmittance."""
    if one.group.contents != "water" or one.recording not in boiled:
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


def _calibrated(
    fitted: list[_Fitted],
) -> tuple[tuple[SurfaceCalibration, ...], tuple[HeadCalibration, ...], list[str]]:
    """Fit the drift of every head, then each surface with the head that saw most of it."""
    found: dict[SurfaceGroup, SurfaceCalibration] = {}
    heads: list[HeadCalibration] = []
    refusals: list[str] = []
    for one in fitted:
        view, series = one.view, [s for s in one.series if s.apparent_k.size]
        groups = {s.group: [t for t in series if t.group == s.group] for s in series}
        priors = {key: group_prior(key, series=mine, view=view) for key, mine in groups.items()}
        drift, units, refused = fitted_drift(series, view=view, priors=priors)
        refusals += refused
        reflected, refused = reflected_term(
            one.recordings, view=replace(view, terms=replace(view.terms, drift=drift))
        )
        refusals += refused
        heads.append(reflected)
        # A unit without a fit of its own is read with the drift as declared.
        view = replace(view, terms=replace(reflected, drift=view.terms.drift))
        for key, mine in groups.items():
            surface, left = fitted_surface(mine, view=view, drifts=units, prior=priors[key])
            refusals += left
            if key not in found or found[key].cooks < surface.cooks:
                found[key] = surface
    rest = nominal_surfaces(fitted[0].view.design, reason=NOT_COOKED)
    return (
        (*found.values(), *(one for key, one in rest.items() if key not in found)),
        tuple(heads),
        refusals,
    )
