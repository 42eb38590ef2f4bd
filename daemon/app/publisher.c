#include "app/publisher.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/log.h"
#include "app/ghosts.h"
#include "app/publisher_status.h"
#include "plan/source_facts.h"
#include "wire/encode_probes.h"
#include "wire/encode_source.h"
#include "wire/encode_week.h"
#include "wire/notes.h"

#define STATUS_EVERY_MS MS_PER_MIN
#define ALERTS_MOST     64
#define TOPIC_ROOM      384
#define TANKS_AT_ONCE   64  /* a room of thousands goes out in pieces, readings and alerts between them */
#define WAITING_MOST    128 /* so many wait for the broker: room for alerts is left */

void publisher_init(struct publisher *p, const struct site *site, publisher_send *send, void *context,
                    char *ghosts, struct now now)
{
    memset(p, 0, sizeof *p);
    p->site = site;
    p->send = send;
    p->context = context;
    p->ghosts = ghosts;
    p->list_changed =
        true; /* noted before anything is sent: nothing stands that the next run does not know of */
    p->started = now;
    planner_init(&p->planner, site);
    p->status_due = now.mono;
    p->beat_due = now.mono;
    p->beat_sent = MONO_NONE;
    p->tanks_due = MONO_NEVER;
    p->tank_dirty = calloc((size_t)site->tank_count + 1, sizeof *p->tank_dirty);
    p->tank_sent = calloc((size_t)site->tank_count + 1, sizeof *p->tank_sent);
    p->alert_out = calloc((size_t)site->alert_count + 1, sizeof *p->alert_out);
    p->kept = calloc(PUBLISHER_KEPT, sizeof *p->kept);
    p->alert_last = calloc((size_t)site->alert_count + 1, sizeof *p->alert_last);
    if (p->alert_last == NULL || p->kept == NULL || p->tank_dirty == NULL || p->tank_sent == NULL ||
        p->alert_out == NULL)
        abort();
    for (int i = 0; i < site->tank_count; i++)
        p->tank_sent[i] = MONO_NONE;
    for (int i = 0; i < site->alert_count; i++)
        p->alert_last[i] = CHANGE_UPDATE;
}

void publisher_fini(struct publisher *p)
{
    planner_fini(&p->planner);
    free(p->tank_dirty);
    free(p->tank_sent);
    free(p->alert_out);
    free(p->kept);
    free(p->alert_last);
    free(p->ghosts);
    free(p->withdrawn);
    p->withdrawn = NULL;
    p->tank_dirty = NULL;
    p->tank_sent = NULL;
    p->alert_out = NULL;
    p->ghosts = NULL;
}

static bool send(struct publisher *p, const char *topic, const char *payload, size_t n, bool retain,
                 uint32_t expiry_s)
{
    return p->send != NULL && p->send(p->context, topic, payload, n, retain, expiry_s);
}

static void tank_topic(const struct site *site, int tank, char *buf)
{
    snprintf(buf, TOPIC_ROOM, "%s/tank/%s", site->publish.base, site->tanks[tank].id);
}

static void alert_topic(const struct site *site, int slot, char *buf)
{
    snprintf(buf, TOPIC_ROOM, "%s/alert/%s", site->publish.base, site->alerts[slot].ref);
}

/* --- tanks --- */

/* False: nothing more can be sent now. */
static bool send_tank(struct publisher *p, const struct pump *pump, int tank, struct now now)
{
    struct tank_report report;
    struct alert alerts[ALERTS_MOST];
    char topic[TOPIC_ROOM];
    struct text out = text_over(p->buf, sizeof p->buf);
    engine_report_tank(pump->engine, tank, now, &report);
    int count = engine_report_alerts(pump->engine, p->site->tanks[tank].place, alerts, ALERTS_MOST);
    encode_tank(p->site, &report, planner_tank(&p->planner, pump, &report, now), alerts, count, &out);
    if (out.cut) { /* what is wrong goes before what is to be done */
        out = text_over(p->buf, sizeof p->buf);
        encode_tank(p->site, &report, NULL, alerts, count, &out);
    }
    tank_topic(p->site, tank, topic);
    if (out.cut)
        log_change(LOG_AT_WARNING, topic, "%s: the document is too long and was not published", topic);
    else if (!send(p, topic, p->buf, out.len, true, 0))
        return false;
    p->tank_sent[tank] = now.mono;
    p->tank_dirty[tank] = false;
    return true;
}

static mono_t tank_due(const struct publisher *p, int tank)
{
    double wait_s = p->tank_dirty[tank] ? p->site->publish.tank_least_s : p->site->publish.tank_every_s;
    if (!mono_is_set(p->tank_sent[tank]))
        return p->tank_dirty[tank] ? (mono_t){ 0 } : MONO_NEVER;
    return mono_add(p->tank_sent[tank], (int64_t)(wait_s * (double)MS_PER_S));
}

