/* What a tired keeper types -> an entry of the journal. */
#include "cli/note.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/nearest.h"
#include "base/number.h"
#include "cli/calc.h"

#define KEYS_MAX 192

struct reading_words {
    const struct site *site;
    struct note_typed *out;
    struct why *why;
    double bare; /* a number without a unit, still without a meaning; NaN */
    bool text;   /* everything from here on is text */
};

/* --- places --- */

static bool add_place(struct note_typed *out, int place)
{
    for (int i = 0; i < out->place_count; i++)
        if (out->places[i] == place)
            return true;
    if (place < 0 || out->place_count == NOTE_PLACES_MAX)
        return false;
    out->places[out->place_count++] = place;
    return true;
}

/* A rack or circuit: all its tanks. */
static bool add_group(const struct site *site, struct note_typed *out, int place)
{
    enum place_kind kind = site->places[place].kind;
    bool any = false;
    if (kind != PLACE_RACK && kind != PLACE_CIRCUIT)
        return add_place(out, place);
    for (int i = 0; i < site->tank_count; i++)
        if (site->tanks[i].rack == place || site->tanks[i].circuit == place)
            any = add_place(out, site->tanks[i].place) || any;
    return any;
}

static bool take_place(struct reading_words *r, const char *word, size_t n)
{
    static const char *const prefixes[] = { "", "tank/", "water/", "source/", "store/" };
    char full[PLACE_TEXT_MAX + 8];
    for (size_t i = 0; i < sizeof prefixes / sizeof *prefixes; i++) {
        snprintf(full, sizeof full, "%s%.*s", prefixes[i], (int)(n > ID_MAX + 8 ? ID_MAX + 8 : n), word);
        int place = site_place_find(r->site, full, strlen(full));
        if (place >= 0)
            return add_group(r->site, r->out, place);
    }
    return false;
}

/* "a1,a2": all of them or none. */
static bool take_places(struct reading_words *r, const char *word)
{
    struct note_typed before = *r->out;
    for (const char *at = word; *at != '\0';) {
        size_t n = strcspn(at, ",");
        if (n == 0 || !take_place(r, at, n)) {
            *r->out = before;
            return false;
        }
        at += n + (at[n] == ',');
    }
    return word[0] != '\0';
}

/* --- amounts --- */

static enum status put(struct reading_words *r, enum journal_role role, const char *name, double v, double sd)
{
    if (journal_put(&r->out->entry, role, name, v, sd) == STATUS_OK)
        return STATUS_OK;
    return why_say(r->why, STATUS_INVALID, "an entry holds %d figures at most", JOURNAL_ITEMS_MAX);
}

/* "6", "0.38mS/cm", "6+-0.5", "6±0.5". */
static enum status take_value(struct reading_words *r, const char *key, enum quantity q, const char *value)
{
    const struct quantity_info *info = quantity_info(q);
    const char *plus = strstr(value, "±"), *ascii = strstr(value, "+-");
    const char *split = plus != NULL ? plus : ascii;
    double v = NAN, sd = NAN;
    size_t n = split != NULL ? (size_t)(split - value) : strlen(value);
    enum status st = calc_parse(value, n, info->kind, info->unit, &v, r->why);
    if (st == STATUS_OK && split != NULL)
        st = number_parse(split + 2, strlen(split + 2), NUMBER_PLAIN, &sd) == STATUS_OK
                 ? STATUS_OK
                 : why_say(r->why, STATUS_INVALID, "%s: behind ± stands a number, not \"%.20s\"", key,
                           split + 2);
    return st != STATUS_OK ? st : put(r, JOURNAL_VALUE, key, v, sd);
}

static enum status take_grams(struct reading_words *r, const char *key, const char *value, double *grams)
{
    size_t n = strlen(value);
    double factor = 1;
    if (n > 2 && strcmp(value + n - 2, "kg") == 0) {
        factor = 1000;
        n -= 2;
    } else if (n > 2 && strcmp(value + n - 2, "mg") == 0) {
        factor = 0.001;
        n -= 2;
    } else if (n > 1 && value[n - 1] == 'g') {
        n--;
    }
    if (number_parse(value, n, NUMBER_PLAIN, grams) != STATUS_OK)
        return why_say(r->why, STATUS_INVALID, "%s: \"%.20s\" are no grams", key, value);
    *grams *= factor;
    return STATUS_OK;
}

static enum status take_head(struct reading_words *r, enum journal_head head, const char *value)
{
    double v;
    if (number_parse(value, strlen(value), NUMBER_PLAIN, &v) != STATUS_OK)
        return why_say(r->why, STATUS_INVALID, "%s: \"%.20s\" is no number of animals",
                       journal_head_name(head), value);
    return put(r, JOURNAL_HEAD, journal_head_name(head), v, NAN);
}

/* --- key=value --- */

static bool find_salt(const struct site *site, const char *key)
{
    for (int i = 0; i < site->salt_count; i++)
        if (strcmp(site->salts[i].id, key) == 0)
            return true;
    return false;
}

