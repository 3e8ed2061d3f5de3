#ifndef TRIVET_PIXELS_H
#define TRIVET_PIXELS_H
#include "trivet_reading.h"
#include "trivet_thresholds.h"

/* Between the two halves of the reading; nothing here is for the application. */
int64_t trivet_divided(int64_t value, int64_t by);
uint32_t trivet_stamp(int64_t now);
uint32_t trivet_passed(int64_t now, uint32_t then);
int trivet_sentinel(uint16_t word);
int64_t trivet_housing_rate(int64_t now, uint16_t word, trivet_reading_state *s);
int32_t trivet_decay(int64_t awake_ms, int32_t tau_ms, const uint16_t *table);
void trivet_even(const trivet_head *c, uint16_t *frame, uint16_t housing, int64_t rate,
                 int32_t decay);
void trivet_cover(const trivet_head *c, trivet_reading_state *s, const uint16_t *frame,
                  int64_t now, int64_t step_ms);
void trivet_uncover(const trivet_head *c, trivet_reading_state *s, const uint16_t *frame,
                    int64_t now, uint16_t mean, const trivet_mask *m);
int trivet_shaded(const trivet_head *c, const trivet_reading_state *s, int32_t p);
#endif
