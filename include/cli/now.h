/* Inside of `lentic now`: what the broker keeps, gathered into a board. */
#ifndef LENTIC_CLI_NOW_H
#define LENTIC_CLI_NOW_H

#include <pthread.h>
#include "model/message.h"
#include "model/site.h"
#include "show/board.h"

#define NOW_ALERTS_MAX 512

/* The receiving thread writes, the main thread draws: both under the lock. */
struct hearing {
    pthread_mutex_t lock;
    const struct site *site;
    struct board board;
    struct board_tank *tanks;
    struct board_source *sources;
    struct board_alert *alerts;
    char refs[NOW_ALERTS_MAX][96]; /* of alerts, same order */
    char **documents;              /* of tanks, as they came; NULL: none */
    char **source_documents;
    char *alert_documents[NOW_ALERTS_MAX];
    char *status_document;
    unsigned long changes;
    int fences;               /* times that the broker sent the status that it keeps */
    unsigned long unreadable; /* documents of another version or maker */
};

int hearing_init(struct hearing *h, const struct site *site);
void hearing_fini(struct hearing *h);

/* mqtt_options.on_message. */
bool hearing_take(void *context, const struct message *m);

/* Status and every tank are there. */
bool hearing_is_whole(struct hearing *h);

/* The status that the broker keeps came a second time, after all else that it keeps. */
bool hearing_is_fenced(struct hearing *h);

/* Exit code for who asks by a script: 0 all well, 1 an alert is active, 3 the service does not run, so that
 * nobody knows. */
int hearing_verdict(struct hearing *h);

/* Draws into out; json: one object with what came, unchanged. */
void hearing_put(struct hearing *h, const char *clock, utc_t now, struct board_look look, struct text *out);
void hearing_put_json(struct hearing *h, utc_t now, struct text *out);

#endif
