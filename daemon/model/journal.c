#include "model/journal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const kinds[JOURNAL_KIND_COUNT] = {
    [JOURNAL_TEST] = "test",         [JOURNAL_CHANGE] = "change",
    [JOURNAL_TOPOFF] = "topoff",     [JOURNAL_BATCH] = "batch",
    [JOURNAL_FEEDING] = "feeding",   [JOURNAL_ANIMALS] = "animals",
    [JOURNAL_CLEANING] = "cleaning", [JOURNAL_REMARK] = "remark",
    [JOURNAL_LEARNT] = "learnt",     [JOURNAL_CALIBRATION] = "calibration",
    [JOURNAL_EXCHANGE] = "exchange",
};

static const char *const roles[JOURNAL_ROLE_COUNT] = { "value", "salt", "heads", "figure" };

static const char *const heads[HEADS_COUNT] = {
    "adults", "shrimplets", "berried", "born", "dead", "in", "out"
};

struct synonym {
    const char *word;
    int means;
};

/* What tired people write instead. */
static const struct synonym kind_synonyms[] = { { "tested", JOURNAL_TEST },
                                                { "tests", JOURNAL_TEST },
                                                { "hand-test", JOURNAL_TEST },
                                                { "water-change", JOURNAL_CHANGE },
                                                { "changed", JOURNAL_CHANGE },
                                                { "top-off", JOURNAL_TOPOFF },
                                                { "topped-off", JOURNAL_TOPOFF },
                                                { "mix", JOURNAL_BATCH },
                                                { "mixed", JOURNAL_BATCH },
                                                { "fed", JOURNAL_FEEDING },
                                                { "feed", JOURNAL_FEEDING },
                                                { "food", JOURNAL_FEEDING },
                                                { "livestock", JOURNAL_ANIMALS },
                                                { "animal", JOURNAL_ANIMALS },
                                                { "shrimp", JOURNAL_ANIMALS },
                                                { "count", JOURNAL_ANIMALS },
                                                { "counted", JOURNAL_ANIMALS },
                                                { "clean", JOURNAL_CLEANING },
                                                { "cleaned", JOURNAL_CLEANING },
                                                { "note", JOURNAL_REMARK },
                                                { "saw", JOURNAL_REMARK },
                                                { "observation", JOURNAL_REMARK },
                                                { "calibrated", JOURNAL_CALIBRATION } };

static const struct synonym head_synonyms[] = {
    { "adult", HEADS_ADULTS },      { "young", HEADS_SHRIMPLETS }, { "juveniles", HEADS_SHRIMPLETS },
    { "babies", HEADS_SHRIMPLETS }, { "carrying", HEADS_BERRIED }, { "eggs", HEADS_BERRIED },
    { "births", HEADS_BORN },       { "hatched", HEADS_BORN },     { "deaths", HEADS_DEAD },
    { "died", HEADS_DEAD },         { "added", HEADS_IN },         { "moved-in", HEADS_IN },
    { "sold", HEADS_OUT },          { "moved-out", HEADS_OUT },    { "removed", HEADS_OUT }
};

static bool same(const char *word, const char *name, size_t n)
{
    return strlen(word) == n && memcmp(word, name, n) == 0;
}

static int find(const char *const *names, int count, const struct synonym *synonyms, size_t synonym_count,
                const char *name, size_t n)
{
    for (int i = 0; i < count; i++)
        if (same(names[i], name, n))
            return i;
    for (size_t i = 0; i < synonym_count; i++)
        if (same(synonyms[i].word, name, n))
            return synonyms[i].means;
    return count;
}

const char *journal_kind_name(enum journal_kind k)
{
    return kinds[k];
}

const char *journal_role_name(enum journal_role r)
{
    return roles[r];
}

const char *journal_head_name(enum journal_head h)
{
    return heads[h];
}

#define COUNT(a) (sizeof(a) / sizeof *(a))

enum journal_kind journal_kind_find(const char *name, size_t n)
{
    return (enum journal_kind)find(kinds, JOURNAL_KIND_COUNT, kind_synonyms, COUNT(kind_synonyms), name, n);
}

enum journal_role journal_role_find(const char *name, size_t n)
{
    return (enum journal_role)find(roles, JOURNAL_ROLE_COUNT, NULL, 0, name, n);
}

