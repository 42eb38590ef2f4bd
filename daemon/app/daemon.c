#include "app/daemon.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/eventfd.h>
#include <sys/signalfd.h>
#include <time.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/files.h"
#include "adapters/log.h"
#include "adapters/sd.h"
#include "adapters/store_calibration.h"
#include "adapters/store_device.h"
#include "config/load.h"

#define BATCH_MOST     256 /* records between two looks at the clock */
#define RING_PROBE_KIB 8   /* room in the ring for each probe, where store.inbox_kib is less */
#define URGENT_MOST    32  /* alerts and journal entries that are committed together */
#define LOOK_EVERY_MS  50
#define FLOOD_PER_S    4000   /* readings a second from which the loop lets them gather */
#define GATHER_NS      500000 /* that long; alerts wait as long */
#define CLOSE_WAIT_MS  3000
#define RING_WAIT_MS   200 /* the client's lock is held meanwhile: publishing waits too */
#define SLEEP_MOST_MS  10000
#define LAST_BATCHES   200

/* --- effects of the engine --- */

struct anew {
    struct daemon *d;
    int stream;
};

static double value_anew(void *context, double sent, double temp_c)
{
    const struct anew *anew = context;
    return engine_recompute(anew->d->pump.engine, anew->stream, sent, temp_c);
}

/* What is stored from that time on is reckoned with the calibration that counts now. */
static void reckon_anew(struct daemon *d, int stream, utc_t from, utc_t to)
{
    struct anew anew = { d, stream };
    uint64_t committed;
    int64_t changed = 0;
    enum status st = store_commit(d->store, d->seq, d->now, true, &committed);
    if (st == STATUS_OK)
        st = store_recompute(d->store, stream, from, to, value_anew, &anew, &changed);
    if (st == STATUS_OK)
        log_say(LOG_AT_NOTICE, "%s: %lld stored readings reckoned anew", d->site->streams[stream].name,
                (long long)changed);
    else
        log_say(LOG_AT_WARNING, "%s: stored readings could not be reckoned anew now; ask again later",
                d->site->streams[stream].name);
}

static void take_calibration(struct daemon *d, const struct effect *e)
{
    int stream = e->u.calib.stream;
    enum status st = e->u.calib.undone ? store_undo_calibration(d->store, stream)
                                       : store_put_calibration(d->store, stream, &e->u.calib.calib);
    if (st == STATUS_IO)
        log_say(LOG_AT_WARNING,
                "%s: the calibration holds now, but could not be stored: it is lost at a restart",
                d->site->streams[stream].name);
    if (utc_is_set(e->u.calib.back_to))
        reckon_anew(d, stream, e->u.calib.back_to, e->t);
}

static void take_device(struct daemon *d, const struct effect *e)
{
    if (store_put_device(d->store, e->u.device.stream, e->u.device.id, e->u.device.since) != STATUS_OK)
        log_say(LOG_AT_WARNING, "%s: the device %s counts now, but could not be stored",
                d->site->streams[e->u.device.stream].name, e->u.device.id);
}

static void on_effect(void *context, const struct effect *e)
{
    struct daemon *d = context;
    if (d->seq < d->safe)
        return; /* records after the snapshot, run again: stored and told already */
    if (e->kind == EFFECT_READING) {
        if (d->homie.tree != NULL)
            homie_tree_effect(d->homie.tree, e);
        store_put_reading(d->store, &e->u.reading);
        return;
    }
    publisher_effect(&d->publisher, &d->pump, e);
    if (d->homie.tree != NULL)
        homie_tree_effect(d->homie.tree, e);
    if (e->kind == EFFECT_ALERT && !alert_is_news(&e->u.alert.alert, e->u.alert.change))
        return;
    if (e->kind == EFFECT_ALERT) {
        store_hold_alert(d->store, &e->u.alert.alert, e->u.alert.change, e->t, e->u.alert.announce);
        courier_effect(&d->courier, e);
        d->urgent++;
    } else if (e->kind == EFFECT_EVENT) {
        store_hold_event(d->store, &e->u.event, e->t);
        courier_effect(&d->courier, e);
    } else if (e->kind == EFFECT_CALIB) {
        take_calibration(d, e);
    } else if (e->kind == EFFECT_DEVICE) {
        take_device(d, e);
    } else if (e->kind == EFFECT_JOURNAL) {
        store_hold_journal(d->store, &e->u.journal, e->t);
        d->urgent++;
    }
}

