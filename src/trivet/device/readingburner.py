"""One burner of one even frame: what is reported, how hot its hottest place, and why not."""

from __future__ import annotations

import numpy as np

from trivet.device import compiled
from trivet.device import readingrules as rules
from trivet.device.arithmetic import divided, halved, root_of, shifted, surface_of
from trivet.device.fixedpoint import NO_READING, ONE_Q15, OVER_RANGE, UNDER_RANGE
from trivet.device.readingrules import SINCE, passed, shaded, stamp
from trivet.device.thresholds import (
    BACK_MS,
    COOLING_MKPS,
    COVERED_PERCENT,
    FEW_COVERED_PERCENT,
    FRESH_MS,
    HAND_PERCENT,
    HEAT_MS,
    HEAT_STEP_MS,
    LONGEST_STEP_MS,
    MIN_HEAT_MS,
    RISING_MKPS,
    STEAM_MS,
    STEAM_SIGMAS,
    TAKEN_OFF_MS,
    UNEVEN_COVERED_PERCENT,
    WATER_COOLING_STEPS,
)
from trivet.quality import BLOCKING, Quality
from trivet.records.estimate import ABSENT, PRESENT, UNSURE
from trivet.records.requirement import OF_WORDS

FOOD = OF_WORDS.index("food")
FINE = 16
"""Steps of a mean in one of a word, where its rate counts."""
STALE, SATURATED, HAND = int(Quality.STALE), int(Quality.SATURATED), int(Quality.HAND)
STEAM, COVERED, SHINY = int(Quality.STEAM), int(Quality.COVERED), int(Quality.SHINY)
FEW, GONE, COLD = int(Quality.TOO_FEW_PIXELS), int(Quality.ABSENT), int(Quality.COLD)
UNCERTAIN, BELOW = int(Quality.UNCERTAIN), int(Quality.BELOW_RANGE)
SETTLING, EDGE, DEAD = int(Quality.SETTLING), int(Quality.EDGE), int(Quality.DEAD_PIXEL)
BLOCKS = int(BLOCKING)
BLIND = STALE | HAND | COVERED | COLD | int(Quality.WINDOW)


@compiled
def sort_words(words, count):  # type: ignore[no-untyped-def]
    """Sort the first words, smallest first."""
    gap = 1
    while gap < count // 3:
        gap = 3 * gap + 1
    while gap > 0:
        for i in range(gap, count):
            word, k = words[i], i
            while k >= gap and words[k - gap] > word:
                words[k] = words[k - gap]
                k -= gap
            words[k] = word
        gap //= 3


@compiled
def hob_level(frame, beside, rank_q15, scratch):  # type: ignore[no-untyped-def]
    """Return the level of the hob beside the pans, 0 where no pixel has one."""
    count = 0
    for p in beside:
        if frame[p] != NO_READING:
            scratch[count] = frame[p]
            count += 1
    if count == 0:
        return NO_READING
    sort_words(scratch, count)
    return scratch[((count - 1) * rank_q15) >> 15]


@compiled
def gather(frame, now, place, h, pixel, scratch):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Count a pan's pixels; leave the open ones in the scratch, unsorted.

    Returns all, open, covered, freshly covered, dead, saturated, under range, the mean
    of all and the weighted mean of the open ones, in words and in 1/1024 K; a mean of none
    is 0.
    """
    where, weights, liquid, _ = place
    every, open_, covered, fresh, dead, hot, under = 0, 0, 0, 0, 0, 0, 0
    whole, known, total, share = 0, 0, 0, 0
    for i in range(where.size):
        p = where[i]
        word, weight = frame[p], weights[i]
        if word == NO_READING:
            dead += 1
            continue
        hot += 1 if word == OVER_RANGE else 0
        if weight == 0:
            continue
        every += 1
        given = word not in (OVER_RANGE, UNDER_RANGE)
        if given:
            whole += word
            known += 1
        if not liquid and pixel[p, SINCE] != 0:
            covered += 1
            fresh += 1 if passed(now, pixel[p, SINCE]) < FRESH_MS else 0
        elif word == UNDER_RANGE:
            under += 1
        elif given and (liquid or not shaded(p, h.cols, pixel)):
            scratch[open_] = word
            open_ += 1
            total += weight * word
            share += weight
    mean_all = divided(whole, known) if known else NO_READING
    mean = divided(total, share) if share else NO_READING
    fine = divided(FINE * total, share) if share else NO_READING
    return every, open_, covered, fresh, dead, hot, under, mean_all, mean, fine


@compiled
def mean_between(frame, low, high, place, h, pixel):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Return the weighted mean of the open pixels from low to high."""
    where, weights, liquid, _ = place
    total, share = 0, 0
    for i in range(where.size):
        p = where[i]
        word, weight = frame[p], weights[i]
        if weight == 0 or word < low or word > high:
            continue
        if word in (NO_READING, UNDER_RANGE, OVER_RANGE):
            continue
        if liquid or (pixel[p, SINCE] == 0 and not shaded(p, h.cols, pixel)):
            total += weight * word
            share += weight
    return divided(total, share) if share else NO_READING


