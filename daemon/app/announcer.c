#include "app/announcer.h"

#include <stdlib.h>
#include <string.h>

#include "adapters/log.h"
#include "app/ghosts.h"
#include "config/fault.h"
#include "model/announcement.h"
#include "wire/json.h"

#define MEMORY "announced"

/* --- lists of topics, one a line --- */

static void append(char **list, const char *line, size_t n)
{
    size_t had = *list == NULL ? 0 : strlen(*list);
    char *longer = realloc(*list, had + n + 2);
    if (longer == NULL)
        abort();
    memcpy(longer + had, line, n);
    memcpy(longer + had + n, "\n", 2);
    *list = longer;
}

static bool has(const char *list, const char *line, size_t n)
{
    for (const char *at = list; at != NULL && *at != '\0'; at += strcspn(at, "\n") + 1)
        if (strcspn(at, "\n") == n && memcmp(at, line, n) == 0)
            return true;
    return false;
}

static char *topics_of(const struct site *site)
{
    char *list = NULL, topic[ANNOUNCEMENT_TOPIC_MAX];
    for (int i = 0; i < site->announcement_count; i++) {
        const struct announcement *a = &site->announcements[i];
        for (int k = 0; a->retain && k < announcement_things(site, a); k++) {
            struct text out = text_over(topic, sizeof topic);
            if (announcement_topic(site, a, k, &out))
                append(&list, topic, out.len);
        }
    }
    return list;
}

/* --- life --- */

static void save(struct announcer *a)
{
    char *list = topics_of(a->site);
    char *gone = ghosts_join(a->ghosts, a->withdrawn);
    for (const char *at = gone; at != NULL && *at != '\0'; at += strcspn(at, "\n") + 1)
        append(&list, at, strcspn(at, "\n"));
    free(gone);
    const char *text = list != NULL ? list : "\n";
    if (store_save_state(a->store, MEMORY, text, strlen(text)) != STATUS_OK)
        log_change(LOG_AT_WARNING, "announced",
                   "what is announced could not be noted; some of it may be left over after a restart");
    free(list);
}

void announcer_init(struct announcer *a, const struct site *site, struct store *store, publisher_send *send,
                    void *context)
{
    uint8_t *bytes = NULL;
    *a = (struct announcer){ .site = site, .store = store, .send = send, .context = context };
    size_t n = store_load_state(store, MEMORY, &bytes);
    char *before = n == 0 ? NULL : strndup((const char *)bytes, n), *now = topics_of(site);
    free(bytes);
    for (const char *at = before; at != NULL && *at != '\0';) {
        size_t len = strcspn(at, "\n");
        if (len > 0 && len < ANNOUNCEMENT_TOPIC_MAX && !has(now, at, len))
            append(&a->ghosts, at, len);
        at += len + (at[len] != '\0');
    }
    if (now != NULL || a->ghosts != NULL)
        save(a); /* before anything is sent */
    free(before);
    free(now);
}

void announcer_fini(struct announcer *a)
{
    free(a->ghosts);
    free(a->withdrawn);
    a->ghosts = a->withdrawn = NULL;
}

void announcer_connected(struct announcer *a)
{
    ghosts_turn(&a->ghosts, &a->withdrawn);
    a->pending = a->site->announcement_count > 0 || a->ghosts != NULL;
    a->at = a->thing = 0;
}

static bool withdraw(struct announcer *a)
{
    char topic[ANNOUNCEMENT_TOPIC_MAX];
    if (a->ghosts == NULL)
        return true;
    size_t at = 0, n;
    while ((n = strcspn(a->ghosts + at, "\n")) > 0) {
        memcpy(topic, a->ghosts + at, n);
        topic[n] = '\0';
        if (!a->send(a->context, topic, "", 0, true, 0))
            break;
        at += n + 1;
    }
    memmove(a->ghosts, a->ghosts + at, strlen(a->ghosts + at) + 1);
    if (a->ghosts[0] != '\0')
        return false;
    free(a->ghosts);
    a->ghosts = NULL;
    save(a);
    return true;
}

static bool announce(const struct announcer *a, const struct announcement *what, int thing)
{
    static char payload[ANNOUNCEMENT_PAYLOAD_MAX];
    char topic[ANNOUNCEMENT_TOPIC_MAX];
    struct text topic_out = text_over(topic, sizeof topic), out = text_over(payload, sizeof payload);
    if (!announcement_topic(a->site, what, thing, &topic_out))
        return true;
    announcement_payload(a->site, what, thing, &out);
    return out.cut || a->send(a->context, topic, payload, out.len, what->retain, 0);
}

void announcer_advance(struct announcer *a)
{
    if (!a->pending || !withdraw(a))
        return;
    for (; a->at < a->site->announcement_count; a->at++, a->thing = 0) {
        const struct announcement *what = &a->site->announcements[a->at];
        for (; a->thing < announcement_things(a->site, what); a->thing++)
            if (!announce(a, what, a->thing))
                return;
    }
    a->pending = false;
}

/* --- before a start --- */

static void check_payload(const struct site *site, const struct announcement *a, int thing, const char *topic,
                          struct config_faults *faults)
{
    static char payload[ANNOUNCEMENT_PAYLOAD_MAX];
    struct text out = text_over(payload, sizeof payload);
    struct json_doc doc = { NULL };
    struct why why = { "" };
    announcement_payload(site, a, thing, &out);
    if (out.cut)
        fault_at(faults, NULL, a->line, "payload: for %s it is longer than %d bytes", topic,
                 ANNOUNCEMENT_PAYLOAD_MAX - 1);
    else if ((payload[0] == '{' || payload[0] == '[') &&
             json_doc_parse(payload, out.len, &doc, &why) != STATUS_OK)
        fault_at(faults, NULL, a->line, "payload: for %s it is no JSON: %s", topic, why.text);
    json_doc_fini(&doc);
}

static void check(const struct site *site, struct config_faults *faults)
{
    char *list = NULL, topic[ANNOUNCEMENT_TOPIC_MAX];
    for (int i = 0; i < site->announcement_count; i++) {
        const struct announcement *a = &site->announcements[i];
        int before = faults->errors;
        for (int k = 0; k < announcement_things(site, a) && faults->errors == before; k++) {
            struct text out = text_over(topic, sizeof topic);
            if (!announcement_topic(site, a, k, &out))
                fault_at(faults, NULL, a->line, "topic: longer than %d bytes once it is filled in",
                         ANNOUNCEMENT_TOPIC_MAX - 1);
            else if (has(list, topic, out.len))
                fault_at(faults, NULL, a->line, "topic: %s is announced twice", topic);
            append(&list, topic, out.len);
            check_payload(site, a, k, topic, faults);
        }
    }
    free(list);
}

enum status announcer_load(const char *path, struct site **out, struct config_faults *faults)
{
    enum status st = config_load(path, out, faults);
    if (st != STATUS_OK)
        return st;
    check(*out, faults);
    if (faults->errors == 0)
        return STATUS_OK;
    fault_sort(faults);
    site_free(*out);
    *out = NULL;
    return STATUS_INVALID;
}
