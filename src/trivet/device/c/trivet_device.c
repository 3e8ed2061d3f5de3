#include "trivet_device.h"

#define TOP_Q6 209664 /* 3276 K: stands for a pixel at or above the range */
#define VEILED                                                                                 \
    (TRIVET_FLAG_STALE | TRIVET_FLAG_LID | TRIVET_FLAG_COVERED | TRIVET_FLAG_WINDOW)
#define HIDING (VEILED | TRIVET_FLAG_HAND | TRIVET_FLAG_SATURATED | TRIVET_FLAG_STEAM)
#define UNSURE 2u

static int32_t deci_kelvin(uint16_t word)
{
    if (word == TRIVET_NO_READING) {
        return TRIVET_READING_NONE;
    }
    return word == TRIVET_OVER_RANGE ? TRIVET_READING_AT_RANGE : (word * 10 + 32) >> 6;
}

static void say_nothing(trivet_said *said)
{
    said->reported = said->half = said->hottest = said->spread = TRIVET_NO_READING;
    said->apparent = TRIVET_NO_READING;
    said->flags = TRIVET_FLAG_STALE;
    said->of = TRIVET_NOTHING;
    said->present = UNSURE;
    said->heat_on = said->open = 0;
}

static trivet_memory memory_of(trivet_device *d, int32_t unit, int32_t alert)
{
    trivet_memory own;
    const int burner = unit < TRIVET_BURNERS;
    own.state = &d->alerts[unit][alert];
    own.slope = burner && trivet_slope_of[alert] != TRIVET_NO_RULE
                    ? &d->slopes[unit][trivet_slope_of[alert]]
                    : 0;
    own.pot = burner && trivet_pot_of[alert] != TRIVET_NO_RULE ? &d->pots[unit][trivet_pot_of[alert]]
                                                               : 0;
    return own;
}

int trivet_rule(const trivet_told *told, int32_t unit, int32_t alert, trivet_alert *rule)
{
    const uint8_t at = unit == TRIVET_UNIT_DEVICE
                           ? trivet_device_rule[alert]
                           : trivet_rule_of[told->contents][told->band][alert];
    if (at == TRIVET_NO_RULE) {
        return 0;
    }
    *rule = trivet_rules[at];
    if (unit != TRIVET_UNIT_DEVICE && told->oil != 0 && trivet_oil_row[alert] != TRIVET_NO_RULE) {
        const int32_t uses = told->uses == 0 ? TRIVET_UNTOLD_USES : told->uses - 1;
        rule->set_dk = trivet_oil_dk[trivet_oil_row[alert]][told->oil]
                                    [uses < TRIVET_OIL_USES ? uses : TRIVET_OIL_USES - 1];
    }
    return 1;
}

void trivet_device_start(trivet_device *d)
{
    uint8_t *byte = (uint8_t *)d;
    uint32_t i;
    int32_t unit, k;
    for (i = 0; i < sizeof *d; i++) {
        byte[i] = 0;
    }
    for (k = 0; k < TRIVET_HEADS; k++) {
        trivet_reading_start(&d->reading[k]);
    }
    for (unit = 0; unit < TRIVET_UNITS; unit++) {
        d->last_ms[unit] = TRIVET_NEVER;
        for (k = 0; k < TRIVET_ALERTS; k++) {
            const trivet_memory own = memory_of(d, unit, k);
            trivet_alert_start(&own);
        }
    }
    for (unit = 0; unit < TRIVET_BURNERS; unit++) {
        say_nothing(&d->said[unit]);
    }
    d->hand_ms = d->fresh_ms = TRIVET_NEVER;
    d->own.signal[0] = d->own.signal[1] = d->own.signal[2] = TRIVET_READING_NONE;
}

static int same_rule(const trivet_told *one, const trivet_told *other, int32_t unit, int32_t k)
{
    trivet_alert a, b;
    const int acts = trivet_rule(one, unit, k, &a), acted = trivet_rule(other, unit, k, &b);
    if (!acts || !acted) {
        return acts == acted;
    }
    return a.set_dk == b.set_dk
           && trivet_rule_of[one->contents][one->band][k]
                  == trivet_rule_of[other->contents][other->band][k];
}

