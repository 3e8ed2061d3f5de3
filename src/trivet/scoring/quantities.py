"""Quantities of a cook as its probes and its sensor show them: recorded and simulated alike."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.models.optics import card_lens, mount_pose
from trivet.physics.geometry.optics import pixel_of_point
from trivet.records.credibility import TwinQuestion
from trivet.records.design import Design
from trivet.records.recording import HeadFrames, Recording
from trivet.scoring.registry import METRICS, metric

LEVELS_K = {
    "pan": [level + ZERO_C_K for level in (250.0, 200.0, 150.0, 110.0, 80.0, 60.0)],
    "oil": [level + ZERO_C_K for level in (200.0, 150.0, 110.0, 80.0, 60.0)],
    "liquid": [level + ZERO_C_K for level in (90.0, 75.0, 60.0)],
}
"""Levels between which the heating rate is taken and up to which time is counted: the highest that
the recorded cook reaches in time for slower twins; own estimate. [K]"""
FROM_K = 45.0 + ZERO_C_K  # own estimate: clear of a warm room
MIN_RISE_S, IN_TIME_FRAC = 10.0, 0.7
"""Shortest rise that has a rate, and share of the heating within which a level must be reached;
own estimate: ten readings of a probe, and room for slower twins. [s, -]"""
FLAT_KPS, FLAT_S = 0.02, 60.0
"""A plateau is flatter than this for so long; own estimate: 1 K a minute. [K/s, s]"""
AFTER_OFF_S, COOLING_S, MIN_COOLING_S = 15.0, 120.0, 45.0
"""Cooling is taken from so long after the heat is off, over this time, at least over that; own
estimate: a burner's own heat is gone. [s]"""
GRID_STEP_S = 5.0  # own estimate: a probe hardly moves within it
DRY_RISE_K = 20.0
"""A pan this far above its plateau is dry; own estimate. [K]"""
LOOK_FRAC = 0.6
"""The sensor's reading is taken over this share of the pan's radius; own estimate: clear of the
rim."""


@dataclass(frozen=True)
class _Probes:
    """Probes of one burner that touch the same, on one time axis, gaps bridged."""

    time_s: FloatArray
    each_k: FloatArray
    """(probe, time)"""
    known_s: FloatArray
    mean_k: FloatArray
    """Mean of the probes at the moments at which any of them tells."""

    def first_at(self, level_k: float, from_s: float) -> float:
        """Return when the mean first reaches a level, +inf when it does not."""
        late = self.known_s >= from_s
        if not late.any():
            return math.inf
        t, rising = self.known_s[late], np.maximum.accumulate(self.mean_k[late])
        if rising[-1] < level_k:
            return math.inf
        at = int(np.searchsorted(rising, level_k))
        if at == 0:
            return float(t[0])
        share = (level_k - rising[at - 1]) / (rising[at] - rising[at - 1])
        return float(t[at - 1] + share * (t[at] - t[at - 1]))

    def plateau(self, first: float, last: float) -> tuple[float, float]:
        """Return level and begin of the longest flat stretch while heated; NaN without one."""
        grid = np.arange(first, last, GRID_STEP_S)
        if grid.size * GRID_STEP_S < FLAT_S or self.known_s.size < 3:
            return math.nan, math.nan
        value = np.interp(grid, self.known_s, self.mean_k)
        wide = round(FLAT_S / 2 / GRID_STEP_S)
        slope = np.full(grid.size, math.inf)
        slope[wide:-wide] = np.abs(value[2 * wide :] - value[: -2 * wide]) / FLAT_S
        flat = (slope <= FLAT_KPS) & (value > value[0] + 0.5 * (value.max() - value[0]))
        if not flat.any():
            return math.nan, math.nan
        edges = np.flatnonzero(np.diff(np.concatenate([[False], flat, [False]]).astype(int)))
        starts, stops = edges[::2], edges[1::2]
        best = int(np.argmax(stops - starts))
        level = np.median(value[starts[best] : stops[best]])
        return float(level), float(grid[starts[best]])


def questions(recording: Recording, *, until_s: float) -> tuple[TwinQuestion, ...]:
    """Return what can be asked of a recorded cook, up to a moment.

    Parameters
    ----------
    recording : Recording
        A recorded cook with probes, events and sheet.
    until_s : float
        What comes later is not compared. [s]

    Returns
    -------
    tuple of TwinQuestion
        In the order of burners and topics; empty without probes.

    Notes
    -----
    Levels are the highest of a fixed ladder that the probes' mean reaches within the
    first 70 % of the heating: far from noise, and left in reach of slower twins.
    Heating is judged from 45 C on.
    """
    found: list[TwinQuestion] = []
    for sheet in recording.reference.sheet:
        for of in ("pan", "oil", "liquid"):
            probes = _probes(recording, sheet.burner, of, until_s)
            if probes is not None:
                found += _asked(recording, sheet.burner, of, probes, until_s)
    return tuple(found)


