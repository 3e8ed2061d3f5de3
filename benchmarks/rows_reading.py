"""Reading six burners: beside scikit-image, as a stream, and in constant memory."""

from __future__ import annotations

import statistics
import time
import tracemalloc
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.ndimage import binary_dilation
from skimage.measure import label, regionprops

from benchmarks.sixburners import TOLD, head_stream, nominal, painted_frames, six_burners
from trivet.physics.image import panreading
from trivet.physics.image.burnerpass import PanTrace
from trivet.physics.image.panfinder import BurnerRegion
from trivet.physics.radiation.scenepass import SceneFrames, empty_scene, fill_scene
from trivet.records.design import Design
from trivet.records.recording import HeadFrames
from trivet.stages.estimate import Estimator
from trivet.stages.estimate.streaming import VALUES_AT_ONCE, HeadStream

SIZES = ((24, 32, 4.0, 1200, 200.0), (120, 160, 9.0, 450, 35.0))
BASELINE_FRAMES = 12
ROUNDS = 5
STREAM_FPS, STREAM_BLOCK = 500.0, 16
SHORT_FRAMES, LONG_FRAMES = 480, 3840


class Baseline:
    """What a competent user of scikit-image writes, for one burner's box."""

    def __init__(self, region: BurnerRegion, beside: np.ndarray, trim_px: float) -> None:
        self.box = (
            slice(region.rows.min(), region.rows.max() + 1),
            slice(region.cols.min(), region.cols.max() + 1),
        )
        self.trim_px, self.pixel_m2, self.beside = trim_px, region.pitch_m**2, beside

    def __call__(self, frame: np.ndarray) -> tuple[float, float, float, float, float]:
        """Return mean and span of the open pan, its area, the hottest 5 cm2, food's area."""
        hob = np.median(frame.ravel()[self.beside])
        part = frame[self.box]
        hot = part > 0.5 * (hob + np.percentile(part, 80))
        pan = max(regionprops(label(hot), intensity_image=part), key=lambda one: one.area_filled)
        disc = np.zeros(part.shape, bool)
        disc[pan.slice] = pan.image_filled
        (whole,) = regionprops(disc.astype(np.uint8))
        food = disc & ~hot
        foods = regionprops(label(food), intensity_image=part)
        rows, cols = np.indices(part.shape)
        away = np.hypot(rows - whole.centroid[0], cols - whole.centroid[1])
        clear = hot & ~binary_dilation(food)  # pixels beside food see both
        open_ = clear & (away <= 0.5 * whole.equivalent_diameter_area - self.trim_px)
        low, high = np.percentile(part[open_], [5, 95])
        take = max(1, round(5e-4 / self.pixel_m2))
        hottest = np.sort(part[hot & disc])[-take:].mean()
        food_m2 = self.pixel_m2 * sum(one.area for one in foods)
        area_m2 = self.pixel_m2 * whole.area
        return part[open_].mean(), high - low, area_m2, hottest, food_m2


def scene_of(stream: HeadStream, frames: HeadFrames) -> SceneFrames:
    """Return the scene of frames, as the stream makes it, offsets left at zero."""
    count, pixels = frames.time_s.size, frames.apparent_k[0].size
    return fill_scene(
        frames.apparent_k.reshape(count, pixels),
        offset_k=np.zeros(count),
        window_k=frames.sensor_k,
        transmittance=float(stream.view.calibration.transmittance),
        band=stream.view.band,
        out=empty_scene(count, pixels),
    )