void trivet_device_tell(trivet_device *d, int32_t burner, const trivet_told *told)
{
    const trivet_unit *at = &trivet_units[burner];
    const trivet_told before = d->told[burner];
    int32_t k;
    d->told[burner] = *told;
    d->reading[at->head].burner[at->place].top = 0;
    d->reading[at->head].burner[at->place].left = 0;
    d->view[at->head].told[at->place] = trivet_place_of[told->pan][told->contents];
    for (k = 0; k < TRIVET_ALERTS; k++) {
        if (!same_rule(&before, told, burner, k)) {
            const trivet_memory own = memory_of(d, burner, k);
            trivet_alert_start(&own);
        }
    }
}

static void watch_frame(const trivet_head *c, trivet_head_view *v, const uint16_t *frame)
{
    uint32_t hash = 2166136261u;
    int32_t low = TOP_Q6, high = 0, known = 0, p;
    for (p = 0; p < c->pixels; p++) {
        int32_t word = frame[p];
        hash = (hash ^ (uint32_t)word) * 16777619u;
        if (word == TRIVET_NO_READING) {
            continue;
        }
        word = word == TRIVET_OVER_RANGE ? TOP_Q6 : word == TRIVET_UNDER_RANGE ? 0 : word;
        known = 1;
        low = word < low ? word : low;
        high = word > high ? word : high;
    }
    v->repeated = v->came && hash == v->hash;
    v->even = known && ((high - low) * 10 + 32) >> 6 < TRIVET_EVEN_DK;
    v->hash = hash;
    v->came = 1;
}

void trivet_device_frame(trivet_device *d, int32_t head, uint16_t *frame, int64_t ms,
                         uint16_t housing, int64_t awake_ms)
{
    const trivet_head *c = &trivet_heads[head];
    trivet_head_view *v = &d->view[head];
    watch_frame(c, v, frame);
    v->housing_dk = deci_kelvin(housing);
    v->last_ms = ms;
    trivet_read_frame(c, &d->reading[head], frame, ms, housing, awake_ms, v->told, v->said);
}

/* Takes what the heads said last; another head's words count while they are fresh. */
static void gather_said(trivet_device *d, int64_t ms)
{
    int32_t b;
    for (b = 0; b < TRIVET_BURNERS; b++) {
        const trivet_head_view *v = &d->view[trivet_units[b].head];
        if (v->came && ms - v->last_ms <= TRIVET_STALE_MS) {
            d->said[b] = v->said[trivet_units[b].place];
        } else {
            say_nothing(&d->said[b]);
        }
    }
}

void trivet_burner_moment(const trivet_said *said, uint8_t band, int blind, trivet_moment *m)
{
    int32_t k;
    m->signal[0] = deci_kelvin(said->hottest);
    m->signal[1] = deci_kelvin(said->reported);
    m->signal[2] = said->spread ? ((said->spread - 1) * 10 + 32) >> 6 : TRIVET_READING_NONE;
    m->signal[3] = deci_kelvin(said->apparent);
    m->signal[4] =
        said->reported ? (said->half * 10 + 32) >> 6 : TRIVET_READING_NONE;
    if (band != 0 && said->of != trivet_band_of[band]) {
        m->signal[1] = TRIVET_READING_NONE;
    }
    if ((said->flags & VEILED) != 0) {
        m->signal[3] = TRIVET_READING_NONE;
    }
    m->word = 0;
    for (k = 0; k < TRIVET_SIGNALS && blind; k++) {
        m->signal[k] = TRIVET_READING_NONE;
    }
    if (blind) {
        return;
    }
    m->word |= said->heat_on ? TRIVET_HEAT_ON : 0u;
    m->word |= said->present == 0 ? TRIVET_NO_PAN : 0u;
    if ((said->flags & (TRIVET_FLAG_ABSENT | TRIVET_FLAG_COLD)) != 0
        && (said->flags & HIDING) == 0 && !said->heat_on) {
        m->word |= TRIVET_COOL;
    }
}

static int32_t noted(trivet_change *changes, int32_t count, int32_t unit, int32_t alert, int what,
                     const trivet_left *left)
{
    changes[count].unit = (uint8_t)unit;
    changes[count].alert = (uint8_t)alert;
    changes[count].what = (uint8_t)what;
    changes[count].left = *left;
    return count + 1;
}

