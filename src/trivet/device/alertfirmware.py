"""The alert machine as C99: the same rules, line by line, as ``device/alertmachine.py``."""

from __future__ import annotations

import numpy as np

from trivet.device import alertmachine as machine
from trivet.device import alertsettings as words
from trivet.device.alertsettings import Ints

HEADER_NAME = "trivet_alerts.h"
SOURCE_NAME = "trivet_alerts.c"
VECTORS_NAME = "trivet_alert_vectors.h"
CHECK_NAME = "trivet_alert_check.c"
MOMENTS = 4000

_HEADER = """\
#ifndef TRIVET_ALERTS_H
#define TRIVET_ALERTS_H
#include <stdint.h>

/* Readings are 0.1 K, times ms. */
#define TRIVET_READING_NONE (%(none)d)
#define TRIVET_READING_AT_RANGE %(range)d
#define TRIVET_HEAT_ON %(heat)du
#define TRIVET_COOL %(cool)du
#define TRIVET_RING %(ring)d
#define TRIVET_NEVER INT64_MIN

typedef struct {
    int64_t kind, set_dk, lead_ms, deadband_dk, on_ms, off_ms, gate_dk, window_ms;
} trivet_alert;

typedef struct {
    int64_t last_ms, rise_ms, fall_ms;
    int64_t sum_t, sum_tt, sum_y, sum_ty, base_ms;
    int32_t on, count, head;
    int64_t ring_ms[TRIVET_RING];
    int32_t ring_dk[TRIVET_RING];
} trivet_alert_state;

void trivet_alert_start(trivet_alert_state *s);

/* Takes one moment; returns 1 if the alert changed. s->on tells the state. */
int trivet_alert_step(const trivet_alert *a, trivet_alert_state *s, int64_t now,
                      int32_t reading, unsigned word);
#endif
"""

