/* Carries messages for people out of the outbox through the configured command, one at a time, with retry and
 * backoff; high priority first. In the quiet hours low priority is held and comes as one digest at their end;
 * a flood of alerts is one digest; once a day there is a summary. */
#ifndef LENTIC_APP_COURIER_H
#define LENTIC_APP_COURIER_H

#include "adapters/store_outbox.h"
#include "app/pump.h"

struct notify;

struct courier {
    const struct site *site;
    struct store *store;
    struct notify *notify;   /* the delivery that is running; NULL: no command */
    struct outbox_item item; /* what it carries */
    bool carrying;
    mono_t next_look;
    int failures; /* in a row */
    char reason[160];

    bool clock_trusted; /* or else nothing is held: the hour is not known */
    bool may_hold;      /* something may be held: to be looked for after the quiet hours */
    utc_t flood_due;    /* the digest of a flood that began; UTC_NONE */
    utc_t flood_told;   /* what was raised before stands in it */
    bool flood_over;    /* what was raised since then is to be told */
    utc_t summary_last; /* the last one's own time */
    bool tested;        /* a test message has come to its end */
    struct event test;  /* how */
};

void courier_init(struct courier *c, const struct site *site, struct store *store, struct now now);
void courier_fini(struct courier *c);

/* An alert that asks to be announced goes into the outbox, and what an event asks for. */
void courier_effect(struct courier *c, const struct effect *e);

/* Starts what is due, takes results. */
void courier_advance(struct courier *c, const struct pump *pump, struct now now);
mono_t courier_deadline(const struct courier *c);
int courier_fd(const struct courier *c); /* readable when the command has ended; -1 */

/* How the last test message ended, once. */
bool courier_take_test(struct courier *c, struct event *out);

/* Local time lies in the quiet hours, on a clock that is believed. */
bool courier_is_quiet(const struct courier *c, utc_t t);

/* The last time at or before t at which the summary was due; UTC_NONE when there is none to be. */
utc_t courier_summary_at(const struct notify_settings *notify, utc_t t);

#endif
