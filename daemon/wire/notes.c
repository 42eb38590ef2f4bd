#include "wire/notes.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "model/journal_check.h"

#define MEMBERS                                                                                              \
    "place tank what quantity value sd values salts salt counts figures litres grams water batch kit lot "   \
    "from to at who why text correct withdraw"
#define ID_MOST 9007199254740992.0 /* 2^53: beyond it a double skips whole numbers */

/* --- reading --- */

static void read_kind(struct request *r, struct journal_entry *e)
{
    struct json_item item;
    if (!request_text_at(r, "what", &item))
        return;
    e->kind = journal_kind_find(item.text, item.text_len);
    if (e->kind == JOURNAL_KIND_COUNT)
        r->st = why_say(r->why, STATUS_INVALID,
                        "\"what\" is no kind of note: \"%.32s\"; known are test change topoff batch feeding "
                        "animals cleaning remark",
                        item.text);
}

static void read_number_of(struct request *r, const char *name, int64_t *id)
{
    double v = NAN;
    request_number(r, name, 1, ID_MOST, &v);
    if (isnan(v) || r->st != STATUS_OK)
        return;
    if (floor(v) != v)
        r->st = why_say(r->why, STATUS_INVALID, "\"%s\" is the whole number of an entry", name);
    else
        *id = (int64_t)v;
}

static void put(struct request *r, struct journal_entry *e, enum journal_role role, const char *name,
                double amount, double sd)
{
    if (r->st == STATUS_OK && journal_put(e, role, name, amount, sd) != STATUS_OK)
        r->st = why_say(r->why, STATUS_INVALID, "an entry holds %d figures at most", JOURNAL_ITEMS_MAX);
}

/* One figure: a number, or {"value","sd"}. */
static void read_figure(struct request *r, struct journal_entry *e, enum journal_role role, const char *group,
                        const char *key)
{
    char name[64];
    double amount = NAN, sd = NAN;
    struct text out = text_over(name, sizeof name);
    if (strlen(key) >= sizeof e->items->name || strpbrk(key, "/~") != NULL) {
        r->st = why_say(r->why, STATUS_INVALID, "\"%s\" knows no \"%.32s\"", group, key);
        return;
    }
    text_printf(&out, "%s/%s", group, key);
    if (request_member(r, name).kind == JSON_KIND_CONTAINER) {
        text_put(&out, "/sd");
        request_number(r, name, 0, 1e9, &sd);
        out = text_over(name, sizeof name);
        text_printf(&out, "%s/%s/value", group, key);
    }
    request_number(r, name, -1e9, 1e9, &amount);
    if (r->st == STATUS_OK && isnan(amount))
        r->st = why_say(r->why, STATUS_INVALID, "\"%s\" of \"%s\" needs a number", key, group);
    enum journal_head head = role == JOURNAL_HEAD ? journal_head_find(key, strlen(key)) : HEADS_COUNT;
    put(r, e, role, head == HEADS_COUNT ? key : journal_head_name(head), amount, sd);
}

static void read_group(struct request *r, struct journal_entry *e, enum journal_role role, const char *group)
{
    char pointer[32];
    const char *key;
    struct text out = text_over(pointer, sizeof pointer);
    text_printf(&out, "/%s", group);
    struct json_item item = json_doc_at(&r->doc, pointer);
    if (r->st != STATUS_OK || item.kind == JSON_KIND_NONE)
        return;
    if (item.kind != JSON_KIND_CONTAINER || json_doc_key(&r->doc, pointer, 0) == NULL)
        r->st =
            why_say(r->why, STATUS_INVALID, "\"%s\" must be an object of numbers, like {\"name\": 5}", group);
    for (size_t i = 0; r->st == STATUS_OK && (key = json_doc_key(&r->doc, pointer, i)) != NULL; i++)
        read_figure(r, e, role, group, key);
}

