/* Documents of the service into rows of the board. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "cli/now.h"
#include "wire/json.h"

static struct board_tank tank_unheard(const struct site *site, int tank)
{
    struct board_tank row = { .id = site->tanks[tank].id };
    for (int q = 0; q < Q_COUNT; q++)
        row.measured[q] = site_stream_of(site, site->tanks[tank].place, (enum quantity)q) >= 0;
    return row;
}

int hearing_init(struct hearing *h, const struct site *site)
{
    memset(h, 0, sizeof *h);
    pthread_mutex_init(&h->lock, NULL);
    h->site = site;
    h->tanks = calloc((size_t)site->tank_count + 1, sizeof *h->tanks);
    h->alerts = calloc(NOW_ALERTS_MAX, sizeof *h->alerts);
    h->documents = calloc((size_t)site->tank_count + 1, sizeof *h->documents);
    h->sources = calloc((size_t)site->source_count + 1, sizeof *h->sources);
    h->source_documents = calloc((size_t)site->source_count + 1, sizeof *h->source_documents);
    if (h->sources == NULL || h->source_documents == NULL || h->tanks == NULL || h->alerts == NULL ||
        h->documents == NULL)
        return -1;
    for (int i = 0; i < site->tank_count; i++)
        h->tanks[i] = tank_unheard(site, i);
    for (int i = 0; i < site->source_count; i++)
        h->sources[i].id = site->places[site->sources[i].place].id;
    h->board = (struct board){ .name = site->name != NULL ? site->name : site->id,
                               .service_since = UTC_NONE,
                               .tanks = h->tanks,
                               .tank_count = site->tank_count,
                               .sources = h->sources,
                               .source_count = site->source_count };
    return 0;
}

void hearing_fini(struct hearing *h)
{
    for (int i = 0; h->documents != NULL && i < h->site->tank_count; i++)
        free(h->documents[i]);
    for (int i = 0; h->source_documents != NULL && i < h->site->source_count; i++)
        free(h->source_documents[i]);
    for (int i = 0; i < NOW_ALERTS_MAX; i++)
        free(h->alert_documents[i]);
    free(h->source_documents);
    free(h->sources);
    free(h->documents);
    free(h->status_document);
    free(h->tanks);
    free(h->alerts);
    pthread_mutex_destroy(&h->lock);
}

static double number_at(const struct json_doc *doc, const char *pointer)
{
    struct json_item item = json_doc_at(doc, pointer);
    return item.kind == JSON_KIND_NUMBER || item.kind == JSON_KIND_BOOL ? item.number : (double)NAN;
}

static double member(const struct json_doc *doc, const char *base, const char *name)
{
    char pointer[96];
    snprintf(pointer, sizeof pointer, "%s/%s", base, name);
    return number_at(doc, pointer);
}

static struct board_value value_of(const struct json_doc *doc, enum quantity q)
{
    char base[64], pointer[96];
    snprintf(base, sizeof base, "/values/%s", quantity_info(q)->name);
    snprintf(pointer, sizeof pointer, "%s/t", base);
    double value = member(doc, base, "value"), flag = member(doc, base, "flag");
    return (struct board_value){ .known = !isnan(value),
                                 .value = value,
                                 .per_day = member(doc, base, "per_day"),
                                 .t = json_doc_time(doc, pointer),
                                 .flag = flag == FLAG_SUSPECT || flag == FLAG_FAIL ? FLAG_SUSPECT : FLAG_GOOD,
                                 .stale = member(doc, base, "stale") > 0 };
}

static void replace(char **kept, const struct message *m)
{
    free(*kept);
    *kept = m->payload_len > 0 ? strndup(m->payload, m->payload_len) : NULL;
}

static void take_tank(struct hearing *h, const char *id, size_t n, const struct message *m)
{
    int tank = site_tank_find(h->site, id, n);
    struct json_doc doc;
    if (tank < 0)
        return; /* left behind by an older configuration */
    replace(&h->documents[tank], m);
    struct board_tank *row = &h->tanks[tank];
    *row = tank_unheard(h->site, tank);
    if (m->payload_len == 0)
        return;
    if (json_doc_parse(m->payload, m->payload_len, &doc, NULL) != STATUS_OK) {
        h->unreadable++;
        return;
    }
    row->heard = true;
    row->in_service = json_doc_at(&doc, "/service").kind == JSON_KIND_CONTAINER;
    for (int q = 0; q < Q_COUNT; q++)
        row->values[q] = value_of(&doc, (enum quantity)q);
    json_doc_fini(&doc);
}

