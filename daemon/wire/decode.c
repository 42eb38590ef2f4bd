#include "wire/decode.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "base/number.h"
#include "wire/json.h"

/* Epoch numbers from here on are milliseconds: as seconds they would lie beyond the year 5000. */
#define EPOCH_MS_FROM 1e11
#define LAST_MS       253402300799999.0 /* 9999-12-31T23:59:59.999Z */

struct span_of {
    const char *s;
    size_t n;
};

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static struct span_of trim(struct span_of t)
{
    while (t.n > 0 && is_blank(t.s[t.n - 1]))
        t.n--;
    while (t.n > 0 && is_blank(t.s[0])) {
        t.s++;
        t.n--;
    }
    return t;
}

/* Firmware that sends its string with the terminator, or a file with its byte order mark. */
static struct span_of trim_payload(const char *s, size_t n)
{
    if (n >= 3 && memcmp(s, "\xEF\xBB\xBF", 3) == 0) {
        s += 3;
        n -= 3;
    }
    if (n > 0 && s[n - 1] == '\0')
        n--;
    return trim((struct span_of){ s, n });
}

static bool is_one_of(struct span_of t, const char *const *words)
{
    for (; *words != NULL; words++)
        if (strlen(*words) == t.n && strncasecmp(t.s, *words, t.n) == 0)
            return true;
    return false;
}

static bool is_missing_word(struct span_of t)
{
    static const char *const words[] = { "",        "nan",     "-nan", "null", "none", "unavailable",
                                         "unknown", "offline", "n/a",  "-",    "--",   NULL };
    return t.n == 0 || is_one_of(t, words);
}

static bool is_leak_word(struct span_of t, double *value)
{
    static const char *const wet[] = { "true", "on", "wet", NULL };
    static const char *const dry[] = { "false", "off", "dry", NULL };
    bool is_wet = is_one_of(t, wet);
    if (!is_wet && !is_one_of(t, dry))
        return false;
    *value = is_wet ? 1 : 0;
    return true;
}

static const char *why_no_number(struct span_of t)
{
    if (t.s[0] == '"' || t.s[0] == '\'')
        return "a quoted number";
    if (t.s[0] == '{' || t.s[0] == '[')
        return "a document where a bare number is expected";
    if (memchr(t.s, ',', t.n) != NULL)
        return "a comma in the number";
    bool begins = strchr("+-.0123456789", t.s[0]) != NULL;
    return begins ? "not a whole number token" : "not a number";
}

enum sample_kind decode_plain(const char *s, size_t n, enum quantity q, bool comma, double *value,
                              const char **reason)
{
    struct span_of t = trim_payload(s, n);
    if (is_missing_word(t))
        return SAMPLE_MISSING;
    if (number_parse(t.s, t.n, comma ? NUMBER_COMMA : NUMBER_PLAIN, value) == STATUS_OK ||
        (q == Q_LEAK && is_leak_word(t, value)))
        return SAMPLE_VALUE;
    *reason = why_no_number(t);
    return SAMPLE_SYNTAX;
}

/* A number given as a string follows JSON's grammar; the comma that a probe may use becomes its point. */
static bool quoted_number(struct span_of t, bool comma, double *value)
{
    char buf[64];
    if (t.n == 0 || t.n > sizeof buf)
        return false;
    memcpy(buf, t.s, t.n);
    char *found = comma ? memchr(buf, ',', t.n) : NULL;
    if (comma && memchr(buf, '.', t.n) != NULL)
        return false;
    if (found != NULL)
        *found = '.';
    return number_parse(buf, t.n, NUMBER_JSON, value) == STATUS_OK;
}

static enum sample_kind decode_item(const struct json_item *item, enum quantity q, bool comma, double *value,
                                    const char **reason)
{
    struct span_of t = trim((struct span_of){ item->text, item->text_len });
    *value = item->number;
    switch (item->kind) {
    case JSON_KIND_NULL:
        return SAMPLE_MISSING;
    case JSON_KIND_NUMBER:
        return SAMPLE_VALUE;
    case JSON_KIND_BOOL:
        *reason = "true or false where a number is expected";
        return q == Q_LEAK ? SAMPLE_VALUE : SAMPLE_SYNTAX;
    case JSON_KIND_TEXT:
        if (is_missing_word(t))
            return SAMPLE_MISSING;
        if (quoted_number(t, comma, value) || (q == Q_LEAK && is_leak_word(t, value)))
            return SAMPLE_VALUE;
        *reason = "text that is no number";
        return SAMPLE_SYNTAX;
    case JSON_KIND_CONTAINER:
    case JSON_KIND_NONE:
        break;
    }
    *reason = "an object or list where a number is expected";
    return SAMPLE_SYNTAX;
}

