"""The alert machine's C99 header and checker as text, and the constants that both sides share."""

from __future__ import annotations

from trivet.device import alertboiling, alertslope
from trivet.device import alertsettings as words

KEPT = 72
"""Places for the readings of a slope; the twin never keeps more than 67."""

HEADER = """\
#ifndef TRIVET_ALERTS_H
#define TRIVET_ALERTS_H
#include <stdint.h>

/* Readings are 0.1 K, times ms. */
#define TRIVET_READING_NONE (%(none)d)
#define TRIVET_READING_AT_RANGE %(range)d
/* Bits of the state word. */
#define TRIVET_HEAT_ON %(heat)du
#define TRIVET_COOL %(cool)du
#define TRIVET_NO_PAN %(no_pan)du
#define TRIVET_PERSON %(person)du
#define TRIVET_LINK_LOST %(link)du
#define TRIVET_HANDLED %(handled)du
/* Hottest part, reported, spread, apparent, 95 %% half-width; of the device itself:
   housing, charge in 1/1000, window's loss in 1/1000. */
#define TRIVET_SIGNALS %(signals)d
#define TRIVET_RING %(ring)d
#define TRIVET_NEVER (-(INT64_C(1) << 62))

typedef struct {
    int32_t kind, set_dk, lead_ms, deadband_dk, on_ms, off_ms, gate_dk, window_ms;
    int32_t top_dk, signal, escalate_ms, needs, forbids;
} trivet_alert;

typedef struct {
    int64_t rise_ms, fall_ms, since_ms;
    uint8_t on, escalated, armed, told;
} trivet_alert_state;

/* Readings of the last window, of a predicted alert. */
typedef struct {
    int64_t sum_t, sum_tt, sum_y, sum_ty, base_ms;
    int32_t count, head;
    uint32_t ring_ms[TRIVET_RING];
    uint16_t ring_dk[TRIVET_RING];
} trivet_slope;

/* Plateau of a pot that may boil dry. */
typedef struct {
    int64_t level_q8, at_ms, plateau_q8, came_ms, inside_ms;
} trivet_pot;

typedef struct {
    trivet_alert_state *state;
    trivet_slope *slope;           /* of a predicted alert (kind 1), else null */
    trivet_pot *pot;               /* of a dry pot (kind 5), else null */
} trivet_memory;

/* Of a predicted alert that comes on; TRIVET_UNKNOWN_MS where not known. */
typedef struct {
    int64_t left_ms, low_ms, high_ms, rate_mkps;
} trivet_left;

#define TRIVET_UNKNOWN_MS (%(unknown)d)
/* What a step says. */
#define TRIVET_CHANGED 1
#define TRIVET_ESCALATED 2
#define TRIVET_ARMED 4
#define TRIVET_DISARMED 8

typedef struct {
    int64_t ms;
    int32_t signal[TRIVET_SIGNALS];
    uint32_t word;
} trivet_moment;

void trivet_alert_start(const trivet_memory *own);

/* The state word with the heat that is believed while the burner is not seen; *heated is
   kept from moment to moment, 0 at first. */
uint32_t trivet_believed(const trivet_moment *m, uint32_t *heated);

/* Takes one moment, its word as believed; before: the moment before, TRIVET_NEVER at first.
   Returns what it says; own->state->on tells the state. */
int trivet_alert_step(const trivet_alert *a, const trivet_memory *own, const trivet_moment *m,
                      int64_t before, uint32_t word, trivet_left *left);
#endif
"""

CHECK = """\
#include <stdio.h>
#include "trivet_alerts.h"
#include "trivet_alert_vectors.h"

static long next_change, wrong;

static void expect(int moment, int alert, int what, const trivet_left *left)
{
    const trivet_change *c = &trivet_changes[next_change];
    if (next_change >= TRIVET_CHANGES || c->moment != moment || c->alert != alert
        || c->what != what) {
        wrong++;
    } else if (what == 1
               && (c->left != left->left_ms || c->low != left->low_ms || c->high != left->high_ms
                   || c->rate != left->rate_mkps)) {
        wrong++;
    }
    next_change++;
}

int main(void)
{
    static trivet_alert_state states[TRIVET_CHECKED_ALERTS];
    static trivet_slope slopes[TRIVET_CHECKED_ALERTS];
    static trivet_pot pots[TRIVET_CHECKED_ALERTS];
    static trivet_memory own[TRIVET_CHECKED_ALERTS];
    int64_t before = TRIVET_NEVER;
    uint32_t heated = 0;
    int i, k;
    for (k = 0; k < TRIVET_CHECKED_ALERTS; k++) {
        own[k].state = &states[k];
        own[k].slope = &slopes[k];
        own[k].pot = &pots[k];
        trivet_alert_start(&own[k]);
    }
    for (i = 0; i < TRIVET_MOMENTS; i++) {
        const uint32_t word = trivet_believed(&trivet_moments[i], &heated);
        for (k = 0; k < TRIVET_CHECKED_ALERTS; k++) {
            trivet_left left;
            const int said = trivet_alert_step(&trivet_alerts[k], &own[k], &trivet_moments[i],
                                               before, word, &left);
            if ((said & (TRIVET_ARMED | TRIVET_DISARMED)) != 0) {
                expect(i, k, (said & TRIVET_ARMED) != 0 ? 3 : 4, &left);
            }
            if ((said & TRIVET_CHANGED) != 0) {
                expect(i, k, states[k].on, &left);
            }
            if ((said & TRIVET_ESCALATED) != 0) {
                expect(i, k, 2, &left);
            }
        }
        before = trivet_moments[i].ms;
    }
    printf("%ld of %d changes, %ld wrong\\n", next_change, TRIVET_CHANGES, wrong);
    return wrong == 0 && next_change == TRIVET_CHANGES ? 0 : 1;
}
"""


def constants() -> dict[str, int]:
    """Return the machine's constants for header and source."""
    return {
        "none": words.NO_READING,
        "range": words.AT_RANGE,
        "heat": words.HEAT_ON,
        "cool": words.COOL,
        "no_pan": words.NO_PAN,
        "person": words.PERSON,
        "link": words.LINK_LOST,
        "handled": words.HANDLED,
        "signals": words.SIGNALS,
        "ring": KEPT,
        "unknown": alertslope.NOT_KNOWN,
        "unbounded": alertslope.UNBOUNDED_MS,
        "widest": alertslope.WIDEST_DK,
        "shortest": words.SHORTEST_SLOPE_MS,
        "leap_dk": alertslope.LEAP_DK,
        "leap_ms": alertslope.LEAP_MS,
        "smooth": alertboiling.SMOOTH_MS,
        "follow": alertboiling.FOLLOW_MS,
        "hand": alertboiling.LONGEST_HAND_MS,
    }
