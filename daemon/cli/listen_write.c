/* From streams to probe entries: topics that differ in one level, with the same values, become one pattern.
 */
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/number.h"
#include "base/text.h"
#include "cli/listen.h"

#define LEVELS_MAX    16
#define SIGNATURE_MAX 1024
#define LINE          110

/* All that one topic (of one device) carries. */
struct document {
    const struct listen_stream *streams; /* consecutive */
    struct listen_guess *guesses;        /* beside them */
    int count, usable;
    bool shared; /* other devices speak on this topic */
    int level;   /* that names the place; -1: none */
    int alone;   /* the last one with a digit in it; -1: none */
    int group;   /* document that stands for all of the pattern; itself when alone */
    char id[64]; /* the place's id within the topic, or of the device */
    char signature[SIGNATURE_MAX];
    const char *doubt; /* why it must not be used as it stands; NULL */
};

struct book {
    const struct listen_heard *heard;
    const struct site *site;
    struct listen_guess *guesses;
    struct document *documents;
    int count;
};

static int split(const char *topic, const char *levels[LEVELS_MAX], size_t lengths[LEVELS_MAX])
{
    int n = 0;
    for (const char *s = topic; n < LEVELS_MAX; s++) {
        const char *end = strchr(s, '/');
        levels[n] = s;
        lengths[n++] = end != NULL ? (size_t)(end - s) : strlen(s);
        if (end == NULL)
            break;
        s = end;
    }
    return n;
}

/* The topic with one level replaced. */
static void put_topic(struct text *t, const char *topic, int level, const char *instead)
{
    const char *levels[LEVELS_MAX];
    size_t lengths[LEVELS_MAX];
    int n = split(topic, levels, lengths);
    for (int i = 0; i < n; i++) {
        if (i > 0)
            text_put(t, "/");
        if (i == level)
            text_put(t, instead);
        else
            text_put_n(t, levels[i], lengths[i]);
    }
}

/* Alike: the same pattern with the same values in the same units. */
static void sign(const struct document *d, int level, char *buf, size_t cap)
{
    struct text t = text_over(buf, cap);
    put_topic(&t, d->streams->topic, level, "\001");
    text_printf(&t, "|%d%s|%s", d->streams->listed, d->streams->list_at, d->streams->time_at);
    if (d->shared)
        text_printf(&t, "|%s", d->streams->device);
    for (int i = 0; i < d->count; i++)
        if (d->guesses[i].sure >= LISTEN_LIKELY)
            text_printf(&t, "|%s:%d:%s:%d", d->streams[i].pointer, (int)d->guesses[i].quantity,
                        d->guesses[i].unit, d->streams[i].comma);
}

static bool is_of(const struct listen_stream *s, const struct listen_stream *first)
{
    return strcmp(s->topic, first->topic) == 0 && strcmp(s->device, first->device) == 0 &&
           s->listed == first->listed && strcmp(s->list_at, first->list_at) == 0;
}

static void gather_documents(struct book *b)
{
    const struct listen_heard *h = b->heard;
    for (int i = 0; i < h->count;) {
        struct document *d = &b->documents[b->count++];
        *d = (struct document){ .streams = &h->streams[i],
                                .guesses = &b->guesses[i],
                                .level = -1,
                                .alone = -1,
                                .group = b->count - 1 };
        for (; i < h->count && is_of(&h->streams[i], d->streams); i++, d->count++) {
            b->guesses[i] = listen_guess(&h->streams[i]);
            d->usable += b->guesses[i].sure >= LISTEN_LIKELY;
        }
    }
    for (int i = 1; i < b->count; i++)
        if (strcmp(b->documents[i].streams->topic, b->documents[i - 1].streams->topic) == 0)
            b->documents[i].shared = b->documents[i - 1].shared = true;
    for (int i = 0; i < b->count; i++)
        b->documents[i].shared |=
            b->documents[i].streams->listed && b->documents[i].streams->device[0] != '\0';
}

static bool can_be_id(const char *s, size_t n)
{
    if (n == 0 || n >= sizeof((struct document *)0)->id || *s == '-' || s[n - 1] == '-')
        return false;
    for (size_t i = 0; i < n; i++)
        if (!islower((unsigned char)s[i]) && !isdigit((unsigned char)s[i]) && s[i] != '-')
            return false;
    return true;
}

