/* Retained documents of the service into notices. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"
#include "cli/alerts.h"
#include "wire/json.h"

int alerts_heard_init(struct alerts_heard *h, const struct site *site)
{
    *h = (struct alerts_heard){ .site = site };
    h->notices = calloc(ALERTS_HEARD_MAX, sizeof *h->notices);
    h->documents = calloc(ALERTS_HEARD_MAX, sizeof *h->documents);
    return h->notices == NULL || h->documents == NULL ? -1 : 0;
}

void alerts_heard_fini(struct alerts_heard *h)
{
    for (int i = 0; h->documents != NULL && i < h->count; i++)
        free(h->documents[i]);
    free(h->documents);
    free(h->notices);
}

void alerts_title(const struct site *site, const char *ref, const char *kind, char *buf, size_t cap)
{
    int slot = site_alert_find(site, ref, strlen(ref));
    if (slot < 0) {
        snprintf(buf, cap, "%s", kind);
        return;
    }
    struct text out = text_over(buf, cap);
    kind_title(site->alerts[slot].kind, site->alerts[slot].quantity, &out);
}

static void put_number(const struct json_doc *doc, const char *pointer, const char *lead, struct text *out)
{
    struct json_item item = json_doc_at(doc, pointer);
    char unit[16];
    json_doc_text(doc, "/unit", unit, sizeof unit);
    if (item.kind == JSON_KIND_NUMBER)
        text_printf(out, "%s%.6g%s%s", lead, item.number, unit[0] != '\0' ? " " : "", unit);
}

static struct notice notice_of(const struct site *site, const struct json_doc *doc, const char *ref)
{
    struct notice n = { .raised = json_doc_time(doc, "/raised"),
                        .due = json_doc_time(doc, "/due"),
                        .until = json_doc_time(doc, "/until"),
                        .chattering = json_doc_at(doc, "/chattering").number != 0 };
    char kind[KIND_TEXT_MAX], priority[16];
    struct text number = text_over(n.number, sizeof n.number);
    snprintf(n.ref, sizeof n.ref, "%s", ref);
    json_doc_text(doc, "/place", n.place, sizeof n.place);
    json_doc_text(doc, "/kind", kind, sizeof kind);
    json_doc_text(doc, "/priority", priority, sizeof priority);
    n.priority = priority_find(priority);
    json_doc_text(doc, "/state", n.state, sizeof n.state);
    json_doc_text(doc, "/leader", n.leader, sizeof n.leader);
    json_doc_text(doc, "/cause", n.cause, sizeof n.cause);
    json_doc_text(doc, "/evidence", n.evidence, sizeof n.evidence);
    json_doc_text(doc, "/action", n.action, sizeof n.action);
    json_doc_text(doc, "/consequence", n.consequence, sizeof n.consequence);
    json_doc_text(doc, "/who", n.who, sizeof n.who);
    json_doc_text(doc, "/why", n.why, sizeof n.why);
    put_number(doc, "/value", "", &number);
    put_number(doc, "/limit", ", limit ", &number);
    alerts_title(site, ref, kind, n.title, sizeof n.title);
    return n;
}

static void drop(struct alerts_heard *h, int i)
{
    int last = --h->count;
    free(h->documents[i]);
    h->documents[i] = h->documents[last];
    h->notices[i] = h->notices[last];
}

static void take_alert(struct alerts_heard *h, const char *ref, const struct message *m)
{
    struct json_doc doc;
    int i = 0;
    while (i < h->count && strcmp(h->notices[i].ref, ref) != 0)
        i++;
    if (m->payload_len == 0) {
        if (i < h->count)
            drop(h, i);
        return;
    }
    if (i == ALERTS_HEARD_MAX || json_doc_parse(m->payload, m->payload_len, &doc, NULL) != STATUS_OK) {
        h->unreadable++;
        return;
    }
    if (i == h->count) {
        h->count++;
        h->documents[i] = NULL;
    }
    free(h->documents[i]);
    h->documents[i] = strndup(m->payload, m->payload_len);
    h->notices[i] = notice_of(h->site, &doc, ref);
    json_doc_fini(&doc);
}

static void take_status(struct alerts_heard *h, const struct message *m)
{
    struct json_doc doc;
    char state[16];
    if (m->payload_len == 0 || json_doc_parse(m->payload, m->payload_len, &doc, NULL) != STATUS_OK)
        return;
    json_doc_text(&doc, "/state", state, sizeof state);
    h->status_heard = true;
    h->online = strcmp(state, "online") == 0;
    json_doc_fini(&doc);
}

void alerts_heard_take(void *context, const struct message *m)
{
    struct alerts_heard *h = context;
    const char *base = h->site->publish.base;
    size_t n = strlen(base);
    char rest[128];
    if (m->topic_len <= n + 1 || m->topic_len - n > sizeof rest || memcmp(m->topic, base, n) != 0)
        return;
    snprintf(rest, sizeof rest, "%.*s", (int)(m->topic_len - n - 1), m->topic + n + 1);
    if (strcmp(rest, "status") == 0)
        take_status(h, m);
    else if (strncmp(rest, "alert/", 6) == 0)
        take_alert(h, rest + 6, m);
    h->changes++;
}

/* The documents follow their notices by ref. */
void alerts_heard_sort(struct alerts_heard *h)
{
    struct notice *before = malloc((size_t)(h->count + 1) * sizeof *before);
    char **documents = malloc((size_t)(h->count + 1) * sizeof *documents);
    if (before == NULL || documents == NULL)
        abort();
    memcpy(before, h->notices, (size_t)h->count * sizeof *before);
    memcpy(documents, h->documents, (size_t)h->count * sizeof *documents);
    notices_sort(h->notices, h->count);
    for (int i = 0; i < h->count; i++)
        for (int k = 0; k < h->count; k++)
            if (strcmp(before[k].ref, h->notices[i].ref) == 0)
                h->documents[i] = documents[k];
    free(before);
    free(documents);
}