static int32_t run_unit(trivet_device *d, int32_t unit, const trivet_moment *m,
                        trivet_change *changes, int32_t count)
{
    static const trivet_told nothing = {0, 0, 0, 0, 0};
    const trivet_told *told = unit < TRIVET_BURNERS ? &d->told[unit] : &nothing;
    const uint32_t word = trivet_believed(m, &d->heated[unit]);
    int32_t k;
    for (k = 0; k < TRIVET_ALERTS; k++) {
        const trivet_memory own = memory_of(d, unit, k);
        trivet_alert rule;
        trivet_left left;
        int said;
        if (!trivet_rule(told, unit, k, &rule)) {
            continue;
        }
        said = trivet_alert_step(&rule, &own, m, d->last_ms[unit], word, &left);
        if ((said & (TRIVET_ARMED | TRIVET_DISARMED)) != 0) {
            count = noted(changes, count, unit, k,
                          (said & TRIVET_ARMED) != 0 ? TRIVET_IS_ARMED : TRIVET_NOT_ARMED, &left);
        }
        if ((said & TRIVET_CHANGED) != 0) {
            count = noted(changes, count, unit, k, own.state->on ? TRIVET_ON : TRIVET_OFF, &left);
        }
        if ((said & TRIVET_ESCALATED) != 0) {
            count = noted(changes, count, unit, k, TRIVET_ESCALATE, &left);
        }
    }
    d->last_ms[unit] = m->ms;
    return count;
}

/* Whether the kitchen is not seen: frames repeat themselves for too long, or show nothing. */
static int is_blind(trivet_device *d, int64_t ms)
{
    int repeated = 0, even = 0;
    int32_t h;
    for (h = 0; h < TRIVET_HEADS; h++) {
        repeated |= d->view[h].repeated;
        even |= d->view[h].even;
    }
    if (!repeated) {
        d->fresh_ms = ms;
    }
    return even || (repeated && ms - d->fresh_ms > TRIVET_STALE_MS);
}

static uint32_t marks(trivet_device *d, int64_t ms, int person)
{
    int64_t age;
    int32_t b;
    for (b = 0; b < TRIVET_BURNERS; b++) {
        if ((d->said[b].flags & TRIVET_FLAG_HAND) != 0) {
            d->hand_ms = ms;
        }
    }
    age = ms - d->hand_ms;
    return (person || (age >= 0 && age <= TRIVET_HAND_COUNTS_MS) ? TRIVET_PERSON : 0u)
           | (age >= 0 && age <= TRIVET_HANDLED_MS ? TRIVET_HANDLED : 0u);
}

static void own_moment(trivet_device *d, int64_t ms, const trivet_known *known)
{
    int32_t h, housing = TRIVET_READING_NONE;
    for (h = 0; h < TRIVET_HEADS; h++) {
        if (d->view[h].came && d->view[h].housing_dk > housing) {
            housing = d->view[h].housing_dk;
        }
    }
    d->own.ms = ms;
    d->own.signal[0] = housing;
    d->own.signal[1] = known->charge;
    d->own.signal[2] = known->window_loss;
    d->own.signal[3] = d->own.signal[4] = TRIVET_READING_NONE;
    d->own.word = d->word[TRIVET_UNIT_DEVICE] = known->link ? 0u : TRIVET_LINK_LOST;
}

int32_t trivet_device_step(trivet_device *d, int64_t ms, const trivet_known *known,
                           trivet_change *changes)
{
    int32_t count = 0, b;
    int blind;
    uint32_t marked;
    gather_said(d, ms);
    blind = is_blind(d, ms);
    marked = marks(d, ms, known->person);
    for (b = 0; b < TRIVET_BURNERS; b++) {
        trivet_moment m;
        trivet_burner_moment(&d->said[b], d->told[b].band, blind, &m);
        m.ms = ms;
        m.word |= marked;
        d->word[b] = m.word;
        count = run_unit(d, b, &m, changes, count);
    }
    own_moment(d, ms, known);
    return run_unit(d, TRIVET_UNIT_DEVICE, &d->own, changes, count);
}

int32_t trivet_device_blind(trivet_device *d, int64_t ms, trivet_change *changes)
{
    int32_t count = 0, b, k;
    for (b = 0; b < TRIVET_BURNERS; b++) {
        trivet_moment m;
        for (k = 0; k < TRIVET_SIGNALS; k++) {
            m.signal[k] = TRIVET_READING_NONE;
        }
        m.ms = ms;
        m.word = d->word[b] & ~TRIVET_COOL;
        say_nothing(&d->said[b]);
        count = run_unit(d, b, &m, changes, count);
    }
    d->own.ms = ms;
    return run_unit(d, TRIVET_UNIT_DEVICE, &d->own, changes, count);
}
