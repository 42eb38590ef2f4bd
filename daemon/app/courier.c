#include "app/courier.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/clock.h"
#include "adapters/log.h"
#include "adapters/notify.h"
#include "app/digest.h"
#include "wire/encode.h"

#define LOOK_EVERY_MS   (30 * MS_PER_S)
#define RETRY_FIRST_MS  (30 * MS_PER_S)
#define RETRY_MOST_MS   MS_PER_HOUR
#define FLOOD_GATHER_MS MS_PER_MIN /* between the begin of a flood and its digest */
#define MINUTES_A_DAY   1440
#define SUMMARY_STATE   "summary"
#define INPUT_ROOM      16384

/* --- life --- */

/* Without an earlier one the first summary comes at its next time, not at once. */
static void load_summary(struct courier *c, struct now now)
{
    uint8_t *bytes = NULL;
    size_t n = store_load_state(c->store, SUMMARY_STATE, &bytes);
    c->summary_last = courier_summary_at(&c->site->notify, now.utc);
    if (n == sizeof c->summary_last)
        memcpy(&c->summary_last, bytes, n);
    free(bytes);
}

void courier_init(struct courier *c, const struct site *site, struct store *store, struct now now)
{
    struct why why = { "" };
    memset(c, 0, sizeof *c);
    c->site = site;
    c->store = store;
    c->next_look = (mono_t){ 0 };
    c->clock_trusted = now.trusted;
    c->may_hold = true;
    c->flood_due = c->flood_told = UTC_NONE;
    if (site->notify.command == NULL)
        return;
    load_summary(c, now);
    if (notify_open(&c->notify, &why) != STATUS_OK) {
        log_say(LOG_AT_ERROR, "messages cannot be delivered: %s", why.text);
        c->notify = NULL;
    }
}

void courier_fini(struct courier *c)
{
    if (c->notify != NULL)
        notify_close(c->notify);
    c->notify = NULL;
}

/* --- the hours of the day --- */

bool courier_is_quiet(const struct courier *c, utc_t t)
{
    const struct notify_settings *n = &c->site->notify;
    if (n->quiet_from_min < 0 || !c->clock_trusted)
        return false;
    int minute = clock_local_minute(t);
    if (n->quiet_from_min < n->quiet_to_min)
        return minute >= n->quiet_from_min && minute < n->quiet_to_min;
    return minute >= n->quiet_from_min || minute < n->quiet_to_min;
}

utc_t courier_summary_at(const struct notify_settings *notify, utc_t t)
{
    if (notify->summary_min < 0)
        return UTC_NONE;
    int64_t whole = t.ms - ((t.ms % MS_PER_MIN) + MS_PER_MIN) % MS_PER_MIN;
    int back = (clock_local_minute(t) - notify->summary_min + MINUTES_A_DAY) % MINUTES_A_DAY;
    return (utc_t){ whole - back * MS_PER_MIN };
}

/* --- into the outbox --- */

static void keep(struct courier *c, const struct outbox_item *item)
{
    if (store_outbox_add(c->store, item) != STATUS_OK)
        log_change(LOG_AT_ERROR, "outbox", "the message about %s could not be kept for delivery", item->ref);
    c->may_hold = c->may_hold || item->held;
    c->next_look = (mono_t){ 0 };
}

/* A raise, a reminder, a new alarm and the clear of what was told go to people. */
static void take_alert(struct courier *c, const struct effect *e)
{
    const struct alert *a = &e->u.alert.alert;
    struct outbox_item item = { .at = e->t, .priority = c->site->alerts[a->index].settings.priority };
    item.held = item.priority == PRIORITY_LOW && courier_is_quiet(c, e->t);
    snprintf(item.ref, sizeof item.ref, "%s", c->site->alerts[a->index].ref);
    struct text json = text_over(item.json, sizeof item.json), text = text_over(item.text, sizeof item.text);
    encode_alert(c->site, a, e->u.alert.change, true, e->t, &json);
    if (json.cut)
        snprintf(item.json, sizeof item.json, "{}");
    encode_alert_text(c->site, a, e->u.alert.change, e->t, digest_clock, &text);
    keep(c, &item);
}

static void take_test(struct courier *c, const struct effect *e)
{
    struct outbox_item item = { .at = e->t, .priority = PRIORITY_HIGH, .ref = "test" };
    struct text json = text_over(item.json, sizeof item.json);
    encode_event(c->site, &e->u.event, e->t, &json);
    snprintf(item.text, sizeof item.text,
             "TEST - %s.\nWho reads this will be reached by alerts too. Nothing is to do.\n",
             e->u.event.text);
    keep(c, &item);
}

