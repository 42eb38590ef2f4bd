#include "app/courier.h"

#include <stdio.h>
#include <string.h>

#include "adapters/log.h"
#include "adapters/notify.h"
#include "wire/encode.h"

#define LOOK_EVERY_MS  (30 * MS_PER_S)
#define RETRY_FIRST_MS (30 * MS_PER_S)
#define RETRY_MOST_MS  MS_PER_HOUR

void courier_init(struct courier *c, const struct site *site, struct store *store)
{
    struct why why = { "" };
    memset(c, 0, sizeof *c);
    c->site = site;
    c->store = store;
    c->next_look = (mono_t){ 0 };
    if (site->notify.command == NULL)
        return;
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

/* A raise, a reminder, a new alarm and the clear of what was told go to people. */
void courier_effect(struct courier *c, const struct effect *e)
{
    struct outbox_item item = { .at = e->t };
    const struct alert *a = &e->u.alert.alert;
    if (c->notify == NULL || e->kind != EFFECT_ALERT || !e->u.alert.announce)
        return;
    item.priority = c->site->alerts[a->index].settings.priority;
    snprintf(item.ref, sizeof item.ref, "%s", c->site->alerts[a->index].ref);
    struct text json = text_over(item.json, sizeof item.json), text = text_over(item.text, sizeof item.text);
    encode_alert(c->site, a, e->u.alert.change, true, e->t, &json);
    encode_alert_text(c->site, a, e->u.alert.change, e->t, &text);
    if (store_outbox_add(c->store, &item) != STATUS_OK)
        log_change(LOG_AT_ERROR, "outbox", "the message about %s could not be kept for delivery", item.ref);
    c->next_look = (mono_t){ 0 };
}

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

static void take_result(struct courier *c, struct now now)
{
    struct notify_result result;
    if (!notify_take_result(c->notify, &result))
        return;
    c->carrying = false;
    c->next_look = now.mono;
    if (!result.delivered) {
        give_back(c, result.text, now);
        return;
    }
    c->failures = 0;
    log_over(LOG_AT_NOTICE, "courier", "messages are delivered again");
    if (store_outbox_done(c->store, c->item.id) != STATUS_OK)
        log_change(LOG_AT_WARNING, "outbox",
                   "the outbox cannot be written; a message may be delivered twice");
}

static void start_next(struct courier *c, struct now now)
{
    static const char *const variables[] = { "LENTIC_MESSAGE=text" };
    struct why why = { "" };
    c->next_look = mono_add(now.mono, LOOK_EVERY_MS);
    if (store_outbox_next(c->store, now.utc, &c->item) != STATUS_OK)
        return;
    struct notify_job job = { .id = c->item.id,
                              .command = c->site->notify.command,
                              .timeout_s = c->site->notify.command_timeout_s,
                              .input = c->item.text,
                              .input_len = strlen(c->item.text),
                              .variables = variables,
                              .variable_count = 1 };
    if (notify_start(c->notify, &job, now.mono, &why) == STATUS_OK)
        c->carrying = true;
    else
        give_back(c, why.text, now);
}

void courier_advance(struct courier *c, struct now now)
{
    if (c->notify == NULL)
        return;
    notify_advance(c->notify, now.mono);
    take_result(c, now);
    if (!c->carrying && c->next_look.ms <= now.mono.ms)
        start_next(c, now);
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
