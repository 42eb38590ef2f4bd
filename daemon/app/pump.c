#include "app/pump.h"

#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"
#include "model/learnt.h"
#include "plan/batch.h"
#include "wire/commands.h"
#include "wire/decode.h"

#define SAID_MOST 3 /* alerts named one by one in an answer */
#define AGAIN_MS  MS_PER_MIN

static void prefix_set(struct pump *p)
{
    snprintf(p->do_prefix, sizeof p->do_prefix, "%s/do/", p->site->publish.base);
}

static void apply_learnt(void *context, const struct journal_entry *e)
{
    (void)learnt_apply(context, e); /* of something no longer configured: nothing to do */
}

static void relearn(struct pump *p)
{
    learnt_begin(p->site);
    p->sinks.journal.each(p->sinks.journal.context, JOURNAL_LEARNT, (utc_t){ 0 }, apply_learnt, p->site);
}

void pump_init(struct pump *p, struct site *site, const struct pump_sinks *sinks, struct now now)
{
    memset(p, 0, offsetof(struct pump, fx));
    p->fx.count = p->fx.lost = 0;
    p->site = site;
    p->sinks = *sinks;
    if (p->sinks.journal.find == NULL)
        p->sinks.journal = notebook_source_of(&p->notebook);
    relearn(p);
    p->topics = topics_init(site, &p->arena);
    p->engine = engine_init(site, now);
    prefix_set(p);
}

void pump_fini(struct pump *p)
{
    engine_fini(p->engine);
    arena_fini(&p->arena);
    notebook_fini(&p->notebook);
    p->engine = NULL;
}

/* --- tracing: prints the walk of one reading --- */

