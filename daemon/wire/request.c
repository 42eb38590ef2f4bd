#include "wire/request.h"

#include <math.h>
#include <string.h>

#include "base/text.h"
#include "wire/decode.h"

static bool is_among(const char *words, const char *key)
{
    size_t n = strlen(key);
    for (const char *at = words; n > 0 && (at = strstr(at, key)) != NULL; at += n)
        if ((at == words || at[-1] == ' ') && (at[n] == ' ' || at[n] == '\0'))
            return true;
    return false;
}

void request_refuse_unknown(struct request *r, const char *known)
{
    const char *key;
    for (size_t i = 0; r->st == STATUS_OK && (key = json_doc_key(&r->doc, "", i)) != NULL; i++)
        if (strchr(key, ' ') != NULL || !is_among(known, key))
            r->st = why_say(r->why, STATUS_INVALID, "unknown member \"%.40s\"; known are %s", key, known);
}

struct json_item request_member(const struct request *r, const char *name)
{
    char pointer[64];
    struct text out = text_over(pointer, sizeof pointer);
    text_printf(&out, "/%s", name);
    return out.cut ? (struct json_item){ .kind = JSON_KIND_NONE } : json_doc_at(&r->doc, pointer);
}

bool request_text_at(struct request *r, const char *name, struct json_item *item)
{
    *item = request_member(r, name);
    if (r->st != STATUS_OK || item->kind == JSON_KIND_NONE)
        return false;
    if (item->kind == JSON_KIND_TEXT)
        return true;
    r->st = why_say(r->why, STATUS_INVALID, "\"%s\" must be text", name);
    return false;
}

/* Control characters would reach terminals, logs and other people's telephones. */
void request_text(struct request *r, const char *name, char *buf, size_t cap)
{
    struct json_item item;
    if (!request_text_at(r, name, &item))
        return;
    struct text out = text_over(buf, cap);
    text_put_n(&out, item.text, item.text_len);
    for (char *c = buf; c < buf + out.len; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7F)
            *c = ' ';
}

void request_number(struct request *r, const char *name, double lo, double hi, double *out)
{
    struct json_item item = request_member(r, name);
    if (r->st != STATUS_OK || item.kind == JSON_KIND_NONE)
        return;
    if (item.kind != JSON_KIND_NUMBER)
        r->st = why_say(r->why, STATUS_INVALID, "\"%s\" must be a number", name);
    else if (!(item.number >= lo && item.number <= hi))
        r->st = why_say(r->why, STATUS_INVALID, "\"%s\" must be %g to %g, not %g", name, lo, hi, item.number);
    else
        *out = item.number;
}

void request_time(struct request *r, const char *name, utc_t *into)
{
    struct json_item item = request_member(r, name);
    char number[32];
    struct text out = text_over(number, sizeof number);
    bool zoned = false;
    if (r->st != STATUS_OK || item.kind == JSON_KIND_NONE)
        return;
    if (item.kind == JSON_KIND_NUMBER)
        text_printf(&out, "%.3f", item.number);
    if (item.kind == JSON_KIND_TEXT)
        *into = decode_time(item.text, item.text_len, TIME_FORM_AUTO, &zoned);
    else if (item.kind == JSON_KIND_NUMBER)
        *into = decode_time(number, out.len, TIME_FORM_AUTO, &zoned);
    if (zoned && into->ms >= UTC_FLOOR.ms && into->ms <= UTC_CEIL.ms)
        return;
    *into = UTC_NONE;
    r->st = why_say(
        r->why, STATUS_INVALID,
        "\"%s\" must be a time with its zone, like 2026-03-01T12:00:00Z or 2026-03-01T13:00:00+01:00", name);
}

int request_place(struct request *r)
{
    struct json_item item;
    int place = -1;
    if (request_text_at(r, "place", &item)) {
        place = site_place_find(r->site, item.text, item.text_len);
    } else if (request_text_at(r, "tank", &item)) {
        int tank = site_tank_find(r->site, item.text, item.text_len);
        place = tank < 0 ? -1 : r->site->tanks[tank].place;
    } else {
        return -1;
    }
    if (place < 0)
        r->st = why_say(r->why, STATUS_INVALID, "there is no place \"%.48s\"", item.text);
    return place;
}
