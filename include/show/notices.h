/* Standing alerts in full sentences, most urgent first: what and where, since when, the numbers, the cause,
 * what to do and what happens if nothing is done. */
#ifndef LENTIC_SHOW_NOTICES_H
#define LENTIC_SHOW_NOTICES_H

#include "base/text.h"
#include "model/alert.h"

struct notice {
    char ref[96], place[48];
    char title[96]; /* for people: "temperature below the band" */
    char state[8];  /* as alert_state_name */
    enum priority priority;
    char leader[96]; /* ref of the alert that speaks for this one; "" */
    bool chattering;
    char cause[ALERT_CAUSE_MAX], evidence[ALERT_EVIDENCE_MAX], action[ALERT_ACTION_MAX], consequence[160];
    char number[96]; /* "20.3 °C, limit 20.5 °C"; "" */
    char who[ALERT_WHO_MAX], why[ALERT_WHY_MAX];
    utc_t raised, due, until; /* UTC_NONE: not known */
};

struct notices_look {
    int columns; /* of the terminal; at least 40 are used */
    bool coloured;
    utc_t now;
    const char *(*clock)(utc_t t, char *buf, size_t cap); /* local time, for people */
};

/* A person must act on it: active and not put aside, kept quiet or out of service. */
bool notice_is_active(const struct notice *n);
/* Put aside, kept quiet or out of service. */
bool notice_is_aside(const struct notice *n);

/* "not acknowledged", "put aside", ... */
const char *notice_state_words(const struct notice *n);

void notices_sort(struct notice *notices, int count);
void notice_put(struct text *out, const struct notice *n, struct notices_look look);

#endif