static void on_answer(void *context, const struct message *m, const char *json, size_t n)
{
    struct daemon *d = context;
    char topic[MESSAGE_REPLY_MAX + 1];
    if (d->mqtt == NULL)
        return;
    enum status st;
    if (m->reply_topic != NULL && m->reply_topic_len < sizeof topic) {
        memcpy(topic, m->reply_topic, m->reply_topic_len);
        topic[m->reply_topic_len] = '\0';
        st = mqtt_answer(d->mqtt, topic, json, n, m->correlation, m->correlation_len);
    } else {
        snprintf(topic, sizeof topic, "%s/done", d->site->publish.base);
        st = mqtt_publish(d->mqtt, topic, json, n, 1, false, 0);
    }
    if (st != STATUS_OK)
        log_change(LOG_AT_INFO, "answer", "the answer to a command could not be published");
}

static void on_set(void *context, const struct homie_set *set, enum status st, const char *sentence)
{
    struct daemon *d = context;
    if (d->homie.tree != NULL)
        homie_tree_set(d->homie.tree, set, st, sentence, d->now);
}

bool daemon_send(void *context, const char *topic, const char *payload, size_t n, bool retain,
                 uint32_t expiry_s)
{
    struct daemon *d = context;
    if (d->mqtt != NULL && mqtt_publish(d->mqtt, topic, payload, n, 1, retain, expiry_s) == STATUS_OK)
        return true;
    log_change(LOG_AT_DEBUG, "publish", "not published now; everything goes out at the next connection");
    return false;
}

/* Receiving thread: nothing but the hand-over. A command that is too long goes on cut, to be refused in a
 * sentence; what else is too long is only counted. */
static bool on_message(void *context, const struct message *m)
{
    struct daemon *d = context;
    struct message cut = *m;
    if (m->payload_len > MESSAGE_PAYLOAD_MAX && memmem(m->topic, m->topic_len, "/do/", 4) != NULL)
        cut.payload_len = MESSAGE_PAYLOAD_MAX;
    enum status st = inbox_put(d->inbox, &cut, RING_WAIT_MS);
    return st == STATUS_OK || st == STATUS_INVALID;
}

/* --- opening and closing --- */

static enum status open_fds(struct daemon *d, struct why *why)
{
    sigset_t signals;
    sigemptyset(&signals);
    sigaddset(&signals, SIGTERM);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGHUP);
    sigprocmask(SIG_BLOCK, &signals, NULL);
    signal(SIGPIPE, SIG_IGN);
    d->signal_fd = signalfd(-1, &signals, SFD_CLOEXEC | SFD_NONBLOCK);
    d->event_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    d->epoll_fd = epoll_create1(EPOLL_CLOEXEC);
    const int fds[] = { d->signal_fd, d->event_fd, inbox_fd(d->inbox) };
    for (unsigned i = 0; i < sizeof fds / sizeof *fds; i++) {
        struct epoll_event event = { .events = EPOLLIN, .data.fd = fds[i] };
        if (fds[i] < 0 || epoll_ctl(d->epoll_fd, EPOLL_CTL_ADD, fds[i], &event) != 0)
            return why_say(why, STATUS_IO, "cannot set up waiting for events: %s", strerror(errno));
    }
    return STATUS_OK;
}

void daemon_watch_courier(struct daemon *d)
{
    struct epoll_event event = { .events = EPOLLIN, .data.fd = courier_fd(&d->courier) };
    if (event.data.fd >= 0 && epoll_ctl(d->epoll_fd, EPOLL_CTL_ADD, event.data.fd, &event) != 0)
        log_say(LOG_AT_WARNING, "the end of a notify command is seen late: %s", strerror(errno));
}

