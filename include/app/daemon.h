/* The daemon: everything joined. One thread of ours besides the receiving one; it sleeps until a message, a
 * deadline or a signal. (The store has one that syncs: adapters/store_log.) */
#ifndef LENTIC_APP_DAEMON_H
#define LENTIC_APP_DAEMON_H

#include "adapters/inbox.h"
#include "adapters/mqtt.h"
#include "adapters/store.h"
#include "app/announcer.h"
#include "app/courier.h"
#include "app/homie_link.h"
#include "app/publisher.h"
#include "app/pulse.h"
#include "app/pump.h"
#include "base/wear.h"
#include "config/load.h"

struct daemon {
    const char *conf_path;
    struct site *site;
    struct store *store; /* NULL only when memory for it was refused */
    struct inbox *inbox;
    struct mqtt *mqtt;
    struct pump pump;
    struct publisher publisher;
    struct courier courier;
    struct pulse pulse;
    bool progress; /* intake, store and rules go forward */
    struct wear wear;
    struct homie_link homie;
    struct announcer announcer;
    uint64_t seq;       /* last record that went through the pump */
    uint64_t safe;      /* committed when we started: effects up to it are in the store already */
    uint64_t saved_seq; /* the snapshot on tmpfs holds the state as of it */
    mono_t saved_at, kept_at, kept_whole_at, alive_at;
    int64_t save_ms;  /* that the last snapshot took */
    bool unsaved;     /* an alert or entry has come since the last snapshot, */
    bool news;        /* since the last one in the store */
    mono_t looked_at; /* at link, store and ring, and what is due for publishing */
    uint64_t looked_seq;
    enum mqtt_link link_seen;
    bool flooded;           /* more messages a second than are worth a wake-up each */
    int urgent;             /* alerts and journal entries that wait for their commit */
    uint64_t beat_seen_seq; /* position at the last heartbeat */
    uint64_t held_back;     /* messages for which the ring had no room, and when there was the last */
    mono_t held_back_at;
    mono_t echo_at; /* our own heartbeat last came back */
    struct now now; /* of this wake-up */
    int epoll_fd, event_fd, signal_fd, lock_fd;
    bool stopping, reloading;
};

/* Opens everything; d is zeroed. STATUS_INVALID: the configuration is at fault (told on standard error).
 * STATUS_REFUSED, STATUS_IO: why. */
enum status daemon_open(struct daemon *d, const char *conf_path, struct why *why) LENTIC_CHECKED;

/* Runs until SIGTERM or SIGINT. */
void daemon_run(struct daemon *d);

void daemon_close(struct daemon *d);

/* record.c: the journal in the store; into a fresh engine what it needs of it. */
struct notebook_source daemon_journal(struct daemon *d);
void daemon_recall_journal(struct daemon *d);

publisher_send daemon_send;

/* Into a fresh engine: what the store knows goes before the configuration. */
void daemon_load_calibrations(struct daemon *d);

/* snapshot.c: the engine's state beside the ring (exact after any death of the process) and, hourly without
 * the probes, daily whole, in the store. */
#define SNAPSHOT_FILLING_MS 100 /* while the ring fills faster than it is given back */
enum snapshot_keep { SNAPSHOT_NEAR, SNAPSHOT_BRIEF, SNAPSHOT_DAILY, SNAPSHOT_WHOLE };
void snapshot_restore(struct daemon *d);
void snapshot_save(struct daemon *d, enum snapshot_keep also);
bool snapshot_is_time(const struct daemon *d, bool filling); /* filling: the ring is */
bool snapshot_is_urgent(const struct daemon *d);             /* an alert waits for it */
mono_t snapshot_deadline(const struct daemon *d);            /* for that alert */
enum snapshot_keep snapshot_keep_due(const struct daemon *d);

/* The loop wakes when the notify command ends; again after every courier_init. */
void daemon_watch_courier(struct daemon *d);

/* selfwatch.c: empty: the ring is. Fills news->progress and d->progress; raises and ends the service's own
 * alerts. */
void selfwatch_progress(struct daemon *d, struct publisher_news *news, bool empty);
void selfwatch_wear(struct daemon *d, struct publisher_news *news);
void selfwatch_judge(struct daemon *d, const struct publisher_news *news);
void selfwatch_tell_manager(struct daemon *d, const struct publisher_news *news);

/* reload.c */
void daemon_reload(struct daemon *d);
enum status daemon_subscribe(struct daemon *d);
int daemon_filters(const struct site *site, const char **filters, int *qos, int cap, char *command_filter,
                   size_t n);
void faults_print(const struct config_faults *faults);

#define DAEMON_FILTERS_MAX (SITE_FILTERS_MAX + 2) /* and its own: commands, heartbeat */

#endif