static void trace(const struct pump *p, const char *stage, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void trace(const struct pump *p, const char *stage, const char *format, ...)
{
    char line[512];
    if (p->sinks.trace == NULL)
        return;
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    p->sinks.trace(p->sinks.context, stage, line);
}

static void trace_sample(const struct pump *p, const struct sample *s)
{
    static const char *const kinds[] = { "value", "missing", "syntax", "other unit", "nothing asked for" };
    trace(p, "wire/decode", "%s: %s %.10g (sent %.10g)%s%s", p->site->streams[s->stream].name, kinds[s->kind],
          s->raw, s->sent, s->reason == NULL ? "" : ", ", s->reason == NULL ? "" : s->reason);
}

static void trace_effect(const struct pump *p, const struct effect *e)
{
    char tests[128];
    struct text out = text_over(tests, sizeof tests);
    switch (e->kind) {
    case EFFECT_READING:
        for (int t = 0; t < TEST_COUNT; t++)
            text_printf(&out, " %s=%d", gate_test_name((enum gate_test)t),
                        (int)verdict_get(e->u.reading.tests, (enum gate_test)t));
        trace(p, "engine/gate", "%s %.10g flag %d:%s%s", p->site->streams[e->u.reading.stream].name,
              e->u.reading.value, (int)e->u.reading.flag, tests, e->u.reading.revised ? " (settled)" : "");
        break;
    case EFFECT_ALERT:
        trace(p, "engine/alarm", "%s %s -> %s%s", p->site->alerts[e->u.alert.alert.index].ref,
              alert_change_name(e->u.alert.change),
              alert_state_name(e->u.alert.alert.base, e->u.alert.alert.marks),
              e->u.alert.announce ? ", announced" : "");
        break;
    case EFFECT_EVENT:
        trace(p, "engine/event", "%s: %s", event_kind_name(e->u.event.kind), e->u.event.text);
        break;
    case EFFECT_TANK:
        trace(p, "wire/encode", "tank %s is out of date", p->site->tanks[e->u.tank].id);
        break;
    case EFFECT_JOURNAL:
        journal_words(&e->u.journal, &out);
        trace(p, "journal", "%s", tests);
        break;
    case EFFECT_DEVICE:
        trace(p, "engine/exchange", "%s: %s", p->site->streams[e->u.device.stream].name, e->u.device.id);
        break;
    case EFFECT_CALIB:
        trace(p, "engine/calibrate", "%s", p->site->streams[e->u.calib.stream].name);
        break;
    }
}

static void flush(struct pump *p)
{
    for (size_t i = 0; i < p->fx.count; i++) {
        if (p->sinks.trace != NULL)
            trace_effect(p, &p->fx.items[i]);
        if (p->fx.items[i].kind == EFFECT_JOURNAL && p->sinks.journal.context == &p->notebook)
            notebook_add(&p->notebook, &p->fx.items[i].u.journal);
        if (p->sinks.effect != NULL)
            p->sinks.effect(p->sinks.context, &p->fx.items[i]);
        if (p->fx.items[i].kind == EFFECT_JOURNAL && p->fx.items[i].u.journal.kind == JOURNAL_LEARNT)
            relearn(p);
    }
    p->fx.count = 0;
}

static void advance(struct pump *p, struct now now, bool inclusive)
{
    while (engine_advance(p->engine, now, inclusive, &p->fx))
        flush(p);
    flush(p);
}

void pump_advance(struct pump *p, struct now now)
{
    advance(p, now, true);
}

mono_t pump_deadline(const struct pump *p)
{
    return engine_next_deadline(p->engine);
}

void pump_service(struct pump *p, enum alert_kind kind, bool wrong, const char *evidence, struct now now)
{
    advance(p, now, false);
    engine_service(p->engine, kind, wrong, evidence, now, &p->fx);
    flush(p);
}

/* --- commands --- */

static bool is_command(const struct pump *p, const struct message *m, size_t *prefix)
{
    *prefix = strlen(p->do_prefix);
    return m->topic_len > *prefix && memcmp(m->topic, p->do_prefix, *prefix) == 0;
}

/* A batch is told at once what is wrong with it. */
static void say_batch(const struct pump *p, const struct journal_entry *note, struct why *why)
{
    struct batch_check check;
    struct text out = { why->text, sizeof why->text, strlen(why->text), false };
    if (note->withdraws != 0 || batch_check(p->site, note, &check) != STATUS_OK)
        return;
    text_put(&out, "\n");
    batch_words(p->site, &check, &out);
}

/* What went into a tank is told too. */
static void say_used_batch(const struct pump *p, const struct journal_entry *note, struct why *why)
{
    struct journal_entry batch;
    const struct notebook_source *journal = &p->sinks.journal;
    struct text out = { why->text, sizeof why->text, strlen(why->text), false };
    char buf[400];
    struct text words = text_over(buf, sizeof buf);
    if (note->kind != JOURNAL_CHANGE || note->withdraws != 0 || note->batch == 0 ||
        journal->find(journal->context, note->batch, &batch) != STATUS_OK ||
        !batch_used_words(p->site, &batch, &words))
        return;
    text_printf(&out, "\n%s", buf);
}

/* Retained commands would act again at every reconnect: never obeyed. */
static enum status obey(struct pump *p, const struct message *m, size_t prefix, struct command *c,
                        struct why *why)
{
    if (m->retain)
        return why_say(why, STATUS_REFUSED,
                       "a retained command is never obeyed: publish it without the retain flag");
    if (m->expired)
        return why_say(why, STATUS_REFUSED,
                       "the command had expired before it was read; if it still holds, send it again");
    if (m->payload_len >= MESSAGE_PAYLOAD_MAX)
        return why_say(why, STATUS_REFUSED, "the command is too long: less than %d bytes are read",
                       MESSAGE_PAYLOAD_MAX);
    enum status st =
        commands_parse(p->site, m->topic + prefix, m->topic_len - prefix, m->payload, m->payload_len, c, why);
    if (c->verb < COMMAND_COUNT && p->site->command_off[c->verb])
        return why_say(why, STATUS_REFUSED,
                       "%s is switched off in the configuration (commands = { %s = false; })",
                       command_name(c->verb), command_name(c->verb));
    c->note.id = notebook_number(&p->sinks.journal, engine_note_next(p->engine));
    if (st == STATUS_OK && c->verb == COMMAND_NOTE)
        st = notebook_join(&p->sinks.journal, p->site, c, m->now.utc, why);
    if (st == STATUS_OK)
        st = engine_command(p->engine, c, m->now, &p->fx, why);
    if (st == STATUS_OK && c->verb == COMMAND_NOTE)
        say_batch(p, &c->note, why);
    if (st == STATUS_OK && c->verb == COMMAND_NOTE)
        say_used_batch(p, &c->note, why);
    return st;
}

/* What is done at somebody's word is kept with the name. */
static void record(struct pump *p, const struct command *c, utc_t t)
{
    if (p->fx.count == EFFECTS_MAX)
        return;
    struct effect *e = &p->fx.items[p->fx.count++];
    *e = (struct effect){ .kind = EFFECT_EVENT, .t = t };
    e->u.event = (struct event){
        .kind = EVENT_COMMAND, .place = c->place, .quantity = c->quantity, .value = c->minutes
    };
    struct text out = text_over(e->u.event.text, sizeof e->u.event.text);
    text_put(&out, command_name(c->verb));
    if (c->alert >= 0)
        text_printf(&out, " %s", p->site->alerts[c->alert].ref);
    text_printf(&out, ", by %s", c->who[0] != '\0' ? c->who : "somebody who gave no name");
    if (c->why[0] != '\0')
        text_printf(&out, ": %s", c->why);
}

/* The last effect of each alert tells how it stands now. */
static bool is_last_of_alert(const struct effects *fx, size_t i)
{
    if (fx->items[i].kind != EFFECT_ALERT)
        return false;
    for (size_t k = i + 1; k < fx->count; k++)
        if (fx->items[k].kind == EFFECT_ALERT &&
            fx->items[k].u.alert.alert.index == fx->items[i].u.alert.alert.index)
            return false;
    return true;
}

/* For whoever asked: how the alerts stand now, when nobody below said anything. */
static void say_done(const struct pump *p, struct why *why)
{
    struct text out = text_over(why->text, sizeof why->text);
    int count = 0;
    for (size_t i = 0; i < p->fx.count; i++)
        count += is_last_of_alert(&p->fx, i);
    for (size_t i = 0; i < p->fx.count; i++) {
        const struct effect *e = &p->fx.items[i];
        const struct alert *a = &e->u.alert.alert;
        if (e->kind == EFFECT_EVENT)
            text_printf(&out, "%s%s", out.len > 0 ? "; " : "", e->u.event.text);
        else if (count <= SAID_MOST && is_last_of_alert(&p->fx, i))
            text_printf(&out, "%s%s is %s", out.len > 0 ? "; " : "", p->site->alerts[a->index].ref,
                        alert_state_words(a->base, a->marks));
    }
    if (count > SAID_MOST)
        text_printf(&out, "%s%d alerts changed", out.len > 0 ? "; " : "", count);
}

/* An answer goes out with the service's own rights: whoever may only command must not thereby write where
 * the service writes or listens. */
static bool may_answer_on(struct pump *p, const char *topic, size_t n)
{
    char front[300];
    const struct topic_target *targets;
    size_t base = strlen(p->do_prefix) - strlen("do/");
    size_t homie = (size_t)snprintf(front, sizeof front, "%s/5/", p->site->publish.homie_domain);
    bool below_base = n >= base && memcmp(topic, p->do_prefix, base) == 0;
    bool below_answer = below_base && n > base + 7 && memcmp(topic + base, "answer/", 7) == 0;
    bool below_homie = n >= homie && memcmp(topic, front, homie) == 0;
    return below_answer || !(below_base || below_homie || topics_find(p->topics, topic, n, &targets) > 0);
}

static void answer(struct pump *p, const struct message *m, const char *json, size_t n)
{
    struct message to = *m;
    if (to.reply_topic != NULL && !may_answer_on(p, to.reply_topic, to.reply_topic_len))
        to.reply_topic = NULL;
    if (p->sinks.answer != NULL)
        p->sinks.answer(p->sinks.context, &to, json, n);
}

/* What is written down twice when it comes twice. QoS 1 delivers again what it is not sure of; correlation
 * data that are the same, too, tell that from a keeper who does the same thing again. */
static uint64_t request_sum(const struct message *m, enum command_verb v)
{
    if (m->correlation_len == 0 || (v != COMMAND_NOTE && v != COMMAND_CALIBRATE && v != COMMAND_EXCHANGE))
        return 0;
    uint64_t sum = checksum_fnv(m->correlation, m->correlation_len);
    sum = sum * 31 + checksum_fnv(m->payload, m->payload_len);
    if (m->reply_topic != NULL)
        sum = sum * 31 + checksum_fnv(m->reply_topic, m->reply_topic_len);
    return sum * 31 + checksum_fnv(m->topic, m->topic_len);
}

static const struct pump_request *request_find(const struct pump *p, uint64_t sum, struct now now)
{
    for (int i = 0; sum != 0 && i < PUMP_RECENT_MAX; i++)
        if (p->recent[i].sum == sum && now.mono.ms - p->recent[i].at.ms < AGAIN_MS)
            return &p->recent[i];
    return NULL;
}

static void request_keep(struct pump *p, uint64_t sum, struct now now, const char *json, size_t n)
{
    struct pump_request *r = &p->recent[p->recent_next];
    if (sum == 0)
        return;
    *r = (struct pump_request){ .sum = sum, .at = now.mono, .n = n };
    memcpy(r->answer, json, n);
    p->recent_next = (p->recent_next + 1) % PUMP_RECENT_MAX;
}

static void command(struct pump *p, const struct message *m, size_t prefix)
{
    struct command c = command_of(command_find(m->topic + prefix, m->topic_len - prefix));
    struct why why = { "" };
    char json[PUMP_ANSWER_MAX];
    uint64_t sum = request_sum(m, c.verb);
    const struct pump_request *before = request_find(p, sum, m->now);
    if (before != NULL) {
        answer(p, m, before->answer, before->n);
        return;
    }
    p->counts.commands++;
    enum status st = obey(p, m, prefix, &c, &why);
    if (st != STATUS_OK)
        p->counts.commands_refused++;
    trace(p, "wire/commands", "%.*s: %s", (int)(m->topic_len - prefix), m->topic + prefix,
          st == STATUS_OK ? "done" : why.text);
    if (st == STATUS_OK && why.text[0] == '\0')
        say_done(p, &why);
    if (st == STATUS_OK && c.verb != COMMAND_NOTE &&
        c.verb != COMMAND_CALIBRATE) /* they are in the journal */
        record(p, &c, m->now.utc);
    flush(p);
    struct text out = text_over(json, sizeof json);
    commands_format_answer(p->site, &c, st, why.text, &out);
    request_keep(p, st == STATUS_OK ? sum : 0, m->now, json, out.len);
    answer(p, m, json, out.len);
}

/* --- sets of the Homie tree --- */

static bool asks_for(const struct homie_set *set, const struct alert *a)
{
    if (set->property.part == HOMIE_ACKNOWLEDGE)
        return a->marks == 0 && (a->base == ALERT_UNACK || a->base == ALERT_RTNUN || a->base == ALERT_LATUN);
    return (a->marks & ALERT_SHELVED) != 0;
}

/* Whether there is anything to do at a place: a set that wants what is already so is no mistake. */
static bool is_wanted(const struct pump *p, const struct homie_set *set, int place, struct now now)
{
    if (set->property.part != HOMIE_ACKNOWLEDGE && set->number > 0)
        return true;
    if (set->property.part == HOMIE_ACKNOWLEDGE && set->number == 0)
        return false;
    if (set->property.part == HOMIE_WINDOW) {
        struct tank_report report;
        engine_report_tank(p->engine, p->site->places[place].tank, now, &report);
        return report.in_service;
    }
    for (int i = p->site->first_alert[place]; i < p->site->first_alert[place + 1]; i++)
        if (asks_for(set, engine_alert(p->engine, i)))
            return true;
    return false;
}

static enum command_verb verb_of(const struct homie_set *set)
{
    switch (set->property.part) {
    case HOMIE_ACKNOWLEDGE:
        return COMMAND_ACK;
    case HOMIE_SHELVE:
        return set->number > 0 ? COMMAND_SHELVE : COMMAND_UNSHELVE;
    default:
        return COMMAND_SERVICE;
    }
}

static enum status set_place(struct pump *p, const struct homie_set *set, int place, struct now now,
                             struct why *why)
{
    struct command c = command_of(verb_of(set));
    c.place = place;
    c.minutes = set->number;
    (void)snprintf(c.who, sizeof c.who, "homie");
    enum status st = engine_command(p->engine, &c, now, &p->fx, why);
    if (st == STATUS_OK)
        record(p, &c, now.utc);
    flush(p);
    return st;
}

static void homie_set(struct pump *p, const struct message *m)
{
    struct homie_set set;
    struct why why = { "" };
    enum status st = homie_parse_set(p->site, m, &set, &why);
    p->counts.commands++;
    for (int place = 0; st == STATUS_OK && place < p->site->place_count; place++)
        if ((set.place == HOMIE_ROOT || set.place == place) && is_wanted(p, &set, place, m->now))
            st = set_place(p, &set, place, m->now, &why);
    p->counts.commands_refused += st != STATUS_OK;
    trace(p, "wire/homie_set", "%.*s: %s", (int)m->topic_len, m->topic, st == STATUS_OK ? "done" : why.text);
    if (p->sinks.set != NULL)
        p->sinks.set(p->sinks.context, &set, st, why.text);
}

/* --- readings --- */

static void ingest(struct pump *p, const struct message *m, const struct sample *samples, int count,
                   bool temperature)
{
    for (int i = 0; i < count; i++) {
        if ((p->site->streams[samples[i].stream].quantity == Q_TEMP) != temperature)
            continue;
        trace_sample(p, &samples[i]);
        engine_ingest(p->engine, &samples[i], m->retain, m->now, &p->fx);
        flush(p);
    }
}

/* Timers due at the message's own instant wait until time moves on: another message of that instant may
 * follow. */
void pump_message(struct pump *p, const struct message *m)
{
    struct sample samples[DECODE_MAX];
    size_t prefix;
    bool tidied = m->retain && m->payload_len == 0; /* somebody clears what should never have been retained */
    p->counts.messages++;
    trace(p, "adapters/inbox", "%.*s, %u bytes, qos %d%s", (int)m->topic_len, m->topic, m->payload_len,
          m->qos, m->retain ? ", retained" : "");
    advance(p, m->now, false);
    if (is_command(p, m, &prefix)) {
        if (!tidied)
            command(p, m, prefix);
    } else if (p->site->publish.homie && homie_is_set(p->site, m->topic, m->topic_len)) {
        if (!tidied)
            homie_set(p, m);
    } else {
        int left_out, count = decode_message(p->topics, p->site, m, samples, DECODE_MAX, &left_out);
        p->counts.left_out += (uint64_t)left_out;
        if (count == 0) {
            p->counts.nobodys++;
            trace(p, "wire/topic", "nobody's topic, or nothing in it that was asked for");
        }
        ingest(p, m, samples, count, true);
        ingest(p, m, samples, count, false);
    }
}

void pump_reload(struct pump *p, struct site *site, struct now now)
{
    size_t room = engine_save_room(p->engine);
    uint8_t *bytes = malloc(room);
    size_t n = bytes == NULL ? 0 : engine_save(p->engine, bytes, room, now);
    engine_fini(p->engine);
    arena_fini(&p->arena);
    p->arena = (struct arena){ 0 };
    p->site = site;
    relearn(p);
    p->topics = topics_init(site, &p->arena);
    p->engine = engine_init(site, now);
    if (n > 0)
        engine_restore(p->engine, bytes, n, now);
    free(bytes);
    prefix_set(p);
}