static utc_t from_epoch(double x, enum time_form form)
{
    if (!isfinite(x))
        return UTC_NONE;
    bool is_ms = form == TIME_FORM_MS || (form == TIME_FORM_AUTO && fabs(x) >= EPOCH_MS_FROM);
    double ms = is_ms ? x : x * 1000;
    return (utc_t){ (int64_t)round(fmin(fmax(ms, -LAST_MS), LAST_MS)) };
}

utc_t decode_time(const char *s, size_t n, enum time_form form, bool *zoned)
{
    struct span_of t = trim((struct span_of){ s, n });
    utc_t when = UTC_NONE;
    double number;
    *zoned = false;
    if (utc_parse(t.s, t.n, &when, zoned) == STATUS_OK)
        return when;
    *zoned = number_parse(t.s, t.n, NUMBER_PLAIN, &number) == STATUS_OK;
    return *zoned ? from_epoch(number, form) : UTC_NONE;
}

enum document_state { DOCUMENT_UNREAD, DOCUMENT_SOUND, DOCUMENT_MISSING, DOCUMENT_BROKEN };

/* The payload as a document, read at most once a message and only when somebody points into it. */
struct document {
    enum document_state state;
    struct json_doc doc;
};

static void read_document(struct document *d, const struct message *m)
{
    if (d->state != DOCUMENT_UNREAD)
        return;
    if (is_missing_word(trim_payload(m->payload, m->payload_len)))
        d->state = DOCUMENT_MISSING;
    else if (json_doc_parse(m->payload, m->payload_len, &d->doc, NULL) == STATUS_OK)
        d->state = DOCUMENT_SOUND;
    else
        d->state = DOCUMENT_BROKEN;
}

/* Serial numbers of 64 bits are compared to the last digit, which a double has not. */
static bool matches(const struct document *d, const struct probe_entry *entry)
{
    struct json_item item = json_doc_at(&d->doc, entry->match_at);
    size_t n = strlen(entry->match);
    double number;
    int64_t whole;
    if (item.kind == JSON_KIND_TEXT)
        return item.text_len == n && memcmp(item.text, entry->match, n) == 0;
    if (item.kind == JSON_KIND_NUMBER && item.is_whole && number_whole(entry->match, n, &whole))
        return item.whole == whole;
    if (item.kind == JSON_KIND_NUMBER)
        return number_parse(entry->match, n, NUMBER_PLAIN, &number) == STATUS_OK && number == item.number;
    return item.kind == JSON_KIND_BOOL && strcmp(entry->match, item.number != 0 ? "true" : "false") == 0;
}

static utc_t claimed_time(const struct document *d, const struct probe_entry *entry, bool *zoned)
{
    *zoned = false;
    if (entry->time_at == NULL || d->state != DOCUMENT_SOUND)
        return UTC_NONE;
    struct json_item item = json_doc_at(&d->doc, entry->time_at);
    if (item.kind == JSON_KIND_TEXT)
        return decode_time(item.text, item.text_len, entry->time_form, zoned);
    if (item.kind != JSON_KIND_NUMBER)
        return UTC_NONE;
    *zoned = true;
    return from_epoch(item.number, entry->time_form);
}

/* Printable ASCII and the characters of two bytes from U+00A0 on, which include the signs of units; whatever
 * else there is could steer a terminal. */
static void show(struct sample *out, const char *s, size_t n)
{
    size_t len = 0, at = 0;
    const size_t room = sizeof out->shown - 1 - 3;
    while (at < n && len < room) {
        unsigned char c = (unsigned char)s[at];
        unsigned char next = at + 1 < n ? (unsigned char)s[at + 1] : 0;
        bool two = c >= 0xC2 && c <= 0xDF && (next & 0xC0) == 0x80 && (c > 0xC2 || next >= 0xA0);
        if (two && len + 1 < room)
            out->shown[len++] = (char)c;
        else if (two)
            break;
        out->shown[len++] = two ? (char)next : c >= 0x20 && c < 0x7F ? (char)c : '?';
        at += two ? 2 : 1;
    }
    memcpy(out->shown + len, at < n ? "..." : "", at < n ? 4 : 1);
}

static void show_number(struct sample *out, double v)
{
    char buf[40];
    size_t n = number_exact(buf, sizeof buf, v);
    show(out, buf, n);
}

static void show_whole(struct sample *out, int64_t v)
{
    char buf[24];
    show(out, buf, (size_t)snprintf(buf, sizeof buf, "%lld", (long long)v));
}

