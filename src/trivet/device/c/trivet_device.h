#ifndef TRIVET_DEVICE_H
#define TRIVET_DEVICE_H
#include "trivet_alerts.h"
#include "trivet_names.h"
#include "trivet_reading.h"

/* Frames in, alerts out. For every head as its frame comes: trivet_device_frame. After the
   frame of head 0: trivet_device_step. While frames of head 0 stay away for longer than
   TRIVET_STALE_MS: trivet_device_blind, at TRIVET_STALE_MS after the last and then once a
   second. */

/* What the cook told of a burner, by trivet_names.h; 0: not told. uses + 1 of the oil. */
typedef struct {
    uint8_t pan, contents, band, oil, uses;
} trivet_told;

/* What the device knows beside its frames. */
typedef struct {
    uint16_t charge, window_loss;  /* 1/1000 */
    uint8_t link;                  /* 1: it stands */
    uint8_t person;                /* 1: an answer that somebody is there still counts */
} trivet_known;

enum { TRIVET_OFF, TRIVET_ON, TRIVET_ESCALATE, TRIVET_IS_ARMED, TRIVET_NOT_ARMED };

typedef struct {
    uint8_t unit, alert, what;     /* unit: a burner, or TRIVET_UNIT_DEVICE */
    trivet_left left;
} trivet_change;

#define TRIVET_MOST_CHANGES (3 * TRIVET_UNITS * TRIVET_ALERTS)

typedef struct {
    int64_t last_ms;
    uint32_t hash;
    int32_t housing_dk;
    uint8_t came, repeated, even;
    uint8_t told[TRIVET_MOST_BURNERS];
    trivet_said said[TRIVET_MOST_BURNERS];
} trivet_head_view;

typedef struct {
    trivet_reading_state reading[TRIVET_HEADS];
    trivet_head_view view[TRIVET_HEADS];
    trivet_told told[TRIVET_BURNERS];
    trivet_said said[TRIVET_BURNERS];       /* what is said now, in the order of the names */
    int64_t last_ms[TRIVET_UNITS], hand_ms, fresh_ms;
    trivet_moment own;
    uint32_t word[TRIVET_UNITS], heated[TRIVET_UNITS];
    trivet_alert_state alerts[TRIVET_UNITS][TRIVET_ALERTS];
    trivet_slope slopes[TRIVET_BURNERS][TRIVET_MOST_SLOPES];
    trivet_pot pots[TRIVET_BURNERS][TRIVET_MOST_POTS];
} trivet_device;

/* Constants of the design, in trivet_device_data.c. */
typedef struct {
    uint8_t head, place;           /* a burner's head and its place among that head's */
} trivet_unit;

#define TRIVET_NO_RULE 255u
extern const trivet_alert trivet_rules[TRIVET_RULES];
/* Which rule an alert follows by what was told; TRIVET_NO_RULE where it does not act. */
extern const uint8_t trivet_rule_of[TRIVET_CONTENTS][TRIVET_BANDS][TRIVET_ALERTS];
extern const uint8_t trivet_device_rule[TRIVET_ALERTS];
extern const uint8_t trivet_place_of[TRIVET_PANS][TRIVET_CONTENTS];
extern const uint8_t trivet_band_of[TRIVET_BANDS];
/* Which row of oil points an alert's limit has, and the limits. [0.1 K] */
extern const uint8_t trivet_oil_row[TRIVET_ALERTS];
extern const uint16_t trivet_oil_dk[TRIVET_OIL_ROWS][TRIVET_OILS][TRIVET_OIL_USES];
extern const uint8_t trivet_slope_of[TRIVET_ALERTS];
extern const uint8_t trivet_pot_of[TRIVET_ALERTS];
extern const trivet_unit trivet_units[TRIVET_BURNERS];

void trivet_device_start(trivet_device *d);

/* What a cook tells of a burner; alerts whose rule it changes start anew, switched off. */
void trivet_device_tell(trivet_device *d, int32_t burner, const trivet_told *told);

/* The frame is made even in place. */
void trivet_device_frame(trivet_device *d, int32_t head, uint16_t *frame, int64_t ms,
                         uint16_t housing, int64_t awake_ms);

/* These return how many changes there are; changes has room for TRIVET_MOST_CHANGES. */
int32_t trivet_device_step(trivet_device *d, int64_t ms, const trivet_known *known,
                           trivet_change *changes);
int32_t trivet_device_blind(trivet_device *d, int64_t ms, trivet_change *changes);

/* Parts of a step, for the checker: the rule that an alert follows (0: it does not act), and
   what is said of a burner as the alerts' signals. */
int trivet_rule(const trivet_told *told, int32_t unit, int32_t alert, trivet_alert *rule);
void trivet_burner_moment(const trivet_said *said, uint8_t band, int blind, trivet_moment *m);
#endif
