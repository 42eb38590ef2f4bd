/* The heartbeat through a command, for somebody else's watch: runs while intake, store and rules all make
 * progress, and stops with them. Its failures are in the log and in failures; a missing beat is what the
 * other side watches for. */
#ifndef LENTIC_APP_PULSE_H
#define LENTIC_APP_PULSE_H

#include "base/times.h"
#include "model/site.h"

struct notify;

struct pulse {
    const struct site *site;
    struct notify *notify; /* NULL: no command */
    mono_t due;
    bool beating;
    uint64_t beats;
    int failures; /* in a row */
};

void pulse_init(struct pulse *p, const struct site *site, struct now now);
void pulse_fini(struct pulse *p);

/* Starts a beat that is due, unless progress is false; takes the result of the last. */
void pulse_advance(struct pulse *p, bool progress, struct now now);
mono_t pulse_deadline(const struct pulse *p);

#endif
