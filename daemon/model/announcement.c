#include "model/announcement.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/nearest.h"
#include "base/number.h"

#define VALUE_MAX 512
#define NAMES_MAX 32

const char *const announcement_scopes[] = { "site", "tank", "quantity", "alert", NULL };

/* What one name stands for. */
struct thing {
    const struct site *site;
    const struct tank *tank;
    enum quantity quantity;
    const struct alert_slot *alert;
};

enum { OF_SITE = 1, OF_TANK = 2, OF_QUANTITY = 4, OF_ALERT = 8 };

static const unsigned scope_masks[] = { OF_SITE, OF_SITE | OF_TANK, OF_SITE | OF_TANK | OF_QUANTITY,
                                        OF_SITE | OF_ALERT };

static const struct name {
    const char *name;
    unsigned of;
    bool id; /* good for a topic */
} names[] = {
    { "base", OF_SITE, true },          { "site.id", OF_SITE, true },      { "site.name", OF_SITE, false },
    { "status", OF_SITE, false },       { "version", OF_SITE, false },     { "tank.id", OF_TANK, true },
    { "tank.name", OF_TANK, false },    { "tank.topic", OF_TANK, false },  { "quantity", OF_QUANTITY, true },
    { "title", OF_QUANTITY, false },    { "unit", OF_QUANTITY, false },    { "decimals", OF_QUANTITY, false },
    { "low", OF_QUANTITY, false },      { "high", OF_QUANTITY, false },    { "place", OF_ALERT, false },
    { "place.id", OF_ALERT, true },     { "place.name", OF_ALERT, false }, { "alert", OF_ALERT, false },
    { "alert.key", OF_ALERT, true },    { "alert.kind", OF_ALERT, true },  { "alert.title", OF_ALERT, false },
    { "alert.topic", OF_ALERT, false }, { "priority", OF_ALERT, false },
};
#define NAMES (sizeof names / sizeof *names)

/* --- reading a template --- */

enum piece_kind { PIECE_END, PIECE_TEXT, PIECE_NAME, PIECE_OPEN /* not closed */ };

struct piece {
    enum piece_kind kind;
    const char *text;
    size_t n;
};

static struct piece next_piece(const char **at)
{
    const char *s = *at;
    if (*s == '\0')
        return (struct piece){ PIECE_END, s, 0 };
    if (s[0] == '$' && s[1] == '$') {
        *at = s + 2;
        return (struct piece){ PIECE_TEXT, s, 1 };
    }
    if (s[0] == '$' && s[1] == '{') {
        size_t n = strcspn(s + 2, "}");
        bool closed = s[2 + n] == '}';
        *at = s + 2 + n + closed;
        return (struct piece){ closed ? PIECE_NAME : PIECE_OPEN, s + 2, n };
    }
    size_t n = 1 + strcspn(s + 1, "$");
    *at = s + n;
    return (struct piece){ PIECE_TEXT, s, n };
}

static const struct name *find_name(const struct piece *p)
{
    for (size_t i = 0; i < NAMES; i++)
        if (strlen(names[i].name) == p->n && memcmp(names[i].name, p->text, p->n) == 0)
            return &names[i];
    return NULL;
}

static enum status refuse_name(const struct piece *p, unsigned mask, bool topic, struct why *why)
{
    const char *known[NAMES_MAX];
    char word[48], list[256];
    struct text out = text_over(list, sizeof list);
    size_t count = 0;
    for (size_t i = 0; i < NAMES; i++)
        if ((names[i].of & mask) != 0 && (names[i].id || !topic)) {
            known[count++] = names[i].name;
            text_printf(&out, " %s", names[i].name);
        }
    snprintf(word, sizeof word, "%.*s", (int)(p->n < sizeof word ? p->n : sizeof word - 1), p->text);
    const char *near = nearest_of(word, known, count);
    if (near != NULL)
        return why_say(why, STATUS_INVALID, "${%s} is not known there; did you mean ${%s}?", word, near);
    return why_say(why, STATUS_INVALID, "${%s} is not known there; known are%s", word, list);
}

