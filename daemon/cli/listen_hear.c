/* What is heard, gathered value by value. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/number.h"
#include "cli/listen.h"
#include "wire/json.h"

#define LABELS_MAX    4096
#define MEMBERS_MAX   64
#define TOPIC_TEXT(m) (int)(m)->topic_len, (m)->topic

enum status listen_init(struct listen_heard *heard, const char *own)
{
    *heard = (struct listen_heard){ .own = own };
    heard->streams = calloc(LISTEN_STREAMS_MAX, sizeof *heard->streams);
    heard->labels = calloc(LABELS_MAX, sizeof *heard->labels);
    return heard->streams != NULL && heard->labels != NULL ? STATUS_OK : STATUS_IO;
}

void listen_fini(struct listen_heard *heard)
{
    free(heard->streams);
    free(heard->labels);
}

/* A member of a document that is no object or list. */
struct member {
    char pointer[LISTEN_POINTER_MAX];
    enum json_kind kind;
    double number;
    char text[64];
};

struct members {
    struct member items[MEMBERS_MAX];
    int count;
};

static void keep_member(void *context, const char *pointer, const struct json_item *item)
{
    struct members *all = context;
    if (all->count == MEMBERS_MAX || strlen(pointer) >= LISTEN_POINTER_MAX)
        return;
    struct member *m = &all->items[all->count++];
    *m = (struct member){ .kind = item->kind, .number = item->number };
    snprintf(m->pointer, sizeof m->pointer, "%s", pointer);
    if (item->kind == JSON_KIND_TEXT) {
        snprintf(m->text, sizeof m->text, "%s", item->text);
        if (number_parse(item->text, item->text_len, NUMBER_JSON, &m->number) == STATUS_OK)
            m->kind = JSON_KIND_NUMBER;
    } else if (item->kind == JSON_KIND_NUMBER) {
        number_exact(m->text, sizeof m->text, item->number);
    }
}

static const char *last_of(const char *pointer)
{
    const char *slash = strrchr(pointer, '/');
    return slash != NULL ? slash + 1 : pointer;
}

static bool is_any(const char *word, const char *const *words)
{
    for (; *words != NULL; words++)
        if (strcasecmp(word, *words) == 0)
            return true;
    return false;
}

/* A time of the last years, as text with its zone or as seconds or milliseconds. */
static bool is_time(const struct member *m)
{
    static const char *const names[] = { "t",    "ts",   "time", "timestamp", "datetime", "date_time",
                                         "date", "when", "at",   "last_seen", "measured", NULL };
    utc_t t;
    bool zoned;
    if (!is_any(last_of(m->pointer), names))
        return false;
    if (m->kind == JSON_KIND_TEXT)
        return utc_parse(m->text, strlen(m->text), &t, &zoned) == STATUS_OK && zoned;
    return m->kind == JSON_KIND_NUMBER &&
           (m->number > 1.5e9 && m->number < 4e9) == !(m->number > 1.5e12 && m->number < 4e12);
}

static bool is_device(const struct member *m)
{
    static const char *const names[] = { "id",   "serial",    "sn",       "device",    "dev",     "mac",
                                         "addr", "uid",       "sensor",   "sensor_id", "name",    "address",
                                         "node", "device_id", "deviceid", "station",   "channel", NULL };
    return (m->kind == JSON_KIND_TEXT || m->kind == JSON_KIND_NUMBER) && is_any(last_of(m->pointer), names);
}

static const struct member *first_of(const struct members *all, bool (*is)(const struct member *))
{
    for (int i = 0; i < all->count; i++)
        if (is(&all->items[i]))
            return &all->items[i];
    return NULL;
}

/* "/water/ec_unit", "/water/unit" or "/water/units" beside "/water/ec". */
static const struct member *unit_of(const struct members *all, const struct member *value)
{
    static const char *const names[] = { "unit", "units", "uom", NULL };
    const char *last = last_of(value->pointer);
    size_t folder = (size_t)(last - value->pointer), n = strlen(last);
    for (int i = 0; i < all->count; i++) {
        const struct member *m = &all->items[i];
        const char *name = last_of(m->pointer);
        if (m->kind != JSON_KIND_TEXT || (size_t)(name - m->pointer) != folder ||
            strncmp(m->pointer, value->pointer, folder) != 0)
            continue;
        bool own = strncasecmp(name, last, n) == 0 && (name[n] == '_' || name[n] == '-') &&
                   is_any(name + n + 1, names);
        if (own || is_any(name, names))
            return m;
    }
    return NULL;
}

static struct listen_stream *stream_of(struct listen_heard *heard, const struct listen_stream *like)
{
    for (int i = 0; i < heard->count; i++) {
        struct listen_stream *s = &heard->streams[i];
        if (strcmp(s->topic, like->topic) == 0 && strcmp(s->pointer, like->pointer) == 0 &&
            strcmp(s->device, like->device) == 0)
            return s;
    }
    if (heard->count == LISTEN_STREAMS_MAX) {
        heard->beyond++;
        return NULL;
    }
    struct listen_stream *s = &heard->streams[heard->count++];
    *s = *like;
    s->lo = s->hi = NAN;
    return s;
}

