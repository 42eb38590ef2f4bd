#include "config/keys.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <libconfig.h>

#include "base/utf8.h"
#include "base/nearest.h"
#include "base/text.h"

#define KNOWN_MAX 80
#define TEXT_MAX  512

/* Keys under their earlier names: read as the new one, with a warning, so that an upgrade still starts. */
static const struct {
    const char *what, *old, *now;
} retired[] = {
    { "probes", "stale_after_s", "stale_s" },
    { "values", "stale_after_s", "stale_s" },
    { "store", "commit_every_s", "commit_s" },
    { "store", "retention_days", "keep_raw_days" },
};

const char *keys_label(const struct config_setting_t *at, char *buf)
{
    const char *name = config_setting_name(at);
    const struct config_setting_t *parent = config_setting_parent(at);
    if (name != NULL)
        (void)snprintf(buf, KEYS_LABEL_MAX, "%s", name);
    else if (parent != NULL && config_setting_name(parent) != NULL)
        (void)snprintf(buf, KEYS_LABEL_MAX, "element %d of %s", config_setting_index(at) + 1,
                       config_setting_name(parent));
    else
        (void)snprintf(buf, KEYS_LABEL_MAX, "this");
    return buf;
}

const char *keys_hint(const char *word, const char *const *known, size_t count, char *buf)
{
    struct text out = text_over(buf, KEYS_HINT_MAX);
    const char *near = nearest_of(word, known, count);
    if (near != NULL) {
        text_printf(&out, "; did you mean \"%s\"?", near);
        return buf;
    }
    text_put(&out, count == 0 ? "; there are none" : "; known are");
    for (size_t i = 0; i < count && !out.cut; i++)
        text_printf(&out, " %s", known[i]);
    if (out.cut && out.len > 3)
        memcpy(buf + out.len - 3, "...", 3);
    return buf;
}

const char *keys_keep(struct loader *ld, const char *s)
{
    return arena_text(&ld->site->arena, s, strlen(s));
}

static const char *form_of(const struct config_setting_t *at)
{
    switch (config_setting_type(at)) {
    case CONFIG_TYPE_GROUP:
        return "a group { }";
    case CONFIG_TYPE_LIST:
        return "a list ( )";
    case CONFIG_TYPE_ARRAY:
        return "an array [ ]";
    case CONFIG_TYPE_STRING:
        return "text in quotes";
    case CONFIG_TYPE_BOOL:
        return "true or false";
    default:
        return "a number";
    }
}

static bool refuse_form(struct loader *ld, const struct config_setting_t *at, const char *wanted)
{
    char label[KEYS_LABEL_MAX];
    fault_say(ld->faults, at, "%s must be %s, not %s", keys_label(at, label), wanted, form_of(at));
    return false;
}

bool keys_is_group(struct loader *ld, const struct config_setting_t *at)
{
    return config_setting_is_group(at) || refuse_form(ld, at, "a group { }");
}

bool keys_is_list(struct loader *ld, const struct config_setting_t *at)
{
    return config_setting_is_list(at) || refuse_form(ld, at, "a list ( )");
}

bool keys_is_sequence(struct loader *ld, const struct config_setting_t *at)
{
    return config_setting_is_list(at) || config_setting_is_array(at) ||
           refuse_form(ld, at, "an array [ ] or a list ( )");
}

bool keys_text(struct loader *ld, const struct config_setting_t *at, const char **out)
{
    char label[KEYS_LABEL_MAX];
    if (config_setting_type(at) != CONFIG_TYPE_STRING)
        return refuse_form(ld, at, "text in quotes");
    const char *s = config_setting_get_string(at);
    size_t n = strlen(s);
    if (n == 0 || n > TEXT_MAX) {
        fault_say(ld->faults, at, n == 0 ? "%s is empty" : "%s is longer than %d bytes",
                  keys_label(at, label), TEXT_MAX);
        return false;
    }
    for (size_t i = 0; i < n;) {
        size_t whole = utf8_bytes(s + i, n - i);
        if ((unsigned char)s[i] < 0x20 || s[i] == 0x7f || whole == 0) {
            fault_say(ld->faults, at,
                      whole == 0 ? "%s is no UTF-8: save the file in that encoding"
                                 : "%s holds a control character",
                      keys_label(at, label));
            return false;
        }
        i += whole;
    }
    *out = s;
    return true;
}