static void take_source(struct hearing *h, const char *id, size_t n, const struct message *m)
{
    int source = site_source_find(h->site, id, n);
    struct json_doc doc;
    char wear[16];
    if (source < 0)
        return;
    struct board_source *s = &h->sources[source];
    replace(&h->source_documents[source], m);
    s->text[0] = '\0';
    s->worn = false;
    if (m->payload_len == 0)
        return;
    if (json_doc_parse(m->payload, m->payload_len, &doc, NULL) != STATUS_OK) {
        h->unreadable++;
        return;
    }
    json_doc_text(&doc, "/text", s->text, sizeof s->text);
    json_doc_text(&doc, "/wear", wear, sizeof wear);
    s->worn = strcmp(wear, "exhausted") == 0;
    json_doc_fini(&doc);
}

static int alert_row(struct hearing *h, const char *ref, size_t n)
{
    for (int i = 0; i < h->board.alert_count; i++)
        if (strlen(h->refs[i]) == n && memcmp(h->refs[i], ref, n) == 0)
            return i;
    return -1;
}

static void drop_alert(struct hearing *h, int i)
{
    int last = --h->board.alert_count;
    free(h->alert_documents[i]);
    h->alerts[i] = h->alerts[last];
    h->alert_documents[i] = h->alert_documents[last];
    h->alert_documents[last] = NULL;
    memmove(h->refs[i], h->refs[last], sizeof h->refs[i]);
}

/* "temperature below the band", as the service itself words it. */
static void title_of(const struct site *site, const char *ref, const char *kind, char *buf, size_t cap)
{
    int slot = site_alert_find(site, ref, strlen(ref));
    if (slot < 0) {
        snprintf(buf, cap, "%s", kind);
        return;
    }
    enum quantity q = site->alerts[slot].quantity;
    const struct kind_info *info = kind_info(site->alerts[slot].kind);
    if (q == Q_COUNT)
        snprintf(buf, cap, "%s", info->title);
    else if (info->scope == SCOPE_TANK_LIMIT)
        snprintf(buf, cap, "%s %s", q == Q_EC ? "conductivity" : quantity_info(q)->title, info->title);
    else
        snprintf(buf, cap, "%s (%s)", info->title, quantity_info(q)->name);
}

static struct board_alert alert_of(const struct hearing *h, const struct json_doc *doc, const char *ref)
{
    struct board_alert a = { .since = json_doc_time(doc, "/since"), .due = json_doc_time(doc, "/due") };
    char kind[KIND_TEXT_MAX], priority[16];
    json_doc_text(doc, "/place", a.place, sizeof a.place);
    json_doc_text(doc, "/kind", kind, sizeof kind);
    json_doc_text(doc, "/state", a.state, sizeof a.state);
    json_doc_text(doc, "/priority", priority, sizeof priority);
    json_doc_text(doc, "/cause", a.cause, sizeof a.cause);
    json_doc_text(doc, "/evidence", a.evidence, sizeof a.evidence);
    json_doc_text(doc, "/action", a.action, sizeof a.action);
    json_doc_text(doc, "/who", a.who, sizeof a.who);
    a.priority = priority_find(priority);
    a.led = json_doc_at(doc, "/leader").kind == JSON_KIND_TEXT;
    title_of(h->site, ref, kind, a.title, sizeof a.title);
    return a;
}

static void take_alert(struct hearing *h, const char *ref, size_t n, const struct message *m)
{
    struct json_doc doc;
    int i = alert_row(h, ref, n);
    if (m->payload_len == 0) {
        if (i >= 0)
            drop_alert(h, i);
        return;
    }
    if (n >= sizeof h->refs[0] || (i < 0 && h->board.alert_count == NOW_ALERTS_MAX) ||
        json_doc_parse(m->payload, m->payload_len, &doc, NULL) != STATUS_OK) {
        h->unreadable++;
        return;
    }
    if (i < 0) {
        i = h->board.alert_count++;
        memcpy(h->refs[i], ref, n);
        h->refs[i][n] = 0;
    }
    h->alerts[i] = alert_of(h, &doc, h->refs[i]);
    replace(&h->alert_documents[i], m);
    json_doc_fini(&doc);
}

