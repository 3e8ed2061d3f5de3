#include "trivet_pixels.h"

#define FINE 16 /* steps of a mean in one of a word, where its rate counts */
#define AT(place) ((place) & (TRIVET_HEAT_RING - 1))
enum { MEAN, TRIMMED, UPPER_HALF };
enum { ABSENT, PRESENT, UNSURE };

typedef struct {
    int32_t every, open, covered, fresh, dead, hot, under;
    uint16_t whole, mean, low, high;
    int32_t fine;
} counted;

typedef struct {
    int64_t now, step_ms;
    int32_t decay;
    uint16_t housing, hob;
    int stale, settling;
} moment;

void trivet_reading_start(trivet_reading_state *s)
{
    uint8_t *byte = (uint8_t *)s;
    uint32_t i;
    for (i = 0; i < sizeof *s; i++) {
        byte[i] = 0;
    }
    s->last_ms = -1;
}

static void sort_words(uint16_t *words, int32_t count)
{
    int32_t gap = 1, i;
    while (gap < count / 3) {
        gap = 3 * gap + 1;
    }
    for (; gap > 0; gap /= 3) {
        for (i = gap; i < count; i++) {
            const uint16_t word = words[i];
            int32_t k = i;
            while (k >= gap && words[k - gap] > word) {
                words[k] = words[k - gap];
                k -= gap;
            }
            words[k] = word;
        }
    }
}

static uint16_t hob_level(const trivet_head *c, trivet_reading_state *s, const uint16_t *frame)
{
    int32_t count = 0, i;
    for (i = 0; i < c->besides; i++) {
        if (frame[c->beside[i]] != TRIVET_NO_READING) {
            s->scratch[count++] = frame[c->beside[i]];
        }
    }
    if (count == 0) {
        return TRIVET_NO_READING;
    }
    sort_words(s->scratch, count);
    return s->scratch[((count - 1) * c->numbers.hob_rank_q15) >> 15];
}

static int clear(const trivet_head *c, const trivet_reading_state *s, int32_t p, int liquid)
{
    return liquid || (s->pixel[p].since == 0 && !trivet_shaded(c, s, p));
}

static uint16_t mean_between(const trivet_head *c, const trivet_reading_state *s,
                             const uint16_t *frame, const trivet_mask *m, int liquid,
                             const uint16_t *ends)
{
    int64_t total = 0, share = 0;
    int32_t i;
    for (i = 0; i < m->count; i++) {
        const uint16_t word = frame[m->pixel[i]];
        if (m->weight[i] == 0 || word < ends[0] || word > ends[1] || trivet_sentinel(word)) {
            continue;
        }
        if (clear(c, s, m->pixel[i], liquid)) {
            total += m->weight[i] * (int64_t)word;
            share += m->weight[i];
        }
    }
    return share ? (uint16_t)trivet_divided(total, share) : TRIVET_NO_READING;
}

/* Counts a pan's pixels and reports: mean of all, reporter's mean, P5 and P95. */
static void gather(const trivet_head *c, trivet_reading_state *s, const uint16_t *frame,
                   int64_t now, const trivet_mask *m, int liquid, counted *k)
{
    int64_t whole = 0, total = 0, share = 0;
    int32_t known = 0, i;
    uint16_t ends[2];
    k->every = k->open = k->covered = k->fresh = k->dead = k->hot = k->under = 0;
    for (i = 0; i < m->count; i++) {
        const int32_t p = m->pixel[i];
        const uint16_t word = frame[p];
        if (word == TRIVET_NO_READING) {
            k->dead++;
            continue;
        }
        k->hot += word == TRIVET_OVER_RANGE;
        if (m->weight[i] == 0) {
            continue;
        }
        k->every++;
        if (!trivet_sentinel(word)) {
            whole += word;
            known++;
        }
        if (!liquid && s->pixel[p].since != 0) {
            k->covered++;
            k->fresh += trivet_passed(now, s->pixel[p].since) < TRIVET_FRESH_MS;
        } else if (word == TRIVET_UNDER_RANGE) {
            k->under++;
        } else if (word != TRIVET_OVER_RANGE && clear(c, s, p, liquid)) {
            s->scratch[k->open++] = word;
            total += m->weight[i] * (int64_t)word;
            share += m->weight[i];
        }
    }
    k->whole = known ? (uint16_t)trivet_divided(whole, known) : TRIVET_NO_READING;
    k->mean = share ? (uint16_t)trivet_divided(total, share) : TRIVET_NO_READING;
    k->fine = share ? (int32_t)trivet_divided(FINE * total, share) : TRIVET_NO_READING;
    k->low = k->high = TRIVET_NO_READING;
    if (k->open == 0) {
        return;
    }
    sort_words(s->scratch, k->open);
    k->low = s->scratch[k->open / 20];
    k->high = s->scratch[(19 * k->open + 19) / 20 - 1];
    if (c->numbers.reporter == MEAN) {
        const int32_t colder = !liquid && k->mean > k->low ? k->mean - k->low : 0;
        k->mean = (uint16_t)(k->mean - (((int64_t)colder * m->rim) >> 15));
        return;
    }
    ends[0] = s->scratch[c->numbers.reporter == TRIMMED ? k->open / 10 : k->open / 2];
    ends[1] = s->scratch[k->open - 1 - (c->numbers.reporter == TRIMMED ? k->open / 10 : 0)];
    k->mean = mean_between(c, s, frame, m, liquid, ends);
}