static void show_item(struct sample *out, const struct json_item *item)
{
    if (item->kind == JSON_KIND_TEXT)
        show(out, item->text, item->text_len);
    else if (item->kind == JSON_KIND_NUMBER && item->is_whole)
        show_whole(out, item->whole);
    else if (item->kind == JSON_KIND_NUMBER)
        show_number(out, item->number);
    else if (item->kind == JSON_KIND_BOOL)
        show(out, item->number != 0 ? "true" : "false", item->number != 0 ? 4 : 5);
    else if (item->kind == JSON_KIND_CONTAINER)
        show(out, "{}", 2);
}

static void refuse_unit(struct sample *out, const struct json_item *announced, const char *reason)
{
    out->kind = SAMPLE_UNIT;
    out->reason = reason;
    out->raw = NAN;
    show_item(out, announced);
}

/* Finds the unit to convert by; refuses the sample when the announced one is not the configured one. */
static struct unit announced_unit(const struct document *d, const struct probe_value *v, struct sample *out)
{
    if (v->unit_at == NULL || d->state != DOCUMENT_SOUND)
        return v->unit;
    struct json_item item = json_doc_at(&d->doc, v->unit_at);
    struct span_of name = trim((struct span_of){ item.text, item.text_len });
    struct unit said;
    if (item.kind == JSON_KIND_NONE || item.kind == JSON_KIND_NULL ||
        (item.kind == JSON_KIND_TEXT && name.n == 0))
        return v->unit;
    if (item.kind != JSON_KIND_TEXT)
        refuse_unit(out, &item, "the announced unit is no text");
    else if (unit_find_n(name.s, name.n, v->unit.kind, &said, NULL) != STATUS_OK)
        refuse_unit(out, &item, "the announced unit is not one of this quantity");
    else if (v->unit_per_message)
        return said;
    else if (!unit_same(said, v->unit))
        refuse_unit(out, &item, "the announced unit is not the configured one");
    return v->unit;
}

static bool is_missing_code(const struct probe_value *v, double sent)
{
    for (int i = 0; i < v->missing_count; i++)
        if (v->missing[i] == sent)
            return true;
    return false;
}

/* From a number as sent to the stored unit. */
static void settle(const struct document *d, const struct probe_value *v, double sent, struct sample *out)
{
    if (is_missing_code(v, sent)) {
        out->kind = SAMPLE_MISSING;
        show_number(out, sent);
        return;
    }
    out->sent = sent;
    struct unit unit = announced_unit(d, v, out);
    if (out->kind == SAMPLE_UNIT)
        return;
    out->raw = unit_to_stored(unit, sent);
    if (isfinite(out->raw))
        return;
    out->kind = SAMPLE_SYNTAX;
    out->reason = "number out of range";
    out->sent = out->raw = NAN;
    show_number(out, sent);
}

static void from_payload(const struct message *m, const struct document *d, const struct probe_value *v,
                         struct sample *out)
{
    double sent = NAN;
    out->kind = decode_plain(m->payload, m->payload_len, v->quantity, v->comma, &sent, &out->reason);
    if (out->kind == SAMPLE_VALUE)
        settle(d, v, sent, out);
    else
        show(out, m->payload, m->payload_len);
}

/* False when the document does not speak of this value. */
static bool from_document(const struct message *m, const struct document *d, const struct probe_value *v,
                          struct sample *out)
{
    if (d->state != DOCUMENT_SOUND) {
        out->kind = d->state == DOCUMENT_MISSING ? SAMPLE_MISSING : SAMPLE_SYNTAX;
        out->reason = d->state == DOCUMENT_MISSING ? NULL : "not a JSON document";
        show(out, m->payload, m->payload_len);
        return true;
    }
    struct json_item item = json_doc_at(&d->doc, v->at);
    if (item.kind == JSON_KIND_NONE)
        return false;
    double sent = NAN;
    out->kind = decode_item(&item, v->quantity, v->comma, &sent, &out->reason);
    if (out->kind == SAMPLE_VALUE)
        settle(d, v, sent, out);
    else
        show_item(out, &item);
    if (out->kind == SAMPLE_VALUE || out->kind == SAMPLE_MISSING)
        out->reason = NULL;
    return true;
}

/* A number, or a number as text. */
static double number_at(const struct document *d, const char *pointer)
{
    double v = NAN;
    if (pointer == NULL || d->state != DOCUMENT_SOUND)
        return NAN;
    struct json_item item = json_doc_at(&d->doc, pointer);
    if (item.kind == JSON_KIND_NUMBER)
        return item.number;
    if (item.kind == JSON_KIND_TEXT)
        (void)quoted_number(trim((struct span_of){ item.text, item.text_len }), false, &v);
    return v;
}