bool keys_number(struct loader *ld, const struct config_setting_t *at, double *out)
{
    char label[KEYS_LABEL_MAX];
    double v = NAN;
    switch (config_setting_type(at)) {
    case CONFIG_TYPE_INT:
        v = config_setting_get_int(at);
        break;
    case CONFIG_TYPE_INT64:
        v = (double)config_setting_get_int64(at);
        break;
    case CONFIG_TYPE_FLOAT:
        v = config_setting_get_float(at);
        break;
    default:
        return refuse_form(ld, at, "a number");
    }
    if (!isfinite(v)) {
        fault_say(ld->faults, at, "%s is too large a number", keys_label(at, label));
        return false;
    }
    *out = v;
    return true;
}

static const char *spaced(const char *unit, char *buf, size_t cap)
{
    if (unit == NULL || *unit == '\0')
        *buf = '\0';
    else
        (void)snprintf(buf, cap, " %s", unit);
    return buf;
}

bool keys_number_in(struct loader *ld, const struct config_setting_t *at, const struct key *key, double *out)
{
    char label[KEYS_LABEL_MAX], unit[24];
    double v = NAN;
    if (!keys_number(ld, at, &v))
        return false;
    bool bounded = key->lo < key->hi;
    if (bounded && (v < key->lo || v > key->hi || (key->above && v == key->lo))) {
        fault_say(ld->faults, at, "%s must be %s%.10g to %.10g%s, not %.10g", keys_label(at, label),
                  key->above ? "above " : "", key->lo, key->hi, spaced(key->unit, unit, sizeof unit), v);
        return false;
    }
    *out = v;
    return true;
}

static void read_whole(struct loader *ld, const struct config_setting_t *at, const struct key *key, int *out)
{
    double v;
    char label[KEYS_LABEL_MAX];
    if (config_setting_type(at) == CONFIG_TYPE_FLOAT)
        fault_say(ld->faults, at, "%s must be a whole number, without a point", keys_label(at, label));
    else if (keys_number_in(ld, at, key, &v))
        *out = (int)v;
}

static void read_id(struct loader *ld, const struct config_setting_t *at, const char **out)
{
    const char *s;
    char label[KEYS_LABEL_MAX];
    if (!keys_text(ld, at, &s))
        return;
    size_t n = strlen(s);
    if (n > ID_MAX || strspn(s, "abcdefghijklmnopqrstuvwxyz0123456789-") != n || *s == '-' || s[n - 1] == '-')
        fault_say(
            ld->faults, at,
            "%s \"%.40s\" must be of a-z, 0-9 and -, begin with a letter or digit and end with one, and "
            "have at most %d of them",
            keys_label(at, label), s, ID_MAX);
    else
        *out = keys_keep(ld, s);
}

static void read_pointer(struct loader *ld, const struct config_setting_t *at, bool all, const char **out)
{
    const char *s, *bad = NULL;
    char label[KEYS_LABEL_MAX];
    if (all && config_setting_type(at) == CONFIG_TYPE_STRING && *config_setting_get_string(at) == '\0') {
        *out = "";
        return;
    }
    if (!keys_text(ld, at, &s))
        return;
    for (const char *c = s; *c != '\0'; c++)
        if (*c == '~' && c[1] != '0' && c[1] != '1')
            bad = "after ~ stands 0 or 1";
    if (*s != '/')
        bad = "it begins with /, as in \"/temperature\"";
    if (bad != NULL)
        fault_say(ld->faults, at, "%s \"%.60s\" is no JSON pointer: %s", keys_label(at, label), s, bad);
    else
        *out = keys_keep(ld, s);
}

void keys_quantity(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target)
{
    const char *s, *known[Q_COUNT];
    char hint[KEYS_HINT_MAX];
    (void)key;
    if (!keys_text(ld, at, &s))
        return;
    enum quantity q = quantity_find(s, strlen(s));
    *(enum quantity *)target = q;
    for (int i = 0; i < Q_COUNT; i++)
        known[i] = quantity_info((enum quantity)i)->name;
    if (q == Q_COUNT)
        fault_say(ld->faults, at, "there is no quantity \"%.40s\"%s", s, keys_hint(s, known, Q_COUNT, hint));
}

static void read_choice(struct loader *ld, const struct config_setting_t *at, const struct key *key, int *out)
{
    const char *s;
    char label[KEYS_LABEL_MAX], hint[KEYS_HINT_MAX];
    size_t count = 0;
    if (!keys_text(ld, at, &s))
        return;
    for (; key->choices[count] != NULL; count++)
        if (strcmp(key->choices[count], s) == 0) {
            *out = (int)count;
            return;
        }
    fault_say(ld->faults, at, "%s cannot be \"%.40s\"%s", keys_label(at, label), s,
              keys_hint(s, key->choices, count, hint));
}

