/* The pump: bytes -> engine -> effects -> sinks. The one code path of the daemon and of replay; what differs
 * is who takes the effects. */
#ifndef LENTIC_APP_PUMP_H
#define LENTIC_APP_PUMP_H

#include "app/notebook.h"
#include "engine/engine.h"
#include "model/message.h"
#include "model/site.h"
#include "wire/homie.h"
#include "wire/topic.h"

/* Who takes what the engine asks for. Any may be NULL. */
struct pump_sinks {
    void *context;
    /* One line of a trace: stage name and text. NULL switches tracing off. */
    void (*trace)(void *context, const char *stage, const char *text);
    void (*effect)(void *context, const struct effect *e);
    /* The answer to a command: JSON text; the message it answers. */
    void (*answer)(void *context, const struct message *m, const char *json, size_t n);
    /* What came of a set of the Homie tree. */
    void (*set)(void *context, const struct homie_set *set, enum status st, const char *sentence);
    struct notebook_source journal; /* find NULL: the pump remembers its own */
};

struct pump_counts {
    uint64_t messages, nobodys, commands, commands_refused;
    uint64_t left_out; /* values beyond what one message may carry */
};

#define PUMP_ANSWER_MAX 2048
#define PUMP_RECENT_MAX 8

/* A request that must not be carried out twice, and what was answered. */
struct pump_request {
    uint64_t sum; /* of all that makes it the same; 0: none */
    mono_t at;
    size_t n;
    char answer[PUMP_ANSWER_MAX];
};

struct pump {
    struct site *site; /* learnt figures stand in it */
    struct arena arena;
    struct topics *topics;
    struct engine *engine;
    struct pump_sinks sinks;
    struct pump_counts counts;
    char do_prefix[300]; /* BASE/do/ */
    struct notebook notebook;
    struct pump_request recent[PUMP_RECENT_MAX];
    int recent_next;
    struct effects fx; /* last: large, and mostly never touched */
};

void pump_init(struct pump *p, struct site *site, const struct pump_sinks *sinks, struct now now);
void pump_fini(struct pump *p);

/* One message, at its own hand-over time. What is due at that very instant runs with the next message or
 * pump_advance. */
void pump_message(struct pump *p, const struct message *m);

/* Time passes. */
void pump_advance(struct pump *p, struct now now);
mono_t pump_deadline(const struct pump *p);

/* The service about itself. */
void pump_service(struct pump *p, enum alert_kind kind, bool wrong, const char *evidence, struct now now);

/* Another configuration: the state goes over. The old site may be freed after. */
void pump_reload(struct pump *p, struct site *site, struct now now);

#endif