static enum status check(enum announcement_scope scope, const char *s, bool topic, struct why *why)
{
    for (;;) {
        struct piece p = next_piece(&s);
        if (p.kind == PIECE_END)
            return STATUS_OK;
        if (p.kind == PIECE_OPEN)
            return why_say(why, STATUS_INVALID, "\"${%.20s\" has no } behind it", p.text);
        const struct name *name = p.kind == PIECE_NAME ? find_name(&p) : NULL;
        if (p.kind == PIECE_NAME &&
            (name == NULL || (name->of & scope_masks[scope]) == 0 || (topic && !name->id)))
            return refuse_name(&p, scope_masks[scope], topic, why);
    }
}

enum status announcement_check_topic(enum announcement_scope scope, const char *topic, struct why *why)
{
    size_t n = strlen(topic);
    if (n == 0 || n >= ANNOUNCEMENT_TOPIC_MAX || strpbrk(topic, "+#") != NULL)
        return why_say(why, STATUS_INVALID, "a topic has 1 to %d bytes, without + and #",
                       ANNOUNCEMENT_TOPIC_MAX - 1);
    return check(scope, topic, true, why);
}

enum status announcement_check_payload(enum announcement_scope scope, const char *payload, struct why *why)
{
    return check(scope, payload, false, why);
}

/* --- the things --- */

static bool has(const struct site *site, const struct announcement *a, const struct tank *tank, int q)
{
    return (a->quantity == Q_COUNT || (int)a->quantity == q) &&
           site_stream_of(site, tank->place, (enum quantity)q) >= 0;
}

/* The thing-th pair of tank and measured quantity; how many there are when it is beyond. */
static int find_pair(const struct site *site, const struct announcement *a, int thing, struct thing *out)
{
    int count = 0;
    for (int t = 0; t < site->tank_count; t++)
        for (int q = 0; q < Q_COUNT; q++)
            if (has(site, a, &site->tanks[t], q) && count++ == thing) {
                out->tank = &site->tanks[t];
                out->quantity = (enum quantity)q;
            }
    return count;
}

int announcement_things(const struct site *site, const struct announcement *a)
{
    struct thing none = { .site = site };
    switch (a->scope) {
    case ANNOUNCE_TANK:
        return site->tank_count;
    case ANNOUNCE_QUANTITY:
        return find_pair(site, a, -1, &none);
    case ANNOUNCE_ALERT:
        return site->alert_count;
    default:
        return 1;
    }
}

static struct thing find_thing(const struct site *site, const struct announcement *a, int thing)
{
    struct thing t = { .site = site, .quantity = Q_COUNT };
    if (a->scope == ANNOUNCE_TANK)
        t.tank = &site->tanks[thing];
    else if (a->scope == ANNOUNCE_QUANTITY)
        (void)find_pair(site, a, thing, &t);
    else if (a->scope == ANNOUNCE_ALERT)
        t.alert = &site->alerts[thing];
    return t;
}

/* --- filling in --- */

static void put_number(struct text *out, double v, int decimals)
{
    char number[32];
    text_put(out, number_format(number, sizeof number, v, decimals) > 0 ? number : "null");
}

static void of_site(const struct thing *t, const char *name, struct text *out)
{
    const struct site *site = t->site;
    if (strcmp(name, "base") == 0)
        text_put(out, site->publish.base);
    else if (strcmp(name, "site.id") == 0)
        text_put(out, site->id);
    else if (strcmp(name, "site.name") == 0)
        text_put(out, site->name);
    else if (strcmp(name, "status") == 0)
        text_printf(out, "%s/status", site->publish.base);
    else
        text_put(out, LENTIC_VERSION);
}

static void of_tank(const struct thing *t, const char *name, struct text *out)
{
    if (strcmp(name, "tank.id") == 0)
        text_put(out, t->tank->id);
    else if (strcmp(name, "tank.name") == 0)
        text_put(out, t->tank->name);
    else
        text_printf(out, "%s/tank/%s", t->site->publish.base, t->tank->id);
}