static void count_number(struct listen_stream *s, double v)
{
    s->numbers++;
    if (v == 85.0 || v == -127.0) {
        s->codes[v < 0] = true;
        return;
    }
    s->lo = fmin(s->lo, v);
    s->hi = fmax(s->hi, v);
    s->fractions |= v != floor(v);
}

static void count_live(struct listen_stream *s, int64_t at_ms)
{
    if (s->live++ > 0)
        s->gaps_s[s->gap_count++ % LISTEN_GAPS_MAX] = (double)(at_ms - s->last_ms) / 1000;
    s->last_ms = at_ms;
}

static void put(struct listen_heard *heard, const struct message *m, const struct listen_stream *like,
                bool number, double v, const char *sample)
{
    struct listen_stream *s = stream_of(heard, like);
    if (s == NULL)
        return;
    s->heard++;
    snprintf(s->sample, sizeof s->sample, "%s", sample);
    if (like->unit[0] != '\0')
        snprintf(s->unit, sizeof s->unit, "%s", like->unit);
    if (number)
        count_number(s, v);
    else
        s->words++;
    if (!m->retain)
        count_live(s, m->now.mono.ms);
}

static void put_member(struct listen_heard *heard, const struct message *m, const struct members *all,
                       const struct listen_stream *document, const struct member *value)
{
    struct listen_stream like = *document;
    const struct member *unit = unit_of(all, value);
    snprintf(like.pointer, sizeof like.pointer, "%s", value->pointer);
    if (unit != NULL) {
        snprintf(like.unit_at, sizeof like.unit_at, "%s", unit->pointer);
        snprintf(like.unit, sizeof like.unit, "%.*s", (int)sizeof like.unit - 1, unit->text);
    }
    bool number = value->kind == JSON_KIND_NUMBER || value->kind == JSON_KIND_BOOL;
    put(heard, m, &like, number, value->number, value->text);
}

static void take_document(struct listen_heard *heard, const struct message *m, struct listen_stream *like,
                          const struct json_doc *doc)
{
    static struct members all;
    all.count = 0;
    json_doc_walk(doc, keep_member, &all);
    const struct member *time = first_of(&all, is_time), *device = first_of(&all, is_device);
    if (time != NULL)
        snprintf(like->time_at, sizeof like->time_at, "%s", time->pointer);
    if (device != NULL) {
        snprintf(like->device_at, sizeof like->device_at, "%s", device->pointer);
        snprintf(like->device, sizeof like->device, "%s", device->text);
    }
    for (int i = 0; i < all.count; i++)
        if (&all.items[i] != time && &all.items[i] != device && all.items[i].kind != JSON_KIND_TEXT)
            put_member(heard, m, &all, like, &all.items[i]);
}

static bool is_below(const struct message *m, const char *above)
{
    size_t n = above != NULL ? strlen(above) : 0;
    return n > 0 && m->topic_len > n && memcmp(m->topic, above, n) == 0 && m->topic[n] == '/';
}

void listen_take(struct listen_heard *heard, const struct message *m)
{
    struct listen_stream like = { 0 };
    struct json_doc doc;
    double v;
    char sample[40];
    if (m->topic_len >= LISTEN_TOPIC_MAX || m->payload_len == 0 || is_below(m, heard->own) ||
        is_below(m, heard->own_homie) || (m->topic_len > 0 && m->topic[0] == '$'))
        return;
    heard->messages++;
    if (listen_homie(heard, m))
        return;
    snprintf(like.topic, sizeof like.topic, "%.*s", TOPIC_TEXT(m));
    snprintf(sample, sizeof sample, "%.*s", (int)m->payload_len, m->payload);
    if (number_parse(m->payload, m->payload_len, NUMBER_PLAIN, &v) == STATUS_OK)
        put(heard, m, &like, true, v, sample);
    else if (json_doc_parse(m->payload, m->payload_len, &doc, NULL) == STATUS_OK) {
        take_document(heard, m, &like, &doc);
        json_doc_fini(&doc);
    } else
        put(heard, m, &like, false, NAN, sample);
}

static int by_place(const void *a, const void *b)
{
    const struct listen_stream *x = a, *y = b;
    int order = strcmp(x->topic, y->topic);
    if (order == 0)
        order = strcmp(x->device, y->device);
    return order != 0 ? order : strcmp(x->pointer, y->pointer);
}

void listen_settle(struct listen_heard *heard)
{
    for (int i = 0; i < heard->count; i++)
        for (int k = 0; k < heard->label_count; k++) {
            struct listen_stream *s = &heard->streams[i];
            const struct listen_label *l = &heard->labels[k];
            if (s->pointer[0] != '\0' || strcmp(s->topic, l->topic) != 0)
                continue;
            snprintf(s->label, sizeof s->label, "%s", l->name);
            snprintf(s->unit, sizeof s->unit, "%s", l->unit);
            s->settable = l->settable;
        }
    qsort(heard->streams, (size_t)heard->count, sizeof *heard->streams, by_place);
}