static bool is_room_word(const char *s, size_t n)
{
    static const char *const rooms[] = { "room", "air", "ambient", "indoor", "hall", NULL };
    for (const char *const *w = rooms; *w != NULL; w++)
        if (strlen(*w) == n && strncasecmp(s, *w, n) == 0)
            return true;
    return false;
}

/* How many documents have the same pattern when that level is free. */
static int company(const struct book *b, const struct document *d, int level)
{
    char mine[SIGNATURE_MAX], other[SIGNATURE_MAX];
    int n = 0;
    sign(d, level, mine, sizeof mine);
    for (int i = 0; i < b->count; i++)
        if (b->documents[i].usable > 0) {
            sign(&b->documents[i], level, other, sizeof other);
            n += strcmp(mine, other) == 0;
        }
    return n;
}

static bool is_tank(const struct site *site, const char *s, size_t n)
{
    return site != NULL && site_tank_find(site, s, n) >= 0;
}

static void take_level(struct document *d, int level)
{
    const char *levels[LEVELS_MAX];
    size_t lengths[LEVELS_MAX];
    (void)split(d->streams->topic, levels, lengths);
    d->level = level;
    d->id[0] = '\0';
    if (level >= 0) {
        snprintf(d->id, sizeof d->id, "%.*s", (int)lengths[level], levels[level]);
        sign(d, level, d->signature, sizeof d->signature);
    }
}

/* The level that names the place: a known tank's id, else where most topics alike differ, else, alone, the
 * last one with a digit in it. */
static void choose_level(const struct book *b, struct document *d)
{
    const char *levels[LEVELS_MAX];
    size_t lengths[LEVELS_MAX];
    int n = split(d->streams->topic, levels, lengths), most = 1, level = -1;
    bool known = false;
    for (int i = 0; i < n && !known; i++) {
        bool can = can_be_id(levels[i], lengths[i]);
        known = is_tank(b->site, levels[i], lengths[i]);
        int others = can && !is_room_word(levels[i], lengths[i]) ? company(b, d, i) : 1;
        if (known || others > most) {
            most = others;
            level = i;
        }
        for (size_t k = 0; k < lengths[i] && can; k++)
            if (isdigit((unsigned char)levels[i][k]))
                d->alone = i;
    }
    if (known)
        d->alone = level;
    take_level(d, level >= 0 ? level : d->alone);
}

static bool in_the_room(const struct document *d)
{
    const char *levels[LEVELS_MAX];
    size_t lengths[LEVELS_MAX];
    int n = split(d->streams->topic, levels, lengths);
    for (int i = 0; i < n; i++)
        if (is_room_word(levels[i], lengths[i]))
            return true;
    return false;
}

/* A known tank's id among the words of the device's name. */
static int tank_of_device(const struct site *site, const char *device)
{
    for (const char *s = device; site != NULL && *s != '\0';) {
        size_t n = strcspn(s, " _/.:#");
        int tank = site_tank_find(site, s, n);
        if (tank >= 0)
            return tank;
        s += n + (s[n] != '\0');
    }
    return -1;
}

static void place_shared(const struct book *b, struct document *d)
{
    int tank = tank_of_device(b->site, d->streams->device);
    if (tank >= 0)
        snprintf(d->id, sizeof d->id, "tank/%s", b->site->tanks[tank].id);
    else
        d->doubt = "several devices speak on this topic: say in place where this one is";
}

static int members_of(const struct book *b, int group)
{
    int n = 0;
    for (int i = 0; i < b->count; i++)
        n += b->documents[i].usable > 0 && b->documents[i].group == group;
    return n;
}

static bool is_like(const struct document *d, const struct document *other)
{
    return other->usable > 0 && !other->shared && d->level >= 0 && other->level == d->level &&
           strcmp(other->signature, d->signature) == 0;
}

static void group_all(struct book *b)
{
    for (int i = 0; i < b->count; i++) {
        struct document *d = &b->documents[i];
        d->group = i;
        for (int k = 0; k < i && d->usable > 0 && !d->shared && d->group == i; k++)
            if (is_like(d, &b->documents[k]))
                d->group = b->documents[k].group;
    }
}

