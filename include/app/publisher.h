/* What goes out to the broker and when: derived state retained, events once, the service's own state.
 * Remembers what it has published, so that what disappears is withdrawn and a new connection gets everything
 * again. */
#ifndef LENTIC_APP_PUBLISHER_H
#define LENTIC_APP_PUBLISHER_H

#include "adapters/inbox.h"
#include "adapters/mqtt.h"
#include "adapters/store.h"
#include "app/planner.h"
#include "app/pump.h"
#include "wire/encode.h"

/* Publishes at QoS 1; false when it cannot be done now. */
typedef bool publisher_send(void *context, const char *topic, const char *payload, size_t n, bool retain,
                            uint32_t expiry_s);

#define PUBLISHER_KEPT       64
#define PUBLISHER_KEPT_BYTES 1536

/* Of a retained alert. One that was taken back is taken back once more on the next connection: on one that
 * was dying the word may have got lost, and then it would stand for ever. */
enum publisher_out { OUT_NOT, OUT_STANDS, OUT_TAKEN_BACK };

struct publisher {
    const struct site *site;
    publisher_send *send; /* NULL: nothing goes out */
    void *context;
    bool *tank_dirty;
    mono_t *tank_sent;
    mono_t tanks_due;              /* the soonest of them */
    int next_tank;                 /* the first that is looked at */
    enum alert_change *alert_last; /* what was last told of each alert: a new connection hears it again */
    enum publisher_out *alert_out;
    bool list_changed; /* the list of retained topics is to be saved */
    char *ghosts;      /* retained topics of an earlier run, one a line; withdrawn at the next connection */
    char *withdrawn;   /* and once more at the one after */
    char (*kept)[PUBLISHER_KEPT_BYTES]; /* events that could not go out yet, a ring; the oldest gives way */
    int kept_first, kept_count;
    mono_t status_due, beat_due;
    mono_t beat_sent; /* the last one; MONO_NONE */
    struct now started;
    uint64_t beats;
    struct planner planner;
    char buf[ENCODE_DOCUMENT_MAX];
};

/* ghosts: a list that an earlier publisher_list gave, NULL for none; taken over. */
void publisher_init(struct publisher *p, const struct site *site, publisher_send *send, void *context,
                    char *ghosts, struct now now);
void publisher_fini(struct publisher *p);

/* An effect of the engine; alerts and events go out at once, tanks at the next publisher_advance. */
void publisher_effect(struct publisher *p, const struct pump *pump, const struct effect *e);

/* A new connection stands: everything again. */
void publisher_connected(struct publisher *p, const struct pump *pump, struct now now);

struct publisher_news {
    struct store_counts store;
    struct inbox_counts inbox;
    struct mqtt_state link;
    bool progress;                      /* intake, store and rules go forward */
    int64_t disk_bytes, disk_bytes_day; /* written since the start, and in a day; -1: not known */
};

/* Tanks that are due, not too many at once. */
void publisher_tanks(struct publisher *p, const struct pump *pump, struct now now);

/* Tanks, status and heartbeat that are due; nothing while the broker is not reached. */
void publisher_advance(struct publisher *p, const struct pump *pump, const struct publisher_news *news,
                       struct now now);
mono_t publisher_deadline(const struct publisher *p);

/* Clean stop: the retained status says offline. */
void publisher_offline(struct publisher *p, struct now now);

/* {"state":"offline",...}: the will. */
void publisher_will(const struct site *site, char *topic, size_t topic_cap, char *payload,
                    size_t payload_cap);

/* The retained topics that stand at the broker now, one a line; the caller frees. NULL without memory. */
char *publisher_list(const struct publisher *p);

#endif
