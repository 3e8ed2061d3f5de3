#include "trivet_alert_parts.h"

#define ALONE (TRIVET_NEVER - 2)

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
    if (pot->inside_ms == TRIVET_POT_DRY) {
        return HIGH;
    }
    if (hand && soon && near && m->ms - pot->came_ms < TRIVET_LONGEST_HAND_MS) {
        return BETWEEN;
    }
    if (soon && (!hand || near)) {
        pot->came_ms = TRIVET_NEVER;
        pot->inside_ms = TRIVET_POT_DRY;
        return HIGH;
    }
    return disarmed(m->ms, own->state, pot, said);
}

int trivet_boiling(const trivet_moment *m, uint32_t word, const trivet_alert *a,
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
    if (pot->at_ms == TRIVET_NEVER || step > TRIVET_FOLLOW_MS) {
        pot->level_q8 = (int64_t)reading * 256;
    } else {
        pot->level_q8 +=
            trivet_floor_div(((int64_t)reading * 256 - pot->level_q8) * step, TRIVET_SMOOTH_MS + step);
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
        if (pot->inside_ms == TRIVET_POT_DRY) {
            pot->came_ms = pot->came_ms == TRIVET_NEVER ? now : pot->came_ms;
            if (now - pot->came_ms < a->window_ms) {
                return BETWEEN;
            }
        }
        pot->plateau_q8 += seen ? trivet_floor_div(off * step, TRIVET_FOLLOW_MS) : 0;
        if (pot->plateau_q8 < a->gate_dk * 256) {
            return disarmed(now, s, pot, said);
        }
        pot->came_ms = TRIVET_NEVER;
        pot->inside_ms = now;
        return LOW;
    }
    if (pot->inside_ms == TRIVET_POT_DRY || off > 0) {
        pot->came_ms = TRIVET_NEVER;
    } else if (pot->came_ms == TRIVET_NEVER) {
        pot->came_ms = (word & TRIVET_HANDLED) != 0 ? now : ALONE;
    }
    if (reading == TRIVET_READING_AT_RANGE || off > a->top_dk * 256) {
        pot->inside_ms = TRIVET_POT_DRY;
        return HIGH;
    }
    return off >= -a->top_dk * 256 ? BETWEEN : fallen(m, word, a, own, said);
}