/* Nobody should forget what was put aside. */
static void take_shelf_end(struct courier *c, const struct effect *e)
{
    struct outbox_item item = { .at = e->t, .priority = PRIORITY_LOW, .ref = "shelf" };
    struct text json = text_over(item.json, sizeof item.json);
    item.held = courier_is_quiet(c, e->t);
    encode_event(c->site, &e->u.event, e->t, &json);
    snprintf(item.text, sizeof item.text, "PUT ASIDE, ENDS SOON - %s.\nAct, or put it aside again.\n",
             e->u.event.text);
    keep(c, &item);
}

void courier_effect(struct courier *c, const struct effect *e)
{
    if (c->notify == NULL)
        return;
    if (e->kind == EFFECT_ALERT && e->u.alert.announce)
        take_alert(c, e);
    if (e->kind != EFFECT_EVENT)
        return;
    if (e->u.event.kind == EVENT_TEST)
        take_test(c, e);
    if (e->u.event.kind == EVENT_SHELF_ENDS)
        take_shelf_end(c, e);
    if (e->u.event.kind == EVENT_FLOOD_BEGIN)
        c->flood_due = (utc_t){ e->t.ms + FLOOD_GATHER_MS };
    if (e->u.event.kind == EVENT_FLOOD_END)
        c->flood_over = true;
}

/* --- digests --- */

static void tell_flood(struct courier *c, const struct pump *pump, struct now now)
{
    struct outbox_item item;
    if (utc_is_set(c->flood_due) && now.utc.ms >= c->flood_due.ms) {
        c->flood_due = UTC_NONE;
        c->flood_told = now.utc;
        digest_flood(
            c->site, pump, UTC_NONE,
            "MANY ALERTS AT ONCE - only high priority is told one by one until it is calmer. These wait:",
            now.utc, &item);
        keep(c, &item);
    }
    if (!c->flood_over)
        return;
    c->flood_over = false;
    if (digest_flood(c->site, pump, c->flood_told,
                     "CALMER AGAIN - these came meanwhile and still stand:", now.utc, &item) > 0)
        keep(c, &item);
    c->flood_told = UTC_NONE;
}

static void tell_held(struct courier *c, struct now now)
{
    struct digest_held held = { .count = 0 };
    struct outbox_item item;
    if (!c->may_hold || courier_is_quiet(c, now.utc))
        return;
    if (store_outbox_each_held(c->store, digest_held_add, &held) != STATUS_OK)
        return;
    if (held.count > 0) {
        digest_held(&held, now.utc, &item);
        if (store_outbox_release(c->store, &item) != STATUS_OK)
            return;
        c->next_look = (mono_t){ 0 };
    }
    c->may_hold = false;
}

/* Half a day between two at least: a change to or from summer time makes no second one. */
static void tell_summary(struct courier *c, const struct pump *pump, struct now now)
{
    struct outbox_item item;
    utc_t at = courier_summary_at(&c->site->notify, now.utc);
    if (!utc_is_set(at) || !now.trusted)
        return;
    if (utc_is_set(c->summary_last) && at.ms - c->summary_last.ms < MS_PER_DAY / 2)
        return;
    c->summary_last = at;
    if (store_save_state(c->store, SUMMARY_STATE, &at, sizeof at) != STATUS_OK)
        log_change(LOG_AT_WARNING, "outbox", "that the summary is out could not be kept; it may come twice");
    digest_summary(c->site, pump, now, &item);
    keep(c, &item);
}

/* --- out of the outbox --- */

static utc_t retry_at(const struct outbox_item *item, struct now now)
{
    int64_t wait = RETRY_FIRST_MS;
    for (int i = 0; i < item->attempts && wait < RETRY_MOST_MS; i++)
        wait *= 2;
    return (utc_t){ now.utc.ms + (wait < RETRY_MOST_MS ? wait : RETRY_MOST_MS) };
}

static void give_back(struct courier *c, const char *reason, struct now now)
{
    c->failures++;
    snprintf(c->reason, sizeof c->reason, "%.*s", (int)sizeof c->reason - 1, reason);
    log_change(LOG_AT_WARNING, "courier", "message about %s not delivered: %s", c->item.ref, reason);
    if (store_outbox_retry(c->store, c->item.id, retry_at(&c->item, now)) != STATUS_OK)
        log_change(LOG_AT_WARNING, "outbox", "the outbox cannot be written; delivery is tried again later");
}

