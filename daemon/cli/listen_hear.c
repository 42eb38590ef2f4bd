/* What is heard, gathered value by value. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/number.h"
#include "base/utf8.h"
#include "cli/listen.h"
#include "wire/json.h"

#define LABELS_MAX    4096
#define MEMBERS_MAX   512
#define TOPIC_TEXT(m) (int)(m)->topic_len, (m)->topic

enum status listen_init(struct listen_heard *heard, const char *own)
{
    *heard = (struct listen_heard){ .own = calloc(LISTEN_OWN_MAX, sizeof *heard->own) };
    heard->streams = calloc(LISTEN_STREAMS_MAX, sizeof *heard->streams);
    heard->labels = calloc(LABELS_MAX, sizeof *heard->labels);
    if (heard->streams == NULL || heard->labels == NULL || heard->own == NULL)
        return STATUS_IO;
    if (own != NULL)
        listen_own(heard, own);
    return STATUS_OK;
}

void listen_fini(struct listen_heard *heard)
{
    free(heard->streams);
    free(heard->labels);
    free(heard->own);
}

bool listen_clean(char *s)
{
    bool replaced = false;
    for (size_t n = strlen(s), at = 0; at < n;) {
        size_t whole = utf8_bytes(s + at, n - at);
        unsigned char c = (unsigned char)s[at], next = (unsigned char)s[at + 1];
        bool steers = c < 0x20 || c == 0x7F || (c == 0xC2 && next < 0xA0);
        for (size_t i = 0; i < (whole > 0 ? whole : 1) && (steers || whole == 0); i++) {
            s[at + i] = '?';
            replaced = true;
        }
        at += whole > 0 ? whole : 1;
    }
    return replaced;
}

/* --- what Lentic itself publishes --- */

static bool is_below(const char *topic, size_t topic_len, const char *above)
{
    size_t n = strlen(above);
    return n > 0 && topic_len > n && memcmp(topic, above, n) == 0 && topic[n] == '/';
}

static bool is_own(const struct listen_heard *heard, const char *topic, size_t n)
{
    for (int i = 0; i < heard->own_count; i++)
        if (is_below(topic, n, heard->own[i]))
            return true;
    return false;
}

/* What was heard before it was known whose it is. */
static void drop_own(struct listen_heard *heard)
{
    int kept = 0;
    for (int i = 0; i < heard->count; i++)
        if (!is_own(heard, heard->streams[i].topic, strlen(heard->streams[i].topic)))
            heard->streams[kept++] = heard->streams[i];
    heard->count = kept;
}

void listen_own(struct listen_heard *heard, const char *front)
{
    for (int i = 0; i < heard->own_count; i++)
        if (strcmp(heard->own[i], front) == 0)
            return;
    if (heard->own_count == LISTEN_OWN_MAX)
        return;
    snprintf(heard->own[heard->own_count++], LISTEN_TOPIC_MAX, "%s", front);
    drop_own(heard);
}

/* BASE/tank/ID with the members that a tank's document has (conf/schema/tank.json). */
static bool is_tank_document(const char *topic, const struct json_doc *doc, size_t *base)
{
    static const char *const members[] = { "/values", "/derived", "/bands", "/heat", "/solids" };
    const char *slash = strrchr(topic, '/');
    *base = slash != NULL ? (size_t)(slash - topic) : 0;
    if (*base < 6 || memcmp(slash - 5, "/tank", 5) != 0 || json_doc_at(doc, "/v").number != 1)
        return false;
    *base -= 5;
    for (size_t i = 0; i < sizeof members / sizeof *members; i++)
        if (json_doc_at(doc, members[i]).kind != JSON_KIND_CONTAINER)
            return false;
    return true;
}

/* A member of a document that is no object or list. */
struct member {
    char pointer[LISTEN_POINTER_MAX];
    enum json_kind kind;
    double number;
    char text[64];
    bool cut, comma;
};

struct members {
    struct member items[MEMBERS_MAX];
    int count;
    long beyond;
};

