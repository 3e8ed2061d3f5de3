#include <stdio.h>
#include "trivet_alerts.h"
#include "trivet_alert_vectors.h"

static long next_change, wrong;

static void expect(int moment, int alert, int what, const trivet_left *left)
{
    const trivet_change *c = &trivet_changes[next_change];
    if (next_change >= TRIVET_CHANGES || c->moment != moment || c->alert != alert
        || c->what != what) {
        wrong++;
    } else if (what == 1
               && (c->left != left->left_ms || c->low != left->low_ms || c->high != left->high_ms
                   || c->rate != left->rate_mkps)) {
        wrong++;
    }
    next_change++;
}

int main(void)
{
    static trivet_alert_state states[TRIVET_CHECKED_ALERTS];
    static trivet_slope slopes[TRIVET_CHECKED_ALERTS];
    static trivet_pot pots[TRIVET_CHECKED_ALERTS];
    static trivet_memory own[TRIVET_CHECKED_ALERTS];
    int64_t before = TRIVET_NEVER;
    uint32_t heated = 0;
    int i, k;
    for (k = 0; k < TRIVET_CHECKED_ALERTS; k++) {
        own[k].state = &states[k];
        own[k].slope = &slopes[k];
        own[k].pot = &pots[k];
        trivet_alert_start(&own[k]);
    }
    for (i = 0; i < TRIVET_MOMENTS; i++) {
        const uint32_t word = trivet_believed(&trivet_moments[i], &heated);
        for (k = 0; k < TRIVET_CHECKED_ALERTS; k++) {
            trivet_left left;
            const int said = trivet_alert_step(&trivet_alerts[k], &own[k], &trivet_moments[i],
                                               before, word, &left);
            if ((said & (TRIVET_ARMED | TRIVET_DISARMED)) != 0) {
                expect(i, k, (said & TRIVET_ARMED) != 0 ? 3 : 4, &left);
            }
            if ((said & TRIVET_CHANGED) != 0) {
                expect(i, k, states[k].on, &left);
            }
            if ((said & TRIVET_ESCALATED) != 0) {
                expect(i, k, 2, &left);
            }
        }
        before = trivet_moments[i].ms;
    }
    printf("%ld of %d changes, %ld wrong\n", next_change, TRIVET_CHANGES, wrong);
    return wrong == 0 && next_change == TRIVET_CHANGES ? 0 : 1;
}
