#include "trivet_pixels.h"

#define AT(place) ((place) & (TRIVET_HOUSING_RING - 1))

/* Rounded half away from zero; by > 0. */
int64_t trivet_divided(int64_t value, int64_t by)
{
    return value >= 0 ? (value + by / 2) / by : -((-value + by / 2) / by);
}

uint32_t trivet_stamp(int64_t now)
{
    return (uint32_t)((uint64_t)now & 0xFFFFFFFFu) | 1u;
}

uint32_t trivet_passed(int64_t now, uint32_t then)
{
    return trivet_stamp(now) - then;
}

int trivet_sentinel(uint16_t word)
{
    return word == TRIVET_NO_READING || word == TRIVET_UNDER_RANGE || word == TRIVET_OVER_RANGE;
}

int64_t trivet_housing_rate(int64_t now, uint16_t word, trivet_reading_state *s)
{
    int64_t sum_t = 0, sum_tt = 0, sum_y = 0, sum_ty = 0;
    int32_t i, last;
    if (s->count == 0 || now < s->housing_ms[AT(s->first + s->count - 1)]) {
        s->count = s->first = 0;
    }
    if (s->count == 0 || now - s->housing_ms[AT(s->first + s->count - 1)] >= TRIVET_HOUSING_STEP_MS) {
        if (s->count == TRIVET_HOUSING_RING) {
            s->first = AT(s->first + 1);
            s->count--;
        }
        s->housing_ms[AT(s->first + s->count)] = now;
        s->housing[AT(s->first + s->count)] = word;
        s->count++;
    }
    while (now - s->housing_ms[s->first] > TRIVET_HOUSING_MS && s->count > 1) {
        s->first = AT(s->first + 1);
        s->count--;
    }
    last = AT(s->first + s->count - 1);
    if (s->housing_ms[last] - s->housing_ms[s->first] < TRIVET_MIN_HOUSING_MS) {
        return 0;
    }
    for (i = 0; i < s->count; i++) {
        const int64_t t = s->housing_ms[AT(s->first + i)] - s->housing_ms[last];
        const int64_t y = (int64_t)s->housing[AT(s->first + i)] - s->housing[last];
        sum_t += t;
        sum_tt += t * t;
        sum_y += y;
        sum_ty += t * y;
    }
    return trivet_divided((s->count * sum_ty - sum_t * sum_y) * 1048576,
                          s->count * sum_tt - sum_t * sum_t);
}

int32_t trivet_decay(int64_t awake_ms, int32_t tau_ms, const uint16_t *table)
{
    int64_t place;
    int32_t step, rest;
    if (awake_ms < 0) {
        return table[0];
    }
    if (awake_ms >= (int64_t)8 * tau_ms) {
        return 0;
    }
    place = awake_ms * 4096 / tau_ms;
    step = (int32_t)(place >> 8);
    rest = (int32_t)(place & 255);
    if (step >= TRIVET_EXP_STEPS) {
        return 0;
    }
    return table[step] - (((table[step] - table[step + 1]) * rest + 128) >> 8);
}

void trivet_even(const trivet_head *c, uint16_t *frame, uint16_t housing, int64_t rate,
                 int32_t decay)
{
    const trivet_numbers *n = &c->numbers;
    int64_t offset = n->drift_a_q12;
    int32_t p;
    offset += trivet_divided((int64_t)n->drift_b_q16 * ((int32_t)housing - n->housing_ref), 1024);
    offset += trivet_divided(n->drift_c_ms * rate, 16384);
    offset += trivet_divided((int64_t)n->drift_d_q12 * decay, 32768);
    offset = trivet_divided(offset, 64);
    for (p = 0; p < c->pixels; p++) {
        int64_t word = frame[p];
        if (c->pixel_gain && c->pixel_gain[p] == 0) {
            frame[p] = TRIVET_NO_READING;
            continue;
        }
        if (trivet_sentinel(frame[p])) {
            continue;
        }
        if (n->has_pixel_term && c->pixel_gain && c->pixel_offset) {
            const int64_t over = word - c->pixel_offset[p] - housing;
            word = housing + trivet_divided(over * c->pixel_gain[p], 16384);
        }
        word -= offset;
        if (word < TRIVET_UNDER_RANGE + 1) {
            word = TRIVET_UNDER_RANGE + 1;
        }
        if (word > TRIVET_OVER_RANGE - 1) {
            word = TRIVET_OVER_RANGE - 1;
        }
        frame[p] = (uint16_t)word;
    }
}

void trivet_cover(const trivet_head *c, trivet_reading_state *s, const uint16_t *frame,
                  int64_t now, int64_t step_ms)
{
    const int64_t step = step_ms > TRIVET_LONGEST_STEP_MS ? TRIVET_LONGEST_STEP_MS : step_ms;
    const int32_t fall = TRIVET_COOLING_STEPS * (int32_t)step / 1000;
    int32_t p;
    for (p = 0; p < c->pixels; p++) {
        trivet_pixel_state *one = &s->pixel[p];
        const int32_t word = frame[p];
        int32_t peak = one->peak - fall;
        if (word == TRIVET_NO_READING || word == TRIVET_OVER_RANGE || one->since != 0) {
            continue;
        }
        peak = word > peak ? word : peak;
        one->peak = (uint16_t)peak;
        if (word < peak - c->numbers.drop) {
            one->since = trivet_stamp(now);
            one->was = one->peak;
            one->open = 0;
            one->near = 0;
        }
    }
}

void trivet_uncover(const trivet_head *c, trivet_reading_state *s, const uint16_t *frame,
                    int64_t now, uint16_t mean, const trivet_mask *m)
{
    const int32_t drop = c->numbers.drop;
    int32_t i;
    for (i = 0; i < m->count; i++) {
        trivet_pixel_state *one = &s->pixel[m->pixel[i]];
        const int32_t word = frame[m->pixel[i]];
        uint32_t since;
        int32_t risen = 0;
        int regained, near;
        if (one->since == 0 || word == TRIVET_NO_READING) {
            continue;
        }
        since = trivet_passed(now, one->since);
        if (since < TRIVET_FRESH_MS || one->open == 0) {
            one->open = mean;
        } else if (mean > one->open) {
            risen = mean - one->open;
        }
        regained = word > one->was + risen - (drop >> TRIVET_REGAINED_BITS);
        near = mean != 0 && word > mean - drop;
        if (!regained && !near) {
            one->near = 0;
        } else if (one->near == 0) {
            one->near = trivet_stamp(now);
        }
        if ((since < TRIVET_BRIEF_MS && regained)
            || (one->near != 0 && trivet_passed(now, one->near) >= TRIVET_NEAR_MS)) {
            one->since = 0;
            one->peak = word == TRIVET_OVER_RANGE ? (uint16_t)(TRIVET_OVER_RANGE - 1)
                                                  : (uint16_t)word;
        }
    }
}

int trivet_shaded(const trivet_head *c, const trivet_reading_state *s, int32_t p)
{
    const int32_t cols = c->numbers.cols;
    const int32_t col = p % cols;
    return (col > 0 && s->pixel[p - 1].since != 0)
           || (col < cols - 1 && s->pixel[p + 1].since != 0)
           || (p >= cols && s->pixel[p - cols].since != 0)
           || (p + cols < c->pixels && s->pixel[p + cols].since != 0);
}