static void doubt_place(struct document *d)
{
    if (d->streams->listed && d->streams->time_at[0] == '\0')
        d->doubt = "the items of the list have neither serial number nor time: they cannot be told apart";
    else if (d->level < 0 && !in_the_room(d))
        d->doubt = "nothing in the topic names the place: say it in place";
}

/* Twice: whoever seemed to have company at a level, and stays there by itself because the others are better
 * understood by another one, counts as alone. */
static void place_all(struct book *b)
{
    for (int i = 0; i < b->count; i++)
        if (b->documents[i].usable > 0 && b->documents[i].shared)
            place_shared(b, &b->documents[i]);
        else if (b->documents[i].usable > 0)
            choose_level(b, &b->documents[i]);
    group_all(b);
    for (int i = 0; i < b->count; i++)
        if (b->documents[i].level != b->documents[i].alone && members_of(b, i) == 1 &&
            b->documents[i].group == i)
            take_level(&b->documents[i], b->documents[i].alone);
    group_all(b);
    for (int i = 0; i < b->count; i++)
        if (b->documents[i].usable > 0 && !b->documents[i].shared)
            doubt_place(&b->documents[i]);
}

/* ---- text of an entry ---- */

static void put_quoted(struct text *t, const char *key, const char *s)
{
    text_printf(t, "%s = \"", key);
    for (; *s != '\0'; s++)
        text_printf(t, *s == '"' || *s == '\\' ? "\\%c" : "%c", *s);
    text_put(t, "\"; ");
}

static void put_value(struct text *t, const struct listen_stream *s, const struct listen_guess *g)
{
    if (s->pointer[0] != '\0')
        put_quoted(t, "at", s->pointer);
    put_quoted(t, "measures", quantity_info(g->quantity)->name);
    if (g->unit[0] != '\0')
        put_quoted(t, "unit", g->unit);
    if (s->unit_at[0] != '\0' && strcmp(g->unit, s->unit) == 0 && s->unit[0] != '\0')
        put_quoted(t, "unit_at", s->unit_at);
    if (s->comma)
        text_put(t, "comma = true; ");
    if (g->quantity == Q_TEMP && (s->codes[0] || s->codes[1]))
        text_put(t, "missing = [85.0, -127.0]; ");
}

static void put_place(struct text *t, const struct book *b, const struct document *d)
{
    char pattern[LISTEN_TOPIC_MAX + 16];
    struct text topic = text_over(pattern, sizeof pattern);
    put_topic(&topic, d->streams->topic, d->shared ? -1 : d->level, "{tank}");
    put_quoted(t, "topic", pattern);
    if (d->streams->listed)
        put_quoted(t, "each", d->streams->list_at);
    if (d->shared && d->streams->device[0] != '\0') {
        text_put(t, "match = { ");
        put_quoted(t, "at", d->streams->device_at);
        put_quoted(t, "is", d->streams->device);
        text_put(t, "}; ");
    }
    if (d->shared || d->level < 0)
        put_quoted(t, "place", d->id[0] != '\0' ? d->id : in_the_room(d) ? "room" : "tank/?");
    (void)b;
}

static double slowest_s(const struct document *d)
{
    double every_s = NAN;
    for (int i = 0; i < d->count; i++)
        if (d->guesses[i].sure >= LISTEN_LIKELY)
            every_s = fmax(every_s, d->guesses[i].every_s);
    return every_s;
}

/* begin: what each line begins with, blanks or the sign of a comment. */
static void put_entry(struct text *t, const struct book *b, const struct document *d, const char *begin,
                      bool more)
{
    double every_s = slowest_s(d);
    text_printf(t, "%s{ ", begin);
    put_place(t, b, d);
    if (d->streams->time_at[0] != '\0')
        put_quoted(t, "time", d->streams->time_at);
    if (!isnan(every_s))
        text_printf(t, "every_s = %.0f; ", every_s);
    bool list = d->usable > 1;
    const char *lead = "values = ( ";
    for (int i = 0; i < d->count; i++) {
        if (d->guesses[i].sure < LISTEN_LIKELY)
            continue;
        if (list && t->len > 0 && t->buf[t->len - 1] == ' ')
            t->buf[--t->len] = '\0';
        if (list)
            text_printf(t, "%s%s  %s{ ", lead[0] == ',' ? ",\n" : "\n", begin,
                        lead[0] == ',' ? "           " : lead);
        put_value(t, &d->streams[i], &d->guesses[i]);
        if (list)
            text_put(t, "}");
        lead = ",";
    }
    text_printf(t, "%s}%s\n", list ? " ); " : "", more ? "," : "");
}