/* "quantity" and "value", for one test. */
static void read_single(struct request *r, struct journal_entry *e)
{
    struct json_item item;
    double value = NAN, sd = NAN;
    request_number(r, "value", -1e9, 1e9, &value);
    request_number(r, "sd", 0, 1e9, &sd);
    if (!request_text_at(r, "quantity", &item)) {
        if (r->st == STATUS_OK && !isnan(value))
            r->st = why_say(r->why, STATUS_INVALID, "\"value\" needs \"quantity\" beside it");
        return;
    }
    enum quantity q = quantity_find(item.text, item.text_len);
    if (q == Q_COUNT)
        r->st = why_say(r->why, STATUS_INVALID, "there is no quantity \"%.40s\"", item.text);
    else if (isnan(value))
        r->st = why_say(r->why, STATUS_INVALID, "a hand test needs \"quantity\" and \"value\"");
    else
        put(r, e, JOURNAL_VALUE, quantity_info(q)->name, value, sd);
}

static void read_words(struct request *r, struct journal_entry *e)
{
    request_text(r, "water", e->water, sizeof e->water);
    request_text(r, "kit", e->kit, sizeof e->kit);
    request_text(r, "lot", e->lot, sizeof e->lot);
    request_text(r, "from", e->other, sizeof e->other);
    request_text(r, "to", e->other, sizeof e->other);
    request_text(r, "salt", e->other, sizeof e->other);
    request_text(r, "who", e->who, sizeof e->who);
    request_text(r, "why", e->text, sizeof e->text);
    request_text(r, "text", e->text, sizeof e->text);
}

static void check_withdrawal(struct request *r, const struct journal_entry *e)
{
    if (e->corrects != 0)
        r->st = why_say(r->why, STATUS_INVALID, "an entry is corrected or withdrawn, not both at once");
    else if (e->text[0] == '\0')
        r->st = why_say(r->why, STATUS_INVALID, "say \"why\" entry %lld is withdrawn, for whoever wonders",
                        (long long)e->withdraws);
}

enum status notes_read(struct request *r, struct command *c)
{
    struct journal_entry *e = &c->note;
    journal_clear(e);
    request_refuse_unknown(r, MEMBERS);
    c->place = request_place(r);
    if (c->place >= 0)
        snprintf(e->place, sizeof e->place, "%s", r->site->places[c->place].text);
    read_kind(r, e);
    read_number_of(r, "batch", &e->batch);
    read_number_of(r, "correct", &e->corrects);
    read_number_of(r, "withdraw", &e->withdraws);
    request_number(r, "litres", 0, 100000, &e->litres);
    request_number(r, "grams", 0, 100000, &e->grams);
    request_time(r, "at", &e->at);
    read_words(r, e);
    read_single(r, e);
    read_group(r, e, JOURNAL_VALUE, "values");
    read_group(r, e, JOURNAL_SALT, "salts");
    read_group(r, e, JOURNAL_HEAD, "counts");
    read_group(r, e, JOURNAL_FIGURE, "figures");
    if (r->st == STATUS_OK && e->withdraws != 0)
        check_withdrawal(r, e);
    else if (r->st == STATUS_OK && e->corrects == 0)
        r->st = journal_check(r->site, e, UTC_NONE, r->why);
    snprintf(c->who, sizeof c->who, "%s", e->who);
    return r->st;
}

/* --- writing --- */

static const char *const groups[JOURNAL_ROLE_COUNT] = { "values", "salts", "counts", "figures" };

static void put_text(struct text *out, const char *key, const char *s)
{
    if (s[0] == '\0')
        return;
    json_key(out, key);
    json_string(out, s);
}

static void put_number(struct text *out, const char *key, double v)
{
    if (isnan(v))
        return;
    json_key(out, key);
    json_number(out, v, -1);
}

static void put_id(struct text *out, const char *key, int64_t id)
{
    if (id == 0)
        return;
    json_key(out, key);
    json_int(out, (long long)id);
}