/* What the device tells of itself. */
static void read_device(const struct document *d, const struct probe_entry *entry, struct sample *out)
{
    struct sample shown = { .shown = "" };
    *out = (struct sample){ .claimed = UTC_NONE };
    out->battery = number_at(d, entry->battery_at);
    out->link = number_at(d, entry->link_at);
    if (entry->device_at == NULL || d->state != DOCUMENT_SOUND)
        return;
    struct json_item item = json_doc_at(&d->doc, entry->device_at);
    if (item.kind == JSON_KIND_TEXT || item.kind == JSON_KIND_NUMBER)
        show_item(&shown, &item);
    memcpy(out->device, shown.shown, DEVICE_MAX);
}

static bool points_into_document(const struct probe_entry *entry)
{
    bool points = entry->time_at != NULL || entry->match_at != NULL || entry->list_at != NULL;
    for (int i = 0; i < entry->value_count && !points; i++)
        points = entry->values[i].at != NULL;
    return points;
}

/* Nothing of what the entry asks for was in the document: told for its first value. It may be the device's
 * own report of its battery. */
static void tell_absent(const struct message *m, const struct sample *device, struct sample *s, int stream)
{
    bool report = !isnan(device->battery) || !isnan(device->link);
    *s = *device;
    s->stream = stream;
    s->kind = SAMPLE_ABSENT;
    s->sent = s->raw = NAN;
    s->claimed = UTC_NONE;
    s->reason = report ? NULL : "none of the members asked for";
    show(s, m->payload, m->payload_len);
}

/* Where samples go. */
struct collected {
    struct sample *items;
    int count, cap, left_out;
};

/* d: the document, or one of the items of its list. */
static void decode_values(const struct probe_entry *entry, int place_index, const struct document *d,
                          const struct message *m, utc_t claimed, bool zoned, struct collected *out)
{
    struct sample device;
    read_device(d, entry, &device);
    int before = out->count + out->left_out, first = entry->first_stream + place_index * entry->value_count;
    for (int i = 0; i < entry->value_count; i++) {
        const struct probe_value *v = &entry->values[i];
        struct sample beyond, *s = out->count < out->cap ? &out->items[out->count] : &beyond;
        *s = (struct sample){ .stream = first + i,
                              .sent = NAN,
                              .raw = NAN,
                              .claimed = claimed,
                              .zoned = zoned,
                              .battery = device.battery,
                              .link = device.link };
        memcpy(s->device, device.device, DEVICE_MAX);
        if (v->at == NULL)
            from_payload(m, d, v, s);
        if (v->at != NULL && !from_document(m, d, v, s))
            continue;
        out->count += s != &beyond;
        out->left_out += s == &beyond;
    }
    if (out->count + out->left_out == before && out->count < out->cap && entry->value_count > 0)
        tell_absent(m, &device, &out->items[out->count++], first);
}

/* A gateway's list: each item is a document, with a time of its own or that of the whole. */
static void decode_list(const struct probe_entry *entry, int place_index, const struct document *d,
                        const struct message *m, struct collected *out)
{
    bool zoned_whole, zoned;
    utc_t whole = claimed_time(d, entry, &zoned_whole);
    struct document item = { .state = DOCUMENT_SOUND };
    for (size_t i = 0; json_doc_element(&d->doc, entry->list_at, i, &item.doc); i++) {
        if (entry->match_at != NULL && !matches(&item, entry))
            continue;
        bool own = entry->time_at != NULL && json_doc_at(&item.doc, entry->time_at).kind != JSON_KIND_NONE;
        utc_t claimed = own ? claimed_time(&item, entry, &zoned) : whole;
        decode_values(entry, place_index, &item, m, claimed, own ? zoned : zoned_whole, out);
    }
}

static void decode_entry(const struct probe_entry *entry, int place_index, bool alone, struct document *d,
                         const struct message *m, struct collected *out)
{
    if (points_into_document(entry))
        read_document(d, m);
    bool sound = d->state == DOCUMENT_SOUND, chosen = entry->match_at != NULL || entry->list_at != NULL;
    if (chosen && !sound && !alone)
        return;
    if (sound && entry->list_at != NULL) {
        decode_list(entry, place_index, d, m, out);
    } else if (!sound || entry->match_at == NULL || matches(d, entry)) {
        bool zoned;
        utc_t claimed = claimed_time(d, entry, &zoned);
        decode_values(entry, place_index, d, m, claimed, zoned, out);
    }
}

int decode_message(struct topics *topics, const struct site *site, const struct message *m,
                   struct sample *out, int cap, int *left_out)
{
    const struct topic_target *targets;
    struct document d = { DOCUMENT_UNREAD, { NULL } };
    struct collected all = { .items = out, .cap = cap };
    int found = topics_find(topics, m->topic, m->topic_len, &targets);
    for (int i = 0; i < found; i++)
        decode_entry(&site->entries[targets[i].entry], targets[i].place_index, found == 1, &d, m, &all);
    json_doc_fini(&d.doc);
    *left_out = all.left_out;
    return all.count;
}