static const char *sure_word(enum listen_sure sure)
{
    return sure == LISTEN_SURE ? "sure" : sure == LISTEN_LIKELY ? "likely" : "doubtful";
}

static void put_numbers(struct text *t, const struct listen_stream *s)
{
    if (isnan(s->lo))
        text_printf(t, "\"%s\"", s->sample);
    else if (s->lo == s->hi)
        text_printf(t, "%g", s->lo);
    else
        text_printf(t, "%g to %g", s->lo, s->hi);
}

static void put_remark(struct text *t, const struct listen_stream *s, const struct listen_guess *g)
{
    text_printf(t, "  # %s%s%s: ", s->pointer, s->pointer[0] != '\0' ? " " : "",
                g->quantity != Q_COUNT ? quantity_info(g->quantity)->title : "?");
    put_numbers(t, s);
    text_printf(t, ", %s (%s)", sure_word(g->sure), g->reason);
    if (g->sure >= LISTEN_LIKELY && g->quantity == Q_EC)
        text_put(t, "; if the probe does not bring it to 25 °C itself add compensated = false;");
    text_put(t, "\n");
}

/* "# 8 topics: a1, a2, b1, ..." */
static void put_members(struct text *t, const struct book *b, int group)
{
    int n = members_of(b, group), shown = 0;
    text_printf(t, "  # %d topic%s", n, n == 1 ? "" : "s");
    for (int i = 0; i < b->count && shown < 12; i++)
        if (b->documents[i].usable > 0 && b->documents[i].group == group && b->documents[i].id[0] != '\0')
            text_printf(t, "%s%s", shown++ == 0 ? ": " : ", ", b->documents[i].id);
    if (n > shown && shown > 0)
        text_put(t, ", ...");
    for (int i = 0; i < b->count && b->site != NULL; i++) {
        const struct document *d = &b->documents[i];
        if (d->usable > 0 && d->group == group && !d->shared && d->level >= 0 &&
            !is_tank(b->site, d->id, strlen(d->id)))
            text_printf(t, "; %s is not in tanks", d->id);
    }
    text_put(t, "\n");
}

static bool stands(const struct book *b, int i)
{
    const struct document *d = &b->documents[i];
    return d->usable > 0 && d->group == i && d->doubt == NULL;
}

static void write_entries(FILE *out, const struct book *b, int usable)
{
    char buf[8192];
    int written = 0;
    for (int i = 0; i < b->count; i++) {
        const struct document *d = &b->documents[i];
        struct text t = text_over(buf, sizeof buf);
        if (!stands(b, i))
            continue;
        put_members(&t, b, i);
        for (int k = 0; k < d->count; k++)
            if (d->guesses[k].sure >= LISTEN_DOUBTFUL)
                put_remark(&t, &d->streams[k], &d->guesses[k]);
        put_entry(&t, b, d, "  ", ++written < usable);
        fputs(buf, out);
    }
}

static void write_doubtful(FILE *out, const struct book *b)
{
    bool begun = false;
    for (int i = 0; i < b->count; i++) {
        const struct document *d = &b->documents[i];
        char buf[8192];
        struct text t = text_over(buf, sizeof buf);
        if (d->usable > 0 && d->doubt != NULL) {
            text_printf(&t, "  # Left out, %s.\n", d->doubt);
            for (int k = 0; k < d->count; k++)
                if (d->guesses[k].sure >= LISTEN_DOUBTFUL)
                    put_remark(&t, &d->streams[k], &d->guesses[k]);
            put_entry(&t, b, d, "  # ", true);
        } else if (d->usable == 0) {
            for (int k = 0; k < d->count; k++)
                if (d->guesses[k].sure == LISTEN_DOUBTFUL) {
                    text_printf(&t, "  # Left out, %s:\n", d->streams->topic);
                    put_remark(&t, &d->streams[k], &d->guesses[k]);
                }
        }
        if (t.len > 0 && !begun)
            fputs("\n  # Doubtful: look at them yourself.\n", out);
        begun |= t.len > 0;
        fputs(buf, out);
    }
}

