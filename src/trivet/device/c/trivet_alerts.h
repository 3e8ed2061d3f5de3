#ifndef TRIVET_ALERTS_H
#define TRIVET_ALERTS_H
#include <stdint.h>

/* Readings are 0.1 K, times ms. */
#define TRIVET_READING_NONE (-1)
#define TRIVET_READING_AT_RANGE 32767
/* Bits of the state word. */
#define TRIVET_HEAT_ON 1u
#define TRIVET_COOL 2u
#define TRIVET_NO_PAN 4u
#define TRIVET_PERSON 8u
#define TRIVET_LINK_LOST 16u
#define TRIVET_HANDLED 32u
/* Hottest part, reported, spread, apparent, 95 % half-width; of the device itself:
   housing, charge in 1/1000, window's loss in 1/1000. */
#define TRIVET_SIGNALS 5
#define TRIVET_RING 72
#define TRIVET_NEVER (-(INT64_C(1) << 62))

typedef struct {
    int32_t kind, set_dk, lead_ms, deadband_dk, on_ms, off_ms, gate_dk, window_ms;
    int32_t top_dk, signal, escalate_ms, needs, forbids;
} trivet_alert;

typedef struct {
    int64_t rise_ms, fall_ms, since_ms;
    uint8_t on, escalated, armed, told;
} trivet_alert_state;

/* Readings of the last window, of a predicted alert. */
typedef struct {
    int64_t sum_t, sum_tt, sum_y, sum_ty, base_ms;
    int32_t count, head;
    uint32_t ring_ms[TRIVET_RING];
    uint16_t ring_dk[TRIVET_RING];
} trivet_slope;

/* Plateau of a pot that may boil dry. */
typedef struct {
    int64_t level_q8, at_ms, plateau_q8, came_ms, inside_ms;
} trivet_pot;

typedef struct {
    trivet_alert_state *state;
    trivet_slope *slope;           /* of a predicted alert (kind 1), else null */
    trivet_pot *pot;               /* of a dry pot (kind 5), else null */
} trivet_memory;

/* Of a predicted alert that comes on; TRIVET_UNKNOWN_MS where not known. */
typedef struct {
    int64_t left_ms, low_ms, high_ms, rate_mkps;
} trivet_left;

#define TRIVET_UNKNOWN_MS (-1)
/* What a step says. */
#define TRIVET_CHANGED 1
#define TRIVET_ESCALATED 2
#define TRIVET_ARMED 4
#define TRIVET_DISARMED 8

typedef struct {
    int64_t ms;
    int32_t signal[TRIVET_SIGNALS];
    uint32_t word;
} trivet_moment;

void trivet_alert_start(const trivet_memory *own);

/* The state word with the heat that is believed while the burner is not seen; *heated is
   kept from moment to moment, 0 at first. */
uint32_t trivet_believed(const trivet_moment *m, uint32_t *heated);

/* Takes one moment, its word as believed; before: the moment before, TRIVET_NEVER at first.
   Returns what it says; own->state->on tells the state. */
int trivet_alert_step(const trivet_alert *a, const trivet_memory *own, const trivet_moment *m,
                      int64_t before, uint32_t word, trivet_left *left);
#endif
