#ifndef TRIVET_ALERT_PARTS_H
#define TRIVET_ALERT_PARTS_H
#include "trivet_alerts.h"
#include "trivet_thresholds.h"

/* Between the parts of the alert machine; nothing here is for the application. */
enum { LEVEL, TIME_TO_LIMIT, LOSS_OF_SIGHT, BELOW, IN_BAND, BOIL_DRY };
enum { LOW, HIGH, BETWEEN, UNKNOWN };
#define TRIVET_POT_DRY (TRIVET_NEVER - 1)

int64_t trivet_floor_div(int64_t a, int64_t b);
void trivet_slope_add(int64_t now, int32_t reading, int64_t window, trivet_slope *s);
int trivet_ahead(int64_t now, int32_t reading, const trivet_alert *a, const trivet_slope *s,
                 int on);
void trivet_time_left(const trivet_moment *m, const trivet_alert *a, const trivet_slope *s,
                      trivet_left *left);
int trivet_boiling(const trivet_moment *m, uint32_t word, const trivet_alert *a,
                   const trivet_memory *own, int *said);
#endif
