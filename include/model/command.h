/* One request of a person or a hub, from the command line or from BASE/do/COMMAND. */
#ifndef LENTIC_MODEL_COMMAND_H
#define LENTIC_MODEL_COMMAND_H

#include <stdbool.h>
#include "base/times.h"
#include "model/alert.h"
#include "model/journal.h"
#include "model/sample.h"

enum command_verb {
    COMMAND_ACK,
    COMMAND_RESET,
    COMMAND_SHELVE,
    COMMAND_UNSHELVE,
    COMMAND_SERVICE, /* a service window: work on the tank is going on */
    COMMAND_OUT,     /* out of service */
    COMMAND_BACK,    /* back in service */
    COMMAND_NOTE,
    COMMAND_CALIBRATE,
    COMMAND_EXCHANGE, /* another device at a place */
    COMMAND_TEST,     /* send a test message through every path */
    COMMAND_COUNT
};

const char *command_name(enum command_verb v);              /* "ack", ... */
enum command_verb command_find(const char *name, size_t n); /* COMMAND_COUNT when unknown */

#define CALIB_POINTS_MAX 3

/* One point of a calibration: what the probe shows and what is true. */
struct calib_point {
    double raw;    /* stored unit (mV for an electrode that sends mV); NaN: what it shows now */
    double is;     /* buffer by name, conductivity of the standard at 25 degrees, reference */
    double temp_c; /* of buffer or standard; NaN: that of the place */
};

struct command {
    enum command_verb verb;
    int place;              /* index into site->places, -1: none named */
    int alert;              /* index into site->alerts, -1: all alerts of the place */
    double minutes;         /* shelve, service, out; NaN when not given. 0 ends a service window */
    char what[32];          /* service: kind of work */
    enum quantity quantity; /* calibrate; Q_COUNT when none */
    double value;           /* calibrate: NaN when not given */
    utc_t at;               /* when it happened, UTC_NONE: now */
    int stream;             /* calibrate: the probe, when it was named; -1: the one of place and quantity */
    struct calib_point points[CALIB_POINTS_MAX];
    int point_count;
    double gain, offset;     /* calibrate without points; NaN */
    bool undo;               /* calibrate: take the last one back */
    char device[DEVICE_MAX]; /* exchange: the new one's id */
    utc_t back_to;           /* calibrate: stored readings from then on as well; UTC_NONE: none */
    char who[ALERT_WHO_MAX], why[ALERT_WHY_MAX];
    struct journal_entry note; /* note: what was written, checked but for what corrections take over */
};

/* A request with nothing said but the verb. */
struct command command_of(enum command_verb verb);

#endif