_SOURCE = """\
#include <string.h>
#include "trivet_alerts.h"

#define WRAP(place) ((place) & (TRIVET_RING - 1))
#define SHORTEST_SLOPE_MS %(shortest)d
enum { LEVEL, TIME_TO_LIMIT, LOSS_OF_SIGHT };
enum { LOW, HIGH, BETWEEN, UNKNOWN };

void trivet_alert_start(trivet_alert_state *s)
{
    memset(s, 0, sizeof *s);
    s->last_ms = s->rise_ms = s->fall_ms = TRIVET_NEVER;
}

static void slope_add(int64_t now, int32_t reading, int64_t window, trivet_alert_state *s)
{
    /* The base is the moment of the last reading taken. */
    const int64_t shift = now - s->base_ms;
    if (s->count == 0 || shift > window / 2) {
        s->head = 0;
        s->sum_t = s->sum_tt = s->sum_ty = 0;
        s->sum_y = reading;
        s->base_ms = now;
        s->ring_ms[0] = now;
        s->ring_dk[0] = reading;
        s->count = 1;
        return;
    }
    if (shift < window / 64) {
        return;
    }
    s->sum_tt += shift * (s->count * shift - 2 * s->sum_t);
    s->sum_ty -= shift * s->sum_y;
    s->sum_t -= shift * s->count;
    s->base_ms = now;
    while (s->count >= 2 && now - s->ring_ms[WRAP(s->head + 1)] >= window) {
        const int64_t t = s->ring_ms[s->head] - now;
        const int64_t y = s->ring_dk[s->head];
        s->sum_t -= t;
        s->sum_tt -= t * t;
        s->sum_y -= y;
        s->sum_ty -= t * y;
        s->head = WRAP(s->head + 1);
        s->count--;
    }
    s->ring_ms[WRAP(s->head + s->count)] = now;
    s->ring_dk[WRAP(s->head + s->count)] = reading;
    s->sum_y += reading;
    s->count++;
}

static int ahead(int64_t now, int32_t reading, const trivet_alert *a, const trivet_alert_state *s)
{
    int64_t spread, rise, excess;
    if (s->count < 3 || now - s->ring_ms[s->head] < SHORTEST_SLOPE_MS) {
        return UNKNOWN;
    }
    spread = s->count * s->sum_tt - s->sum_t * s->sum_t;
    rise = s->count * s->sum_ty - s->sum_t * s->sum_y;
    excess = rise * a->lead_ms - (a->set_dk - reading) * spread;
    if (excess >= 0) {
        return HIGH;
    }
    return excess < -a->deadband_dk * spread ? LOW : BETWEEN;
}

static int judged(int64_t now, int32_t reading, unsigned word, const trivet_alert *a,
                  const trivet_alert_state *s)
{
    if (a->kind == LOSS_OF_SIGHT) {
        return (word & TRIVET_HEAT_ON) != 0 && reading == TRIVET_READING_NONE ? HIGH : LOW;
    }
    if (reading == TRIVET_READING_NONE) {
        return (word & TRIVET_COOL) != 0 ? LOW : UNKNOWN;
    }
    if (reading >= a->set_dk) {
        return HIGH;
    }
    if (a->kind == LEVEL) {
        return reading < a->set_dk - a->deadband_dk ? LOW : BETWEEN;
    }
    return reading < a->gate_dk ? LOW : ahead(now, reading, a, s);
}

static int delayed(int64_t now, int how, const trivet_alert *a, trivet_alert_state *s)
{
    if (s->on == 0) {
        if (how == UNKNOWN) {
            return 0;
        }
        if (how != HIGH) {
            s->rise_ms = TRIVET_NEVER;
            return 0;
        }
        if (s->rise_ms == TRIVET_NEVER) {
            s->rise_ms = now;
        }
        if (now - s->rise_ms < a->on_ms) {
            return 0;
        }
    } else {
        if (how != LOW) {
            s->fall_ms = TRIVET_NEVER;
            return 0;
        }
        if (s->fall_ms == TRIVET_NEVER) {
            s->fall_ms = now;
        }
        if (now - s->fall_ms < a->off_ms) {
            return 0;
        }
    }
    s->on = !s->on;
    s->rise_ms = s->fall_ms = TRIVET_NEVER;
    return 1;
}

int trivet_alert_step(const trivet_alert *a, trivet_alert_state *s, int64_t now,
                      int32_t reading, unsigned word)
{
    if (now < s->last_ms) {
        s->rise_ms = s->fall_ms = TRIVET_NEVER;
        s->count = 0;
    }
    s->last_ms = now;
    if (a->kind == TIME_TO_LIMIT && reading != TRIVET_READING_NONE
        && reading != TRIVET_READING_AT_RANGE) {
        slope_add(now, reading, a->window_ms, s);
    }
    return delayed(now, judged(now, reading, word, a, s), a, s);
}
"""

_CHECK = """\
#include <stdio.h>
#include "trivet_alerts.h"
#include "trivet_alert_vectors.h"

int main(void)
{
    static trivet_alert_state states[TRIVET_CHECKED_ALERTS];
    long next = 0, wrong = 0;
    int i, k;
    for (k = 0; k < TRIVET_CHECKED_ALERTS; k++) {
        trivet_alert_start(&states[k]);
    }
    for (i = 0; i < TRIVET_MOMENTS; i++) {
        const trivet_moment *m = &trivet_moments[i];
        for (k = 0; k < TRIVET_CHECKED_ALERTS; k++) {
            if (!trivet_alert_step(&trivet_alerts[k], &states[k], m->ms, m->reading, m->word)) {
                continue;
            }
            if (next >= TRIVET_CHANGES || trivet_changes[next].moment != i
                || trivet_changes[next].alert != k || trivet_changes[next].on != states[k].on) {
                wrong++;
            }
            next++;
        }
    }
    printf("%ld of %d changes, %ld wrong\\n", next, TRIVET_CHANGES, wrong);
    return wrong == 0 && next == TRIVET_CHANGES ? 0 : 1;
}
"""