/* The more probes, the larger the snapshot, and the more should come between two of them. */
static size_t ring_bytes(const struct site *site)
{
    size_t kib = (size_t)site->store.inbox_kib, wanted = (size_t)site->stream_count * RING_PROBE_KIB;
    return 1024 * (site->store.sync == STORE_SYNC_EVERY || kib > wanted ? kib : wanted);
}

static enum status open_inbox(struct daemon *d, struct why *why)
{
    char path[512];
    bool every = d->site->store.sync == STORE_SYNC_EVERY;
    if (every)
        snprintf(path, sizeof path, "%s.inbox", d->site->store.path);
    else
        snprintf(path, sizeof path, "%s/inbox", d->site->store.runtime_dir);
    enum status st = inbox_open(path, ring_bytes(d->site), d->site->store.sync, &d->inbox, why);
    if (st == STATUS_OK && why->text[0] != '\0')
        log_say(LOG_AT_WARNING, "%s", why->text);
    return st;
}

static enum status open_store(struct daemon *d, struct why *why)
{
    char lock[512];
    snprintf(lock, sizeof lock, "%s.lock", d->site->store.path);
    enum status st = files_lock(lock, &d->lock_fd, why);
    if (st == STATUS_REFUSED)
        return st;
    if (st != STATUS_OK)
        log_say(LOG_AT_WARNING, "%s", why->text);
    why->text[0] = '\0';
    st = store_open(d->site, &d->store, why);
    if (d->store == NULL)
        return st;
    if (why->text[0] != '\0')
        log_say(LOG_AT_WARNING, "%s", why->text);
    clock_trust_after(store_newest(d->store));
    return STATUS_OK;
}

static enum status open_mqtt(struct daemon *d, struct why *why)
{
    const char *filters[DAEMON_FILTERS_MAX];
    int qos[DAEMON_FILTERS_MAX];
    char commands[600], will_topic[300], will[128], session[520];
    int count = daemon_filters(d->site, filters, qos, DAEMON_FILTERS_MAX, commands, sizeof commands);
    publisher_will(d->site, will_topic, sizeof will_topic, will, sizeof will);
    snprintf(session, sizeof session, "%s.session", d->site->store.path);
    struct mqtt_options options = { .broker = &d->site->broker,
                                    .session_file = session,
                                    .filters = filters,
                                    .filter_qos = qos,
                                    .filter_count = count,
                                    .will_topic = will_topic,
                                    .will_payload = will,
                                    .on_message = on_message,
                                    .context = d,
                                    .event_fd = d->event_fd };
    return mqtt_open(&options, &d->mqtt, why);
}

static enum status open_homie(struct daemon *d, struct why *why)
{
    d->homie = (struct homie_link){
        .store = d->store, .inbox = d->inbox, .event_fd = d->event_fd, .ring_wait_ms = RING_WAIT_MS
    };
    return homie_link_open(&d->homie, d->site, why);
}

static void load_calibration(void *context, int stream, const struct calib *c)
{
    struct daemon *d = context;
    engine_calibrate(d->pump.engine, stream, c);
}

static void load_device(void *context, int stream, const char *device, utc_t since)
{
    struct daemon *d = context;
    engine_device(d->pump.engine, stream, device, since);
}

/* The store is right unless the ring still holds commands that it has seen already: they run again on top of
 * the snapshot, which has calibrations and devices too. */
void daemon_load_calibrations(struct daemon *d)
{
    if (d->seq < d->safe && d->seq > 0 && inbox_counts(d->inbox).waiting_records > 0)
        return;
    engine_uncalibrate(d->pump.engine);
    if (store_each_device(d->store, load_device, d) != STATUS_OK)
        log_say(LOG_AT_WARNING, "the devices could not be read from the store");
    if (store_each_calibration(d->store, load_calibration, d) != STATUS_OK)
        log_say(LOG_AT_WARNING,
                "calibrations could not be read from the store; those of the configuration hold");
}

static void load_ghosts(struct daemon *d)
{
    uint8_t *bytes = NULL;
    size_t n = store_load_state(d->store, "published", &bytes);
    char *ghosts = n == 0 ? NULL : strndup((const char *)bytes, n);
    free(bytes);
    publisher_init(&d->publisher, d->site, daemon_send, d, ghosts, d->now);
    announcer_init(&d->announcer, d->site, d->store, daemon_send, d);
}