static void put_time(struct text *out, const char *key, utc_t t)
{
    if (!utc_is_set(t))
        return;
    json_key(out, key);
    json_time(out, t);
}

static void put_figure(const struct journal_item *item, bool with_unit, struct text *out)
{
    bool plain = isnan(item->sd) && !(with_unit && item->role == JOURNAL_VALUE);
    json_key(out, item->name);
    if (plain) {
        json_number(out, item->amount, -1);
        return;
    }
    json_open(out, '{');
    put_number(out, "value", item->amount);
    put_number(out, "sd", item->sd);
    enum quantity q = quantity_find(item->name, strlen(item->name));
    if (with_unit && item->role == JOURNAL_VALUE && q != Q_COUNT)
        put_text(out, "unit", quantity_info(q)->unit);
    json_close(out, '}');
}

static void put_items(const struct journal_entry *e, bool with_unit, struct text *out)
{
    for (int role = 0; role < JOURNAL_ROLE_COUNT; role++) {
        bool open = false;
        for (int i = 0; i < e->item_count; i++) {
            if ((int)e->items[i].role != role)
                continue;
            if (!open) {
                json_key(out, groups[role]);
                json_open(out, '{');
                open = true;
            }
            put_figure(&e->items[i], with_unit, out);
        }
        if (open)
            json_close(out, '}');
    }
}

static void put_common(const struct journal_entry *e, struct text *out)
{
    if (e->kind < JOURNAL_KIND_COUNT)
        put_text(out, "what", journal_kind_name(e->kind));
    put_time(out, "at", e->at);
    put_text(out, "place", e->place);
    put_text(out, "water", e->water);
    put_id(out, "batch", e->batch);
    put_number(out, "litres", e->litres);
    put_number(out, "grams", e->grams);
    put_text(out, "kit", e->kit);
    put_text(out, "lot", e->lot);
    put_text(out, "who", e->who);
}

void notes_format_request(const struct journal_entry *e, struct text *out)
{
    json_open(out, '{');
    put_common(e, out);
    put_items(e, false, out);
    put_text(out, e->kind == JOURNAL_LEARNT ? "salt" : "from", e->other);
    put_text(out, "text", e->text);
    put_id(out, "correct", e->corrects);
    put_id(out, "withdraw", e->withdraws);
    json_close(out, '}');
}

static void put_state(const struct journal_entry *e, struct text *out)
{
    put_id(out, "corrects", e->corrects);
    put_id(out, "superseded_by", e->superseded_by);
    if (!utc_is_set(e->withdrawn))
        return;
    json_key(out, "withdrawn");
    json_open(out, '{');
    put_time(out, "at", e->withdrawn);
    put_text(out, "who", e->withdrawn_by);
    put_text(out, "why", e->withdrawn_why);
    json_close(out, '}');
}

static void put_entry(const struct journal_entry *e, struct text *out)
{
    char words[512];
    struct text line = text_over(words, sizeof words);
    put_id(out, "id", e->id);
    put_common(e, out);
    put_time(out, "written", e->written);
    put_items(e, true, out);
    put_text(out, "other", e->other);
    put_text(out, "text", e->text);
    if (e->withdraws == 0) {
        journal_words(e, &line);
        put_text(out, "words", words);
    }
    put_id(out, "withdraws", e->withdraws);
    put_state(e, out);
}

void notes_format(const struct journal_entry *e, struct text *out)
{
    json_open(out, '{');
    put_entry(e, out);
    json_close(out, '}');
}

void notes_format_event(const struct journal_entry *e, utc_t t, struct text *out)
{
    json_open(out, '{');
    put_id(out, "v", 1);
    put_time(out, "t", t);
    put_text(out, "event", e->withdraws != 0 ? "note-withdrawn" : "note");
    put_entry(e, out);
    json_close(out, '}');
}