static uint16_t hottest(const trivet_head *c, const trivet_reading_state *s,
                        const uint16_t *frame, const trivet_mask *m, int liquid)
{
    const trivet_numbers *n = &c->numbers;
    int64_t best = -1;
    int32_t a, i, j;
    for (a = 0; a < m->hots; a++) {
        int64_t total = 0;
        for (i = 0; i < n->hot_rows && total >= 0; i++) {
            for (j = 0; j < n->hot_cols && total >= 0; j++) {
                const int32_t p = m->hot[a] + i * n->cols + j;
                if (trivet_sentinel(frame[p]) || (!liquid && s->pixel[p].since != 0)) {
                    total = -1;
                } else {
                    total += frame[p];
                }
            }
        }
        best = total > best ? total : best;
    }
    return best < 0 ? TRIVET_NO_READING
                    : (uint16_t)trivet_divided(best, n->hot_rows * n->hot_cols);
}

static int steams(const trivet_numbers *n, uint16_t mean, int32_t every, int64_t step_ms,
                  trivet_burner_state *b)
{
    int64_t least;
    if (mean == TRIVET_NO_READING) {
        b->seen = 0;
        return 0;
    }
    if (b->seen == 2) {
        int32_t second = mean - 2 * b->last + b->before;
        int64_t change;
        second = second < 0 ? -second : second;
        second = second > n->steam_cap ? n->steam_cap : second;
        change = trivet_divided((int64_t)second * second * 256, 6) - b->square;
        b->square += (int32_t)trivet_divided(change * step_ms, step_ms + TRIVET_STEAM_MS);
    } else {
        b->seen++;
    }
    b->before = b->last;
    b->last = mean;
    least = trivet_divided((int64_t)TRIVET_STEAM_SIGMAS * TRIVET_STEAM_SIGMAS * n->noise * n->noise * 256, every > 0 ? every : 1);
    return b->square > (least > n->steam_square ? least : n->steam_square);
}

static int heats(const trivet_numbers *n, int64_t now, int32_t fine, int saturated,
                 trivet_burner_state *b)
{
    int rising = 0, cooling = 0;
    if (b->count && now < b->heat_ms[AT(b->first + b->count - 1)]) {
        b->count = 0;
    }
    while (b->count && now - b->heat_ms[b->first] > TRIVET_HEAT_MS) {
        b->first = AT(b->first + 1);
        b->count--;
    }
    if (fine != TRIVET_NO_READING) {
        const int64_t span = b->count ? now - b->heat_ms[b->first] : 0;
        if (span >= TRIVET_MIN_HEAT_MS) {
            const int64_t rise = ((int64_t)fine - b->heat[b->first]) * 1000;
            const int64_t step = 64 * FINE * span;
            rising = rise * 1000 > TRIVET_RISING_MKPS * step;
            cooling = rise * 1000 <= -TRIVET_COOLING_MKPS * step;
        }
        if (b->count == 0 || now - b->heat_ms[AT(b->first + b->count - 1)] >= TRIVET_HEAT_STEP_MS) {
            b->heat_ms[AT(b->first + b->count)] = now;
            b->heat[AT(b->first + b->count)] = fine;
            b->count++;
        }
    }
    if (b->count == TRIVET_HEAT_RING) {
        b->first = AT(b->first + 1);
        b->count--;
    }
    return saturated || rising
           || (fine != TRIVET_NO_READING && fine > FINE * n->heated && !cooling);
}