static void take_status(struct hearing *h, const struct message *m)
{
    struct json_doc doc;
    char state[16], store[128];
    h->fences += m->retain;
    replace(&h->status_document, m);
    if (m->payload_len == 0 || json_doc_parse(m->payload, m->payload_len, &doc, NULL) != STATUS_OK)
        return;
    json_doc_text(&doc, "/state", state, sizeof state);
    h->board.service = strcmp(state, "online") == 0 ? BOARD_SERVICE_ONLINE : BOARD_SERVICE_OFFLINE;
    h->board.service_since = json_doc_time(&doc, "/since");
    json_doc_text(&doc, "/store", store, sizeof store);
    h->board.service_note[0] = 0;
    if (store[0] != 0 && strcmp(store, "ok") != 0)
        snprintf(h->board.service_note, sizeof h->board.service_note, "store: %s", store);
    json_doc_fini(&doc);
}

bool hearing_take(void *context, const struct message *m)
{
    struct hearing *h = context;
    const char *base = h->site->publish.base;
    size_t n = strlen(base);
    if (m->topic_len <= n + 1 || memcmp(m->topic, base, n) != 0)
        return true;
    const char *rest = m->topic + n + 1;
    size_t left = m->topic_len - n - 1;
    pthread_mutex_lock(&h->lock);
    if (left == 6 && memcmp(rest, "status", 6) == 0)
        take_status(h, m);
    else if (left > 5 && memcmp(rest, "tank/", 5) == 0)
        take_tank(h, rest + 5, left - 5, m);
    else if (left > 7 && memcmp(rest, "source/", 7) == 0)
        take_source(h, rest + 7, left - 7, m);
    else if (left > 6 && memcmp(rest, "alert/", 6) == 0)
        take_alert(h, rest + 6, left - 6, m);
    h->changes++;
    pthread_mutex_unlock(&h->lock);
    return true;
}

bool hearing_is_fenced(struct hearing *h)
{
    pthread_mutex_lock(&h->lock);
    bool fenced = h->fences >= 2;
    pthread_mutex_unlock(&h->lock);
    return fenced;
}

bool hearing_is_whole(struct hearing *h)
{
    pthread_mutex_lock(&h->lock);
    bool whole = h->board.service != BOARD_SERVICE_UNKNOWN;
    for (int i = 0; i < h->site->tank_count; i++)
        whole = whole && h->tanks[i].heard;
    pthread_mutex_unlock(&h->lock);
    return whole;
}

int hearing_verdict(struct hearing *h)
{
    bool active = false;
    pthread_mutex_lock(&h->lock);
    for (int i = 0; i < h->board.alert_count; i++)
        active = active || board_alert_active(&h->alerts[i]);
    bool runs = h->board.service == BOARD_SERVICE_ONLINE;
    pthread_mutex_unlock(&h->lock);
    return !runs ? 3 : active ? 1 : 0;
}

void hearing_put(struct hearing *h, const char *clock, utc_t now, struct board_look look, struct text *out)
{
    pthread_mutex_lock(&h->lock);
    /* Sorted on a copy: the order of ours is tied to the documents. */
    struct board board = h->board;
    size_t size = (size_t)(board.alert_count > 0 ? board.alert_count : 1) * sizeof *board.alerts;
    board.alerts = malloc(size);
    if (board.alerts != NULL) {
        memcpy(board.alerts, h->alerts, size);
        board.clock = clock;
        board.now = now;
        board_sort(&board);
        board_put(out, &board, look);
    }
    if (h->unreadable > 0)
        text_printf(out, "%lu documents could not be read: is the service of the same version?\n",
                    h->unreadable);
    pthread_mutex_unlock(&h->lock);
    free(board.alerts);
}

static void put_list(struct text *out, char *const *documents, int count)
{
    bool first = true;
    json_open(out, '[');
    for (int i = 0; i < count; i++) {
        if (documents[i] == NULL)
            continue;
        if (!first)
            text_put(out, ",\n");
        text_put(out, documents[i]);
        first = false;
    }
    json_close(out, ']');
}

void hearing_put_json(struct hearing *h, utc_t now, struct text *out)
{
    pthread_mutex_lock(&h->lock);
    json_open(out, '{');
    json_key(out, "t");
    json_time(out, now);
    json_key(out, "status");
    if (h->status_document != NULL)
        text_put(out, h->status_document);
    else
        json_null(out);
    json_key(out, "tanks");
    put_list(out, h->documents, h->site->tank_count);
    json_key(out, "sources");
    put_list(out, h->source_documents, h->site->source_count);
    json_key(out, "alerts");
    put_list(out, h->alert_documents, h->board.alert_count);
    json_close(out, '}');
    text_put(out, "\n");
    pthread_mutex_unlock(&h->lock);
}