static void tank_is_dirty(struct publisher *p, int tank)
{
    if (p->tank_dirty[tank])
        return;
    p->tank_dirty[tank] = true;
    p->tanks_due = mono_min(p->tanks_due, tank_due(p, tank));
}

/* --- sources --- */

static void source_topic(const struct site *site, int source, char *buf)
{
    snprintf(buf, TOPIC_ROOM, "%s/source/%s", site->publish.base,
             site->places[site->sources[source].place].id);
}

static void send_source(struct publisher *p, const struct pump *pump, int source, struct now now)
{
    struct source_live live;
    struct source_water water;
    struct week_remark remarks[WEEK_REMARKS_MAX];
    char topic[TOPIC_ROOM];
    int count = 0;
    struct text out = text_over(p->buf, sizeof p->buf);
    planner_source(&p->planner, pump, source, now, &live, &water);
    source_facts_remarks(p->site, &water, remarks, &count);
    encode_source(p->site, &live, &water, remarks, count, &out);
    source_topic(p->site, source, topic);
    if (!out.cut)
        send(p, topic, p->buf, out.len, true, 0);
}

static void send_sources(struct publisher *p, const struct pump *pump, struct now now)
{
    for (int i = 0; i < p->site->source_count; i++)
        send_source(p, pump, i, now);
}

/* --- the room's week --- */

/* A room of many probes that were never calibrated is longer than any other document. */
static size_t plan_room(const struct week_room *w)
{
    return 4096 + (size_t)w->water_count * 2048 + (size_t)w->salt_count * 320 +
           (size_t)w->source_count * 900 + (size_t)w->calibration_count * 640 +
           (size_t)w->remark_count * 2 * WEEK_REMARK_TEXT;
}

static void send_plan(struct publisher *p, const struct pump *pump, struct now now)
{
    char topic[TOPIC_ROOM];
    const struct week_room *week = planner_room(&p->planner, pump, now);
    char *buf = week == NULL ? NULL : malloc(plan_room(week));
    if (buf == NULL)
        return;
    struct text out = text_over(buf, plan_room(week));
    snprintf(topic, sizeof topic, "%s/plan", p->site->publish.base);
    encode_week_room(p->site, week, &out);
    if (!out.cut)
        send(p, topic, buf, out.len, true, 0);
    free(buf);
}

/* --- alerts and events --- */

/* A service window marks every alert of its tank; those with nothing to say stay unseen. */
static bool stands(const struct alert *a)
{
    return a->base != ALERT_NORM || (a->marks & (ALERT_SHELVED | ALERT_OUT_OF_SERVICE)) != 0;
}

static void send_alert(struct publisher *p, const struct alert *a, enum alert_change change, bool announced,
                       utc_t t)
{
    char topic[TOPIC_ROOM];
    struct text out = text_over(p->buf, sizeof p->buf);
    alert_topic(p->site, a->index, topic);
    if (stands(a))
        encode_alert_document(p->site, a, change, announced, t, &out);
    enum publisher_out was = p->alert_out[a->index];
    enum publisher_out is = stands(a) ? OUT_STANDS : was == OUT_TAKEN_BACK ? OUT_NOT : OUT_TAKEN_BACK;
    if (send(p, topic, p->buf, out.len, true, 0) && was != is) {
        p->alert_out[a->index] = is;
        p->list_changed = true;
    }
}

static bool try_event(struct publisher *p, const char *json, size_t n)
{
    char topic[TOPIC_ROOM];
    snprintf(topic, sizeof topic, "%s/event", p->site->publish.base);
    return send(p, topic, json, n, false, 0);
}

/* An event is told once: while the broker is away it waits. */
static void send_event(struct publisher *p, const struct text *json)
{
    if (try_event(p, json->buf, json->len) || json->len >= PUBLISHER_KEPT_BYTES)
        return;
    if (p->kept_count == PUBLISHER_KEPT) {
        p->kept_first = (p->kept_first + 1) % PUBLISHER_KEPT;
        p->kept_count--;
    }
    char *room = p->kept[(p->kept_first + p->kept_count++) % PUBLISHER_KEPT];
    memcpy(room, json->buf, json->len);
    room[json->len] = '\0';
}

static void send_kept(struct publisher *p)
{
    while (p->kept_count > 0 && try_event(p, p->kept[p->kept_first], strlen(p->kept[p->kept_first]))) {
        p->kept_first = (p->kept_first + 1) % PUBLISHER_KEPT;
        p->kept_count--;
    }
}

/* A batch or a correction may concern any tank: plans follow. */
static void take_note(struct publisher *p, const struct journal_entry *e, utc_t t)
{
    planner_note(&p->planner, e, t);
    for (int i = 0; i < p->site->tank_count; i++)
        tank_is_dirty(p, i);
}