enum status daemon_open(struct daemon *d, const char *conf_path, struct why *why)
{
    struct config_faults *faults = calloc(1, sizeof *faults);
    d->conf_path = conf_path;
    d->epoll_fd = d->event_fd = d->signal_fd = d->lock_fd = -1;
    if (faults == NULL)
        return why_say(why, STATUS_IO, "no memory");
    enum status st = announcer_load(conf_path, &d->site, faults);
    faults_print(faults);
    free(faults);
    if (st != STATUS_OK)
        return why_say(why, STATUS_INVALID, "%s is at fault; not started", conf_path);
    if ((st = files_make_dirs(d->site->store.runtime_dir, 0750, why)) != STATUS_OK)
        return st;
    if ((st = open_store(d, why)) != STATUS_OK || (st = open_inbox(d, why)) != STATUS_OK ||
        (st = open_fds(d, why)) != STATUS_OK)
        return st;
    if (d->site->timezone != NULL)
        clock_set_timezone(d->site->timezone);
    d->now = clock_now();
    d->echo_at = d->now.mono;
    d->held_back_at = MONO_NONE;
    wear_init(&d->wear);
    d->kept_at = d->kept_whole_at = d->now.mono;
    load_ghosts(d);
    courier_init(&d->courier, d->site, d->store, d->now);
    daemon_watch_courier(d);
    pulse_init(&d->pulse, d->site, d->now);
    struct pump_sinks sinks = {
        .context = d, .effect = on_effect, .answer = on_answer, .set = on_set, .journal = daemon_journal(d)
    };
    pump_init(&d->pump, d->site, &sinks, d->now);
    snapshot_restore(d);
    inbox_rewind(d->inbox, d->seq);
    daemon_load_calibrations(d);
    daemon_recall_journal(d);
    if ((st = open_mqtt(d, why)) != STATUS_OK)
        return st;
    return open_homie(d, why);
}

void daemon_close(struct daemon *d)
{
    d->now = clock_now();
    if (d->mqtt != NULL) {
        publisher_offline(&d->publisher, d->now);
        homie_link_close(&d->homie, CLOSE_WAIT_MS);
        mqtt_close(d->mqtt, CLOSE_WAIT_MS);
    }
    d->mqtt = NULL;
    if (d->pump.engine != NULL) {
        uint64_t committed = 0;
        if (store_commit_last(d->store, d->seq, d->now, &committed) == STATUS_OK && committed == d->seq)
            snapshot_save(d, SNAPSHOT_WHOLE);
        else
            log_say(LOG_AT_WARNING, "the last readings could not be committed; they stay in the ring");
        inbox_release(d->inbox, committed < d->saved_seq ? committed : d->saved_seq);
        pump_fini(&d->pump);
        courier_fini(&d->courier);
        pulse_fini(&d->pulse);
        publisher_fini(&d->publisher);
        announcer_fini(&d->announcer);
    }
    if (d->inbox != NULL)
        inbox_close(d->inbox);
    if (d->store != NULL)
        store_close(d->store);
    const int fds[] = { d->epoll_fd, d->event_fd, d->signal_fd, d->lock_fd };
    for (unsigned i = 0; i < sizeof fds / sizeof *fds; i++)
        if (fds[i] >= 0)
            close(fds[i]);
    site_free(d->site);
}

/* --- the loop --- */

static void save_published(struct daemon *d)
{
    if (!d->publisher.list_changed || d->mqtt == NULL)
        return;
    char *list = publisher_list(&d->publisher);
    if (list != NULL && store_save_state(d->store, "published", list, strlen(list)) == STATUS_OK)
        d->publisher.list_changed = false;
    free(list);
}

/* Commits what is due. A snapshot is only taken of what is committed: the ring is handed out again from the
 * snapshot on, so nothing before it may exist in memory alone. Room in the ring is given back up to the
 * snapshot. */