/* What was heard and is nothing of the water, so that nobody wonders where it went. */
static void write_rest(FILE *out, const struct book *b)
{
    int n = 0;
    for (int i = 0; i < b->heard->count; i++)
        n += b->guesses[i].sure == LISTEN_NOT_WATER;
    if (n == 0)
        return;
    fprintf(out, "\n  # Heard and not taken for water (%d):\n", n);
    for (int i = 0, shown = 0; i < b->heard->count && shown < 20; i++)
        if (b->guesses[i].sure == LISTEN_NOT_WATER) {
            const struct listen_stream *s = &b->heard->streams[i];
            fprintf(out, "  #   %s%s%s: %.30s (%s)\n", s->topic, s->pointer[0] != '\0' ? " " : "", s->pointer,
                    s->sample, b->guesses[i].reason);
            shown++;
        }
    if (n > 20)
        fprintf(out, "  #   and %d more\n", n - 20);
}

static void write_own(FILE *out, const struct listen_heard *heard)
{
    if (heard->own_count == 0)
        return;
    fprintf(out, "\n  # Left out as Lentic's own voice: what is below %s", heard->own[0]);
    for (int i = 1; i < heard->own_count && i < 4; i++)
        fprintf(out, ", %s", heard->own[i]);
    if (heard->own_count > 4)
        fprintf(out, " and %d more", heard->own_count - 4);
    fputs(".\n", out);
}

int listen_write(FILE *out, const struct listen_heard *heard, const struct site *site)
{
    struct book b = { .heard = heard, .site = site };
    int usable = 0;
    b.guesses = calloc((size_t)heard->count + 1, sizeof *b.guesses);
    b.documents = calloc((size_t)heard->count + 1, sizeof *b.documents);
    if (b.guesses != NULL && b.documents != NULL) {
        gather_documents(&b);
        place_all(&b);
        for (int i = 0; i < b.count; i++)
            usable += stands(&b, i);
        fputs("probes = (\n", out);
        write_entries(out, &b, usable);
        write_doubtful(out, &b);
        write_rest(out, &b);
        write_own(out, heard);
        fputs(");\n", out);
    }
    free(b.guesses);
    free(b.documents);
    return usable;
}

static void json_members(struct text *t, const struct listen_stream *s, const struct listen_guess *g)
{
    json_open(t, '{');
    json_key(t, "topic");
    json_string(t, s->topic);
    json_key(t, "at");
    json_string(t, s->pointer);
    json_key(t, "device");
    json_string(t, s->device);
    json_key(t, "heard");
    json_int(t, s->heard);
    json_key(t, "live");
    json_int(t, s->live);
    json_key(t, "lo");
    json_number(t, s->lo, -1);
    json_key(t, "hi");
    json_number(t, s->hi, -1);
    json_key(t, "every_s");
    json_number(t, g->every_s, 1);
    json_key(t, "quantity");
    if (g->quantity == Q_COUNT)
        json_null(t);
    else
        json_string(t, quantity_info(g->quantity)->name);
    json_key(t, "unit");
    json_string(t, g->unit);
    json_key(t, "sure");
    json_string(t, g->sure == LISTEN_NOT_WATER ? "not water" : sure_word(g->sure));
    json_key(t, "reason");
    json_string(t, g->reason);
    json_close(t, '}');
}

void listen_write_json(FILE *out, const struct listen_heard *heard)
{
    fprintf(out, "{\"messages\":%ld,\"beyond\":%ld,\"streams\":[", heard->messages, heard->beyond);
    for (int i = 0; i < heard->count; i++) {
        char buf[2048];
        struct text t = text_over(buf, sizeof buf);
        struct listen_guess g = listen_guess(&heard->streams[i]);
        json_members(&t, &heard->streams[i], &g);
        fprintf(out, "%s\n%s", i > 0 ? "," : "", buf);
    }
    fputs("]}\n", out);
}