static void read_clock(struct loader *ld, const struct config_setting_t *at, int *out)
{
    const char *s;
    char label[KEYS_LABEL_MAX];
    if (!keys_text(ld, at, &s))
        return;
    size_t digits = strspn(s, "0123456789");
    if (strlen(s) == 5 && digits == 2 && s[2] == ':' && strspn(s + 3, "0123456789") == 2) {
        int hours = (s[0] - '0') * 10 + s[1] - '0', minutes = (s[3] - '0') * 10 + s[4] - '0';
        if (hours < 24 && minutes < 60) {
            *out = hours * 60 + minutes;
            return;
        }
    }
    fault_say(ld->faults, at, "%s \"%.20s\" is no time of day such as \"22:30\"", keys_label(at, label), s);
}

static void read_key(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                     void *target)
{
    void *into = (char *)target + key->into;
    const char *s;
    switch (key->type) {
    case KEY_TEXT:
        if (keys_text(ld, at, &s))
            *(const char **)into = keys_keep(ld, s);
        break;
    case KEY_ID:
        read_id(ld, at, into);
        break;
    case KEY_POINTER:
    case KEY_POINTER_OR_ALL:
        read_pointer(ld, at, key->type == KEY_POINTER_OR_ALL, into);
        break;
    case KEY_FLAG:
        if (config_setting_type(at) != CONFIG_TYPE_BOOL)
            (void)refuse_form(ld, at, "true or false, without quotes");
        else
            *(bool *)into = config_setting_get_bool(at) != 0;
        break;
    case KEY_WHOLE:
        read_whole(ld, at, key, into);
        break;
    case KEY_NUMBER:
        (void)keys_number_in(ld, at, key, into);
        break;
    case KEY_CHOICE:
        read_choice(ld, at, key, into);
        break;
    case KEY_CLOCK:
        read_clock(ld, at, into);
        break;
    case KEY_APPLY:
        key->apply(ld, at, key, into);
        break;
    case KEY_REFUSED:
        fault_say(ld->faults, at, "%s", key->choices[0]);
        break;
    }
}

static const struct key *find_row(const struct key_part *parts, size_t part_count, const char *name,
                                  void **target)
{
    for (size_t p = 0; p < part_count; p++)
        for (size_t i = 0; i < parts[p].count; i++)
            if (strcmp(parts[p].rows[i].name, name) == 0) {
                *target = parts[p].target;
                return &parts[p].rows[i];
            }
    return NULL;
}

static bool take_quantity(struct loader *ld, const struct config_setting_t *at, const struct key_part *parts,
                          size_t part_count, const char *name)
{
    enum quantity q = quantity_find(name, strlen(name));
    if (q == Q_COUNT)
        return false;
    for (size_t p = 0; p < part_count; p++)
        if (parts[p].quantity != NULL) {
            parts[p].quantity(ld, at, q, parts[p].target);
            return true;
        }
    return false;
}

static void say_unknown(struct loader *ld, const struct config_setting_t *at, const char *what,
                        const struct key_part *parts, size_t part_count)
{
    const char *known[KNOWN_MAX];
    char hint[KEYS_HINT_MAX];
    size_t count = 0;
    for (size_t p = 0; p < part_count; p++) {
        for (size_t i = 0; i < parts[p].count && count < KNOWN_MAX; i++)
            if (parts[p].rows[i].type != KEY_REFUSED)
                known[count++] = parts[p].rows[i].name;
        for (int q = 0; parts[p].quantity != NULL && q < Q_COUNT && count < KNOWN_MAX; q++)
            known[count++] = quantity_info((enum quantity)q)->name;
    }
    fault_say(ld->faults, at, "unknown key \"%.40s\" in %s%s", config_setting_name(at), what,
              keys_hint(config_setting_name(at), known, count, hint));
}

static bool has_member(const struct config_setting_t *group, const char *name)
{
    for (int i = 0; i < config_setting_length(group); i++)
        if (strcmp(config_setting_name(config_setting_get_elem(group, (unsigned)i)), name) == 0)
            return true;
    return false;
}

