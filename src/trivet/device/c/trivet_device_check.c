#include <stdint.h>
#include "trivet_device.h"
#include "trivet_device_expected.h"
#ifndef TRIVET_BARE
#include <stdio.h>
#endif

/* What is told to rules, and what is said to signals: all combinations, and drawn words. */

static uint32_t x, hash;

static uint32_t drawn(void)
{
    x ^= x << 13;
    x ^= x >> 17;
    x ^= x << 5;
    return x;
}

static void hashed(uint32_t value)
{
    int byte;
    for (byte = 0; byte < 4; byte++) {
        hash = (hash ^ ((value >> (8 * byte)) & 255u)) * 16777619u;
    }
}

static void hash_rules(const trivet_told *told, int32_t unit)
{
    int32_t k, column;
    for (k = 0; k < TRIVET_ALERTS; k++) {
        trivet_alert rule;
        const int acts = trivet_rule(told, unit, k, &rule);
        const int32_t *value = &rule.kind;
        hashed((uint32_t)acts);
        for (column = 0; column < 13 && acts; column++) {
            hashed((uint32_t)value[column]);
        }
    }
}

static uint32_t all_rules(void)
{
    trivet_told told = {0, 0, 0, 0, 0};
    hash = 2166136261u;
    for (told.contents = 0; told.contents < TRIVET_CONTENTS; told.contents++) {
        for (told.pan = 0; told.pan < TRIVET_PANS; told.pan++) {
            hashed(trivet_place_of[told.pan][told.contents]);
        }
        for (told.band = 0; told.band < TRIVET_BANDS; told.band++) {
            hash_rules(&told, 0);
        }
    }
    told.pan = told.band = 0;
    told.contents = TRIVET_CONTENTS_OIL;
    for (told.oil = 1; told.oil < TRIVET_OILS; told.oil++) {
        for (told.uses = 0; told.uses <= TRIVET_OIL_USES + 1; told.uses++) {
            hash_rules(&told, 0);
        }
    }
    hash_rules(&told, TRIVET_UNIT_DEVICE);
    return hash;
}

static uint16_t drawn_word(void)
{
    static const uint16_t special[3] = {0, 1, 65535};
    drawn();
    return x % 5 == 0 ? special[(x >> 8) % 3] : (uint16_t)((x >> 8) % 65536);
}

static uint32_t all_moments(void)
{
    int32_t i, k;
    hash = 2166136261u;
    x = TRIVET_FIRST_DRAWN;
    for (i = 0; i < TRIVET_DRAWN_SAID; i++) {
        trivet_said said;
        trivet_moment m;
        uint8_t band;
        said.reported = drawn_word();
        said.half = drawn_word();
        said.hottest = drawn_word();
        said.spread = drawn_word();
        said.apparent = drawn_word();
        said.flags = 0;
        for (k = 0; k < 18; k++) {
            said.flags |= drawn() % 12 == 0 ? 1u << k : 0u;
        }
        said.of = (uint8_t)(drawn() % 6);
        said.present = (uint8_t)(drawn() % 3);
        said.heat_on = drawn() % 2 == 0;
        band = (uint8_t)(drawn() % TRIVET_BANDS);
        trivet_burner_moment(&said, band, drawn() % 5 == 0, &m);
        for (k = 0; k < TRIVET_SIGNALS; k++) {
            hashed((uint32_t)m.signal[k]);
        }
        hashed(m.word);
    }
    return hash;
}

int main(void)
{
    const int rules = all_rules() == TRIVET_RULES_HASH;
    const int moments = all_moments() == TRIVET_MOMENTS_HASH;
#ifndef TRIVET_BARE
    printf("rules of all that can be told: %s; %d drawn words as signals: %s%s\n",
           rules ? "match" : "DIFFER", TRIVET_DRAWN_SAID, moments ? "match" : "DIFFER",
           TRIVET_UNPROVEN ? " (UNPROVEN)" : "");
#endif
    return rules && moments ? 0 : 1;
}
