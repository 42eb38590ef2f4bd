#include "app/homie_tell.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/checksum.h"
#include "wire/encode.h"

/* --- sending --- */

bool homie_tell_topic(struct homie_tree *t, const char *topic, const char *payload, size_t n, bool retain)
{
    return t->connected && t->sinks.send(t->sinks.context, topic, payload, n, retain);
}

bool homie_tell_below(struct homie_tree *t, const struct homie_device *d, const char *below,
                      const char *payload, size_t n)
{
    char topic[HOMIE_TOPIC_MAX];
    (void)snprintf(topic, sizeof topic, "%s/5/%s/%s", t->site->publish.homie_domain, d->id, below);
    return homie_tell_topic(t, topic, payload, n, true);
}

bool homie_tell_state(struct homie_tree *t, const struct homie_device *d, const char *state)
{
    return homie_tell_below(t, d, "$state", state, strlen(state));
}

/* --- one value --- */

struct homie_setting *homie_tell_setting(struct homie_device *d, enum homie_part part)
{
    return part == HOMIE_ACKNOWLEDGE ? &d->acknowledge : part == HOMIE_SHELVE ? &d->shelve : &d->window;
}

bool homie_tell_target(struct homie_tree *t, struct homie_device *d, struct homie_slot *slot,
                       const char *path)
{
    char below[HOMIE_TOPIC_MAX];
    const struct homie_setting *s = homie_tell_setting(d, slot->property.part);
    (void)snprintf(below, sizeof below, "%s/$target", path);
    if (!homie_tell_below(t, d, below, s->target, strlen(s->target)))
        return false;
    slot->target_told = checksum_fnv(s->target, strlen(s->target));
    return true;
}

static bool tell(struct homie_tree *t, struct homie_device *d, struct homie_slot *slot, const char *value,
                 size_t n)
{
    char path[HOMIE_TOPIC_MAX];
    homie_property_path(slot->property, path, sizeof path);
    if (homie_has_target(slot->property)) {
        const struct homie_setting *s = homie_tell_setting(d, slot->property.part);
        bool told = slot->target_told == checksum_fnv(s->target, strlen(s->target));
        if (!told && !homie_tell_target(t, d, slot, path))
            return false;
    }
    return homie_tell_below(t, d, path, value, n);
}

static bool is_old(const struct homie_round *r, const struct homie_slot *slot)
{
    double ms = r->t->site->publish.homie_every_s * (double)MS_PER_S;
    return !mono_is_set(slot->at) || (double)(r->now.mono.ms - slot->at.ms) >= ms;
}

static bool is_due(struct homie_round *r, const struct homie_slot *slot, uint64_t sum, double number)
{
    const struct homie_slot *time = slot + 2; /* behind value and quality */
    if (r->all || slot->told == 0)
        return true;
    switch (slot->property.part) {
    case HOMIE_VALUE:
        r->refresh = is_old(r, time) && !(r->t->view.report.values[slot->property.of].t.ms <= time->number);
        break;
    case HOMIE_TIME:
        return (r->moved || r->refresh) && sum != slot->told;
    default:
        break;
    }
    if (slot->property.part == HOMIE_VALUE && r->refresh)
        return true;
    if (sum == slot->told)
        return false;
    if (isnan(number) || isnan(slot->number))
        return true;
    return fabs(number - slot->number) >= homie_dead_step(r->t->site, &r->t->view, slot->property) - 1e-9 ||
           (slot->property.part != HOMIE_VALUE && is_old(r, slot));
}

bool homie_tell_slot(struct homie_round *r, struct homie_slot *slot)
{
    char value[HOMIE_VALUE_MAX];
    double number;
    if (slot->property.part == HOMIE_VALUE)
        r->moved = r->refresh = false;
    size_t n = homie_value(r->t->site, &r->t->view, slot->property, value, sizeof value, &number);
    if (slot->property.part == HOMIE_TIME)
        number = (double)r->t->view.report.values[slot->property.of].t.ms;
    uint64_t sum = checksum_fnv(value, n);
    if (n == 0 || !is_due(r, slot, sum, number))
        return true;
    if (!tell(r->t, r->d, slot, value, n))
        return false;
    r->moved = r->moved || slot->property.part == HOMIE_VALUE || slot->property.part == HOMIE_QUALITY;
    slot->told = sum;
    slot->number = number;
    slot->at = r->now.mono;
    return true;
}

/* --- alerts --- */

static bool tell_alert(struct homie_tree *t, const struct homie_device *d, const struct alert *a, bool all,
                       struct now now)
{
    char id[HOMIE_TOPIC_MAX], below[HOMIE_TOPIC_MAX + 8], line[HOMIE_VALUE_MAX] = "";
    struct text out = text_over(line, sizeof line);
    bool stands = homie_alert_stands(a);
    uint64_t was = t->alert_told[a->index];
    if (!stands && was == 0)
        return true;
    if (stands)
        encode_alert_line(t->site, a, now.utc, &out);
    uint64_t sum = stands ? checksum_fnv(line, out.len) : HOMIE_WITHDRAWN;
    if (!all && sum == was)
        return true;
    homie_alert_id(t->site, a->index, id, sizeof id);
    (void)snprintf(below, sizeof below, "$alert/%s", id);
    if (!homie_tell_below(t, d, below, line, out.len))
        return false;
    t->alert_told[a->index] = !stands && was == HOMIE_WITHDRAWN_LAST ? 0 : sum;
    t->memory_changed = t->memory_changed || t->alert_told[a->index] == 0 || was == 0;
    return true;
}

bool homie_tell_alerts(struct homie_tree *t, struct homie_device *d, const struct engine *engine, bool all,
                       struct now now)
{
    int from = d->place == HOMIE_ROOT ? 0 : t->site->first_alert[d->place];
    int to = d->place == HOMIE_ROOT ? t->site->alert_count : t->site->first_alert[d->place + 1];
    for (int i = from; i < to; i++)
        if (&t->devices[t->device_of[t->site->alerts[i].place]] == d &&
            !tell_alert(t, d, engine_alert(engine, i), all, now))
            return false;
    return true;
}