static enum status unknown_key(const struct reading_words *r, const char *key)
{
    static const char *const words[] = { "litres", "grams", "water", "batch", "kit",
                                         "lot",    "from",  "to",    "text" };
    const char *keys[KEYS_MAX];
    size_t count = 0;
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        keys[count++] = words[i];
    for (int q = 0; q < Q_COUNT; q++)
        keys[count++] = quantity_info((enum quantity)q)->name;
    for (int h = 0; h < HEADS_COUNT; h++)
        keys[count++] = journal_head_name((enum journal_head)h);
    for (int i = 0; i < r->site->salt_count && count < KEYS_MAX; i++)
        keys[count++] = r->site->salts[i].id;
    const char *near = nearest_of(key, keys, count);
    return why_say(
        r->why, STATUS_INVALID,
        "\"%.30s=\" is no quantity, salt, count of animals or litres grams water batch kit lot from "
        "to text%s%s%s",
        key, near != NULL ? "; did you mean \"" : "", near != NULL ? near : "", near != NULL ? "=\"?" : "");
}

static char *text_field(struct journal_entry *e, const char *key, size_t *cap)
{
    const struct {
        const char *key;
        char *field;
        size_t cap;
    } fields[] = { { "water", e->water, sizeof e->water }, { "kit", e->kit, sizeof e->kit },
                   { "lot", e->lot, sizeof e->lot },       { "from", e->other, sizeof e->other },
                   { "to", e->other, sizeof e->other },    { "text", e->text, sizeof e->text } };
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++)
        if (strcmp(fields[i].key, key) == 0) {
            *cap = fields[i].cap;
            return fields[i].field;
        }
    return NULL;
}

static enum status take_pair(struct reading_words *r, const char *key, const char *value)
{
    struct journal_entry *e = &r->out->entry;
    enum quantity q = quantity_find(key, strlen(key));
    enum journal_head head = journal_head_find(key, strlen(key));
    size_t cap;
    char *field = text_field(e, key, &cap);
    double v = NAN;
    if (value[0] == '\0')
        return why_say(r->why, STATUS_INVALID, "%s= needs a value behind it", key);
    if (field != NULL) {
        snprintf(field, cap, "%s", value);
        return STATUS_OK;
    }
    if (strcmp(key, "litres") == 0)
        return calc_parse(value, strlen(value), UNIT_VOLUME, "L", &e->litres, r->why);
    if (strcmp(key, "grams") == 0)
        return take_grams(r, key, value, &e->grams);
    if (strcmp(key, "batch") == 0) {
        if (number_parse(value, strlen(value), NUMBER_PLAIN, &v) != STATUS_OK || v < 1 || floor(v) != v)
            return why_say(r->why, STATUS_INVALID, "batch= takes the number of the batch's entry");
        e->batch = (int64_t)v;
        return STATUS_OK;
    }
    if (q != Q_COUNT)
        return take_value(r, key, q, value);
    if (find_salt(r->site, key)) {
        enum status st = take_grams(r, key, value, &v);
        return st != STATUS_OK ? st : put(r, JOURNAL_SALT, key, v, NAN);
    }
    return head != HEADS_COUNT ? take_head(r, head, value) : unknown_key(r, key);
}

/* --- other words --- */

static void add_text(struct journal_entry *e, const char *word)
{
    struct text out = { e->text, sizeof e->text, strlen(e->text), false };
    text_printf(&out, "%s%s", out.len > 0 ? " " : "", word);
}

/* A number alone, or with litres or grams behind it. False: no amount. */
static bool take_amount(struct reading_words *r, const char *word)
{
    struct why why;
    double v;
    if (!isdigit((unsigned char)word[0]) && word[0] != '.')
        return false;
    if (number_parse(word, strlen(word), NUMBER_PLAIN, &v) == STATUS_OK) {
        r->bare = v;
        return true;
    }
    struct reading_words aside = *r;
    aside.why = &why;
    if (calc_parse(word, strlen(word), UNIT_VOLUME, "L", &v, &why) == STATUS_OK) {
        r->out->entry.litres = v;
        return true;
    }
    if (take_grams(&aside, "", word, &v) == STATUS_OK) {
        r->out->entry.grams = v;
        return true;
    }
    return false;
}

/* "2 dead": the number before belongs to the word. */
static bool take_counted(struct reading_words *r, const char *word, enum status *st)
{
    enum journal_head head = journal_head_find(word, strlen(word));
    if (isnan(r->bare) || head == HEADS_COUNT)
        return false;
    *st = put(r, JOURNAL_HEAD, journal_head_name(head), r->bare, NAN);
    r->bare = NAN;
    return true;
}

static bool take_kind(struct reading_words *r, const char *word)
{
    struct journal_entry *e = &r->out->entry;
    enum journal_kind kind = journal_kind_find(word, strlen(word));
    if (e->kind != JOURNAL_KIND_COUNT || kind == JOURNAL_KIND_COUNT || kind == JOURNAL_CALIBRATION ||
        kind == JOURNAL_EXCHANGE || kind == JOURNAL_LEARNT)
        return false;
    e->kind = kind;
    r->text = kind == JOURNAL_REMARK || kind == JOURNAL_CLEANING;
    return true;
}

