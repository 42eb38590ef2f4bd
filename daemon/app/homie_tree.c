#include "app/homie_tree.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "app/ghosts.h"
#include "app/homie_tell.h"
#include "base/checksum.h"

#define DESCRIPTION_ROOM 131072
#define DEVICES_AT_ONCE  64 /* a site of thousands goes out in pieces, readings and alerts between them */
#define SETTLE_MS        (5 * MS_PER_S)  /* first values come together: one new description for all of them */
#define WARNED_MS        (10 * MS_PER_S) /* a controller that insists gets so many answers in that time */
#define WARNED_MOST      10
#define ACKNOWLEDGED_MS  (30 * MS_PER_S) /* then the switch falls back */

/* --- making --- */

static struct homie_device *device_add(struct homie_tree *t, int place)
{
    struct homie_device *d = &t->devices[t->count++];
    d->place = place;
    homie_device_id(t->site, place, d->id);
    d->dirty = true;
    d->looked_at = d->unknown_since = d->acknowledged_until = d->warned_since = MONO_NONE;
    d->shelve.until = d->window.until = d->acknowledge.until = UTC_NONE;
    (void)snprintf(d->acknowledge.target, sizeof d->acknowledge.target, "false");
    (void)snprintf(d->shelve.target, sizeof d->shelve.target, "0");
    (void)snprintf(d->window.target, sizeof d->window.target, "0");
    return d;
}

static void *take(size_t count, size_t size)
{
    void *p = calloc(count + 1, size);
    if (p == NULL)
        abort();
    return p;
}

struct homie_tree *homie_tree_init(const struct site *site, const struct homie_sinks *sinks,
                                   const char *memory)
{
    struct homie_tree *t = take(1, sizeof *t);
    t->site = site;
    t->sinks = *sinks;
    t->devices = take((size_t)site->place_count + 1, sizeof *t->devices);
    t->device_of = take((size_t)site->place_count, sizeof *t->device_of);
    t->alert_told = take((size_t)site->alert_count, sizeof *t->alert_told);
    t->description_room = DESCRIPTION_ROOM + (size_t)site->place_count * (HOMIE_ID_MAX + 3);
    t->buf = take(t->description_room, 1);
    t->due = MONO_NEVER;
    t->described_at = MONO_NONE;
    for (int p = 0; p < site->place_count; p++) {
        t->device_of[p] = -1;
        if (homie_has_device(site, p)) {
            t->device_of[p] = t->count;
            device_add(t, p);
        }
    }
    device_add(t, HOMIE_ROOT);
    for (int p = 0; p < site->place_count; p++)
        if (t->device_of[p] < 0)
            t->device_of[p] = t->count - 1;
    homie_memory_parse(t, memory);
    return t;
}

void homie_tree_fini(struct homie_tree *t)
{
    if (t == NULL)
        return;
    for (int i = 0; i < t->count; i++)
        free(t->devices[i].topics);
    free(t->devices);
    free(t->device_of);
    free(t->alert_told);
    free(t->ghosts);
    free(t->withdrawn);
    free(t->buf);
    free(t);
}

static struct homie_device *root_of(struct homie_tree *t)
{
    return &t->devices[t->count - 1];
}

static void save(struct homie_tree *t)
{
    char *memory = homie_memory_format(t);
    t->memory_changed = false;
    if (memory != NULL)
        t->sinks.save(t->sinks.context, memory, strlen(memory));
    free(memory);
}

/* --- a device is set up --- */

/* Names its properties; true when the description is another one than before. */
static bool prepare(struct homie_tree *t, struct homie_device *d, const struct engine *engine, struct now now)
{
    struct homie_property properties[HOMIE_PROPERTIES_MAX];
    struct text out = text_over(t->buf, t->description_room);
    homie_look(t, d, engine, now);
    homie_learn(&t->view, &d->known);
    d->count = homie_properties(t->site, d->place, &d->known, properties);
    for (int i = 0; i < d->count; i++)
        d->slots[i] = (struct homie_slot){ .property = properties[i], .number = NAN, .at = MONO_NONE };
    d->unknown_since = MONO_NONE;
    homie_describe(t->site, d->place, properties, d->count, 0, &out);
    uint64_t content = checksum_fnv(t->buf, out.len);
    if (content == d->content)
        return false;
    int64_t seconds = now.utc.ms / MS_PER_S;
    d->version = seconds > d->version ? seconds : d->version + 1;
    d->content = content;
    return true;
}