static uint8_t presence(const trivet_numbers *n, int64_t now, uint16_t mean, uint16_t hob,
                        trivet_burner_state *b)
{
    const int known = mean != TRIVET_NO_READING && hob != TRIVET_NO_READING;
    const int32_t contrast = (int32_t)mean - hob;
    if (known && contrast > n->taken_off) {
        b->high = trivet_stamp(now);
    }
    if (known && contrast >= n->contrast) {
        b->gone = 0;
        return PRESENT;
    }
    if (b->high != 0 && trivet_passed(now, b->high) <= TRIVET_TAKEN_OFF_MS) {
        b->gone = 1;
    }
    return b->gone ? ABSENT : UNSURE;
}

static int32_t apart(int32_t one, int32_t other)
{
    return one > other ? one - other : other - one;
}

/* The whole part; 65535 from 2^32 on. */
static int64_t root(int64_t square)
{
    int64_t found = 0, bit;
    for (bit = 32768; bit; bit >>= 1) {
        if ((found + bit) * (found + bit) <= square) {
            found += bit;
        }
    }
    return found;
}

static int32_t width(const trivet_numbers *n, const counted *k, uint16_t hot, const moment *at,
                     uint16_t settled)
{
    const int64_t wake = ((int64_t)n->u_wake * at->decay) >> 15;
    const int64_t warm = ((int64_t)n->u_housing_q15 * apart(at->housing, n->housing_ref)) >> 15;
    const int64_t gain = ((int64_t)n->u_gain_q15 * apart(k->mean, at->housing)) >> 15;
    const int64_t uneven = ((int64_t)n->u_uneven_q15 * (k->high - k->low)) >> 15;
    int64_t wide = root((int64_t)settled * settled + wake * wake + warm * warm + gain * gain
                        + uneven * uneven);
    if (k->covered && hot > k->mean) {
        wide += trivet_divided((int64_t)(hot - k->mean) * k->covered, k->every);
    }
    return (int32_t)wide;
}

static uint16_t inverted(const trivet_head *c, int64_t word, uint16_t emissivity,
                         uint16_t window)
{
    trivet_scene scene;
    word = word < TRIVET_UNDER_RANGE + 1 ? TRIVET_UNDER_RANGE + 1 : word;
    word = word > TRIVET_OVER_RANGE - 1 ? TRIVET_OVER_RANGE - 1 : word;
    scene.emissivity = emissivity;
    scene.transmittance = (uint16_t)c->numbers.transmittance;
    scene.surround = (uint16_t)c->numbers.mirrored;
    scene.window = window;
    return trivet_surface((uint16_t)word, &scene, c->radiance);
}

static uint32_t flag_word(const trivet_numbers *n, const counted *k, uint8_t present,
                          const moment *at, const trivet_seen *seen)
{
    const int cold = present != PRESENT, few = k->open < n->min_pixels;
    const int hand = k->fresh * 100 > TRIVET_HAND_PERCENT * k->every;
    uint32_t flags = 0;
    flags |= at->stale ? TRIVET_FLAG_STALE : 0u;
    flags |= k->hot ? TRIVET_FLAG_SATURATED : 0u;
    flags |= hand ? TRIVET_FLAG_HAND : 0u;
    if ((k->covered * 100 > TRIVET_COVERED_PERCENT * k->every && !hand)
        || (few && k->covered * 100 > TRIVET_FEW_COVERED_PERCENT * k->every)) {
        flags |= TRIVET_FLAG_COVERED;
    }
    flags |= few && !cold ? TRIVET_FLAG_TOO_FEW_PIXELS : 0u;
    flags |= present == ABSENT ? TRIVET_FLAG_ABSENT : 0u;
    if (cold) {
        flags |= TRIVET_FLAG_COLD;
    } else if (k->mean != TRIVET_NO_READING && (seen->bits & TRIVET_SHINY) != 0) {
        flags |= TRIVET_FLAG_SHINY;
    }
    if (k->under || (k->mean != TRIVET_NO_READING && (int32_t)k->mean < n->range_low)) {
        flags |= TRIVET_FLAG_BELOW_RANGE;
    }
    flags |= at->settling ? TRIVET_FLAG_SETTLING : 0u;
    return flags | (k->dead ? TRIVET_FLAG_DEAD_PIXEL : 0u);
}