@compiled
def hottest_window(frame, anchors, liquid, h, pixel):  # type: ignore[no-untyped-def]
    """Return the mean of the hottest little window whose pixels are all open, or 0."""
    best = -1
    for anchor in anchors:
        total = 0
        for i in range(h.hot_rows):
            for k in range(h.hot_cols):
                p = anchor + i * h.cols + k
                word = frame[p]
                hidden = not liquid and pixel[p, SINCE] != 0
                if hidden or word in (NO_READING, UNDER_RANGE, OVER_RANGE):
                    total = -(1 << 40)
                else:
                    total += word
        best = max(best, total)
    return NO_READING if best < 0 else divided(best, h.hot_rows * h.hot_cols)


@compiled
def steams(mean_all, every, step_ms, h, memory):  # type: ignore[no-untyped-def]
    """Return whether the mean of all pixels flickers far above what noise leaves of it."""
    if mean_all == NO_READING:
        memory[rules.SEEN] = 0
        return False
    if memory[rules.SEEN] == 2:
        second = mean_all - 2 * memory[rules.LAST] + memory[rules.BEFORE]
        second = min(abs(second), h.steam_cap)
        change = divided(second * second * 256, 6) - memory[rules.SQUARE]
        memory[rules.SQUARE] += divided(change * step_ms, step_ms + STEAM_MS)
    else:
        memory[rules.SEEN] += 1
    memory[rules.BEFORE], memory[rules.LAST] = memory[rules.LAST], mean_all
    least = divided(STEAM_SIGMAS * STEAM_SIGMAS * h.noise * h.noise * 256, max(every, 1))
    return memory[rules.SQUARE] > max(h.steam_square, least)


@compiled
def heats(now, fine, saturated, h, memory, ring):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Return whether a burner heats: warm and not cooling, or rising.

    ``fine`` is the mean of the open pixels in 1/1024 K: a word more or less within 3 s
    would be 5 % of the rate that tells a rise.
    """
    count, first = int(memory[rules.HEAT_COUNT]), int(memory[rules.HEAT_HEAD])
    size = rules.HEAT_RING
    if count and now < ring[(first + count - 1) % size, 0]:
        count = 0
    while count and now - ring[first, 0] > HEAT_MS:
        first, count = (first + 1) % size, count - 1
    rising, cooling = False, False
    if fine != NO_READING:
        span = now - ring[first, 0] if count else 0
        if span >= MIN_HEAT_MS:
            rise, step = (fine - ring[first, 1]) * 1000, 64 * FINE * span
            rising, cooling = rise * 1000 > RISING_MKPS * step, rise * 1000 <= -COOLING_MKPS * step
        if count == 0 or now - ring[(first + count - 1) % size, 0] >= HEAT_STEP_MS:
            at = (first + count) % size
            ring[at, 0], ring[at, 1] = now, fine
            count += 1
    if count == size:
        first, count = (first + 1) % size, count - 1
    memory[rules.HEAT_COUNT], memory[rules.HEAT_HEAD] = count, first
    warm = fine != NO_READING and fine > FINE * h.heated
    return saturated or rising or (warm and not cooling)


@compiled
def presence(now, mean, hob, h, memory):  # type: ignore[no-untyped-def]
    """Return whether a pan is seen, was just taken off, or is not known."""
    known = NO_READING not in (mean, hob)
    if known and mean - hob > h.taken_off:
        memory[rules.HIGH_MS] = stamp(now)
    if known and mean - hob >= h.contrast:
        memory[rules.GONE] = 0
        return PRESENT
    high = memory[rules.HIGH_MS]
    if high != 0 and passed(now, high) <= TAKEN_OFF_MS:
        memory[rules.GONE] = 1
    return ABSENT if memory[rules.GONE] else UNSURE


@compiled
def width(mean, hot, moment, hidden, surface, h):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Return the half-width of 95 % of a mean, as apparent temperature."""
    housing, decay = moment[0], moment[1]
    covered, every, span = hidden
    wake = shifted(h.u_wake * decay, 15)
    warm = shifted(h.u_housing_q15 * abs(housing - h.housing_ref), 15)
    gain = shifted(h.u_gain_q15 * abs(mean - housing), 15)
    uneven = shifted(h.u_uneven_q15 * span, 15)
    settled = surface[rules.WIDE]
    square = settled * settled + wake * wake + warm * warm + gain * gain + uneven * uneven
    wide = root_of(square)
    if covered and hot > mean:
        wide += divided((hot - mean) * covered, every)
    return wide


@compiled
def inverted(word, emissivity, around, h, radiance):  # type: ignore[no-untyped-def]
    """Return the surface temperature behind an apparent one."""
    word = min(max(word, UNDER_RANGE + 1), OVER_RANGE - 1)
    return surface_of(word, (emissivity, h.transmittance), around, radiance)