/* Nothing that was known before counts: a broker that has lost everything would be promised values that
 * nobody has any more, such as a forecast of yesterday. */
static bool prepare_afresh(struct homie_tree *t, struct homie_device *d, const struct engine *engine,
                           struct now now)
{
    homie_memory_remember(d);
    d->known = (struct homie_known){ .forecast = false };
    return prepare(t, d, engine, now);
}

static bool send_description(struct homie_tree *t, const struct homie_device *d)
{
    struct homie_property properties[HOMIE_PROPERTIES_MAX];
    struct text out = text_over(t->buf, t->description_room);
    for (int i = 0; i < d->count; i++)
        properties[i] = d->slots[i].property;
    homie_describe(t->site, d->place, properties, d->count, d->version, &out);
    return homie_tell_below(t, d, "$description", t->buf, out.len);
}

/* What the description before had and the present one has not. */
static bool drop_topics(struct homie_tree *t, struct homie_device *d)
{
    char path[HOMIE_TOPIC_MAX];
    while (homie_memory_first(d->topics, path, sizeof path)) {
        if (!homie_memory_has(d, path) && !homie_tell_below(t, d, path, "", 0))
            return false;
        homie_memory_drop(d->topics);
        t->memory_changed = true;
    }
    return true;
}

static bool is_ours(const struct homie_tree *t, const char *topic)
{
    char front[HOMIE_TOPIC_MAX];
    for (int i = 0; i < t->count; i++) {
        int n = snprintf(front, sizeof front, "%s/5/%s/", t->site->publish.homie_domain, t->devices[i].id);
        if (strncmp(topic, front, (size_t)n) == 0 &&
            (topic[n] == '$' ? topic[n + 1] != 'a' : homie_memory_has(&t->devices[i], topic + n)))
            return true;
    }
    return false;
}

static bool withdraw_ghosts(struct homie_tree *t)
{
    char topic[HOMIE_TOPIC_MAX];
    while (homie_memory_first(t->ghosts, topic, sizeof topic)) {
        if (!is_ours(t, topic) && !homie_tell_topic(t, topic, "", 0, true))
            return false;
        homie_memory_drop(t->ghosts);
        t->memory_changed = true;
    }
    return true;
}

/* One step; false when there was no room for it. */
static bool step(struct homie_round *r, const struct engine *engine)
{
    struct homie_device *d = r->d;
    switch (d->phase) {
    case HOMIE_BEGIN:
        return homie_tell_state(r->t, d, "init");
    case HOMIE_DESCRIBE:
        d->at = 0;
        return send_description(r->t, d);
    case HOMIE_VALUES:
        for (; d->at < d->count; d->at++)
            if (!homie_tell_slot(r, &d->slots[d->at]))
                return false;
        return true;
    case HOMIE_ALERTS:
        return homie_tell_alerts(r->t, d, engine, true, r->now);
    case HOMIE_DROP:
        return drop_topics(r->t, d);
    default:
        return homie_tell_state(r->t, d, "ready");
    }
}

/* Something has been promised whose value went while there was no room. */
static bool is_short(const struct homie_device *d)
{
    for (int i = 0; i < d->count; i++)
        if (d->slots[i].told == 0)
            return true;
    return false;
}

static bool set_up(struct homie_round *r, const struct engine *engine)
{
    r->all = true;
    while (r->d->phase != HOMIE_RESTING) {
        if (!step(r, engine))
            return false;
        r->d->phase = r->d->phase == HOMIE_END ? HOMIE_RESTING : r->d->phase + 1;
        if (r->d->phase == HOMIE_ALERTS && is_short(r->d)) {
            (void)prepare_afresh(r->t, r->d, engine, r->now);
            r->d->phase = HOMIE_BEGIN;
        }
    }
    r->d->urgent = false; /* what has come since it was described keeps it dirty */
    return true;
}

/* --- life --- */