enum journal_head journal_head_find(const char *name, size_t n)
{
    return (enum journal_head)find(heads, HEADS_COUNT, head_synonyms, COUNT(head_synonyms), name, n);
}

void journal_clear(struct journal_entry *e)
{
    *e = (struct journal_entry){ .kind = JOURNAL_KIND_COUNT,
                                 .at = UTC_NONE,
                                 .written = UTC_NONE,
                                 .litres = NAN,
                                 .grams = NAN,
                                 .withdrawn = UTC_NONE };
}

bool journal_counts(const struct journal_entry *e)
{
    return e->superseded_by == 0 && !utc_is_set(e->withdrawn);
}

const struct journal_item *journal_item(const struct journal_entry *e, enum journal_role role,
                                        const char *name)
{
    for (int i = 0; i < e->item_count; i++)
        if (e->items[i].role == role && strcmp(e->items[i].name, name) == 0)
            return &e->items[i];
    return NULL;
}

double journal_amount(const struct journal_entry *e, enum journal_role role, const char *name)
{
    const struct journal_item *item = journal_item(e, role, name);
    return item == NULL ? (double)NAN : item->amount;
}

enum status journal_put(struct journal_entry *e, enum journal_role role, const char *name, double amount,
                        double sd)
{
    int at = 0;
    while (at < e->item_count && (e->items[at].role != role || strcmp(e->items[at].name, name) != 0))
        at++;
    if (at == JOURNAL_ITEMS_MAX)
        return STATUS_FULL;
    struct journal_item *item = &e->items[at];
    *item = (struct journal_item){ .role = role, .amount = amount, .sd = sd };
    snprintf(item->name, sizeof item->name, "%s", name);
    if (at == e->item_count)
        e->item_count++;
    return STATUS_OK;
}

/* --- in words --- */

static void put_number(struct text *out, double v)
{
    text_printf(out, "%.6g", v);
}

static void put_item(const struct journal_item *item, struct text *out)
{
    enum quantity q = quantity_find(item->name, strlen(item->name));
    text_printf(out, "%s ", item->name);
    put_number(out, item->amount);
    if (item->role == JOURNAL_SALT)
        text_put(out, " g");
    else if (item->role == JOURNAL_VALUE && q != Q_COUNT && quantity_info(q)->unit[0] != '\0')
        text_printf(out, " %s", quantity_info(q)->unit);
    if (item->role == JOURNAL_FIGURE && !isnan(item->sd))
        text_printf(out, " ± %.3g", item->sd);
}

/* Puts what is due between two pieces. */
static void comma(struct text *out, size_t start)
{
    text_put(out, out->len == start ? " " : ", ");
}

static void put_named(struct text *out, size_t start, const char *name, const char *s)
{
    if (s[0] == '\0')
        return;
    comma(out, start);
    text_printf(out, "%s%s", name, s);
}

static void put_amount(struct text *out, size_t start, double v, const char *unit)
{
    if (isnan(v))
        return;
    comma(out, start);
    put_number(out, v);
    text_printf(out, " %s", unit);
}

static const char *other_word(const struct journal_entry *e)
{
    if (e->kind == JOURNAL_LEARNT)
        return "salt ";
    return journal_item(e, JOURNAL_HEAD, "out") != NULL ? "to " : "from ";
}

void journal_words(const struct journal_entry *e, struct text *out)
{
    text_put(out, e->kind < JOURNAL_KIND_COUNT ? kinds[e->kind] : "entry");
    size_t start = out->len;
    put_amount(out, start, e->litres, "L");
    put_amount(out, start, e->grams, "g");
    put_named(out, start, e->kind == JOURNAL_CHANGE ? "with water " : "water ", e->water);
    if (e->batch != 0) {
        comma(out, start);
        text_printf(out, "batch %lld", (long long)e->batch);
    }
    for (int i = 0; i < e->item_count; i++) {
        comma(out, start);
        put_item(&e->items[i], out);
    }
    put_named(out, start, other_word(e), e->other);
    put_named(out, start, "kit ", e->kit);
    put_named(out, start, "lot ", e->lot);
    if (e->text[0] != '\0')
        text_printf(out, "%s%s", out->len == start ? " " : ": ", e->text);
}