def _asked(
    recording: Recording, burner: str, of: str, probes: _Probes, until_s: float
) -> Iterator[TwinQuestion]:
    on_s, off_s = _heat(recording, burner, until_s)
    level = _highest(probes, of, on_s, on_s + IN_TIME_FRAC * (off_s - on_s))
    if level is not None:
        topics = ["heating rate", "time to a level"]
        topics += ["spread over the pan"] if of == "pan" and len(probes.each_k) > 1 else []
        topics += ["apparent temperature"] if of == _shown(recording, burner) else []
        for topic in topics:
            yield TwinQuestion(topic, burner, of, FROM_K, level, on_s, until_s)
    flat = TwinQuestion("plateau", burner, of, FROM_K, math.nan, on_s, off_s)
    if math.isfinite(_plateau_k(probes, flat)):
        yield flat
    if of == "pan" and off_s + AFTER_OFF_S + MIN_COOLING_S <= until_s:
        yield TwinQuestion("cooling rate", burner, of, FROM_K, math.nan, off_s, until_s)
    dry = replace(flat, topic="boil-off")
    if of == "pan" and math.isfinite(_boil_off_s(probes, dry)):
        yield dry


def answers(recording: Recording, *, design: Design, asked: Sequence[TwinQuestion]) -> FloatArray:
    """Return a cook's answers, in the order of the questions.

    Parameters
    ----------
    recording : Recording
        A recorded cook, or a simulated twin of it.
    design : Design
        Where burners and heads are.
    asked : sequence of TwinQuestion
        From :func:`questions` of the recorded cook.

    Returns
    -------
    (question,)
        In SI; +inf for a time to what never comes, 0 for the rate then, NaN where
        there is no answer.
    """
    return np.array([_answer(recording, design, one) for one in asked], dtype=np.float64)


def _answer(recording: Recording, design: Design, asked: TwinQuestion) -> float:
    probes = _probes(recording, asked.burner, asked.of, asked.until_s)
    if probes is None:
        return math.nan
    return float(METRICS["credibility"][asked.topic].function(probes, asked, recording, design))


def _reached_s(probes: _Probes, asked: TwinQuestion) -> float:
    return probes.first_at(asked.high_k, asked.from_s)


@metric("credibility", "heating rate", "rate", "neither")
def _heating_rate(probes: _Probes, asked: TwinQuestion, *_: object) -> float:
    """Mean rate of the probes' mean between two levels; 0 where the upper one is never reached."""
    span = _reached_s(probes, asked) - probes.first_at(asked.low_k, asked.from_s)
    return (asked.high_k - asked.low_k) / span if math.isfinite(span) and span > 0 else 0.0


@metric("credibility", "time to a level", "time", "neither")
def _time_to_level(probes: _Probes, asked: TwinQuestion, *_: object) -> float:
    """Time from the heat's beginning to a level; infinite where it is never reached."""
    return _reached_s(probes, asked) - asked.from_s


@metric("credibility", "spread over the pan", "difference", "neither")
def _spread(probes: _Probes, asked: TwinQuestion, *_: object) -> float:
    """P95 - P5 over the probes of a pan when their mean reaches a level."""
    reached = _reached_s(probes, asked)
    if not math.isfinite(reached):
        return math.nan
    each = np.array([np.interp(reached, probes.time_s, one) for one in probes.each_k])
    return float(np.percentile(each, 95) - np.percentile(each, 5))


@metric("credibility", "plateau", "temperature", "neither")
def _plateau_k(probes: _Probes, asked: TwinQuestion, *_: object) -> float:
    """Level of the longest flat stretch while heated."""
    return probes.plateau(asked.from_s, asked.until_s)[0]


@metric("credibility", "boil-off", "time", "neither")
def _boil_off_s(probes: _Probes, asked: TwinQuestion, *_: object) -> float:
    """Time from the beginning of a plateau to where the pan leaves it upwards; or infinite."""
    level, begun = probes.plateau(asked.from_s, asked.until_s)
    if not math.isfinite(level):
        return math.nan
    left = probes.first_at(level + DRY_RISE_K, begun)
    return left - begun if left <= asked.until_s else math.inf


@metric("credibility", "cooling rate", "rate", "neither")
def _cooling_rate(probes: _Probes, asked: TwinQuestion, *_: object) -> float:
    """Rate at which the probes' mean falls once the heat is off."""
    begin = asked.from_s + AFTER_OFF_S
    end = min(begin + COOLING_S, float(probes.known_s[-1]))
    if end - begin < MIN_COOLING_S - 1.0:
        return math.nan
    high, low = (float(np.interp(t, probes.known_s, probes.mean_k)) for t in (begin, end))
    return (high - low) / (end - begin)


