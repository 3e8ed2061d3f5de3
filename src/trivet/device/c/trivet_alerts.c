#include "trivet_alert_parts.h"

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
        return trivet_boiling(m, word, a, own, said);
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
    return reading < a->gate_dk ? LOW : trivet_ahead(m->ms, reading, a, own->slope, own->state->on);
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
    if (pot->inside_ms != TRIVET_NEVER && pot->inside_ms != TRIVET_POT_DRY) {
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
        trivet_slope_add(now, reading, a->window_ms, own->slope);
    }
    if (delayed(now, judged(m, word, a, own, &said), a, s)) {
        s->since_ms = now;
        s->escalated = 0;
        if (rates && s->on && reading < a->set_dk) {
            trivet_time_left(m, a, own->slope, left);
        }
        return said | TRIVET_CHANGED;
    }
    if (s->on && a->escalate_ms > 0 && !s->escalated && now - s->since_ms >= a->escalate_ms) {
        s->escalated = 1;
        said |= TRIVET_ESCALATED;
    }
    return said;
}
