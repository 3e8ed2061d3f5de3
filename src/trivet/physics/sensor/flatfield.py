"""Offsets, gains and bad pixels of a head, from scenes of one even temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError, RecordingError

MIN_FRAMES = 16  # own estimate: leaves a quarter of a frame's noise in an offset
MIN_GAIN_LEVER_K = 15.0  # own estimate: two levels closer than this show no gain
FAR_SIGMAS = 6.0  # own estimate: by chance 2e-9 of pixels
MAX_BAD_FRAC = 0.1  # own estimate: beyond, the scene was not even


@dataclass(frozen=True)
class FlatField:
    """What each pixel does beyond the mean of all.

    mean over the head = (pixel - offset - housing) / gain + housing.

    offset_k, gain, bad : (row, col) offset [K], gain, whether bad: then 0 K and 1
    residual_rms_k : what is left of the even scenes [K]
    level_k : (level,) mean over the head [K]
    """

    offset_k: FloatArray
    gain: FloatArray
    bad: BoolArray
    residual_rms_k: float
    level_k: FloatArray


def flat_field(stack_k: list[FloatArray], *, housing_k: npt.ArrayLike) -> FlatField:
    """Return offset and gain of each pixel, and which are bad, from even scenes.

    stack_k : list of (time, row, col): apparent temperature at each level [K]
    housing_k : (level,) housing of the sensor meanwhile [K]
    Returns : gains are 1 unless two levels differ by 15 K or more, counted from the housing
    Raises : NotEnoughDataError if there is no level, or one of fewer than 16 frames; RecordingError
        if the shapes differ, or over a tenth of the pixels are off: the scene was not even
    Notes : Sixteen frames of 0.28 K leave 0.07 K in each offset. A pixel is bad when it has no
        value in a tenth of the frames, when its noise is under a fifth (stuck) or over three times
        (wild) that of the median pixel, or when offset or gain are 6 robust widths off the median:
        by chance 2e-9 of pixels. An even scene that is 1 K warmer at one edge plants that slope
        into the offsets.
    Source : Two-point correction, common practice of thermal arrays, no source; bounds are ours
    """
    housing = np.atleast_1d(np.asarray(housing_k, dtype=np.float64))
    if not stack_k or min(stack.shape[0] for stack in stack_k) < MIN_FRAMES:
        counts = ", ".join(str(stack.shape[0]) for stack in stack_k) or "none"
        raise NotEnoughDataError(f"even scenes of {counts} frames; needed: {MIN_FRAMES} each")
    shape = stack_k[0].shape[1:]
    if any(stack.shape[1:] != shape for stack in stack_k) or housing.size != len(stack_k):
        raise RecordingError("even scenes: all levels need one shape and one housing each")
    bad = np.zeros(shape, dtype=np.bool_)
    means = []
    for stack in stack_k:
        finite = np.isfinite(stack)
        count = np.maximum(finite.sum(axis=0), 1)
        filled = np.where(finite, stack, 0.0)
        mean = filled.sum(axis=0) / count
        step = np.where(finite[1:] & finite[:-1], np.diff(filled, axis=0), np.nan)
        pairs = np.isfinite(step).sum(axis=0)
        noise = np.sqrt(np.nansum(step**2, axis=0) / np.maximum(pairs, 1) / 2)
        usual = float(np.median(noise[pairs > 0])) if (pairs > 0).any() else 0.0
        bad |= finite.mean(axis=0) < 0.9
        bad |= (noise < 0.2 * usual) | (noise > 3.0 * usual)
        means.append(np.where(finite.any(axis=0), mean, np.nan))
    offset, gain, level = _fitted(np.stack(means), housing, bad)
    bad |= _far(offset, bad) | _far(gain, bad)
    if bad.mean() > MAX_BAD_FRAC:
        raise RecordingError(
            f"{int(bad.sum())} of {bad.size} pixels are off in the even scenes: they were not "
            "even, or did not fill the view"
        )
    offset, gain, level = _fitted(np.stack(means), housing, bad)
    offset, gain = np.where(bad, 0.0, offset), np.where(bad, 1.0, gain)
    left = [
        (mean - offset - own) / gain + own - height
        for mean, own, height in zip(means, housing, level, strict=True)
    ]
    rms = math.sqrt(float(np.mean([(one[~bad] ** 2).mean() for one in left])))
    return FlatField(offset, gain, bad, rms, np.array(level))


def _fitted(
    means: FloatArray, housing: FloatArray, bad: BoolArray
) -> tuple[FloatArray, FloatArray, list[float]]:
    """Straight line of each pixel on the head's mean, both counted from the housing."""
    level = [float(np.mean(mean[~bad & np.isfinite(mean)])) for mean in means]
    x = np.array(level) - housing
    y = means - housing[:, None, None]
    if np.ptp(x) < MIN_GAIN_LEVER_K:
        return np.mean(y - x[:, None, None], axis=0), np.ones(means.shape[1:]), level
    away = x - x.mean()
    gain = np.tensordot(away, y - y.mean(axis=0), axes=1) / float((away**2).sum())
    return y.mean(axis=0) - gain * x.mean(), gain, level


def _far(values: FloatArray, bad: BoolArray) -> BoolArray:
    good = values[~bad & np.isfinite(values)]
    middle = float(np.median(good))
    width = max(1.4826 * float(np.median(np.abs(good - middle))), 1e-9)
    return np.asarray(~(np.abs(values - middle) <= FAR_SIGMAS * width))


def flat_field_corrected_k(
    apparent_k: npt.ArrayLike, *, flat: FlatField, housing_k: npt.ArrayLike
) -> FloatArray:
    """Return frames with each pixel's offset and gain taken out; bad pixels without a value.

    apparent_k : (time, row, col) [K]
    housing_k : (time,) [K]
    Returns : (time, row, col) [K]; a saturated pixel stays so, a bad one is NaN
    Notes : An offset known to 0.07 K adds 0.07 K to a pixel, as a constant pattern.
    Source : As :func:`flat_field`
    """
    own = np.asarray(housing_k, dtype=np.float64)[:, None, None]
    frames = np.asarray(apparent_k, dtype=np.float64)
    even = (frames - flat.offset_k - own) / flat.gain + own
    return np.where(flat.bad[None], np.nan, even)