static void of_quantity(const struct thing *t, const char *name, struct text *out)
{
    const struct quantity_info *q = quantity_info(t->quantity);
    const struct span *band = &t->tank->band[t->quantity];
    if (strcmp(name, "quantity") == 0)
        text_put(out, q->name);
    else if (strcmp(name, "title") == 0)
        text_put(out, q->title);
    else if (strcmp(name, "unit") == 0)
        text_put(out, q->unit);
    else if (strcmp(name, "decimals") == 0)
        text_printf(out, "%d", q->decimals);
    else
        put_number(out, strcmp(name, "low") == 0 ? band->lo : band->hi, q->decimals);
}

static void put_key(const char *ref, struct text *out)
{
    for (; *ref != '\0'; ref++)
        text_put_n(out, *ref == '/' ? "-" : ref, 1);
}

static void put_title(const struct alert_slot *alert, struct text *out)
{
    const struct kind_info *kind = kind_info(alert->kind);
    if (alert->quantity != Q_COUNT)
        text_printf(out, "%s ", quantity_info(alert->quantity)->title);
    text_put(out, kind->title);
}

static void of_alert(const struct thing *t, const char *name, struct text *out)
{
    const struct place *place = &t->site->places[t->alert->place];
    if (strcmp(name, "place") == 0)
        text_put(out, place->text);
    else if (strcmp(name, "place.id") == 0)
        text_put(out, place->id);
    else if (strcmp(name, "place.name") == 0)
        text_put(out, place->name);
    else if (strcmp(name, "alert") == 0)
        text_put(out, t->alert->ref);
    else if (strcmp(name, "alert.key") == 0)
        put_key(t->alert->ref, out);
    else if (strcmp(name, "alert.kind") == 0)
        text_put(out, t->alert->name);
    else if (strcmp(name, "alert.title") == 0)
        put_title(t->alert, out);
    else if (strcmp(name, "alert.topic") == 0)
        text_printf(out, "%s/alert/%s", t->site->publish.base, t->alert->ref);
    else
        text_put(out, priority_name(t->alert->settings.priority));
}

/* A name whose thing is not there, which announcement_check_* refuses, is nothing. */
static void put_value(const struct thing *t, const struct name *name, bool json, struct text *out)
{
    char value[VALUE_MAX], quoted[6 * VALUE_MAX];
    struct text plain = text_over(value, sizeof value), string = text_over(quoted, sizeof quoted);
    if (name->of == OF_SITE)
        of_site(t, name->name, &plain);
    else if (name->of == OF_TANK && t->tank != NULL)
        of_tank(t, name->name, &plain);
    else if (name->of == OF_QUANTITY && t->tank != NULL)
        of_quantity(t, name->name, &plain);
    else if (name->of == OF_ALERT && t->alert != NULL)
        of_alert(t, name->name, &plain);
    if (!json) {
        text_put(out, value);
        return;
    }
    json_string(&string, value);
    text_put_n(out, quoted + 1, string.len - 2);
}

static void fill(const struct thing *t, const char *s, bool json, struct text *out)
{
    for (;;) {
        struct piece p = next_piece(&s);
        if (p.kind == PIECE_END)
            return;
        if (p.kind == PIECE_NAME)
            put_value(t, find_name(&p), json, out);
        else
            text_put_n(out, p.text, p.n);
    }
}

bool announcement_topic(const struct site *site, const struct announcement *a, int thing, struct text *out)
{
    struct thing t = find_thing(site, a, thing);
    fill(&t, a->topic, false, out);
    return !out->cut && out->len > 0;
}

void announcement_payload(const struct site *site, const struct announcement *a, int thing, struct text *out)
{
    struct thing t = find_thing(site, a, thing);
    fill(&t, a->payload, a->payload[0] == '{' || a->payload[0] == '[', out);
}