/* A mistyped tank must not make a remark of everything behind it. */
static enum status unknown_word(const struct reading_words *r, const char *word)
{
    const char *names[KEYS_MAX];
    size_t count = 0;
    for (int i = 0; i < r->site->place_count && count < KEYS_MAX - JOURNAL_KIND_COUNT; i++)
        names[count++] = r->site->places[i].id;
    for (int k = 0; k < JOURNAL_CALIBRATION; k++)
        names[count++] = journal_kind_name((enum journal_kind)k);
    const char *near = nearest_of(word, names, count);
    return why_say(
        r->why, STATUS_INVALID,
        "\"%.40s\" is no place and no kind of note%s%s%s (a remark of no place: lentic note remark ...)",
        word, near != NULL ? "; did you mean \"" : "", near != NULL ? near : "", near != NULL ? "\"?" : "");
}

static enum status take_word(struct reading_words *r, const char *word)
{
    const char *equals = strchr(word, '=');
    char key[64];
    enum status st = STATUS_OK;
    if (r->text) {
        add_text(&r->out->entry, word);
    } else if (equals != NULL && equals > word && equals - word < (int)sizeof key) {
        snprintf(key, sizeof key, "%.*s", (int)(equals - word), word);
        return take_pair(r, key, equals + 1);
    } else if (!take_counted(r, word, &st) && !take_places(r, word) && !take_kind(r, word) &&
               !take_amount(r, word)) {
        if (r->out->place_count == 0 && r->out->entry.kind == JOURNAL_KIND_COUNT &&
            r->out->entry.corrects == 0)
            return unknown_word(r, word);
        r->text = true;
        add_text(&r->out->entry, word);
    }
    return st;
}

/* --- what was left out --- */

static bool has(const struct journal_entry *e, enum journal_role role)
{
    for (int i = 0; i < e->item_count; i++)
        if (e->items[i].role == role)
            return true;
    return false;
}

static void guess_kind(struct journal_entry *e)
{
    if (e->kind != JOURNAL_KIND_COUNT || e->corrects != 0)
        return;
    if (has(e, JOURNAL_SALT))
        e->kind = JOURNAL_BATCH;
    else if (has(e, JOURNAL_HEAD))
        e->kind = JOURNAL_ANIMALS;
    else if (has(e, JOURNAL_VALUE))
        e->kind = JOURNAL_TEST;
    else if (e->text[0] != '\0' && isnan(e->litres) && isnan(e->grams))
        e->kind = JOURNAL_REMARK;
}

static enum status place_bare(struct reading_words *r)
{
    struct journal_entry *e = &r->out->entry;
    if (isnan(r->bare))
        return STATUS_OK;
    if (e->kind == JOURNAL_FEEDING && isnan(e->grams))
        e->grams = r->bare;
    else if ((e->kind == JOURNAL_CHANGE || e->kind == JOURNAL_TOPOFF || e->kind == JOURNAL_BATCH) &&
             isnan(e->litres))
        e->litres = r->bare;
    else
        return why_say(r->why, STATUS_INVALID, "what are the %g? Say litres=, grams=, or gh=, dead= ...",
                       r->bare);
    return STATUS_OK;
}

/* A water among the places is a batch's own place, or what went into the tanks. */
static void sort_waters(struct reading_words *r)
{
    struct note_typed *out = r->out;
    int kept = 0;
    for (int i = 0; i < out->place_count; i++) {
        const struct place *place = &r->site->places[out->places[i]];
        if (place->kind == PLACE_WATER && out->entry.kind != JOURNAL_TEST && out->entry.water[0] == '\0')
            snprintf(out->entry.water, sizeof out->entry.water, "%s", place->id);
        if (place->kind != PLACE_WATER || out->entry.kind == JOURNAL_TEST || out->entry.kind == JOURNAL_BATCH)
            out->places[kept++] = out->places[i];
    }
    out->place_count = kept;
}

enum status note_words(const struct site *site, const char *const *words, int count, struct note_typed *out,
                       struct why *why)
{
    struct reading_words r = { .site = site, .out = out, .why = why, .bare = NAN };
    int64_t corrects = out->entry.corrects;
    journal_clear(&out->entry);
    out->entry.corrects = corrects;
    out->place_count = 0;
    for (int i = 0; i < count; i++) {
        enum status st = take_word(&r, words[i]);
        if (st != STATUS_OK)
            return st;
    }
    guess_kind(&out->entry);
    sort_waters(&r);
    enum status st = place_bare(&r);
    if (st == STATUS_OK && out->entry.kind == JOURNAL_KIND_COUNT && corrects == 0)
        st = why_say(why, STATUS_INVALID,
                     "say what it is: test, change, topoff, batch, feeding, animals, cleaning or remark");
    return st;
}