/* The present name of a retired key, NULL when name is none. */
static const char *take_retired(struct loader *ld, const struct config_setting_t *at, const char *what)
{
    for (size_t i = 0; i < sizeof retired / sizeof *retired; i++) {
        if (strcmp(retired[i].what, what) != 0 || strcmp(retired[i].old, config_setting_name(at)) != 0)
            continue;
        bool both = has_member(config_setting_parent(at), retired[i].now);
        fault_warn(ld->faults, at, "%s is now called %s; %s", retired[i].old, retired[i].now,
                   both ? "both are given, this one is not used" : "taken as that, please rename it");
        return both ? "" : retired[i].now;
    }
    return NULL;
}

static void read_member(struct loader *ld, const struct config_setting_t *at, const char *what,
                        const struct key_part *parts, size_t part_count)
{
    void *target = NULL;
    const char *name = config_setting_name(at);
    const struct key *row = find_row(parts, part_count, name, &target);
    if (row == NULL && take_quantity(ld, at, parts, part_count, name))
        return;
    if (row == NULL) {
        const char *now = take_retired(ld, at, what);
        if (now != NULL && *now == '\0')
            return;
        row = now == NULL ? NULL : find_row(parts, part_count, now, &target);
    }
    if (row == NULL)
        say_unknown(ld, at, what, parts, part_count);
    else
        read_key(ld, at, row, target);
}

bool keys_read(struct loader *ld, const struct config_setting_t *group, const char *what,
               const struct key_part *parts, size_t part_count)
{
    int before = ld->faults->errors;
    if (!keys_is_group(ld, group))
        return false;
    for (int i = 0; i < config_setting_length(group); i++)
        read_member(ld, config_setting_get_elem(group, (unsigned)i), what, parts, part_count);
    for (size_t p = 0; p < part_count; p++)
        for (size_t i = 0; i < parts[p].count; i++)
            if (parts[p].rows[i].required && !has_member(group, parts[p].rows[i].name))
                fault_say(ld->faults, group, "%s is missing in %s", parts[p].rows[i].name, what);
    return ld->faults->errors == before;
}

/* Bands */

static void check_span(struct loader *ld, const struct config_setting_t *at, enum quantity q,
                       const struct span *span)
{
    const struct quantity_info *info = quantity_info(q);
    char unit[24];
    (void)spaced(info->unit, unit, sizeof unit);
    if (span->lo < info->hard_lo || span->hi > info->hard_hi || span->lo > info->hard_hi ||
        span->hi < info->hard_lo)
        fault_say(ld->faults, at, "the band of %s must lie within %.10g to %.10g%s", info->name,
                  info->hard_lo, info->hard_hi, unit);
    else if (span->lo >= span->hi)
        fault_say(ld->faults, at, "the band of %s is upside down: %.10g is not below %.10g%s", info->name,
                  span->lo, span->hi, unit);
}

void keys_span(struct loader *ld, const struct config_setting_t *at, enum quantity q, struct span *span)
{
    static const struct key sides[] = {
        { .name = "lo", .type = KEY_NUMBER, .into = offsetof(struct span, lo) },
        { .name = "hi", .type = KEY_NUMBER, .into = offsetof(struct span, hi) },
    };
    struct span given = { NAN, NAN };
    if (config_setting_is_group(at)) {
        struct key_part part = { KEY_ROWS(sides), &given, NULL };
        if (!keys_read(ld, at, "a band", &part, 1))
            return;
    } else if (!config_setting_is_array(at) && !config_setting_is_list(at)) {
        (void)refuse_form(ld, at, "a band such as [20.0, 24.0] or { hi = 24.0; }");
        return;
    } else if (config_setting_length(at) != 2) {
        fault_say(ld->faults, at, "the band of %s takes two numbers, lowest and highest",
                  quantity_info(q)->name);
        return;
    } else if (!keys_number(ld, config_setting_get_elem(at, 0), &given.lo) ||
               !keys_number(ld, config_setting_get_elem(at, 1), &given.hi)) {
        return;
    }
    if (!isnan(given.lo))
        span->lo = given.lo;
    if (!isnan(given.hi))
        span->hi = given.hi;
    check_span(ld, at, q, span);
}

static void take_amount(struct loader *ld, const struct config_setting_t *at, enum quantity q, void *target)
{
    const struct quantity_info *info = quantity_info(q);
    struct key range = {
        .name = info->name, .hi = info->hard_hi - info->hard_lo, .unit = info->unit, .above = true
    };
    (void)keys_number_in(ld, at, &range, (double *)target + q);
}

void keys_amounts(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target)
{
    struct key_part part = { NULL, 0, target, take_amount };
    (void)keys_read(ld, at, key->name, &part, 1);
}
