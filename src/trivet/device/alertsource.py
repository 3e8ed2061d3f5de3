"""The alert machine as C99 text: the same rules, line by line, as ``device/alertmachine.py``."""

from __future__ import annotations

SOURCE = """\
#include "trivet_alerts.h"

#define WRAP(place) ((place) & (TRIVET_RING - 1))
#define SHORTEST_SLOPE_MS %(shortest)d
#define WIDEST_DK %(widest)d
#define UNBOUNDED_MS INT64_C(%(unbounded)d)
#define SMOOTH_MS %(smooth)d
#define FOLLOW_MS %(follow)d
#define DRY (TRIVET_NEVER - 1)
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

void trivet_alert_start(trivet_alert_state *s)
{
    const trivet_alert_state fresh = {0};
    *s = fresh;
    s->last_ms = s->rise_ms = s->fall_ms = s->since_ms = TRIVET_NEVER;
    s->at_ms = s->came_ms = s->inside_ms = TRIVET_NEVER;
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

static void time_left(int64_t now, int32_t reading, int32_t u95, const trivet_alert *a,
                      trivet_alert_state *s)
{
    const int64_t tick = most(a->window_ms / 64, 1), n = s->count;
    int64_t sum_t = 0, sum_tt = 0, sum_y = 0, sum_yy = 0, sum_ty = 0;
    int64_t spread, rise, rest, error, below, scale;
    int32_t i;
    for (i = 0; i < s->count; i++) {
        const int64_t t = floor_div(s->ring_ms[WRAP(s->head + i)] - now, tick);
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
    s->left_ms = s->left_low_ms = s->left_high_ms = TRIVET_UNKNOWN_MS;
    s->rate_mkps = 0;
    if (n < 3 || rise <= 0) {
        return;
    }
    rest = (n * sum_yy - sum_y * sum_y) * spread - rise * rise;
    error = 2 * root(most(rest, 0) / (n - 2));
    below = most(a->set_dk - reading, 0);
    scale = spread * tick;
    s->rate_mkps = rise * 100000 / scale;
    s->left_ms = least(below * scale / rise, UNBOUNDED_MS);
    if (u95 < 0) {
        return;
    }
    s->left_low_ms = most(below - u95, 0) * scale / (rise + error);
    s->left_high_ms = UNBOUNDED_MS;
    if (rise > error) {
        s->left_high_ms = least((below + u95) * scale / (rise - error), UNBOUNDED_MS);
    }
}

static void plateau(int64_t now, const trivet_alert *a, trivet_alert_state *s)
{
    const int64_t off = s->level_q8 - s->plateau_q8, band = a->deadband_dk * 256;
    if (s->came_ms == TRIVET_NEVER || off > band || off < -band) {
        s->plateau_q8 = s->level_q8;
        s->came_ms = now;
        return;
    }
    if (a->gate_dk * 256 <= s->plateau_q8 && s->plateau_q8 <= a->set_dk * 256
        && now - s->came_ms >= a->window_ms) {
        s->armed = 1;
        s->plateau_q8 = s->level_q8;
    }
}

static int disarmed(int64_t now, trivet_alert_state *s, int *said)
{
    s->armed = 0;
    s->plateau_q8 = s->level_q8;
    s->came_ms = now;
    s->inside_ms = TRIVET_NEVER;
    *said |= TRIVET_DISARMED;
    return LOW;
}

static int fallen(int64_t now, uint32_t word, const trivet_alert *a, trivet_alert_state *s,
                  int *said)
{
    if (s->inside_ms == DRY
        || (now - s->inside_ms <= a->lead_ms && (word & TRIVET_HANDLED) == 0)) {
        s->inside_ms = DRY;
        return HIGH;
    }
    return disarmed(now, s, said);
}

static int boiling(int64_t now, int32_t reading, uint32_t word, const trivet_alert *a,
                   trivet_alert_state *s, int *said)
{
    int64_t off, band, step;
    int seen = 0;
    if (reading == TRIVET_READING_NONE) {
        if ((word & TRIVET_COOL) == 0) {
            return UNKNOWN;
        }
        *said |= s->armed ? TRIVET_DISARMED : 0;
        s->armed = 0;
        s->level_q8 = s->plateau_q8 = 0;
        s->at_ms = s->came_ms = s->inside_ms = TRIVET_NEVER;
        return LOW;
    }
    step = now - s->at_ms;
    if (s->at_ms == TRIVET_NEVER || step > FOLLOW_MS) {
        s->level_q8 = (int64_t)reading * 256;
    } else {
        s->level_q8 += floor_div(((int64_t)reading * 256 - s->level_q8) * step, SMOOTH_MS + step);
        seen = 1;
    }
    s->at_ms = now;
    if (!s->armed) {
        if (!s->told && (word & TRIVET_HEAT_ON) != 0) {
            *said |= TRIVET_DISARMED;
            s->told = 1;
        }
        plateau(now, a, s);
        s->inside_ms = s->armed ? now : TRIVET_NEVER;
        if (s->armed) {
            *said = (*said & ~TRIVET_DISARMED) | TRIVET_ARMED;
        }
        return LOW;
    }
    off = s->level_q8 - s->plateau_q8;
    band = a->deadband_dk * 256;
    if (-band <= off && off <= band) {
        if (s->inside_ms == DRY) {
            s->came_ms = s->came_ms == TRIVET_NEVER ? now : s->came_ms;
            if (now - s->came_ms < a->window_ms) {
                return BETWEEN;
            }
        }
        s->plateau_q8 += seen ? floor_div(off * step, FOLLOW_MS) : 0;
        if (s->plateau_q8 < a->gate_dk * 256) {
            return disarmed(now, s, said);
        }
        s->inside_ms = now;
        return LOW;
    }
    s->came_ms = TRIVET_NEVER;
    if (reading == TRIVET_READING_AT_RANGE || off > a->top_dk * 256) {
        s->inside_ms = DRY;
        return HIGH;
    }
    return off >= -a->top_dk * 256 ? BETWEEN : fallen(now, word, a, s, said);
}

static int too_low(int32_t reading, uint32_t word, const trivet_alert *a, trivet_alert_state *s)
{
    const uint32_t needs = (uint32_t)a->needs;
    if (reading == TRIVET_READING_NONE) {
        s->armed = (word & TRIVET_COOL) != 0 ? 0 : s->armed;
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

static int judged(int64_t now, int32_t reading, uint32_t word, const trivet_alert *a,
                  trivet_alert_state *s, int *said)
{
    const uint32_t needs = (uint32_t)a->needs, forbids = (uint32_t)a->forbids;
    switch (a->kind) {
    case LOSS_OF_SIGHT:
        return (word & TRIVET_HEAT_ON) != 0 && reading == TRIVET_READING_NONE ? HIGH : LOW;
    case BELOW:
        return too_low(reading, word, a, s);
    case IN_BAND:
        return in_band(reading, word, a);
    case BOIL_DRY:
        return boiling(now, reading, word, a, s, said);
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
    return reading < a->gate_dk ? LOW : ahead(now, reading, a, s);
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

static void jumped_back(int64_t now, trivet_alert_state *s)
{
    s->rise_ms = s->fall_ms = s->at_ms = TRIVET_NEVER;
    s->since_ms = now;
    s->count = 0;
    s->came_ms = s->came_ms == TRIVET_NEVER ? TRIVET_NEVER : now;
    if (s->inside_ms != TRIVET_NEVER && s->inside_ms != DRY) {
        s->inside_ms = now;
    }
}

int trivet_alert_step(const trivet_alert *a, trivet_alert_state *s, const trivet_moment *m,
                      uint32_t word)
{
    const int64_t now = m->ms;
    const int32_t reading = m->signal[a->signal];
    const int rates = a->kind == TIME_TO_LIMIT;
    int said = 0;
    if (now < s->last_ms) {
        jumped_back(now, s);
    }
    s->last_ms = now;
    if (rates && reading != TRIVET_READING_NONE && reading != TRIVET_READING_AT_RANGE) {
        slope_add(now, reading, a->window_ms, s);
    }
    if (delayed(now, judged(now, reading, word, a, s, &said), a, s)) {
        s->since_ms = now;
        s->escalated = 0;
        s->left_ms = s->left_low_ms = s->left_high_ms = TRIVET_UNKNOWN_MS;
        s->rate_mkps = 0;
        if (rates && s->on && reading < a->set_dk) {
            time_left(now, reading, m->signal[TRIVET_SIGNALS - 1], a, s);
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
