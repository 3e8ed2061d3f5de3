#ifndef TRIVET_READING_H
#define TRIVET_READING_H
#include <stdint.h>
#include "trivet_inversion.h"
#include "trivet_reading_sizes.h"

/* Temperatures are 1/64 K, shares 1/32768, times ms. Bits of a surface: */
#define TRIVET_SHINY 1u
#define TRIVET_AMBIGUOUS 2u
#define TRIVET_LIQUID 4u
#define TRIVET_NOTHING 255u
#define TRIVET_HOUSING_RING 32
#define TRIVET_HEAT_RING 16
#define TRIVET_EXP_STEPS 128

typedef struct {
    int32_t cols, drift_a_q12, drift_b_q16, drift_c_ms, drift_d_q12, tau_ms, housing_ref;
    int32_t has_pixel_term, window_rise, transmittance, mirrored, hob_rank_q15;
    int32_t stale_ms, settle_ms, contrast, taken_off, range_low, bound, min_pixels, heated;
    int32_t reporter, drop, noise, steam_square, steam_cap;
    int32_t u_wake, u_housing_q15, u_gain_q15, u_uneven_q15, hot_rows, hot_cols;
    int32_t near_boil, boiled, left_boil;
} trivet_numbers;

typedef struct {
    const uint16_t *pixel;
    const uint8_t *weight;
    const uint16_t *hot;
    uint16_t count, hots, rim;     /* rim: share of the pan that is not read */
    uint8_t edge;
} trivet_mask;

typedef struct {
    uint16_t mask, low, high, middle;
    uint8_t of, bits;
    uint16_t wide;
} trivet_seen;

typedef struct {
    trivet_numbers numbers;
    const int32_t *radiance;
    const uint16_t *decay;         /* exp(-x) at 0, 1/16 ... 8 */
    const int16_t *pixel_offset;   /* null without pixel terms */
    const uint16_t *pixel_gain;    /* 1/16384; 0 a bad pixel; null without */
    const uint16_t *beside;
    const trivet_mask *masks;
    const trivet_seen *surfaces;   /* burner after burner, told after told */
    uint16_t pixels, besides, burners, told;
} trivet_head;

typedef struct {
    uint16_t peak, was, open;
    uint32_t since, near;          /* stamps; 0 open, not near */
} trivet_pixel_state;

typedef struct {
    int32_t square, last, before, seen;
    uint32_t high;
    int32_t gone, count, first;
    int32_t top, left;             /* of a liquid: highest of late; where it left the boil */
    uint32_t back;
    int64_t heat_ms[TRIVET_HEAT_RING];
    int32_t heat[TRIVET_HEAT_RING]; /* 1/1024 K */
} trivet_burner_state;

typedef struct {
    int64_t last_ms;
    int32_t count, first;
    int64_t housing_ms[TRIVET_HOUSING_RING];
    uint16_t housing[TRIVET_HOUSING_RING];
    trivet_pixel_state pixel[TRIVET_MOST_PIXELS];
    trivet_burner_state burner[TRIVET_MOST_BURNERS];
    uint16_t scratch[TRIVET_MOST_PIXELS];
} trivet_reading_state;

typedef struct {
    uint16_t reported, half, hottest, spread, apparent; /* spread + 1; 0 not said */
    uint32_t flags;
    uint8_t of, present, heat_on, open;
} trivet_said;

extern const trivet_head trivet_heads[TRIVET_HEADS];

void trivet_reading_start(trivet_reading_state *s);

/* Reads one frame, which is made even in place; fills said, one a burner of the head.
   told: place of what was told of each burner, 0 nothing. */
void trivet_read_frame(const trivet_head *c, trivet_reading_state *s, uint16_t *frame,
                       int64_t now, uint16_t housing, int64_t awake_ms, const uint8_t *told,
                       trivet_said *said);
#endif
