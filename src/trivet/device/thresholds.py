"""The registry's thresholds in the firmware's words: whole ms, steps of 1/64 K, percent, 0.1 K.

Every name in capitals is frozen into the compiled twin, and is a line of the C header.
"""

from __future__ import annotations

import math

from trivet.device.fixedpoint import STEPS_PER_K
from trivet.facts.thresholds import threshold


def _whole(name: str, per_unit: float) -> int:
    """Return a threshold in whole words; refused where it is none."""
    words = round(threshold(name) * per_unit)
    if abs(words - threshold(name) * per_unit) > 1e-6:
        raise ValueError(f"threshold {name}: no whole number of the firmware's words")
    return words


TAKEN_OFF_MS = _whole("taken_off_s", 1000)
HAND_PERCENT = _whole("hand_share_frac", 100)
COVERED_PERCENT = _whole("covered_share_frac", 100)
FEW_COVERED_PERCENT = _whole("covered_few_share_frac", 100)
UNEVEN_COVERED_PERCENT = _whole("uneven_covered_frac", 100)
STEAM_MS = _whole("steam_span_s", 1000)
STEAM_SIGMAS = _whole("steam_noise_sigmas", 1)
HEAT_MS = _whole("heat_span_s", 1000)
MIN_HEAT_MS = _whole("device_heat_min_span_s", 1000)
HEAT_STEP_MS = _whole("device_heat_step_s", 1000)
RISING_MKPS = _whole("heat_rising_kps", 1000)
COOLING_MKPS = _whole("heat_cooling_kps", 1000)
FRESH_MS = _whole("cover_fresh_s", 1000)
BRIEF_MS = _whole("cover_brief_s", 1000)
NEAR_MS = _whole("cover_near_s", 1000)
REGAINED_BITS = round(-math.log2(threshold("cover_regained_frac")))
"""A pixel may lack its drop shifted right by so many bits."""
COOLING_STEPS = _whole("cover_cooling_kps", STEPS_PER_K)
WATER_COOLING_STEPS = _whole("boil_cooling_kps", STEPS_PER_K)
BACK_MS = _whole("boil_back_s", 1000)
LONGEST_STEP_MS = _whole("boil_longest_step_s", 1000)
HOUSING_STEP_MS = _whole("device_housing_step_s", 1000)
MIN_HOUSING_MS = _whole("housing_min_span_s", 1000)
HOUSING_MS = _whole("housing_span_s", 1000)
SMOOTH_MS = _whole("alert_smooth_s", 1000)
FOLLOW_MS = _whole("alert_plateau_follow_s", 1000)
LONGEST_HAND_MS = _whole("alert_hand_longest_s", 1000)
SHORTEST_SLOPE_MS = _whole("alert_slope_min_s", 1000)
LEAP_DK = _whole("alert_leap_k", 10)
LEAP_MS = _whole("alert_leap_s", 1000)


def header_text() -> str:
    """Return the C header of the thresholds: every name in capitals of this module."""
    words = {name: value for name, value in globals().items() if name.isupper()}
    words.pop("STEPS_PER_K")
    guard = "TRIVET_THRESHOLDS_H"
    lines = [f"#define TRIVET_{name} {value}" for name, value in words.items()]
    return "\n".join([f"#ifndef {guard}", f"#define {guard}", *lines, "#endif", ""])
