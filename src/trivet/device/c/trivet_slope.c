#include "trivet_alert_parts.h"

#define WRAP(place) ((place) < TRIVET_RING ? (place) : (place)-TRIVET_RING)
#define WIDEST_DK 4000
#define UNBOUNDED_MS INT64_C(2147483647)

int64_t trivet_floor_div(int64_t a, int64_t b)
{
    const int64_t q = a / b;
    return a % b != 0 && (a < 0) != (b < 0) ? q - 1 : q;
}

static int64_t most(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

static int64_t least(int64_t a, int64_t b)
{
    return a < b ? a : b;
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

void trivet_slope_add(int64_t now, int32_t reading, int64_t window, trivet_slope *s)
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
        while (first + 1 < last && age(now, s, first + 1) - then >= TRIVET_LEAP_MS) {
            first++;
        }
        up = (int64_t)s->ring_dk[WRAP(s->head + last)] - s->ring_dk[WRAP(s->head + first)];
        span = age(now, s, first) - then;
        if (up * TRIVET_LEAP_MS > TRIVET_LEAP_DK * most(span, TRIVET_LEAP_MS) && 2 * up > rise) {
            return 1;
        }
    }
    return 0;
}

int trivet_ahead(int64_t now, int32_t reading, const trivet_alert *a, const trivet_slope *s,
                 int on)
{
    int64_t spread, rise, excess;
    if (s->count < 3 || age(now, s, 0) < TRIVET_SHORTEST_SLOPE_MS) {
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

void trivet_time_left(const trivet_moment *m, const trivet_alert *a, const trivet_slope *s,
                      trivet_left *left)
{
    const int64_t now = m->ms, u95 = m->signal[TRIVET_SIGNALS - 1];
    const int32_t reading = m->signal[a->signal];
    const int64_t tick = most(a->window_ms / 64, 1), n = s->count;
    int64_t sum_t = 0, sum_tt = 0, sum_y = 0, sum_yy = 0, sum_ty = 0;
    int64_t spread, rise, rest, error, below, scale;
    int32_t i;
    for (i = 0; i < s->count; i++) {
        const int64_t t = trivet_floor_div(-age(now, s, i), tick);
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
