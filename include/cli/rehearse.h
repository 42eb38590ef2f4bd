/* Inside of `lentic rehearse`: one job, run into a capture or to a broker. */
#ifndef LENTIC_CLI_REHEARSE_H
#define LENTIC_CLI_REHEARSE_H

#include <stdio.h>
#include "cli/options.h"
#include "rehearse/sim.h"

struct rehearse_job {
    const struct options *options; /* for messages */
    const struct site *site;
    struct sim *sim;
    double seconds;     /* simulated; INFINITY: until interrupted */
    double speed;       /* publishing: simulated seconds a second */
    const char *broker; /* HOST:PORT instead of the configuration's; NULL */
    FILE *capture;      /* NULL: publish */
    FILE *truth;        /* NULL: none */
    double truth_every_s;
    double truth_next_s;
    unsigned long long messages, bytes, lost;
    double left_tank_hours; /* with any value outside its tank's band, at the grain of the truth record */
};

/* Runs as fast as it can. Exit code 0, or 3 when the output cannot be written. */
int rehearse_capture(struct rehearse_job *job);

/* Runs in step with the wall clock until the time is over or SIGINT or SIGTERM comes. Exit code 0, 2 settings
 * that cannot work, 3 no broker. */
int rehearse_publish(struct rehearse_job *job);

/* One message as mosquitto_sub -F %j prints it. */
void rehearse_write_line(FILE *out, const struct sim_message *m);

/* Moves on, and writes what is due of the truth record on the way. */
void rehearse_advance(struct rehearse_job *job, double dt_s, sim_hear *hear, void *context);

#endif