/* Whoever tries waits for the answer: tried once. */
static void end_test(struct courier *c, bool delivered, const char *how)
{
    c->tested = true;
    c->test = (struct event){
        .kind = EVENT_TEST_RESULT, .place = c->site->service_place, .quantity = Q_COUNT, .value = delivered
    };
    if (delivered)
        snprintf(c->test.text, sizeof c->test.text, "the notify command took the test message");
    else
        snprintf(c->test.text, sizeof c->test.text,
                 "the notify command did not take the test message: %.120s", how);
}

static void deliver_failed(struct courier *c, const char *reason, struct now now)
{
    if (strcmp(c->item.ref, "test") != 0) {
        give_back(c, reason, now);
        return;
    }
    end_test(c, false, reason);
    if (store_outbox_done(c->store, c->item.id) != STATUS_OK)
        log_change(LOG_AT_WARNING, "outbox", "the outbox cannot be written; the test message is tried again");
}

static void take_result(struct courier *c, struct now now)
{
    struct notify_result result;
    if (!notify_take_result(c->notify, &result))
        return;
    c->carrying = false;
    c->next_look = now.mono;
    if (!result.delivered) {
        deliver_failed(c, result.text, now);
        return;
    }
    if (strcmp(c->item.ref, "test") == 0)
        end_test(c, true, "");
    c->failures = 0;
    log_over(LOG_AT_NOTICE, "courier", "messages are delivered again");
    if (store_outbox_done(c->store, c->item.id) != STATUS_OK)
        log_change(LOG_AT_WARNING, "outbox",
                   "the outbox cannot be written; a message may be delivered twice");
}

struct variables {
    char message[32], ref[128], priority[32], site[64];
    const char *list[4];
};

static void name_variables(const struct courier *c, struct variables *v)
{
    snprintf(v->message, sizeof v->message, "LENTIC_MESSAGE=%s",
             c->site->notify.format == NOTIFY_AS_JSON ? "json" : "text");
    snprintf(v->ref, sizeof v->ref, "LENTIC_REF=%s", c->item.ref);
    snprintf(v->priority, sizeof v->priority, "LENTIC_PRIORITY=%s", priority_name(c->item.priority));
    snprintf(v->site, sizeof v->site, "LENTIC_SITE=%s", c->site->id);
    v->list[0] = v->message;
    v->list[1] = v->ref;
    v->list[2] = v->priority;
    v->list[3] = v->site;
}

static void start_next(struct courier *c, struct now now)
{
    static char input[INPUT_ROOM];
    struct text out = text_over(input, sizeof input);
    struct variables variables;
    struct why why = { "" };
    c->next_look = mono_add(now.mono, LOOK_EVERY_MS);
    if (store_outbox_next(c->store, now.utc, &c->item) != STATUS_OK)
        return;
    digest_compose(c->site, &c->item, now.utc, &out);
    name_variables(c, &variables);
    struct notify_job job = { .id = c->item.id,
                              .command = c->site->notify.command,
                              .timeout_s = c->site->notify.command_timeout_s,
                              .input = input,
                              .input_len = out.len,
                              .variables = variables.list,
                              .variable_count = 4 };
    if (notify_start(c->notify, &job, now.mono, &why) == STATUS_OK)
        c->carrying = true;
    else
        deliver_failed(c, why.text, now);
}

void courier_advance(struct courier *c, const struct pump *pump, struct now now)
{
    c->clock_trusted = now.trusted;
    if (c->notify == NULL)
        return;
    tell_flood(c, pump, now);
    tell_held(c, now);
    tell_summary(c, pump, now);
    notify_advance(c->notify, now.mono);
    take_result(c, now);
    if (!c->carrying && c->next_look.ms <= now.mono.ms)
        start_next(c, now);
}

bool courier_take_test(struct courier *c, struct event *out)
{
    if (!c->tested)
        return false;
    *out = c->test;
    c->tested = false;
    return true;
}

mono_t courier_deadline(const struct courier *c)
{
    if (c->notify == NULL)
        return MONO_NEVER;
    return c->carrying ? notify_deadline(c->notify) : c->next_look;
}

int courier_fd(const struct courier *c)
{
    return c->notify == NULL ? -1 : notify_fd(c->notify);
}
