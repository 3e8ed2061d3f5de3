#include <stdio.h>
#include "trivet_inversion.h"
#include "trivet_vectors.h"

static uint32_t fingerprint(void)
{
    uint32_t hash = 2166136261u;
    int table, node, byte;
    for (table = 0; table < TRIVET_TABLES; table++) {
        for (node = 0; node < TRIVET_NODES; node++) {
            const uint32_t value = (uint32_t)trivet_table[table][node];
            for (byte = 0; byte < 4; byte++) {
                hash = (hash ^ ((value >> (8 * byte)) & 255u)) * 16777619u;
            }
        }
    }
    return hash;
}

int main(void)
{
    long wrong = 0, i;
    if (fingerprint() != TRIVET_TABLE_FINGERPRINT) {
        printf("the table is not the one that the vectors were made with\n");
        return 2;
    }
    for (i = 0; i < TRIVET_VECTORS; i++) {
        const trivet_vector *v = &trivet_vectors[i];
        const uint16_t got = trivet_surface(v->apparent, &v->scene, trivet_table[v->table]);
        if (got != v->expected) {
            if (wrong < 10) {
                printf("vector %ld: got %u, expected %u\n", i, (unsigned)got,
                       (unsigned)v->expected);
            }
            wrong++;
        }
    }
    printf("%ld of %ld vectors match%s\n", (long)TRIVET_VECTORS - wrong, (long)TRIVET_VECTORS,
           TRIVET_UNPROVEN ? " (UNPROVEN)" : "");
    return wrong == 0 ? 0 : 1;
}