@compiled
def left_boil(middle, low, moment, h, memory):  # type: ignore[no-untyped-def]
    """Return whether what was told to be water has left the boil as no water can.

    Hotter than boiling, or fallen from near the boil faster than water cools: the pot may be
    dry, and a bare bottom is no water. Cold water or food does the same: which of them it
    was is not known until it boils again for 20 s or the pot is taken off.
    """
    now, step_ms = moment[4], moment[5]
    if memory[rules.LEFT] == 0:
        fall = WATER_COOLING_STEPS * min(step_ms, LONGEST_STEP_MS) // 1000
        memory[rules.TOP] = max(middle, memory[rules.TOP] - fall)
        fell = memory[rules.TOP] > h.near_boil and middle < memory[rules.TOP] - h.left_boil
        if fell or low > h.boiled:
            memory[rules.LEFT] = min(memory[rules.TOP], h.boiled)
            memory[rules.BACK_MS] = 0
    elif low > h.boiled or middle < memory[rules.LEFT] - shifted(h.left_boil, 1):
        memory[rules.BACK_MS] = 0
    elif memory[rules.BACK_MS] == 0:
        memory[rules.BACK_MS] = stamp(now)
    elif passed(now, memory[rules.BACK_MS]) >= BACK_MS:
        memory[rules.LEFT], memory[rules.TOP] = 0, middle
    return memory[rules.LEFT] != 0


@compiled
def flag_word(counts, present, moment, surface, h):  # type: ignore[no-untyped-def]
    """Return the flags that need no inversion."""
    every, open_, covered, fresh, dead, hot, under, _, mean = counts
    cold, few = present != PRESENT, open_ < h.min_pixels
    hand = fresh * 100 > HAND_PERCENT * every
    flags = 0
    if moment[2]:
        flags |= STALE
    if hot:
        flags |= SATURATED
    if hand:
        flags |= HAND
    hidden = covered * 100 > COVERED_PERCENT * every and not hand
    if hidden or (few and covered * 100 > FEW_COVERED_PERCENT * every):
        flags |= COVERED
    if few and not cold:
        flags |= FEW
    if present == ABSENT:
        flags |= GONE
    if cold:
        flags |= COLD
    elif mean != NO_READING and surface[rules.BITS] & rules.SHINY:
        flags |= SHINY
    if under or (mean != NO_READING and mean < h.range_low):
        flags |= BELOW
    if moment[3]:
        flags |= SETTLING
    return flags | (DEAD if dead else 0)


@compiled
def say(out, counts, seen, moment, surface, h, radiance, memory):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Fill reported temperature, half-width, hottest place and spread; ``out`` has the flags.

    ``seen`` is the hottest place, P5 and P95.
    """
    hot, ends = seen[0], seen[1:]
    every, _, covered, _, _, saturated, _, _, mean = counts
    window = min(max(moment[0] + h.window_rise, UNDER_RANGE), OVER_RANGE)
    around, flags = (h.mirrored, window), np.int64(out[rules.FLAGS])
    out[rules.REPORTED : rules.FLAGS] = NO_READING
    if mean != NO_READING and flags & COLD == 0:
        seen = inverted(mean, ONE_Q15, around, h, radiance)
        out[rules.APPARENT] = seen if UNDER_RANGE < seen < OVER_RANGE else NO_READING
    unsure = True
    if mean != NO_READING:
        wide = width(mean, hot, moment, (covered, every, ends[1] - ends[0]), surface, h)
        low = inverted(mean - wide, surface[rules.EPS_HIGH], around, h, radiance)
        high = inverted(mean + wide, surface[rules.EPS_LOW], around, h, radiance)
        if low > UNDER_RANGE and UNDER_RANGE < high < OVER_RANGE:
            half = halved(high - low)
            unsure = high - low > 2 * h.bound or surface[rules.BITS] & rules.AMBIGUOUS != 0
            middle = halved(low + high)
            if surface[rules.BITS] & rules.LIQUID:
                unsure |= left_boil(middle, low, moment, h, memory)
            out[rules.REPORTED], out[rules.HALF] = middle, half
    if unsure:
        flags |= UNCERTAIN
    valid = flags & BLOCKS == 0
    if not valid:
        out[rules.REPORTED] = out[rules.HALF] = NO_READING
    elif covered * 100 <= UNEVEN_COVERED_PERCENT * every:
        apart = max((ends[1] - ends[0]) ** 2 - h.noise * h.noise * 11, 0)
        top = inverted(ends[0] + root_of(apart), surface[rules.EPS_MIDDLE], around, h, radiance)
        foot = inverted(ends[0], surface[rules.EPS_MIDDLE], around, h, radiance)
        if foot > UNDER_RANGE and top < OVER_RANGE:
            out[rules.SPREAD] = top - foot + 1  # 0 says that it is withheld
    if saturated:
        out[rules.HOTTEST] = OVER_RANGE
    elif hot != NO_READING and flags & (BLIND | SHINY) == 0:
        out[rules.HOTTEST] = inverted(hot, surface[rules.EPS_MIDDLE], around, h, radiance)
        if out[rules.HOTTEST] == UNDER_RANGE:
            out[rules.HOTTEST] = NO_READING
    hidden = flags & (COVERED | HAND) != 0
    bare = surface[rules.SURFACE_OF] if mean != NO_READING else rules.NOTHING
    out[rules.OF] = FOOD if hidden else bare
    out[rules.FLAGS] = flags
