/* The board of all tanks: one line a tank, the alerts in sentences below it, the service on top. */
#ifndef LENTIC_SHOW_BOARD_H
#define LENTIC_SHOW_BOARD_H

#include "base/text.h"
#include "model/alert.h"
#include "model/quantity.h"
#include "model/reading.h"

struct board_value {
    bool known;
    double value;
    double per_day; /* NaN: not known */
    utc_t t;
    enum flag flag;
    bool stale;
};

struct board_tank {
    const char *id;
    bool heard;             /* a document of this tank was there */
    bool measured[Q_COUNT]; /* a probe belongs there: a column even while nothing is known */
    struct board_value values[Q_COUNT];
    bool in_service;
};

struct board_alert {
    char place[48];
    char title[96]; /* for people: "heater not heating" */
    char state[8];  /* as alert_state_name */
    enum priority priority;
    char cause[160], evidence[ALERT_EVIDENCE_MAX], action[ALERT_ACTION_MAX], who[ALERT_WHO_MAX];
    bool led; /* another alert of the group leads: told in one line */
    utc_t since, due;
};

/* A source of water, in the words of its document. */
struct board_source {
    const char *id;
    char text[224]; /* "" nothing is known: no line */
    bool worn;
};

enum board_service { BOARD_SERVICE_UNKNOWN, BOARD_SERVICE_ONLINE, BOARD_SERVICE_OFFLINE };

struct board {
    const char *name;  /* of the site */
    const char *clock; /* local time as text */
    utc_t now;
    enum board_service service;
    utc_t service_since;
    char service_note[160]; /* further words on the service; "" none */
    const struct board_tank *tanks;
    int tank_count;
    const struct board_source *sources;
    int source_count;
    struct board_alert *alerts; /* sorted in place: most urgent first */
    int alert_count;
};

struct board_look {
    int columns; /* of the terminal; at least 40 are used */
    bool coloured;
};

/* A person must act on it: active and not put aside, suppressed or out of service. */
bool board_alert_active(const struct board_alert *a);
void board_sort(struct board *board);
void board_put(struct text *out, const struct board *board, struct board_look look);

#endif