def scripted_moments(
    settings: Ints, *, generator: np.random.Generator, moments: int = MOMENTS
) -> tuple[Ints, Ints, Ints]:
    """Return moments that drive alerts on and off in every way.

    Parameters
    ----------
    settings : (alert, 8)
        Their set points and gates place the readings.
    generator : numpy.random.Generator
        Source of randomness.
    moments : int
        Moments. [-]

    Returns
    -------
    tuple of (moment,)
        Time [ms], reading [0.1 K], word.

    Raises
    ------
    ValueError
        If moments is under 1.

    Notes
    -----
    Ramps of up to 5 K/s around the set points, blind and saturated stretches,
    gaps, and clocks that jump back.

    References
    ----------
    Common practice for firmware hand-over.
    """
    points = settings[settings[:, words.SET_DK] > 0, words.SET_DK]
    centre = int(np.median(points)) if points.size else 4500
    period = generator.choice([125, 250, 250, 250, 400, 1000], size=moments)
    gap = generator.random(moments)
    period = np.where(gap < 0.004, 9000, np.where(gap > 0.998, -3000, period))
    length = 60
    count = moments // length + 1
    rate = np.repeat(generator.integers(-25, 26, count), length)[:moments]
    reading = centre - 300 + np.cumsum(rate) // 4
    # Reflect at the ends, so that readings keep crossing the set points.
    span = 1600
    reading = centre - span // 2 + np.abs((reading - centre + span // 2) % (2 * span) - span)
    reading = reading + generator.integers(-3, 4, moments)
    state = np.repeat(generator.integers(0, 12, count), length)[:moments]
    reading = np.where(state == 0, words.NO_READING, reading)
    reading = np.where(state == 1, words.AT_RANGE, reading)
    word = np.where(state == 0, generator.integers(0, 3, moments), words.HEAT_ON)
    word = np.where(np.repeat(generator.random(count) < 0.3, length)[:moments], words.COOL, word)
    return np.cumsum(period).astype(np.int64), reading.astype(np.int64), word.astype(np.int64)


def alert_texts(settings: Ints, *, generator: np.random.Generator) -> tuple[dict[str, str], int]:
    """Return the C files of the alert machine, and how many changes its vectors hold.

    Parameters
    ----------
    settings : (alert, 8)
        As ``alertsettings.settings_array``.
    generator : numpy.random.Generator
        Source of the scripted moments.

    Returns
    -------
    tuple
        Header, source, vectors and checker; and the number of changes.

    Raises
    ------
    InputError
        From the machine.

    Notes
    -----
    4,000 moments; expected changes are those of the twin. Without alerts
    there are no files.

    References
    ----------
    ISO/IEC 9899:1999.
    """
    if settings.shape[0] == 0:
        return {}, 0
    numbers = {
        "none": words.NO_READING,
        "range": words.AT_RANGE,
        "heat": words.HEAT_ON,
        "cool": words.COOL,
        "ring": machine.RING,
        "shortest": words.SHORTEST_SLOPE_MS,
    }
    time_ms, reading, word = scripted_moments(settings, generator=generator)
    changes = machine.burner_changes(
        time_ms,
        reading_dk=reading,
        word=word,
        settings=settings,
        state=machine.cold_start(settings.shape[0]),
    )
    moments = zip(time_ms.tolist(), reading.tolist(), word.tolist(), strict=True)
    rows = {
        "trivet_alert trivet_alerts[TRIVET_CHECKED_ALERTS]": settings.tolist(),
        "trivet_moment trivet_moments[TRIVET_MOMENTS]": [(t, y, f"{w}u") for t, y, w in moments],
        "trivet_change trivet_changes[TRIVET_CHANGES + 1]": [
            *changes[:, :3].tolist(),
            (-1, -1, -1),
        ],
    }
    arrays = "".join(
        f"static const {name} = {{\n"
        + ",\n".join("    {" + ", ".join(map(str, row)) + "}" for row in values)
        + "\n};\n"
        for name, values in rows.items()
    )
    vectors = (
        f"#define TRIVET_CHECKED_ALERTS {settings.shape[0]}\n"
        f"#define TRIVET_MOMENTS {time_ms.size}\n#define TRIVET_CHANGES {len(changes)}\n\n"
        "typedef struct {\n    int64_t ms;\n    int32_t reading;\n    unsigned word;\n"
        "} trivet_moment;\n\n"
        "typedef struct {\n    int32_t moment, alert, on;\n} trivet_change;\n\n" + arrays
    )
    texts = {
        HEADER_NAME: _HEADER % numbers,
        SOURCE_NAME: _SOURCE % numbers,
        VECTORS_NAME: vectors,
        CHECK_NAME: _CHECK,
    }
    return texts, len(changes)