static void settle(struct daemon *d)
{
    uint64_t committed = 0;
    struct inbox_counts inbox = inbox_counts(d->inbox);
    bool filling = inbox.used_bytes > inbox.size_bytes / 4 * 3, urgent = d->urgent > 0;
    bool time_to_save = snapshot_is_time(d, filling);
    if (store_commit(d->store, d->seq, d->now, urgent || (filling && time_to_save), &committed) == STATUS_OK)
        d->urgent = 0;
    save_published(d);
    /* An alert that a timer raised moved the state without a record. */
    d->unsaved = d->unsaved || urgent;
    d->news = d->news || urgent;
    bool due = snapshot_is_urgent(d) || (d->seq != d->saved_seq && time_to_save);
    bool given_up = filling && store_counts(d->store).failing; /* warning goes before history */
    if (due && (committed == d->seq || (given_up && time_to_save)))
        snapshot_save(d, committed == d->seq ? snapshot_keep_due(d) : SNAPSHOT_NEAR);
    if (d->saved_seq > 0)
        inbox_release(d->inbox, given_up || d->saved_seq < committed ? d->saved_seq : committed);
}

static bool is_own_beat(const struct daemon *d, const struct message *m)
{
    static const char name[] = "/heartbeat";
    size_t base = strlen(d->site->publish.base), n = sizeof name - 1;
    return m->topic_len == base + n && memcmp(m->topic + base, name, n) == 0 &&
           memcmp(m->topic, d->site->publish.base, base) == 0;
}

static bool take_batch(struct daemon *d)
{
    struct message m;
    uint64_t seq;
    /* While the store fails, they wait longer than a batch. */
    int waited = d->urgent;
    for (int i = 0; i < BATCH_MOST && d->urgent - waited < URGENT_MOST; i++) {
        if (inbox_next(d->inbox, &m, &seq) != STATUS_OK)
            return true;
        m.expired =
            m.expiry_left_s > 0 && d->now.mono.ms - m.now.mono.ms >= (int64_t)m.expiry_left_s * MS_PER_S;
        d->seq = seq - 1; /* effects of this record count as stored only when it is */
        if (is_own_beat(d, &m))
            d->echo_at = m.now.mono;
        else
            pump_message(&d->pump, &m);
        d->seq = seq;
    }
    return false;
}

/* True when the ring was emptied. Alerts of one batch, a few milliseconds at most, are committed together. */
static bool drain(struct daemon *d)
{
    bool empty = take_batch(d);
    if (d->urgent > 0)
        settle(d);
    return empty;
}

static void tell_test(struct daemon *d)
{
    struct effect e = { .kind = EFFECT_EVENT, .t = d->now.utc };
    if (!courier_take_test(&d->courier, &e.u.event))
        return;
    publisher_effect(&d->publisher, &d->pump, &e);
    store_hold_event(d->store, &e.u.event, e.t);
}

static void publish_due(struct daemon *d, const struct publisher_news *news)
{
    publisher_advance(&d->publisher, &d->pump, news, d->now);
    announcer_advance(&d->announcer);
    homie_link_look(&d->homie, d->pump.engine, d->now, daemon_send, d);
}

/* What need not be looked at with every message: the service itself, tanks and status that are due. */
static void look_around(struct daemon *d, bool empty)
{
    int64_t past_ms = d->now.mono.ms - d->looked_at.ms;
    d->flooded = (int64_t)(d->seq - d->looked_seq) * MS_PER_S > FLOOD_PER_S * past_ms;
    d->looked_seq = d->seq;
    struct publisher_news news = { .store = store_counts(d->store),
                                   .inbox = inbox_counts(d->inbox),
                                   .link = mqtt_state(d->mqtt) };
    selfwatch_progress(d, &news, empty);
    selfwatch_wear(d, &news);
    d->looked_at = d->now.mono;
    d->link_seen = news.link.link;
    if (empty)
        selfwatch_judge(d, &news);
    /* The client's lock may be held by a hand-over that waits for room: first make room. Alerts do not wait.
     */
    if (news.inbox.used_bytes < news.inbox.size_bytes / 4 * 3)
        publish_due(d, &news);
    selfwatch_tell_manager(d, &news);
    if (empty)
        store_tend(d->store, d->now);
}