/* "24,5" */
static bool has_comma(const char *s, size_t n, double *v)
{
    return memchr(s, ',', n) != NULL && number_parse(s, n, NUMBER_COMMA, v) == STATUS_OK;
}

static void keep_text(struct member *m, const struct json_item *item)
{
    m->cut = (size_t)snprintf(m->text, sizeof m->text, "%s", item->text) >= sizeof m->text;
    m->comma = has_comma(item->text, item->text_len, &m->number);
    if (m->comma || number_parse(item->text, item->text_len, NUMBER_JSON, &m->number) == STATUS_OK)
        m->kind = JSON_KIND_NUMBER;
}

static void keep_member(void *context, const char *pointer, const struct json_item *item)
{
    struct members *all = context;
    if (all->count == MEMBERS_MAX || strlen(pointer) >= LISTEN_POINTER_MAX) {
        all->beyond++;
        return;
    }
    struct member *m = &all->items[all->count++];
    *m = (struct member){ .kind = item->kind, .number = item->number };
    snprintf(m->pointer, sizeof m->pointer, "%s", pointer);
    if (item->kind == JSON_KIND_TEXT)
        keep_text(m, item);
    else if (item->kind == JSON_KIND_NUMBER && item->is_whole)
        snprintf(m->text, sizeof m->text, "%lld", (long long)item->whole);
    else if (item->kind == JSON_KIND_NUMBER)
        number_exact(m->text, sizeof m->text, item->number);
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
            strcmp(s->device, like->device) == 0 && s->listed == like->listed &&
            strcmp(s->list_at, like->list_at) == 0)
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

/* What a configuration cannot hold as it stands is said, and never proposed. */
static void make_printable(struct listen_stream *s)
{
    bool steers = listen_clean(s->topic);
    steers |= listen_clean(s->pointer);
    steers |= listen_clean(s->device);
    steers |= listen_clean(s->list_at) || listen_clean(s->device_at) || listen_clean(s->time_at) ||
              listen_clean(s->unit_at);
    (void)listen_clean(s->unit);
    if (steers)
        s->barred = "its name has characters that cannot be printed";
    else if (strpbrk(s->topic, "{}") != NULL)
        s->barred = "its topic has a brace, which would be taken for a capture";
}

struct heard_value {
    bool number, comma;
    double v;
    const char *sample;
};

static void note_comma(struct listen_stream *s, const char *sample)
{
    const char *comma = strchr(sample, ',');
    s->comma = true;
    s->thousands |= comma != NULL && strlen(comma) == 4;
}

static void put(struct listen_heard *heard, const struct message *m, struct listen_stream like,
                struct heard_value value)
{
    make_printable(&like);
    struct listen_stream *s = stream_of(heard, &like);
    if (s == NULL)
        return;
    s->heard++;
    if (value.comma)
        note_comma(s, value.sample);
    snprintf(s->sample, sizeof s->sample, "%s", value.sample);
    (void)listen_clean(s->sample);
    if (like.unit[0] != '\0')
        snprintf(s->unit, sizeof s->unit, "%s", like.unit);
    if (value.number)
        count_number(s, value.v);
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
    put(heard, m, like, (struct heard_value){ number, value->comma, value->number, value->text });
}

static bool is_list_of_documents(const struct json_doc *doc, const char *pointer)
{
    struct json_doc first;
    return json_doc_is_list(doc, pointer) && json_doc_element(doc, pointer, 0, &first) &&
           json_doc_is_object(&first);
}

static bool is_in_a_list(const struct json_doc *doc, const char *pointer)
{
    char front[LISTEN_POINTER_MAX];
    size_t n = 1 + strcspn(pointer + 1, "/");
    if (is_list_of_documents(doc, ""))
        return true;
    snprintf(front, sizeof front, "%.*s", (int)n, pointer);
    return is_list_of_documents(doc, front);
}

