#include "trivet_inversion.h"

#define ONE 32768
#define FULL_SCALE ((int64_t)1 << 26)

/* Scaled radiance of a temperature; -1 outside the table. */
static int64_t radiance_of(uint16_t word, const int32_t *table)
{
    const int32_t offset = (int32_t)word - TRIVET_FIRST_NODE;
    int32_t node, rest, rise;
    if (offset < 0 || offset > ((TRIVET_NODES - 1) << TRIVET_NODE_SHIFT)) {
        return -1;
    }
    node = offset >> TRIVET_NODE_SHIFT;
    rest = offset & ((1 << TRIVET_NODE_SHIFT) - 1);
    if (rest == 0) {
        return table[node];
    }
    rise = table[node + 1] - table[node];
    return table[node] + ((rise * rest + (1 << (TRIVET_NODE_SHIFT - 1))) >> TRIVET_NODE_SHIFT);
}

/* Temperature of a scaled radiance. */
static uint16_t word_of(int64_t radiance, const int32_t *table)
{
    int32_t low = 0, high = TRIVET_NODES - 1;
    int64_t rise, part;
    if (radiance < table[0]) {
        return TRIVET_UNDER_RANGE;
    }
    if (radiance >= table[TRIVET_NODES - 1]) {
        return TRIVET_OVER_RANGE;
    }
    while (high - low > 1) {
        const int32_t middle = (low + high) >> 1;
        if (table[middle] <= radiance) {
            low = middle;
        } else {
            high = middle;
        }
    }
    rise = (int64_t)table[low + 1] - table[low];
    part = (((radiance - table[low]) << TRIVET_NODE_SHIFT) + (rise >> 1)) / rise;
    return (uint16_t)(TRIVET_FIRST_NODE + (low << TRIVET_NODE_SHIFT) + (int32_t)part);
}

/* x of mixed = share x + (1 - share) other; 0 where it is not positive. */
static int64_t without_share(int64_t mixed, int64_t share, int64_t other)
{
    const int64_t left = (mixed << 15) - (ONE - share) * other;
    return left <= 0 ? 0 : (left + (share >> 1)) / share;
}

uint16_t trivet_surface(uint16_t apparent, const trivet_scene *scene, const int32_t *table)
{
    const int64_t mirrored = radiance_of(scene->surround, table);
    const int64_t glow = radiance_of(scene->window, table);
    const int64_t seen = radiance_of(apparent, table);
    int64_t before;
    if (apparent == TRIVET_NO_READING || apparent == TRIVET_UNDER_RANGE
        || apparent == TRIVET_OVER_RANGE) {
        return apparent;
    }
    if (scene->emissivity < 1 || scene->emissivity > ONE
        || scene->transmittance < 1 || scene->transmittance > ONE) {
        return TRIVET_NO_READING;
    }
    if (mirrored < 0 || glow < 0) {
        return TRIVET_NO_READING;
    }
    if (seen < 0) {
        return apparent < TRIVET_FIRST_NODE ? TRIVET_UNDER_RANGE : TRIVET_OVER_RANGE;
    }
    before = without_share(seen, scene->transmittance, glow);
    if (before > FULL_SCALE << 5) {
        return TRIVET_OVER_RANGE;
    }
    return word_of(without_share(before, scene->emissivity, mirrored), table);
}