void publisher_effect(struct publisher *p, const struct pump *pump, const struct effect *e)
{
    struct text out = text_over(p->buf, sizeof p->buf);
    (void)pump;
    switch (e->kind) {
    case EFFECT_ALERT: {
        const struct alert *a = &e->u.alert.alert;
        if (!alert_is_news(a, e->u.alert.change))
            break;
        int tank = p->site->places[p->site->alerts[a->index].place].tank;
        p->alert_last[a->index] = e->u.alert.change;
        send_alert(p, a, e->u.alert.change, e->u.alert.announce, e->t);
        out = text_over(p->buf, sizeof p->buf);
        encode_alert_document(p->site, a, e->u.alert.change, e->u.alert.announce, e->t, &out);
        send_event(p, &out);
        if (tank >= 0)
            tank_is_dirty(p, tank);
        break;
    }
    case EFFECT_EVENT:
        encode_event_document(p->site, &e->u.event, e->t, &out);
        send_event(p, &out);
        break;
    case EFFECT_JOURNAL:
        notes_format_event(&e->u.journal, e->t, &out);
        send_event(p, &out);
        take_note(p, &e->u.journal, e->t);
        break;
    case EFFECT_TANK:
        tank_is_dirty(p, e->u.tank);
        break;
    case EFFECT_CALIB:
    case EFFECT_DEVICE:
        p->status_due = (mono_t){ 0 }; /* the report of the probes at once */
        break;
    case EFFECT_READING:
        break;
    }
}

/* --- the service itself --- */

static void status_topic(const struct site *site, char *buf)
{
    snprintf(buf, TOPIC_ROOM, "%s/status", site->publish.base);
}

static void send_status(struct publisher *p, const struct pump *pump, const struct publisher_news *news,
                        struct now now)
{
    char topic[TOPIC_ROOM];
    struct text out = text_over(p->buf, sizeof p->buf);
    status_topic(p->site, topic);
    publisher_status_format(pump, news, p->started, now, &out);
    send(p, topic, p->buf, out.len, true, 0);
    p->status_due = mono_add(now.mono, STATUS_EVERY_MS);
}

/* The health of every probe; too long for the buffer of the other documents. */
static void send_probes(struct publisher *p, const struct pump *pump, struct now now)
{
    char topic[TOPIC_ROOM];
    size_t cap = 64 + 128 + (size_t)p->site->stream_count * ENCODE_PROBE_MAX;
    char *buf = malloc(cap);
    if (buf == NULL)
        return;
    struct text out = text_over(buf, cap);
    encode_probes_begin(now.utc, &out);
    for (int i = 0; i < p->site->stream_count; i++) {
        struct probe_report r;
        engine_report_probe(pump->engine, i, now, &r);
        encode_probes_add(p->site, &r, now.utc, &out);
    }
    encode_probes_end(&out);
    snprintf(topic, sizeof topic, "%s/probes", p->site->publish.base);
    if (!out.cut)
        send(p, topic, buf, out.len, true, 0);
    free(buf);
}

static void send_beat(struct publisher *p, const struct publisher_news *news, struct now now)
{
    char topic[TOPIC_ROOM], payload[160], when[UTC_TEXT_MAX];
    int64_t every_ms = (int64_t)(p->site->publish.heartbeat_s * (double)MS_PER_S);
    p->beat_due = every_ms <= 0 ? MONO_NEVER : mono_add(now.mono, every_ms);
    if (every_ms <= 0 || !news->progress)
        return;
    snprintf(topic, sizeof topic, "%s/heartbeat", p->site->publish.base);
    int n = snprintf(payload, sizeof payload, "{\"v\":1,\"t\":\"%s\",\"beat\":%llu}",
                     utc_format(now.utc, when, sizeof when), (unsigned long long)++p->beats);
    if (send(p, topic, payload, (size_t)n, false, (uint32_t)(3 * every_ms / MS_PER_S)))
        p->beat_sent = now.mono;
}

void publisher_will(const struct site *site, char *topic, size_t topic_cap, char *payload, size_t payload_cap)
{
    snprintf(topic, topic_cap, "%s/status", site->publish.base);
    snprintf(payload, payload_cap, "{\"v\":1,\"state\":\"offline\",\"version\":\"%s\"}", LENTIC_VERSION);
}

void publisher_offline(struct publisher *p, struct now now)
{
    char topic[TOPIC_ROOM], when[UTC_TEXT_MAX];
    status_topic(p->site, topic);
    int n = snprintf(p->buf, sizeof p->buf, "{\"v\":1,\"state\":\"offline\",\"t\":\"%s\",\"version\":\"%s\"}",
                     utc_format(now.utc, when, sizeof when), LENTIC_VERSION);
    send(p, topic, p->buf, (size_t)n, true, 0);
}