def looked(stream: HeadStream, frames: HeadFrames) -> tuple[list[np.ndarray], float]:
    """Return the tables of all burners and the time of looking, in blocks as the stream takes."""
    count, pixels = frames.time_s.size, frames.apparent_k[0].size
    at_once = max(1, VALUES_AT_ONCE // pixels)
    found, spent_s = [], 0.0
    for begin in range(0, count, at_once):
        part = slice(begin, begin + at_once)
        block = replace(
            frames,
            time_s=frames.time_s[part],
            apparent_k=frames.apparent_k[part],
            sensor_k=frames.sensor_k[part],
            awake_s=frames.awake_s[part],
        )
        scene = scene_of(stream, block)
        start = time.perf_counter()
        found.append(stream.look(scene, time_s=block.time_s))
        spent_s += time.perf_counter() - start
    return [np.concatenate(tables) for tables in zip(*found, strict=True)], spent_s


def split_row(size: tuple[int, int, float, int, float]) -> dict[str, Any]:
    """Measure find, split, statistics and rings of six burners beside scikit-image."""
    rows, cols, rate_hz, count, goal = size
    design = six_burners(rows, cols)
    frames = painted_frames(design, frames=count, rate_hz=rate_hz)
    calibration = nominal(design)
    stream = head_stream(design, calibration)
    scene = scene_of(stream, frames)
    trim_px = 0.5 + 2.0 * float(stream.view.card.blur_px)
    plain = [Baseline(one, stream.view.beside, trim_px) for one in stream.view.regions.values()]
    looked(stream, frames)
    chosen = np.linspace(count // 2, count - 1, BASELINE_FRAMES).astype(int)
    ours, theirs = [], []
    for _ in range(ROUNDS):
        tables, spent_s = looked(head_stream(design, calibration), frames)
        ours.append(spent_s / count)
        start = time.perf_counter()
        images = scene.temperature_k.reshape(count, rows, cols)
        found = np.array([[one(images[t]) for one in plain] for t in chosen])
        theirs.append((time.perf_counter() - start) / chosen.size)
    apart = _apart(found, tables, chosen)
    ours_s, theirs_s = statistics.median(ours), statistics.median(theirs)
    return {
        "name": f"six burners read, {cols}x{rows}",
        "baseline": "scikit-image: threshold, label, regionprops, percentiles",
        "ratio": theirs_s / ours_s,
        "goal": goal,
        "detail": f"{ours_s * 1e6:.0f} us a frame against {theirs_s * 1e3:.1f} ms; "
        f"largest differences: mean {apart[0]:.2f} K, P95-P5 {apart[1]:.1f} K, area "
        f"{apart[2]:.1%}, hottest {apart[3]:.2f} K; ours follows the pan and fits its rings "
        "as well; 1 thread",
    }


def _apart(found: np.ndarray, tables: list[np.ndarray], chosen: np.ndarray) -> np.ndarray:
    """Largest differences of mean, span, area and hottest; refuse readings that disagree."""
    apart = np.zeros(4)
    for k, table in enumerate(tables):
        trace = PanTrace(table[chosen])
        span = trace.read(panreading.P95_K) - trace.read(panreading.P5_K)
        area = np.pi * trace.radius_m**2
        mine = (trace.read(panreading.MEAN_K), span, area, trace.read(panreading.HOTTEST_K))
        gaps = np.abs(np.stack(mine, axis=1) - found[:, k, :4])
        gaps[:, 2] /= area
        apart = np.maximum(apart, gaps.max(axis=0))
    if not np.all(apart < [1.0, 3.0, 0.12, 1.0]):
        raise AssertionError(f"scikit-image and the pass disagree: {apart}")
    return apart


def repeated(frames: HeadFrames, begin: int, count: int) -> HeadFrames:
    """Return the next frames of an endless recording: the last painted ones over and over."""
    period = float(frames.time_s[1])
    time_s = np.arange(begin, begin + count) * period
    place = np.minimum(np.arange(begin, begin + count), frames.time_s.size - 1)
    return replace(
        frames,
        time_s=time_s,
        apparent_k=frames.apparent_k[place],
        sensor_k=frames.sensor_k[place],
        awake_s=600.0 + time_s,
    )


def streaming_row(design: Design, frames: HeadFrames) -> dict[str, Any]:
    """Measure the whole estimate as a stream: inversion to reported readings."""
    spans, count = [], frames.time_s.size
    calibration = nominal(design)
    for _ in range(ROUNDS):
        stream = Estimator((frames.head,), design=design, calibration=calibration, told=TOLD)
        blocks = [repeated(frames, k, STREAM_BLOCK) for k in range(0, count, STREAM_BLOCK)]
        start = time.perf_counter()
        read = [stream.advance((block,)) for block in blocks]
        spans.append((time.perf_counter() - start) / (len(blocks) * STREAM_BLOCK))
    valid = np.mean([np.isfinite(one.reported_k).mean() for one in read[-1].burners])
    if valid < 0.9:
        raise AssertionError(f"only {valid:.0%} of the last readings are valid")
    frame_s = statistics.median(spans[1:])
    return {
        "name": "six burners as a stream, 160x120",
        "baseline": f"{STREAM_FPS:g} frames a second",
        "ratio": 1.0 / frame_s / STREAM_FPS,
        "goal": 1.0,
        "detail": f"{1.0 / frame_s:,.0f} frames a second, {frame_s * 1e3:.2f} ms each, in blocks "
        f"of {STREAM_BLOCK}; window, pan, rings, hypotheses and interval; 1 thread",
    }


def peak_bytes(design: Design, frames: HeadFrames, count: int) -> int:
    """Return the largest memory in use while a stream of so many frames is read."""
    calibration = nominal(design)
    tracemalloc.start()
    stream = Estimator((frames.head,), design=design, calibration=calibration, told=TOLD)
    for begin in range(0, count, STREAM_BLOCK):
        stream.advance((repeated(frames, begin, STREAM_BLOCK),))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def memory_row(design: Design, frames: HeadFrames) -> dict[str, Any]:
    """Measure whether memory grows with the length of a recording."""
    peak_bytes(design, frames, STREAM_BLOCK)
    short, long = (peak_bytes(design, frames, count) for count in (SHORT_FRAMES, LONG_FRAMES))
    return {
        "name": "memory of the stream, 160x120",
        "baseline": f"{SHORT_FRAMES} frames",
        "ratio": short / long,
        "goal": 0.99,
        "detail": f"peak {short / 1e6:.2f} MB after {SHORT_FRAMES} frames, {long / 1e6:.2f} MB "
        f"after {LONG_FRAMES}; blocks of {STREAM_BLOCK} and their readings included",
    }


def rows() -> list[dict[str, Any]]:
    """Return the rows of the reading; all run in this process, JIT warm, medians."""
    measured = [split_row(size) for size in SIZES]
    rows_, cols, rate_hz, count, _ = SIZES[1]
    design = six_burners(rows_, cols)
    frames = painted_frames(design, frames=count, rate_hz=rate_hz)
    return [*measured, streaming_row(design, frames), memory_row(design, frames)]
