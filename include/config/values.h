/* One value of a probe entry, from its rows of keys to a struct probe_value. */
#ifndef LENTIC_CONFIG_VALUES_H
#define LENTIC_CONFIG_VALUES_H

#include "config/quality.h"

/* A value with the words of the file that make sense only once the quantity is known. */
struct value_draft {
    struct probe_value value;
    int compensated; /* -1: not said */
    double gain, offset, offset_mv, slope[2], pivot_ph;
    const struct config_setting_t *calib_at;
    struct quality_words quality;
};

/* Rows that may stand at the entry and count for all its values, and rows of one value. Target: struct
 * value_draft. */
extern const struct key values_shared_rows[];
extern const size_t values_shared_count;
extern const struct key values_own_rows[];
extern const size_t values_own_count;

struct value_draft values_draft(void);

/* Everything that hangs on the quantity: unit, compensation, calibration, limits. at: where the value stands.
 * False when at fault. */
bool values_finish(struct loader *ld, const struct config_setting_t *at, struct value_draft *draft);

#endif
