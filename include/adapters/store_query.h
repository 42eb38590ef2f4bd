/* Read-only questions to the store: for the command line while the daemon writes. */
#ifndef LENTIC_ADAPTERS_STORE_QUERY_H
#define LENTIC_ADAPTERS_STORE_QUERY_H

#include "base/status.h"
#include "model/alert.h"
#include "model/calib.h"
#include "model/reading.h"

struct store_reader;

/* STATUS_IO: not there or cannot be read; STATUS_REFUSED: not a store, or newer than this program. */
enum status store_reader_open(const char *path, struct store_reader **out, struct why *why) LENTIC_CHECKED;
void store_reader_close(struct store_reader *reader);

struct history_point {
    utc_t t; /* begin of the point's span; of a single reading its own time */
    double value, lo,
        hi;         /* mean and extremes over the span, of readings whose number can be trusted; NaN: none */
    int n;          /* readings, also those that were missing or failed; else hand tests */
    int good;       /* of them flagged good */
    enum flag flag; /* worst of the point */
    bool tested;    /* of hand tests alone */
};

/* At most max_points points over [from, to) of a place's quantity, thinned evenly in time with the extremes
 * kept, from raw or rollups as fits; hand tests stand in points without a reading. Returns how many in
 * *count. */
enum status store_reader_history(struct store_reader *reader, const char *place, const char *quantity,
                                 utc_t from, utc_t to, struct history_point *points, int max_points,
                                 int *count) LENTIC_CHECKED;

/* A quantity of a place that the store has ever known by probe or hand test, and the span of its history. */
struct series_row {
    char place[48], quantity[16], unit[16];
    utc_t first, last; /* UTC_NONE when its probe never sent anything */
};
enum status store_reader_series(struct store_reader *reader,
                                void (*each)(void *context, const struct series_row *row),
                                void *context) LENTIC_CHECKED;

/* Every stored reading of that span, oldest first (for CSV and JSON). */
enum status store_reader_readings(struct store_reader *reader, const char *place, const char *quantity,
                                  utc_t from, utc_t to,
                                  void (*each)(void *context, const struct reading *r, const char *probe),
                                  void *context) LENTIC_CHECKED;

/* Every calibration of a place's quantity, oldest first, also those taken back. */
struct calibration_row {
    char probe[256];
    struct calib calib;
    bool undone;
};
enum status store_reader_calibrations(struct store_reader *reader, const char *place, const char *quantity,
                                      void (*each)(void *context, const struct calibration_row *row),
                                      void *context) LENTIC_CHECKED;

struct alert_row {
    utc_t t;
    char place[48], kind[KIND_TEXT_MAX], change[16], state[8], priority[8];
    double value, limit;
    char unit[16];
    char cause[ALERT_CAUSE_MAX], evidence[ALERT_EVIDENCE_MAX], action[ALERT_ACTION_MAX], who[ALERT_WHO_MAX],
        why[ALERT_WHY_MAX];
    bool announced; /* to people */
};
enum status store_reader_alert_changes(struct store_reader *reader, utc_t from, utc_t to,
                                       void (*each)(void *context, const struct alert_row *row),
                                       void *context) LENTIC_CHECKED;

/* Events of one kind ("forecast-scored"), oldest first. */
struct event_row {
    utc_t t;
    char place[48], quantity[16]; /* empty when it has none */
    double value;                 /* NaN */
    char text[200];
};
enum status store_reader_events(struct store_reader *reader, const char *kind, utc_t from, utc_t to,
                                void (*each)(void *context, const struct event_row *row),
                                void *context) LENTIC_CHECKED;

#endif
