/* A conversation of a verb with the service over the broker: hear topics, send a command, get its answer. */
#ifndef LENTIC_CLI_TALK_H
#define LENTIC_CLI_TALK_H

#include <pthread.h>
#include "cli/options.h"
#include "model/message.h"
#include "model/site.h"

#define TALK_ANSWER_MAX  2048
#define TALK_FILTERS_MAX 8
#define TALK_TOPIC_MAX   400

struct mqtt;

struct talk {
    const struct options *options; /* for messages */
    const struct site *site;
    struct mqtt *mqtt;
    pthread_mutex_t lock;                                 /* held while hear runs, on the receiving thread */
    void (*hear)(void *context, const struct message *m); /* NULL: nothing but answers matters */
    void *context;
    char answer[TALK_ANSWER_MAX]; /* the last that is for us, or on BASE/done; empty: none yet */
    char reply[TALK_TOPIC_MAX];   /* where answers to us go with MQTT 5 */
    char token[24];               /* correlation data of the request under way */
    unsigned asked;
};

/* Connects as a client of its own and subscribes the filters and the answers. Returns OPTIONS_GO_ON, or the
 * exit code after it has told why; close it in any case. */
int talk_open(struct talk *t, const struct options *o, const struct site *site, const char *const *filters,
              int count, void (*hear)(void *context, const struct message *m), void *context);
void talk_close(struct talk *t);

/* Lets ms pass while the connection is looked after. False once SIGINT or SIGTERM came. */
bool talk_pass(struct talk *t, int ms);

/* Sends BASE/do/verb and waits for the answer, which is put into sentence (TALK_ANSWER_MAX bytes). Returns 0
 * done, 1 refused, 3 nobody answered (sentence says so). */
int talk_command(struct talk *t, const char *verb, const char *json, char *sentence);

#endif