/* --- connection and time --- */

/* What stands once, whatever the site holds. */
static const char *const single_topics[] = { "status", "probes", "plan" };
#define SINGLE_TOPICS (sizeof single_topics / sizeof *single_topics)

static char *list_with(const struct publisher *p, const char *more)
{
    size_t count = (size_t)(p->site->tank_count + p->site->source_count) + SINGLE_TOPICS;
    for (int i = 0; i < p->site->alert_count; i++)
        count += p->alert_out[i] != OUT_NOT;
    size_t cap = count * TOPIC_ROOM / 4 + 4096 + strlen(more);
    char *buf = malloc(cap), topic[TOPIC_ROOM];
    if (buf == NULL)
        return NULL;
    struct text out = text_over(buf, cap);
    for (size_t i = 0; i < SINGLE_TOPICS; i++)
        text_printf(&out, "%s/%s\n", p->site->publish.base, single_topics[i]);
    for (int i = 0; i < p->site->tank_count; i++) {
        tank_topic(p->site, i, topic);
        text_printf(&out, "%s\n", topic);
    }
    for (int i = 0; i < p->site->source_count; i++) {
        source_topic(p->site, i, topic);
        text_printf(&out, "%s\n", topic);
    }
    for (int i = 0; i < p->site->alert_count; i++)
        if (p->alert_out[i] != OUT_NOT) {
            alert_topic(p->site, i, topic);
            text_printf(&out, "%s\n", topic);
        }
    text_put(&out, more);
    return buf;
}

/* What could not be withdrawn yet still stands. */
char *publisher_list(const struct publisher *p)
{
    char *more = ghosts_join(p->ghosts, p->withdrawn);
    char *list = list_with(p, more != NULL ? more : "");
    free(more);
    return list;
}

static void withdraw_ghosts(struct publisher *p)
{
    char *list = p->ghosts == NULL ? NULL : list_with(p, "");
    if (list != NULL && ghosts_withdraw(p->ghosts, list, p->send, p->context)) {
        free(p->ghosts);
        p->ghosts = NULL;
        p->list_changed = true;
    }
    free(list);
}

void publisher_connected(struct publisher *p, const struct pump *pump, struct now now)
{
    for (int i = 0; i < p->site->alert_count; i++) {
        const struct alert *a = engine_alert(pump->engine, i);
        if (stands(a) || p->alert_out[i] != OUT_NOT)
            send_alert(p, a, p->alert_last[i], false, now.utc);
    }
    for (int i = 0; i < p->site->tank_count; i++) {
        p->tank_sent[i] = MONO_NONE;
        p->tank_dirty[i] = true;
    }
    p->tanks_due = now.mono;
    publisher_tanks(p, pump, now);
    ghosts_turn(&p->ghosts, &p->withdrawn);
    withdraw_ghosts(p);
    send_kept(p);
    p->planner.room_due = now.mono;
    p->status_due = now.mono;
}

/* In turn, so that the first of many do not hold up the last. */
void publisher_tanks(struct publisher *p, const struct pump *pump, struct now now)
{
    int count = p->site->tank_count, sent = 0;
    if (p->tanks_due.ms > now.mono.ms)
        return;
    p->tanks_due = MONO_NEVER;
    for (int i = 0; i < count; i++) {
        int tank = (p->next_tank + i) % count;
        if (tank_due(p, tank).ms <= now.mono.ms &&
            (sent++ == TANKS_AT_ONCE || !send_tank(p, pump, tank, now))) {
            p->next_tank = tank;
            p->tanks_due = now.mono;
            return;
        }
        p->tanks_due = mono_min(p->tanks_due, tank_due(p, tank));
    }
}

void publisher_advance(struct publisher *p, const struct pump *pump, const struct publisher_news *news,
                       struct now now)
{
    if (news->link.link == MQTT_DOWN || news->link.link == MQTT_CONNECTING)
        return;
    withdraw_ghosts(p);
    if (news->link.waiting < WAITING_MOST)
        publisher_tanks(p, pump, now);
    if (planner_room_is_due(&p->planner, now)) {
        send_plan(p, pump, now);
        send_sources(p, pump, now);
    }
    if (p->status_due.ms <= now.mono.ms) {
        send_status(p, pump, news, now);
        send_probes(p, pump, now);
        send_sources(p, pump, now);
    }
    if (p->beat_due.ms <= now.mono.ms)
        send_beat(p, news, now);
}

mono_t publisher_deadline(const struct publisher *p)
{
    return mono_min(mono_min(p->status_due, p->beat_due), mono_min(p->planner.room_due, p->tanks_due));
}