static void tell_everything(struct daemon *d)
{
    publisher_connected(&d->publisher, &d->pump, d->now);
    announcer_connected(&d->announcer);
}

static void wake(struct daemon *d)
{
    d->now = clock_now();
    bool empty = drain(d);
    mqtt_advance(d->mqtt, d->now);
    if (empty)
        pump_advance(&d->pump, d->now);
    if (mqtt_take_connected(d->mqtt))
        tell_everything(d);
    homie_link_advance(&d->homie, d->pump.engine, d->now);
    if (d->now.mono.ms - d->looked_at.ms >= LOOK_EVERY_MS || mqtt_state(d->mqtt).link != d->link_seen)
        look_around(d, empty);
    courier_advance(&d->courier, &d->pump, d->now);
    pulse_advance(&d->pulse, d->progress, d->now);
    tell_test(d);
    settle(d);
}

static int sleep_ms(const struct daemon *d)
{
    mono_t due = mono_add(d->now.mono, SLEEP_MOST_MS);
    due = mono_min(due, pump_deadline(&d->pump));
    due = mono_min(due, mqtt_deadline(d->mqtt));
    due = mono_min(due, store_deadline(d->store));
    due = mono_min(due, snapshot_deadline(d));
    due = mono_min(due, courier_deadline(&d->courier));
    due = mono_min(due, pulse_deadline(&d->pulse));
    if (mqtt_state(d->mqtt).link == MQTT_UP || mqtt_state(d->mqtt).link == MQTT_DEAF)
        due =
            mono_min(due, mono_max(publisher_deadline(&d->publisher), mono_add(d->looked_at, LOOK_EVERY_MS)));
    if (d->announcer.pending)
        due = mono_min(due, mono_add(d->looked_at, LOOK_EVERY_MS));
    due = mono_min(due, mono_max(homie_link_deadline(&d->homie), mono_add(d->looked_at, LOOK_EVERY_MS)));
    struct inbox_counts inbox = inbox_counts(d->inbox);
    if (inbox.waiting_records > 0)
        return 0;
    /* Emptied but not yet given back: a hand-over may be waiting for that room. */
    if (inbox.used_bytes > inbox.size_bytes / 4 * 3)
        due = mono_min(due, mono_add(d->saved_at, SNAPSHOT_FILLING_MS));
    int64_t ms = due.ms - clock_now().mono.ms;
    return ms < 0 ? 0 : (int)ms;
}

/* A wake-up for every few messages costs both threads more than the messages do. */
static void let_gather(const struct daemon *d)
{
    const struct timespec nap = { .tv_nsec = GATHER_NS };
    if (d->flooded)
        nanosleep(&nap, NULL);
}

static void empty_fd(int fd)
{
    uint64_t n;
    if (read(fd, &n, sizeof n) < 0 && errno != EAGAIN)
        log_change(LOG_AT_ERROR, "eventfd", "reading an event: %s", strerror(errno));
}

static void take_signal(struct daemon *d)
{
    struct signalfd_siginfo info;
    while (read(d->signal_fd, &info, sizeof info) == (ssize_t)sizeof info) {
        if (info.ssi_signo == SIGHUP)
            d->reloading = true;
        else
            d->stopping = true;
    }
}

void daemon_run(struct daemon *d)
{
    struct epoll_event events[8];
    while (!d->stopping) {
        wake(d);
        int ms = sleep_ms(d);
        int n = epoll_wait(d->epoll_fd, events, 8, ms);
        for (int i = 0; i < n; i++) {
            if (events[i].data.fd == d->signal_fd)
                take_signal(d);
            else if (events[i].data.fd == inbox_fd(d->inbox))
                let_gather(d); /* drain empties it */
            else if (events[i].data.fd != courier_fd(&d->courier))
                empty_fd(events[i].data.fd);
        }
        if (d->reloading) {
            d->reloading = false;
            daemon_reload(d);
        }
    }
    sd_tell_stopping();
    d->now = clock_now();
    /* In a flood it never ends; what is left stays in the ring. */
    for (int i = 0; i < LAST_BATCHES && !drain(d); i++)
        continue;
}
