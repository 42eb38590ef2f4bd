/* The tree of wire/homie at the broker: what goes out when, in the order of the convention. A device is set
 * up as init, description, values, alerts, what is dropped, ready; children before the root. It carries on
 * where it stopped when the sender had no room. Remembers, as text, what stands at the broker, so that
 * another configuration or another run withdraws what is no more and versions only grow. */
#ifndef LENTIC_APP_HOMIE_TREE_H
#define LENTIC_APP_HOMIE_TREE_H

#include "engine/engine.h"
#include "wire/homie.h"

struct homie_sinks {
    void *context;
    /* At QoS 1; false when there is no room or no link now. */
    bool (*send)(void *context, const char *topic, const char *payload, size_t n, bool retain);
    /* What stands, or is about to, at the broker; kept for the next run. */
    void (*save)(void *context, const char *memory, size_t n);
};

enum homie_phase {
    HOMIE_RESTING, /* ready */
    HOMIE_BEGIN,
    HOMIE_DESCRIBE,
    HOMIE_VALUES,
    HOMIE_ALERTS,
    HOMIE_DROP,
    HOMIE_END
};

struct homie_slot {
    struct homie_property property;
    uint64_t told, target_told; /* checksums, 0: nothing yet */
    double number;
    mono_t at; /* when told */
};

/* What can be set: the last target, and what it came to. */
struct homie_setting {
    char target[HOMIE_SET_MAX];
    utc_t until; /* of shelf or window, UTC_NONE */
    int minutes;
    bool taken; /* a set was accepted: the end that the engine now names is its */
};

struct homie_device {
    int place; /* HOMIE_ROOT */
    char id[HOMIE_ID_MAX];
    struct homie_known known;
    struct homie_slot slots[HOMIE_PROPERTIES_MAX];
    int count;
    int64_t version;
    uint64_t content; /* checksum of the description without its version, 0: never described */
    char *topics;     /* below the device, one a line: what its last description left at the broker */
    enum homie_phase phase;
    int at;
    bool dirty, urgent;
    mono_t looked_at, unknown_since;
    int warned; /* refusals told since */
    mono_t warned_since;
    struct homie_setting acknowledge, shelve, window;
    mono_t acknowledged_until;
};

struct homie_tree {
    const struct site *site;
    struct homie_sinks sinks;
    struct homie_device *devices; /* the root is the last */
    int count;
    int *device_of; /* [place] */
    uint64_t *alert_told;
    bool connected, ghosts_last, memory_changed;
    bool undescribed;    /* some device has what its description does not name */
    mono_t described_at; /* devices were last described anew */
    mono_t due;          /* the soonest of all devices */
    int next;            /* device that is looked at first */
    char *ghosts;        /* full topics to withdraw, one a line */
    char *withdrawn;     /* and once more on the next connection */
    struct homie_view view;
    char *buf; /* of one description */
    size_t description_room;
};

/* memory: what an earlier tree saved, NULL for nothing. Out of memory ends the process. */
struct homie_tree *homie_tree_init(const struct site *site, const struct homie_sinks *sinks,
                                   const char *memory);
void homie_tree_fini(struct homie_tree *t);

void homie_tree_effect(struct homie_tree *t, const struct effect *e);

/* A new connection stands, its set topics are subscribed: everything from the beginning. */
void homie_tree_connected(struct homie_tree *t, const struct engine *engine, struct now now);
void homie_tree_lost(struct homie_tree *t);

/* Another configuration on the connection that stands: only what differs. */
void homie_tree_reloaded(struct homie_tree *t, const struct engine *engine, struct now now);

/* What came of a set: its target at once, its value with the next advance; a refusal on $log/warn, at
 * most ten of a device in ten seconds. */
void homie_tree_set(struct homie_tree *t, const struct homie_set *set, enum status st, const char *sentence,
                    struct now now);

/* Sends what is due. */
void homie_tree_advance(struct homie_tree *t, const struct engine *engine, struct now now);
mono_t homie_tree_deadline(const struct homie_tree *t);

/* Clean stop: every child is disconnected, then the root. */
void homie_tree_stop(struct homie_tree *t);

/* homie_look.c: into t->view; ends of shelves and windows into their settings. */
void homie_look(struct homie_tree *t, struct homie_device *d, const struct engine *engine, struct now now);

/* homie_memory.c. The caller frees; NULL without memory. */
char *homie_memory_format(const struct homie_tree *t);
void homie_memory_parse(struct homie_tree *t, const char *memory);
bool homie_memory_lists(const char *lines, const char *line, size_t n);
/* All topics that a memory names, in the order in which they are to be withdrawn, one a line. */
char *homie_memory_topics(const char *memory);

/* What the present description left at the broker, for the next one. */
void homie_memory_remember(struct homie_device *d);
bool homie_memory_has(const struct homie_device *d, const char *path); /* the present description */
/* Lists of topics, one a line: the first, false when there is none; without the first. */
bool homie_memory_first(const char *list, char *line, size_t cap);
void homie_memory_drop(char *list);

#endif
