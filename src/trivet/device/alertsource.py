"""The alert machine as C99 text: the same rules, line by line, as ``device/alertmachine.py``."""

from __future__ import annotations

SOURCE = """\
#include "trivet_alerts.h"

#define WRAP(place) ((place) < TRIVET_RING ? (place) : (place)-TRIVET_RING)
#define SHORTEST_SLOPE_MS %(shortest)d
#define WIDEST_DK %(widest)d
#define LEAP_DK %(leap_dk)d
#define LEAP_MS %(leap_ms)d
#define UNBOUNDED_MS INT64_C(%(unbounded)d)
#define SMOOTH_MS %(smooth)d
#define FOLLOW_MS %(follow)d
#define DRY (TRIVET_NEVER - 1)
#define ALONE (TRIVET_NEVER - 2)
#define LONGEST_HAND_MS %(hand)d
enum { LEVEL, TIME_TO_LIMIT, LOSS_OF_SIGHT, BELOW, IN_BAND, BOIL_DRY };
enum { LOW, HIGH, BETWEEN, UNKNOWN };

static int64_t floor_div(int64_t a, int64_t b)
{
    const int64_t q = a / b;
    return a %% b != 0 && (a < 0) != (b < 0) ? q - 1 : q;
}

static int64_t most(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

static int64_t least(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

void trivet_alert_start(const trivet_memory *own)
{
    trivet_alert_state *s = own->state;
    s->on = s->escalated = s->armed = s->told = 0;
    s->rise_ms = s->fall_ms = s->since_ms = TRIVET_NEVER;
    if (own->slope) {
        own->slope->count = 0;
    }
    if (own->pot) {
        own->pot->level_q8 = own->pot->plateau_q8 = 0;
        own->pot->at_ms = own->pot->came_ms = own->pot->inside_ms = TRIVET_NEVER;
    }
}

uint32_t trivet_believed(const trivet_moment *m, uint32_t *heated)
{
    if ((m->word & TRIVET_COOL) != 0) {
        *heated = 0;
    } else if (m->signal[0] != TRIVET_READING_NONE || (m->word & TRIVET_HEAT_ON) != 0) {
        *heated = m->word & TRIVET_HEAT_ON;
    }
    return m->word | *heated;
}

/* How long ago a reading of the slope was taken; a window is under 2^32 ms. */
static int64_t age(int64_t now, const trivet_slope *s, int32_t place)
{
    return (uint32_t)((uint32_t)((uint64_t)now & 0xFFFFFFFFu) - s->ring_ms[WRAP(s->head + place)]);
}

static void keep(int64_t now, int32_t reading, trivet_slope *s)
{
    const int32_t place = WRAP(s->head + s->count);
    s->ring_ms[place] = (uint32_t)((uint64_t)now & 0xFFFFFFFFu);
    s->ring_dk[place] = (uint16_t)reading;
    s->sum_y += reading;
    s->count++;
}

static void slope_add(int64_t now, int32_t reading, int64_t window, trivet_slope *s)
{
    /* The base is the moment of the last reading taken. */
    const int64_t shift = now - s->base_ms;
    if (s->count == 0 || shift > window / 2) {
        s->head = s->count = 0;
        s->sum_t = s->sum_tt = s->sum_y = s->sum_ty = 0;
        s->base_ms = now;
        keep(now, reading, s);
        return;
    }
    if (shift < window / 64) {
        return;
    }
    s->sum_tt += shift * (s->count * shift - 2 * s->sum_t);
    s->sum_ty -= shift * s->sum_y;
    s->sum_t -= shift * s->count;
    s->base_ms = now;
    while (s->count >= 2 && age(now, s, 1) >= window) {
        const int64_t t = -age(now, s, 0);
        const int64_t y = s->ring_dk[s->head];
        s->sum_t -= t;
        s->sum_tt -= t * t;
        s->sum_y -= y;
        s->sum_ty -= t * y;
        s->head = WRAP(s->head + 1);
        s->count--;
    }
    keep(now, reading, s);
}

static int leapt(int64_t now, const trivet_slope *s)
{
    const int64_t rise =
        (int64_t)s->ring_dk[WRAP(s->head + s->count - 1)] - s->ring_dk[s->head];
    int32_t first = 0, last;
    for (last = 1; last < s->count; last++) {
        const int64_t then = age(now, s, last);
        int64_t up, span;
        while (first + 1 < last && age(now, s, first + 1) - then >= LEAP_MS) {
            first++;
        }
        up = (int64_t)s->ring_dk[WRAP(s->head + last)] - s->ring_dk[WRAP(s->head + first)];
        span = age(now, s, first) - then;
        if (up * LEAP_MS > LEAP_DK * most(span, LEAP_MS) && 2 * up > rise) {
            return 1;
        }
    }
    return 0;
}

static int ahead(int64_t now, int32_t reading, const trivet_alert *a, const trivet_slope *s,
                 int on)
{
    int64_t spread, rise, excess;
    if (s->count < 3 || age(now, s, 0) < SHORTEST_SLOPE_MS) {
        return UNKNOWN;
    }
    spread = s->count * s->sum_tt - s->sum_t * s->sum_t;
    rise = s->count * s->sum_ty - s->sum_t * s->sum_y;
    excess = rise * a->lead_ms - (a->set_dk - reading) * spread;
    if (excess >= 0) {
        return !on && leapt(now, s) ? BETWEEN : HIGH;
    }
    return excess < -a->deadband_dk * spread ? LOW : BETWEEN;
}

static int64_t root(int64_t square)
{
    int64_t found = 0, bit = INT64_C(1) << 60;
    while (bit > square) {
        bit /= 4;
    }
    while (bit != 0) {
        if (square >= found + bit) {
            square -= found + bit;
            found = found / 2 + bit;
        } else {
            found /= 2;
        }
        bit /= 4;
    }
    return found;
}

static void time_left(const trivet_moment *m, const trivet_alert *a, const trivet_slope *s,
                      trivet_left *left)
{
    const int64_t now = m->ms, u95 = m->signal[TRIVET_SIGNALS - 1];
    const int32_t reading = m->signal[a->signal];
    const int64_t tick = most(a->window_ms / 64, 1), n = s->count;
    int64_t sum_t = 0, sum_tt = 0, sum_y = 0, sum_yy = 0, sum_ty = 0;
    int64_t spread, rise, rest, error, below, scale;
    int32_t i;
    for (i = 0; i < s->count; i++) {
        const int64_t t = floor_div(-age(now, s, i), tick);
        const int64_t off = (int64_t)s->ring_dk[WRAP(s->head + i)] - reading;
        const int64_t y = least(most(off, -WIDEST_DK), WIDEST_DK);
        sum_t += t;
        sum_tt += t * t;
        sum_y += y;
        sum_yy += y * y;
        sum_ty += t * y;
    }
    spread = n * sum_tt - sum_t * sum_t;
    rise = n * sum_ty - sum_t * sum_y;
    if (n < 3 || rise <= 0) {
        return;
    }
    rest = (n * sum_yy - sum_y * sum_y) * spread - rise * rise;
    error = 2 * root(most(rest, 0) / (n - 2));
    below = most(a->set_dk - reading, 0);
    scale = spread * tick;
    left->rate_mkps = rise * 100000 / scale;
    left->left_ms = least(below * scale / rise, UNBOUNDED_MS);
    if (u95 < 0) {
        return;
    }
    left->low_ms = most(below - u95, 0) * scale / (rise + error);
    left->high_ms = UNBOUNDED_MS;
    if (rise > error) {
        left->high_ms = least((below + u95) * scale / (rise - error), UNBOUNDED_MS);
    }
}

static void plateau(int64_t now, const trivet_alert *a, trivet_alert_state *s, trivet_pot *pot)
{
    const int64_t off = pot->level_q8 - pot->plateau_q8, band = a->deadband_dk * 256;
    if (pot->came_ms == TRIVET_NEVER || off > band || off < -band) {
        pot->plateau_q8 = pot->level_q8;
        pot->came_ms = now;
        return;
    }
    if (a->gate_dk * 256 <= pot->plateau_q8 && pot->plateau_q8 <= a->set_dk * 256
        && now - pot->came_ms >= a->window_ms) {
        s->armed = 1;
        pot->plateau_q8 = pot->level_q8;
    }
}

static int disarmed(int64_t now, trivet_alert_state *s, trivet_pot *pot, int *said)
{
    s->armed = 0;
    pot->plateau_q8 = pot->level_q8;
    pot->came_ms = now;
    pot->inside_ms = TRIVET_NEVER;
    *said |= TRIVET_DISARMED;
    return LOW;
}

static int fallen(const trivet_moment *m, uint32_t word, const trivet_alert *a,
                  const trivet_memory *own, int *said)
{
    trivet_pot *pot = own->pot;
    const int hand = pot->came_ms > TRIVET_NEVER, near = (word & TRIVET_HANDLED) != 0;
    const int soon = (hand ? pot->came_ms : m->ms) - pot->inside_ms <= a->lead_ms;
    if (pot->inside_ms == DRY) {
        return HIGH;
    }
    if (hand && soon && near && m->ms - pot->came_ms < LONGEST_HAND_MS) {
        return BETWEEN;
    }
    if (soon && (!hand || near)) {
        pot->came_ms = TRIVET_NEVER;
        pot->inside_ms = DRY;
        return HIGH;
    }
    return disarmed(m->ms, own->state, pot, said);
}

static int boiling(const trivet_moment *m, uint32_t word, const trivet_alert *a,
                   const trivet_memory *own, int *said)
{
    const int64_t now = m->ms;
    const int32_t reading = m->signal[a->signal];
    trivet_alert_state *s = own->state;
    trivet_pot *pot = own->pot;
    int64_t off, band, step;
    int seen = 0;
    if (reading == TRIVET_READING_NONE) {
        if ((word & TRIVET_COOL) == 0) {
            return UNKNOWN;
        }
        *said |= s->armed ? TRIVET_DISARMED : 0;
        s->armed = 0;
        pot->level_q8 = pot->plateau_q8 = 0;
        pot->at_ms = pot->came_ms = pot->inside_ms = TRIVET_NEVER;
        return LOW;
    }
    step = now - pot->at_ms;
    if (pot->at_ms == TRIVET_NEVER || step > FOLLOW_MS) {
        pot->level_q8 = (int64_t)reading * 256;
    } else {
        pot->level_q8 +=
            floor_div(((int64_t)reading * 256 - pot->level_q8) * step, SMOOTH_MS + step);
        seen = 1;
    }
    pot->at_ms = now;
    if (!s->armed) {
        if (!s->told && (word & TRIVET_HEAT_ON) != 0) {
            *said |= TRIVET_DISARMED;
            s->told = 1;
        }
        plateau(now, a, s, pot);
        pot->inside_ms = s->armed ? now : TRIVET_NEVER;
        if (s->armed) {
            *said = (*said & ~TRIVET_DISARMED) | TRIVET_ARMED;
        }
        return LOW;
    }
    off = pot->level_q8 - pot->plateau_q8;
    band = a->deadband_dk * 256;
    if (-band <= off && off <= band) {
        if (pot->inside_ms == DRY) {
            pot->came_ms = pot->came_ms == TRIVET_NEVER ? now : pot->came_ms;
            if (now - pot->came_ms < a->window_ms) {
                return BETWEEN;
            }
        }
        pot->plateau_q8 += seen ? floor_div(off * step, FOLLOW_MS) : 0;
        if (pot->plateau_q8 < a->gate_dk * 256) {
            return disarmed(now, s, pot, said);
        }
        pot->came_ms = TRIVET_NEVER;
        pot->inside_ms = now;
        return LOW;
    }
    if (pot->inside_ms == DRY || off > 0) {
        pot->came_ms = TRIVET_NEVER;
    } else if (pot->came_ms == TRIVET_NEVER) {
        pot->came_ms = (word & TRIVET_HANDLED) != 0 ? now : ALONE;
    }
    if (reading == TRIVET_READING_AT_RANGE || off > a->top_dk * 256) {
        pot->inside_ms = DRY;
        return HIGH;
    }
    return off >= -a->top_dk * 256 ? BETWEEN : fallen(m, word, a, own, said);
}

static int too_low(int32_t reading, uint32_t word, const trivet_alert *a, trivet_alert_state *s)
{
    const uint32_t needs = (uint32_t)a->needs;
    if (reading == TRIVET_READING_NONE) {
        if ((word & TRIVET_COOL) != 0) {
            s->armed = 0;
        }
        return (word & TRIVET_COOL) != 0 ? LOW : UNKNOWN;
    }
    if (reading < a->gate_dk) {
        s->armed = 0;
        return LOW;
    }
    if (reading >= a->top_dk) {
        s->armed = 1;
    }
    if (reading >= a->set_dk) {
        return LOW;
    }
    return s->armed && reading < a->set_dk - a->deadband_dk && (word & needs) == needs ? HIGH
                                                                                        : BETWEEN;
}

static int in_band(int32_t reading, uint32_t word, const trivet_alert *a)
{
    if (reading == TRIVET_READING_NONE) {
        return (word & TRIVET_COOL) != 0 ? LOW : UNKNOWN;
    }
    if (a->set_dk <= reading && reading <= a->top_dk) {
        return HIGH;
    }
    return a->set_dk - a->deadband_dk <= reading && reading <= a->top_dk + a->deadband_dk ? BETWEEN
                                                                                           : LOW;
}

static int judged(const trivet_moment *m, uint32_t word, const trivet_alert *a,
                  const trivet_memory *own, int *said)
{
    const int32_t reading = m->signal[a->signal];
    const uint32_t needs = (uint32_t)a->needs, forbids = (uint32_t)a->forbids;
    switch (a->kind) {
    case LOSS_OF_SIGHT:
        return (word & TRIVET_HEAT_ON) != 0 && reading == TRIVET_READING_NONE ? HIGH : LOW;
    case BELOW:
        return too_low(reading, word, a, own->state);
    case IN_BAND:
        return in_band(reading, word, a);
    case BOIL_DRY:
        return boiling(m, word, a, own, said);
    case LEVEL:
    case TIME_TO_LIMIT:
        break;
    default:
        return (word & needs) == needs && (word & forbids) == 0 ? HIGH : LOW;
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
    return reading < a->gate_dk ? LOW : ahead(m->ms, reading, a, own->slope, own->state->on);
}

static int delayed(int64_t now, int how, const trivet_alert *a, trivet_alert_state *s)
{
    if (s->on == 0) {
        if (how == UNKNOWN) {
            return 0;
        }
        if (how != HIGH) {
            s->rise_ms = s->fall_ms = TRIVET_NEVER;
            return 0;
        }
        if (s->rise_ms == TRIVET_NEVER) {
            s->rise_ms = now;
        }
        s->fall_ms = TRIVET_NEVER;
        if (now - s->rise_ms < a->on_ms) {
            return 0;
        }
    } else {
        s->rise_ms = TRIVET_NEVER;
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

static void jumped_back(int64_t now, const trivet_memory *own)
{
    trivet_pot *pot = own->pot;
    own->state->rise_ms = own->state->fall_ms = TRIVET_NEVER;
    own->state->since_ms = now;
    if (own->slope) {
        own->slope->count = 0;
    }
    if (!pot) {
        return;
    }
    pot->at_ms = TRIVET_NEVER;
    pot->came_ms = pot->came_ms <= TRIVET_NEVER ? pot->came_ms : now;
    if (pot->inside_ms != TRIVET_NEVER && pot->inside_ms != DRY) {
        pot->inside_ms = now;
    }
}

int trivet_alert_step(const trivet_alert *a, const trivet_memory *own, const trivet_moment *m,
                      int64_t before, uint32_t word, trivet_left *left)
{
    const int64_t now = m->ms;
    const int32_t reading = m->signal[a->signal];
    const int rates = a->kind == TIME_TO_LIMIT;
    trivet_alert_state *s = own->state;
    int said = 0;
    left->left_ms = left->low_ms = left->high_ms = TRIVET_UNKNOWN_MS;
    left->rate_mkps = 0;
    if (now < before) {
        jumped_back(now, own);
    }
    if (rates && reading != TRIVET_READING_NONE && reading != TRIVET_READING_AT_RANGE) {
        slope_add(now, reading, a->window_ms, own->slope);
    }
    if (delayed(now, judged(m, word, a, own, &said), a, s)) {
        s->since_ms = now;
        s->escalated = 0;
        if (rates && s->on && reading < a->set_dk) {
            time_left(m, a, own->slope, left);
        }
        return said | TRIVET_CHANGED;
    }
    if (s->on && a->escalate_ms > 0 && !s->escalated && now - s->since_ms >= a->escalate_ms) {
        s->escalated = 1;
        said |= TRIVET_ESCALATED;
    }
    return said;
}
"""
