/* Inside of `lentic alerts`: what stands, as the broker keeps it; what was, as the store keeps it; a test
 * message; what the kinds mean. */
#ifndef LENTIC_CLI_ALERTS_H
#define LENTIC_CLI_ALERTS_H

#include "cli/options.h"
#include "model/message.h"
#include "model/site.h"
#include "show/notices.h"

#define ALERTS_HEARD_MAX 1024

struct alerts_job {
    const struct options *options; /* for messages */
    const struct site *site;
    bool json, all;
    double past_s;
    const char *who, *why;
};

/* The receiving thread fills it. */
struct alerts_heard {
    const struct site *site;
    int count;
    struct notice *notices;
    char **documents; /* of the notices, as they came */
    bool status_heard, online;
    unsigned long changes;
    unsigned long unreadable;
};

int alerts_heard_init(struct alerts_heard *h, const struct site *site); /* -1: no memory */
void alerts_heard_fini(struct alerts_heard *h);
void alerts_heard_take(void *context, const struct message *m); /* of struct talk */
void alerts_heard_sort(struct alerts_heard *h);                 /* most urgent first */

/* Each returns the exit code. */
int alerts_now(const struct alerts_job *job);
int alerts_past(const struct alerts_job *job);
int alerts_test(const struct alerts_job *job);
int alerts_scores(const struct alerts_job *job);                    /* how the forecasts turned out */
int alerts_explain(const struct alerts_job *job, const char *kind); /* a kind of alert; needs no site */

/* "temperature below the band", as the service words it; the kind itself where the configuration does not
 * know the alert. */
void alerts_title(const struct site *site, const char *ref, const char *kind, char *buf, size_t cap);

int alerts_columns(void); /* of the terminal; 80 where there is none */

/* "Tue 2026-03-03 14:05", local. */
const char *alerts_clock(utc_t t, char *buf, size_t cap);

#endif