/* Whether what was told to be water has left the boil as no water can. */
static int left_boil(const trivet_numbers *n, int32_t middle, int32_t low, const moment *at,
                     trivet_burner_state *b)
{
    if (b->left == 0) {
        const int64_t step_ms = at->step_ms > TRIVET_LONGEST_STEP_MS ? TRIVET_LONGEST_STEP_MS
                                                                     : at->step_ms;
        const int32_t top = b->top - TRIVET_WATER_COOLING_STEPS * (int32_t)step_ms / 1000;
        b->top = middle > top ? middle : top;
        if (low > n->boiled || (b->top > n->near_boil && middle < b->top - n->left_boil)) {
            b->left = b->top < n->boiled ? b->top : n->boiled;
            b->back = 0;
        }
    } else if (low > n->boiled || middle < b->left - (n->left_boil >> 1)) {
        b->back = 0;
    } else if (b->back == 0) {
        b->back = trivet_stamp(at->now);
    } else if (trivet_passed(at->now, b->back) >= TRIVET_BACK_MS) {
        b->left = 0;
        b->top = middle;
    }
    return b->left != 0;
}

/* Takes reported temperature and its half-width; returns whether they are not sure. */
static int middle(const trivet_head *c, const counted *k, uint16_t hot, const moment *at,
                  const trivet_seen *seen, uint16_t window, trivet_burner_state *own,
                  trivet_said *out)
{
    int32_t wide, low, high, half;
    int unsure;
    if (k->mean == TRIVET_NO_READING) {
        return 1;
    }
    wide = width(&c->numbers, k, hot, at, seen->wide);
    low = inverted(c, (int64_t)k->mean - wide, seen->high, window);
    high = inverted(c, (int64_t)k->mean + wide, seen->low, window);
    if (low <= TRIVET_UNDER_RANGE || high <= TRIVET_UNDER_RANGE || high >= TRIVET_OVER_RANGE) {
        return 1;
    }
    half = (high - low + 1) >> 1;
    out->reported = (uint16_t)((low + high + 1) >> 1);
    out->half = (uint16_t)half;
    unsure = high - low > 2 * c->numbers.bound || (seen->bits & TRIVET_AMBIGUOUS) != 0;
    if ((seen->bits & TRIVET_LIQUID) != 0) {
        unsure |= left_boil(&c->numbers, out->reported, low, at, own);
    }
    return unsure;
}

