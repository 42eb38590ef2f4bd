/* Calibrations in the store: dated, kept for ever, the last one of a probe that was not taken back is in
 * force. */
#ifndef LENTIC_ADAPTERS_STORE_CALIBRATION_H
#define LENTIC_ADAPTERS_STORE_CALIBRATION_H

#include "adapters/store.h"

struct sqlite3_stmt;

/* A calibration in force since c->since; the same probe and time again replaces it. Committed before it
 * returns. */
enum status store_put_calibration(struct store *store, int stream, const struct calib *c) LENTIC_CHECKED;

/* The last one no longer counts; it stays in the history. STATUS_NONE: there is none. */
enum status store_undo_calibration(struct store *store, int stream) LENTIC_CHECKED;

/* Oldest first, of streams the site still has, without those taken back: the last one of a stream is in
 * force. */
enum status store_each_calibration(struct store *store,
                                   void (*each)(void *context, int stream, const struct calib *c),
                                   void *context) LENTIC_CHECKED;

/* The values of readings stored in [from, to), at most the last 31 days of it, anew from what was sent; flags
 * stay. temp_c: the place's stored temperature at most 2 h before, NaN when there is none. *changed: how
 * many. To be called with nothing waiting to be committed. */
enum status store_recompute(struct store *store, int stream, utc_t from, utc_t to,
                            double (*value_of)(void *context, double sent, double temp_c), void *context,
                            int64_t *changed) LENTIC_CHECKED;

/* For the reader: a calibration from its columns in a query's row. */
#define STORE_CALIBRATION_COLUMNS                                                                            \
    "since_ms, kind, gain, offset, offset_mv, slope_acid, slope_base, pivot_ph, residual"
struct calib store_calibration_row(struct sqlite3_stmt *s, int first);

#endif
