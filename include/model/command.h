/* One request of a person or a hub, from the command line or from BASE/do/COMMAND. */
#ifndef LENTIC_MODEL_COMMAND_H
#define LENTIC_MODEL_COMMAND_H

#include <stdbool.h>
#include "base/times.h"
#include "model/alert.h"

enum command_verb {
    COMMAND_ACK,
    COMMAND_RESET,
    COMMAND_SHELVE,
    COMMAND_UNSHELVE,
    COMMAND_SERVICE,  /* a service window: work on the tank is going on */
    COMMAND_OUT,      /* out of service */
    COMMAND_BACK,     /* back in service */
    COMMAND_NOTE,
    COMMAND_CALIBRATE,
    COMMAND_TEST,     /* send a test message through every path */
    COMMAND_COUNT
};

const char *command_name(enum command_verb v); /* "ack", ... */
enum command_verb command_find(const char *name, size_t n); /* COMMAND_COUNT when unknown */

#define NOTE_DETAIL_MAX 512

struct command {
    enum command_verb verb;
    int place;   /* index into site->places, -1: none named */
    int alert;   /* index into site->alerts, -1: all alerts of the place */
    double minutes;  /* shelve, service, out; NaN when not given. 0 ends a service window */
    char what[32];   /* note: kind of entry ("change", "test", "topoff", ...); service: kind of work */
    enum quantity quantity; /* note of a hand test, calibrate; Q_COUNT when none */
    double value;           /* of the hand test; NaN */
    double litres, grams;   /* NaN */
    utc_t at;               /* when it happened, UTC_NONE: now */
    char who[ALERT_WHO_MAX], why[ALERT_WHY_MAX];
    char detail[NOTE_DETAIL_MAX]; /* the request's own JSON, cut */
};

#endif