static void say(const trivet_head *c, const counted *k, uint16_t hot, const moment *at,
                const trivet_seen *seen, trivet_burner_state *own, trivet_said *out)
{
    const trivet_numbers *n = &c->numbers;
    const uint32_t blind = TRIVET_FLAG_STALE | TRIVET_FLAG_HAND | TRIVET_FLAG_COVERED
                           | TRIVET_FLAG_COLD | TRIVET_FLAG_WINDOW | TRIVET_FLAG_SHINY;
    int32_t warm = (int32_t)at->housing + n->window_rise;
    uint16_t window;
    warm = warm < TRIVET_UNDER_RANGE ? TRIVET_UNDER_RANGE : warm;
    window = warm > TRIVET_OVER_RANGE ? TRIVET_OVER_RANGE : (uint16_t)warm;
    out->reported = out->half = out->hottest = out->spread = TRIVET_NO_READING;
    out->apparent = TRIVET_NO_READING;
    if (k->mean != TRIVET_NO_READING && (out->flags & TRIVET_FLAG_COLD) == 0) {
        const uint16_t bare = inverted(c, k->mean, 32768u, window);
        out->apparent = trivet_sentinel(bare) ? TRIVET_NO_READING : bare;
    }
    if (middle(c, k, hot, at, seen, window, own, out)) {
        out->flags |= TRIVET_FLAG_UNCERTAIN;
    }
    if ((out->flags & TRIVET_BLOCKING) != 0) {
        out->reported = out->half = TRIVET_NO_READING;
    } else if (k->covered * 100 <= TRIVET_UNEVEN_COVERED_PERCENT * k->every) {
        int64_t square = (int64_t)k->high - k->low;
        uint16_t top, foot;
        square = square * square - (int64_t)n->noise * n->noise * 11;
        top = inverted(c, k->low + root(square < 0 ? 0 : square), seen->middle, window);
        foot = inverted(c, k->low, seen->middle, window);
        if (foot > TRIVET_UNDER_RANGE && top < TRIVET_OVER_RANGE) {
            out->spread = (uint16_t)(top - foot + 1);
        }
    }
    if (k->hot) {
        out->hottest = TRIVET_OVER_RANGE;
    } else if (hot != TRIVET_NO_READING && (out->flags & blind) == 0) {
        out->hottest = inverted(c, hot, seen->middle, window);
        if (out->hottest == TRIVET_UNDER_RANGE) {
            out->hottest = TRIVET_NO_READING;
        }
    }
    out->of = k->mean != TRIVET_NO_READING ? seen->of : (uint8_t)TRIVET_NOTHING;
    if ((out->flags & (TRIVET_FLAG_COVERED | TRIVET_FLAG_HAND)) != 0) {
        out->of = TRIVET_OF_FOOD;
    }
}

static void read_burner(const trivet_head *c, trivet_reading_state *s, const uint16_t *frame,
                        int32_t b, uint8_t told, const moment *at, trivet_said *out)
{
    const trivet_seen *seen = &c->surfaces[b * c->told + told];
    const trivet_mask *m = &c->masks[seen->mask];
    trivet_burner_state *own = &s->burner[b];
    const int liquid = (seen->bits & TRIVET_LIQUID) != 0;
    counted k;
    uint16_t hot;
    gather(c, s, frame, at->now, m, liquid, &k);
    hot = hottest(c, s, frame, m, liquid);
    out->present = presence(&c->numbers, at->now, k.mean, at->hob, own);
    out->flags = flag_word(&c->numbers, &k, out->present, at, seen);
    if (steams(&c->numbers, k.fresh == 0 ? k.whole : TRIVET_NO_READING, k.every, at->step_ms,
               own)) {
        out->flags |= TRIVET_FLAG_STEAM;
    }
    out->flags |= m->edge ? TRIVET_FLAG_EDGE : 0u;
    if (out->present == ABSENT) {
        own->top = own->left = 0;
    }
    say(c, &k, hot, at, seen, own, out);
    out->heat_on = heats(&c->numbers, at->now, k.fine, k.hot > 0, own) ? 1 : 0;
    out->open = k.open > 127 ? 127 : (uint8_t)k.open;
    if (!liquid) {
        trivet_uncover(c, s, frame, at->now, k.mean, m);
    }
}

void trivet_read_frame(const trivet_head *c, trivet_reading_state *s, uint16_t *frame,
                       int64_t now, uint16_t housing, int64_t awake_ms, const uint8_t *told,
                       trivet_said *said)
{
    moment at;
    int32_t b;
    at.now = now;
    at.step_ms = s->last_ms < 0 || now < s->last_ms ? 0 : now - s->last_ms;
    at.housing = housing;
    at.decay = trivet_decay(awake_ms, c->numbers.tau_ms, c->decay);
    at.stale = at.step_ms > c->numbers.stale_ms;
    at.settling = awake_ms < c->numbers.settle_ms;
    s->last_ms = now;
    if (trivet_sentinel(housing)) {
        for (b = 0; b < c->pixels; b++) {
            frame[b] = TRIVET_NO_READING;
        }
    } else {
        const int64_t rate = trivet_housing_rate(now, housing, s);
        trivet_even(c, frame, housing, rate, at.decay);
    }
    trivet_cover(c, s, frame, now, at.step_ms);
    at.hob = hob_level(c, s, frame);
    for (b = 0; b < c->burners; b++) {
        read_burner(c, s, frame, b, told[b], &at, &said[b]);
    }
}
