/* Inside of `lentic plan`: what the broker keeps and the journal holds, gathered into a week. */
#ifndef LENTIC_CLI_PLAN_GATHER_H
#define LENTIC_CLI_PLAN_GATHER_H

#include "cli/options.h"
#include "model/message.h"
#include "plan/room_week.h"
#include "plan/tank_week.h"

struct gathered {
    const struct options *options;
    const struct site *site;
    utc_t now;
    struct tank_report *reports; /* one a tank; empty when nothing was heard */
    bool *heard;
    struct room_probe *probes; /* one a stream */
    bool probes_heard;
    double room_c; /* NaN: not known */
    struct diary diary;
    bool journal_read;
    struct week_tank *weeks;
    struct week_room room;
    char trouble[2][200]; /* what could not be reached: broker, store; "" */
};

/* False without memory. */
bool gathered_init(struct gathered *g, const struct options *o, const struct site *site, utc_t now);
void gathered_fini(struct gathered *g);

/* From broker and store; what cannot be reached is told in trouble. False: neither was. */
bool gather(struct gathered *g);

/* One message of the broker: a tank's document, a source's, the report of the probes; others are passed over.
 * context: struct gathered. */
void gathered_hear(void *context, const struct message *m);

/* Weeks of all tanks and of the room. */
void gathered_eval(struct gathered *g, int days);

#endif