@metric("credibility", "apparent temperature", "temperature", "neither")
def _apparent_k(
    probes: _Probes, asked: TwinQuestion, recording: Recording, design: Design
) -> float:
    """Mean apparent temperature over the middle of the pan when its probes reach a level."""
    reached = _reached_s(probes, asked)
    if not math.isfinite(reached):
        return math.nan
    return _apparent(recording, design, asked.burner, reached)


# -- probes ----------------------------------------------------------------------


def _probes(recording: Recording, burner: str, of: str, until_s: float) -> _Probes | None:
    """Return the probes of a burner that touch the same, gaps bridged, cut at the end."""
    found = [
        one
        for one in recording.reference.probes
        if one.probe.burner == burner
        and one.probe.touches == of
        and np.isfinite(one.temperature_k).sum() > 2
    ]
    if not found:
        return None
    time = found[0].time_s
    time = time[time <= until_s]
    if time.size < 3:
        return None
    each = []
    for one in found:
        known = np.isfinite(one.temperature_k)
        inside = (time >= one.time_s[known][0]) & (time <= one.time_s[known][-1])
        bridged = np.interp(time, one.time_s[known], one.temperature_k[known])
        each.append(np.where(inside, bridged, np.nan))
    tells = np.isfinite(each)
    any_tells = tells.any(axis=0)
    total = np.where(tells, each, 0.0).sum(axis=0)
    mean = total[any_tells] / tells.sum(axis=0)[any_tells]
    return _Probes(time, np.array(each), time[any_tells], mean)


def _heat(recording: Recording, burner: str, until_s: float) -> tuple[float, float]:
    """Return when the heat of a burner first comes on and last goes off."""
    own = [one for one in recording.reference.events if one.burner == burner]
    on = [one.time_s for one in own if one.event in ("on", "level")]
    off = [one.time_s for one in own if one.event == "off"]
    last = off[-1] if off and (not on or off[-1] > on[-1]) else until_s
    return (on[0] if on else 0.0), min(last, until_s)


def _highest(probes: _Probes, of: str, on_s: float, by_s: float) -> float | None:
    """Return the highest level of the ladder that is reached in time, well after the first."""
    begun = probes.first_at(FROM_K, on_s)
    for level in LEVELS_K[of]:
        reached = probes.first_at(level, on_s)
        if reached <= by_s and reached - begun >= MIN_RISE_S:
            return level
    return None


# -- the sensor's own view ---------------------------------------------------------


def _shown(recording: Recording, burner: str) -> str:
    """Return what faces the sensor: the liquid or the oil where a probe is in it."""
    touched = {
        str(one.probe.touches) for one in recording.reference.probes if one.probe.burner == burner
    }
    return next((of for of in ("liquid", "oil") if of in touched), "pan")


def _apparent(recording: Recording, design: Design, burner: str, moment_s: float) -> float:
    """Return the mean apparent temperature over the middle of a pan; inf when saturated."""
    sheet = next(one for one in recording.reference.sheet if one.burner == burner)
    place = design.burner(burner)
    centre = (
        float(place.x_m) + float(sheet.offset_x_m),
        float(place.y_m) + float(sheet.offset_y_m),
    )
    radius = LOOK_FRAC * float(sheet.diameter_m) / 2
    seen = [_region(frames, design, centre, radius, moment_s) for frames in recording.inputs.heads]
    values = max(seen, key=len)
    if values.size == 0 or np.isnan(values).all():
        return math.nan
    return float(np.mean(values[~np.isnan(values)]))


def _region(
    frames: HeadFrames,
    design: Design,
    centre: tuple[float, float],
    radius_m: float,
    moment_s: float,
) -> FloatArray:
    """Return the pixels whose middle looks at the disc, in the frame nearest to a moment."""
    head = next(one for one in design.heads if one.name == frames.head)
    lens, pose = card_lens(design.card(head)), mount_pose(head.mount)
    r = radius_m * np.sqrt((np.arange(12) + 0.5) / 12)
    angle = np.arange(24) * 2 * np.pi / 24
    x = centre[0] + np.outer(r, np.cos(angle)).ravel()
    y = centre[1] + np.outer(r, np.sin(angle)).ravel()
    pixel = pixel_of_point(np.stack([x, y, np.zeros(x.size)], axis=-1), lens=lens, pose=pose)
    pixel = np.unique(np.round(pixel[np.isfinite(pixel).all(axis=-1)]).astype(int), axis=0)
    inside = (
        (pixel[:, 0] >= 0)
        & (pixel[:, 0] < lens.rows)
        & (pixel[:, 1] >= 0)
        & (pixel[:, 1] < lens.cols)
    )
    row, col = pixel[inside].T
    at = int(np.argmin(np.abs(frames.time_s - moment_s)))
    return np.asarray(frames.apparent_k[at, row, col], dtype=np.float64)
