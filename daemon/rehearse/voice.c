#include "rehearse/voice.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "model/pattern.h"
#include "rehearse/docbuild.h"

#define TOPIC_MAX     512
#define JITTER        0.05
#define LOST_SHARE    0.002 /* of the messages: radio, a full queue */
#define PAUSE_EVERY_S (6 * 86400.0)
#define CODE_SHARE    0.0004 /* a failed conversion now and then */
#define WAKING_SHARE  0.3    /* of the probes powered up just as the rehearsal begins */

/* Wildcards stand for anything: x will do. */
static const char *topic_of(const struct site *site, const struct probe_entry *entry, int place,
                            struct arena *arena)
{
    char buf[TOPIC_MAX];
    struct text t = text_over(buf, sizeof buf);
    pattern_fill(entry->topic, site, place, &t);
    for (char *c = buf; *c != '\0'; c++)
        if (*c == '+' || *c == '#')
            *c = 'x';
    return arena_text(arena, buf, t.len);
}

static double cadence_of(const struct probe_entry *entry, struct dice *dice)
{
    static const double usual_s[] = { 5, 10, 15, 30, 30, 60, 60, 60, 120, 300 };
    double drawn = usual_s[dice_below(dice, sizeof usual_s / sizeof usual_s[0])];
    double every = INFINITY;
    for (int i = 0; i < entry->value_count; i++)
        if (entry->values[i].every_s > 0 && entry->values[i].every_s < every)
            every = entry->values[i].every_s;
    return isinf(every) ? drawn : every;
}

struct voice voice_init(const struct site *site, const struct probe_entry *entry, int place, uint64_t seed,
                        double least_every_s, struct arena *arena)
{
    struct voice v = { .entry = entry, .place = place, .topic = topic_of(site, entry, place, arena) };
    v.dice = dice_init(seed, v.topic, (uint64_t)entry->line);
    v.every_s = fmax(cadence_of(entry, &v.dice), least_every_s);
    v.next_s = dice_between(&v.dice, 0, v.every_s);
    v.retained = dice_chance(&v.dice, 0.3);
    v.waking = dice_chance(&v.dice, WAKING_SHARE);
    v.as_text = entry->time_at != NULL && entry->time_form == TIME_FORM_AUTO;
    v.sensors = arena_take(arena, (size_t)entry->value_count, sizeof *v.sensors);
    for (int i = 0; i < entry->value_count; i++)
        v.sensors[i] = sensor_init(&entry->values[i], &v.dice);
    return v;
}

/* Also whether this one is lost on the way. */
static bool plan_next(struct voice *v)
{
    v->next_s += v->every_s * (1 + dice_between(&v->dice, -JITTER, JITTER));
    if (dice_chance(&v->dice, v->every_s / PAUSE_EVERY_S)) {
        v->next_s += dice_between(&v->dice, 120, 600);
        v->waking = true;
        return false;
    }
    return !dice_chance(&v->dice, LOST_SHARE);
}

static bool sends_code(struct voice *v, const struct probe_value *value)
{
    bool failed = dice_chance(&v->dice, CODE_SHARE);
    return value->missing_count > 0 && (failed || v->waking);
}

/* The number that one value sends now: a code, or a reading. */
static double number_now(struct voice *v, int i, const struct voice_input *in, int *decimals)
{
    const struct probe_value *value = &v->entry->values[i];
    double sent = sensor_read(&v->sensors[i], &in->sense, &v->dice);
    *decimals = sensor_decimals(&v->sensors[i]);
    if (!sends_code(v, value))
        return sent;
    *decimals = -1;
    return value->missing[0];
}

static void number_text(char *buf, size_t cap, double v, int decimals)
{
    size_t n = decimals < 0 ? number_exact(buf, cap, v) : number_format(buf, cap, v, decimals);
    if (n == 0)
        buf[0] = '\0';
}

static bool speak_plain(struct voice *v, const struct voice_input *in, struct text *payload)
{
    char buf[24];
    int decimals;
    double sent = number_now(v, 0, in, &decimals);
    if (isnan(sent) || in->silent)
        return false;
    number_text(buf, sizeof buf, sent, decimals);
    if (v->entry->values[0].on_change && strcmp(buf, v->last) == 0)
        return false;
    memcpy(v->last, buf, sizeof buf);
    text_put(payload, buf);
    return true;
}

static void put_time(const struct probe_entry *entry, utc_t own, struct doc *doc)
{
    char buf[UTC_TEXT_MAX];
    switch (entry->time_form) {
    case TIME_FORM_S:
        doc_number(doc, entry->time_at, floor((double)own.ms / MS_PER_S), 0);
        break;
    case TIME_FORM_MS:
        doc_number(doc, entry->time_at, (double)own.ms, 0);
        break;
    case TIME_FORM_AUTO:
        doc_string(doc, entry->time_at, utc_format(own, buf, sizeof buf));
        break;
    }
}

static void put_number(const struct voice *v, int i, double sent, int decimals, struct doc *doc)
{
    const struct probe_value *value = &v->entry->values[i];
    char buf[24];
    if (v->as_text && i % 2 == 1) {
        number_text(buf, sizeof buf, sent, decimals);
        doc_string(doc, value->at, buf);
    } else {
        doc_number(doc, value->at, sent, decimals);
    }
    if (value->unit_at != NULL && value->unit_name != NULL)
        doc_string(doc, value->unit_at, value->unit_name);
}

static bool speak_document(struct voice *v, const struct voice_input *inputs, utc_t own, struct text *payload)
{
    const struct probe_entry *entry = v->entry;
    struct doc doc = { .count = 0 };
    bool any = false;
    if (entry->match_at != NULL && entry->match != NULL)
        doc_string(&doc, entry->match_at, entry->match);
    if (entry->time_at != NULL)
        put_time(entry, own, &doc);
    for (int i = 0; i < entry->value_count; i++) {
        int decimals;
        double sent = number_now(v, i, &inputs[i], &decimals);
        if (isnan(sent) || inputs[i].silent || entry->values[i].at == NULL)
            continue;
        put_number(v, i, sent, decimals, &doc);
        any = true;
    }
    if (any && entry->list_at != NULL)
        doc_write_listed(&doc, entry->list_at, payload);
    else if (any)
        doc_write(&doc, payload);
    return any && !payload->cut;
}

bool voice_speak(struct voice *v, const struct voice_input *inputs, utc_t own, struct text *payload)
{
    bool waking = v->waking;
    bool plain = v->entry->values[0].at == NULL;
    bool said = plain ? speak_plain(v, inputs, payload) : speak_document(v, inputs, own, payload);
    if (waking)
        v->waking = false;
    return plan_next(v) && said;
}
