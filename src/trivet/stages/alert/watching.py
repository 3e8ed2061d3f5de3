"""What the device knows of itself at the estimate's moments: frames, housing, charge, link, people.

Integers decide, as on the device: pixels are the words of 1/64 K that the
firmware gets.
"""

from __future__ import annotations

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.device.alertwords import even_frames, repeated_frames
from trivet.device.fixedpoint import temperature_q6
from trivet.records.alertlog import DeviceState, Watch
from trivet.records.design import Design
from trivet.records.recording import PresenceSeries, ProductInput


def watching(inputs: ProductInput, *, design: Design, state: DeviceState | None = None) -> Watch:
    """Return what the device knows of itself and of the kitchen, frame by frame.

    Parameters
    ----------
    inputs : ProductInput
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
    """
    now = state or DeviceState()
    time_s = inputs.heads[0].time_s
    repeated, even = np.zeros(time_s.size, np.bool_), np.zeros(time_s.size, np.bool_)
    housing = np.full(time_s.size, -np.inf)
    least_dk = round(float(design.alerting.even_frame_delta_k) * 10.0)
    for head in inputs.heads:
        at = np.searchsorted(head.time_s, time_s, side="right") - 1
        at = np.arange(time_s.size) if head is inputs.heads[0] else at
        words = temperature_q6(head.apparent_k.reshape(head.time_s.size, -1))
        came, last = at >= 0, np.maximum(at, 0)
        repeated |= repeated_frames(words)[last] & came
        even |= even_frames(words, least_dk=least_dk)[last] & came
        housing = np.fmax(housing, np.where(came, head.sensor_k[last], -np.inf))
    return Watch(
        time_s=time_s,
        repeated=repeated,
        even=even,
        housing_k=housing,
        battery_frac=np.full(time_s.size, now.battery_frac),
        link=np.full(time_s.size, now.link),
        person=_person(inputs.presence, time_s, design),
    )


def _person(series: PresenceSeries | None, time_s: FloatArray, design: Design) -> BoolArray:
    """Return where an answer that somebody is there still counts."""
    channel = design.alerting.presence
    if series is None or channel is None:
        return np.zeros(time_s.size, dtype=np.bool_)
    seen = np.array(series.time_s)[np.array(series.present, dtype=np.bool_)]
    before = np.concatenate(([-np.inf], seen))  # nobody, before the first answer
    age = time_s - before[np.searchsorted(seen, time_s, side="right")]
    return np.asarray(age <= float(channel.hold_s))