/* The document's members; those of a list's items are a matter of their own. */
static void take_members(struct listen_heard *heard, const struct message *m, struct listen_stream *like,
                         const struct json_doc *doc)
{
    static struct members all;
    all.count = 0;
    all.beyond = 0;
    json_doc_walk(doc, keep_member, &all);
    heard->beyond += all.beyond;
    const struct member *time = first_of(&all, is_time), *device = first_of(&all, is_device);
    if (time != NULL)
        snprintf(like->time_at, sizeof like->time_at, "%s", time->pointer);
    if (device != NULL && !is_in_a_list(doc, device->pointer)) {
        snprintf(like->device_at, sizeof like->device_at, "%s", device->pointer);
        snprintf(like->device, sizeof like->device, "%s", device->text);
        like->barred = device->cut ? "its device has too long a name" : like->barred;
    }
    for (int i = 0; i < all.count; i++)
        if (&all.items[i] != time && &all.items[i] != device && all.items[i].kind != JSON_KIND_TEXT &&
            !is_in_a_list(doc, all.items[i].pointer))
            put_member(heard, m, &all, like, &all.items[i]);
}

static void take_list(struct listen_heard *heard, const struct message *m, const struct listen_stream *whole,
                      const struct json_doc *doc, const char *pointer)
{
    struct json_doc item;
    for (size_t i = 0; json_doc_element(doc, pointer, i, &item); i++) {
        struct listen_stream like = *whole;
        like.listed = true;
        like.device_at[0] = like.device[0] = '\0';
        snprintf(like.list_at, sizeof like.list_at, "%s", pointer);
        if (json_doc_is_object(&item))
            take_members(heard, m, &like, &item);
    }
}

static void take_document(struct listen_heard *heard, const struct message *m, struct listen_stream *like,
                          const struct json_doc *doc)
{
    char pointer[LISTEN_POINTER_MAX];
    size_t base;
    if (is_tank_document(like->topic, doc, &base)) {
        like->topic[base] = '\0';
        listen_own(heard, like->topic);
        return;
    }
    if (is_list_of_documents(doc, "")) {
        take_list(heard, m, like, doc, "");
        return;
    }
    take_members(heard, m, like, doc);
    for (size_t i = 0; json_doc_key(doc, "", i) != NULL; i++) {
        json_doc_pointer(json_doc_key(doc, "", i), pointer, sizeof pointer);
        if (is_list_of_documents(doc, pointer))
            take_list(heard, m, like, doc, pointer);
    }
}

static bool is_left_out(struct listen_heard *heard, const struct message *m)
{
    bool too_long = m->topic_len >= LISTEN_TOPIC_MAX;
    heard->beyond += too_long;
    return too_long || m->topic_len == 0 || m->payload_len == 0 || m->topic[0] == '$' ||
           is_own(heard, m->topic, m->topic_len);
}

void listen_take(struct listen_heard *heard, const struct message *m)
{
    struct listen_stream like = { 0 };
    struct heard_value value = { .v = NAN };
    struct json_doc doc;
    char sample[40];
    if (is_left_out(heard, m))
        return;
    heard->messages++;
    if (listen_homie(heard, m))
        return;
    snprintf(like.topic, sizeof like.topic, "%.*s", TOPIC_TEXT(m));
    snprintf(sample, sizeof sample, "%.*s", (int)m->payload_len, m->payload);
    value.sample = sample;
    value.comma = has_comma(m->payload, m->payload_len, &value.v);
    value.number =
        value.comma || number_parse(m->payload, m->payload_len, NUMBER_PLAIN, &value.v) == STATUS_OK;
    if (!value.number && json_doc_parse(m->payload, m->payload_len, &doc, NULL) == STATUS_OK) {
        take_document(heard, m, &like, &doc);
        json_doc_fini(&doc);
    } else {
        put(heard, m, like, value);
    }
}

static int by_place(const void *a, const void *b)
{
    const struct listen_stream *x = a, *y = b;
    int order = strcmp(x->topic, y->topic);
    if (order == 0)
        order = x->listed != y->listed ? x->listed - y->listed : strcmp(x->list_at, y->list_at);
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