static void begin(struct homie_tree *t, const struct engine *engine, struct now now, bool everything)
{
    t->connected = true;
    t->ghosts_last = !everything;
    if (everything)
        ghosts_turn(&t->ghosts, &t->withdrawn);
    else /* of a new tree */
        t->withdrawn = ghosts_join(t->ghosts, NULL);
    for (int i = 0; everything && i < t->site->alert_count; i++)
        if (t->alert_told[i] == HOMIE_WITHDRAWN)
            t->alert_told[i] = HOMIE_WITHDRAWN_LAST;
    t->due = now.mono;
    t->next = 0;
    for (int i = 0; i < t->count; i++) {
        struct homie_device *d = &t->devices[i];
        bool other = everything ? prepare_afresh(t, d, engine, now) : prepare(t, d, engine, now);
        d->phase = other || everything ? HOMIE_BEGIN : HOMIE_RESTING;
        d->dirty = d->urgent = true;
    }
    save(t);
}

void homie_tree_connected(struct homie_tree *t, const struct engine *engine, struct now now)
{
    begin(t, engine, now, true);
}

void homie_tree_reloaded(struct homie_tree *t, const struct engine *engine, struct now now)
{
    begin(t, engine, now, false);
}

void homie_tree_lost(struct homie_tree *t)
{
    t->connected = false;
}

static mono_t due_at(const struct homie_tree *t, const struct homie_device *d)
{
    const struct publish_settings *publish = &t->site->publish;
    double wait_s = d->dirty ? publish->tank_least_s : publish->homie_every_s;
    mono_t due = mono_add(d->looked_at, (int64_t)(wait_s * (double)MS_PER_S));
    if (!mono_is_set(d->looked_at) || d->urgent || d->phase != HOMIE_RESTING)
        return (mono_t){ 0 };
    if (mono_is_set(d->unknown_since))
        due = mono_min(due, mono_add(mono_max(d->unknown_since, t->described_at), SETTLE_MS));
    return mono_is_set(d->acknowledged_until) ? mono_min(due, d->acknowledged_until) : due;
}

void homie_tree_effect(struct homie_tree *t, const struct effect *e)
{
    int place = -1;
    if (e->kind == EFFECT_READING)
        place = t->site->streams[e->u.reading.stream].place;
    else if (e->kind == EFFECT_TANK)
        place = t->site->tanks[e->u.tank].place;
    else if (e->kind == EFFECT_ALERT)
        place = t->site->alerts[e->u.alert.alert.index].place;
    if (place < 0)
        return;
    struct homie_device *d = &t->devices[t->device_of[place]];
    if (d->dirty && e->kind != EFFECT_ALERT)
        return;
    d->dirty = true;
    if (e->kind == EFFECT_ALERT)
        d->urgent = root_of(t)->urgent = root_of(t)->dirty = true;
    t->due = mono_min(t->due, due_at(t, d));
}

/* True when the device has got quantities that its description does not name. */
static bool needs_describing(struct homie_tree *t, struct homie_device *d, struct now now)
{
    struct homie_known known = d->known;
    if (!homie_learn(&t->view, &known))
        return false;
    if (!mono_is_set(d->unknown_since))
        d->unknown_since = now.mono;
    return true;
}

/* New quantities, and devices that got some, are described together, when the first of them has been there
 * for a while: what stands at the broker is noted once for all of them. */
static void describe_anew(struct homie_tree *t, const struct engine *engine, struct now now)
{
    bool any = false;
    if (!t->undescribed || (mono_is_set(t->described_at) && now.mono.ms - t->described_at.ms < SETTLE_MS))
        return;
    t->undescribed = false;
    for (int i = 0; i < t->count; i++) {
        struct homie_device *d = &t->devices[i];
        if (!mono_is_set(d->unknown_since) || d->phase != HOMIE_RESTING)
            continue;
        if (now.mono.ms - d->unknown_since.ms < SETTLE_MS) {
            t->undescribed = true;
            continue;
        }
        homie_memory_remember(d);
        if (prepare(t, d, engine, now))
            d->phase = HOMIE_BEGIN;
        d->urgent = any = true;
    }
    if (!any)
        return;
    save(t);
    t->described_at = now.mono;
}

