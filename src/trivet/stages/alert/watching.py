"""What the device knows of itself at the estimate's moments: frames, housing, charge, link, people.

Integers decide, as on the device: pixels are rounded to 0.1 K before they are compared.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trivet.records.alertlog import DeviceState, Watch
from trivet.records.design import Design
from trivet.records.recording import HeadFrames, PresenceSeries, Sight

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]


def watching(sight: Sight, *, design: Design, state: DeviceState | None = None) -> Watch:
    """Return what the device knows of itself and of the kitchen, frame by frame.

    Parameters
    ----------
    sight : Sight
        Frames, housing, presence.
    design : Design
        Its alerting part, heads.
    state : DeviceState, optional
        Charge, link.

    Returns
    -------
    Watch
        At the moments of the first head's frames, as the estimate has them.

    Notes
    -----
    A frame counts as repeated or even if that of any head is: then not all burners are seen.
    Causal: each moment rests on what came up to it. Two frames of an array are never alike by
    chance: at 0.1 K of noise and 768 pixels, the odds are under 1e-300.

    References
    ----------
    Definition.
    """
    now = state or DeviceState()
    time_s = sight.heads[0].time_s
    repeated, even = np.zeros(time_s.size, np.bool_), np.zeros(time_s.size, np.bool_)
    housing = np.full(time_s.size, -np.inf)
    for head in sight.heads:
        at = np.searchsorted(head.time_s, time_s, side="right") - 1
        at = np.arange(time_s.size) if head is sight.heads[0] else np.maximum(at, 0)
        repeated |= _repeated(head)[at]
        even |= _even(head, float(design.alerting.even_frame_delta_k))[at]
        housing = np.fmax(housing, head.sensor_k[at])
    return Watch(
        time_s=time_s,
        repeated=repeated,
        even=even,
        housing_k=housing,
        battery_frac=np.full(time_s.size, now.battery_frac),
        link=np.full(time_s.size, now.link),
        person=_person(sight.presence, time_s, design),
    )


def _repeated(head: HeadFrames) -> Mask:
    frames = head.apparent_k.reshape(head.time_s.size, -1)
    same = np.zeros(head.time_s.size, dtype=np.bool_)
    for n in range(1, head.time_s.size):
        same[n] = np.array_equal(frames[n], frames[n - 1], equal_nan=True)
    return same


def _even(head: HeadFrames, least_k: float) -> Mask:
    """Return which frames show less contrast than a kitchen with a hot hob can."""
    frames = head.apparent_k.reshape(head.time_s.size, -1)
    known = np.where(np.isnan(frames), frames[:, :1], frames)
    span = np.clip(known.max(axis=1), None, 3276.0) - np.clip(known.min(axis=1), 0.0, None)
    return np.asarray(np.round(span * 10.0) < round(least_k * 10.0))


def _person(series: PresenceSeries | None, time_s: Floats, design: Design) -> Mask:
    """Return where an answer that somebody is there still counts."""
    channel = design.alerting.presence
    if series is None or channel is None:
        return np.zeros(time_s.size, dtype=np.bool_)
    seen = np.array(series.time_s)[np.array(series.present, dtype=np.bool_)]
    last = np.searchsorted(seen, time_s, side="right") - 1
    age = np.where(last >= 0, time_s - seen[np.maximum(last, 0)], np.inf)
    return np.asarray(age <= float(channel.hold_s))
