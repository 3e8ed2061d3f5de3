#include <stdint.h>
#include "trivet_reading.h"
#include "trivet_reading_seeds.h"
#ifndef TRIVET_BARE
#include <stdio.h>
#endif

/* Draws its own frames, as the twin did, and compares what is said of each. */

static uint32_t x;
static int64_t now;
static int32_t level, slope, housing, hidden;

static uint32_t drawn(void)
{
    x ^= x << 13;
    x ^= x >> 17;
    x ^= x << 5;
    return x;
}

static void pixels_of(const trivet_head *c, uint16_t *frame)
{
    int32_t p;
    for (p = 0; p < c->pixels; p++) {
        int32_t word;
        drawn();
        word = level + (int32_t)(x % 48);
        word -= hidden && p % c->numbers.cols < hidden ? 2600 : 0;
        word = x % 1993 == 0 ? 0 : x % 1997 == 0 ? 65535 : x % 1999 == 0 ? 1 : word;
        frame[p] = (uint16_t)(word < 0 ? 0 : word > 65535 ? 65535 : word);
    }
    for (p = 0; p < c->besides && c->besides < c->pixels; p++) {
        frame[c->beside[p]] = (uint16_t)(19400 + drawn() % 48);
    }
}

static void scene(const trivet_head *c, int32_t i, uint8_t *told)
{
    int32_t b;
    if (i % TRIVET_SCENE == 0) {
        level = 18500 + (int32_t)(drawn() % 17000);
        slope = (int32_t)(drawn() % 81) - 20;
        for (b = 0; b < c->burners; b++) {
            told[b] = (uint8_t)(drawn() % c->told);
        }
    }
    drawn();
    now += x % 61 == 0 ? 4000 : x % 67 == 0 ? -900 : 250;
    now = now < 0 ? 0 : now;
    housing += (int32_t)(drawn() % 13) - 6;
    if (drawn() % 41 == 0) {
        hidden = (int32_t)(x % (uint32_t)c->numbers.cols);
    }
    level += slope;
}

static uint32_t hashed(uint32_t hash, uint32_t value)
{
    int byte;
    for (byte = 0; byte < 4; byte++) {
        hash = (hash ^ ((value >> (8 * byte)) & 255u)) * 16777619u;
    }
    return hash;
}

static uint32_t fingerprint(const trivet_said *said, int32_t burners)
{
    uint32_t hash = 2166136261u;
    int32_t b;
    for (b = 0; b < burners; b++) {
        const trivet_said *s = &said[b];
        hash = hashed(hashed(hashed(hash, s->reported), s->half), s->hottest);
        hash = hashed(hashed(hashed(hash, s->spread), s->apparent), s->flags);
        hash = hashed(hashed(hash, s->of), s->present);
        hash = hashed(hashed(hash, s->heat_on), s->open);
    }
    return hash;
}

/* Returns the first frame that differs, -1 if none does. */
static int32_t first_difference(int32_t head)
{
    static trivet_reading_state state;
    static uint16_t frame[TRIVET_MOST_PIXELS];
    static trivet_said said[TRIVET_MOST_BURNERS];
    static uint8_t told[TRIVET_MOST_BURNERS];
    const trivet_head *c = &trivet_heads[head];
    int32_t i;
    x = TRIVET_FIRST_SEED;
    now = slope = hidden = 0;
    level = 19000;
    housing = 19200;
    for (i = 0; i < TRIVET_SEEDED; i++) {
        if (i % (TRIVET_SCENES * TRIVET_SCENE) == 0) {
            trivet_reading_start(&state);
        }
        scene(c, i, told);
        pixels_of(c, frame);
        if (hidden && i % 29 == 0) {
            hidden = 0;
        }
        trivet_read_frame(c, &state, frame, now, (uint16_t)housing, (int64_t)i * 900, told, said);
        if (fingerprint(said, c->burners) != trivet_seeded[head][i]) {
            return i;
        }
    }
    return -1;
}

int main(void)
{
    int32_t head;
    for (head = 0; head < TRIVET_HEADS; head++) {
        const int32_t at = first_difference(head);
#ifndef TRIVET_BARE
        if (at >= 0) {
            printf("head %d: frame %d differs\n", (int)head, (int)at);
            return 1;
        }
        printf("head %d: %d of %d frames match%s\n", (int)head, TRIVET_SEEDED, TRIVET_SEEDED,
               TRIVET_UNPROVEN ? " (UNPROVEN)" : "");
#else
        if (at >= 0) {
            return 1;
        }
#endif
    }
    return 0;
}