static bool advance_device(struct homie_tree *t, struct homie_device *d, const struct engine *engine,
                           struct now now)
{
    struct homie_round r = { .t = t, .d = d, .now = now };
    homie_look(t, d, engine, now);
    d->looked_at = now.mono;
    if (d->phase != HOMIE_RESTING)
        return set_up(&r, engine);
    if (needs_describing(t, d, now))
        t->undescribed = true;
    for (int i = 0; i < d->count; i++)
        if (!homie_tell_slot(&r, &d->slots[i]))
            return false;
    if (!homie_tell_alerts(t, d, engine, false, now))
        return false;
    d->dirty = d->urgent = false;
    return true;
}

/* In turn, so that the first of many do not hold up the last. True when none is due any more. */
static bool advance_devices(struct homie_tree *t, const struct engine *engine, struct now now)
{
    int done = 0;
    t->due = MONO_NEVER;
    for (int i = 0; i < t->count; i++) {
        int at = (t->next + i) % t->count;
        struct homie_device *d = &t->devices[at];
        if (due_at(t, d).ms <= now.mono.ms &&
            (done++ == DEVICES_AT_ONCE || !advance_device(t, d, engine, now))) {
            t->next = at;
            t->due = now.mono;
            return false;
        }
        t->due = mono_min(t->due, due_at(t, d));
    }
    t->next = 0; /* the root behind its children */
    return true;
}

void homie_tree_advance(struct homie_tree *t, const struct engine *engine, struct now now)
{
    if (!t->connected || t->due.ms > now.mono.ms)
        return;
    describe_anew(t, engine, now);
    bool done = (t->ghosts_last || withdraw_ghosts(t)) && advance_devices(t, engine, now);
    if (done && t->ghosts_last && !withdraw_ghosts(t))
        t->due = now.mono;
    if (t->memory_changed)
        save(t);
}

mono_t homie_tree_deadline(const struct homie_tree *t)
{
    return t->connected ? t->due : MONO_NEVER;
}

/* --- sets --- */

static struct homie_slot *slot_of(struct homie_device *d, enum homie_part part)
{
    for (int i = 0; i < d->count; i++)
        if (d->slots[i].property.part == part)
            return &d->slots[i];
    return NULL;
}

static void warn(struct homie_tree *t, struct homie_device *d, const char *sentence, struct now now)
{
    char topic[HOMIE_TOPIC_MAX];
    if (!mono_is_set(d->warned_since) || now.mono.ms - d->warned_since.ms >= WARNED_MS) {
        d->warned_since = now.mono;
        d->warned = 0;
    }
    if (d->warned++ >= WARNED_MOST)
        return;
    (void)snprintf(topic, sizeof topic, "%s/5/%s/$log/warn", t->site->publish.homie_domain, d->id);
    (void)homie_tell_topic(t, topic, sentence, strlen(sentence), false);
}

void homie_tree_set(struct homie_tree *t, const struct homie_set *set, enum status st, const char *sentence,
                    struct now now)
{
    struct homie_device *d = set->place == HOMIE_ROOT ? root_of(t) : &t->devices[t->device_of[set->place]];
    struct homie_slot *slot = slot_of(d, set->property.part);
    char path[HOMIE_TOPIC_MAX];
    if (st != STATUS_OK || slot == NULL) {
        warn(t, d, sentence, now);
        return;
    }
    struct homie_setting *s = homie_tell_setting(d, set->property.part);
    memcpy(s->target, set->payload, sizeof s->target);
    s->minutes = set->number;
    s->taken = true;
    if (set->property.part == HOMIE_ACKNOWLEDGE)
        d->acknowledged_until = set->number != 0 ? mono_add(now.mono, ACKNOWLEDGED_MS) : MONO_NONE;
    homie_property_path(slot->property, path, sizeof path);
    slot->told = slot->target_told = 0;
    d->dirty = d->urgent = true;
    t->due = now.mono;
    (void)homie_tell_target(t, d, slot, path);
}

void homie_tree_stop(struct homie_tree *t)
{
    for (int i = 0; i < t->count; i++)
        (void)homie_tell_state(t, &t->devices[i], "disconnected");
    t->connected = false;
}
