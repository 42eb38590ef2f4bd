#include "config/waters.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <libconfig.h>

#include "config/places.h"
#include "water/salts.h"

#define IDS_MAX    128
#define RECIPE_MAX 8

/* Lists of things that begin with their id and name: the same walk for each. */
struct ids {
    const char *id[IDS_MAX];
    size_t count;
};

void waters_unset(double *values)
{
    for (int q = 0; q < Q_COUNT; q++)
        values[q] = NAN;
}

static bool id_is_new(struct loader *ld, const struct config_setting_t *at, const char *what, const char *id,
                      struct ids *seen)
{
    if (id == NULL)
        return false;
    for (size_t i = 0; i < seen->count; i++)
        if (strcmp(seen->id[i], id) == 0) {
            fault_say(ld->faults, at, "the id \"%s\" stands twice in %s", id, what);
            return false;
        }
    if (seen->count == IDS_MAX) {
        fault_say(ld->faults, at, "more than %d entries in %s", IDS_MAX, what);
        return false;
    }
    seen->id[seen->count++] = id;
    return true;
}

static void find_ref(struct loader *ld, const struct config_setting_t *at, const char *what,
                     const struct ids *known, void *target)
{
    const char *id;
    char hint[KEYS_HINT_MAX], label[KEYS_LABEL_MAX];
    if (!keys_text(ld, at, &id))
        return;
    for (size_t i = 0; i < known->count; i++)
        if (strcmp(known->id[i], id) == 0) {
            *(int *)target = (int)i;
            return;
        }
    fault_say(ld->faults, at, "%s names the unknown %s \"%.40s\"%s", keys_label(at, label), what, id,
              keys_hint(id, known->id, known->count, hint));
}

/* Salts */

static void salt_from_composition(struct loader *ld, const struct config_setting_t *at, struct salt *salt)
{
    struct why why = { "" };
    const struct common_salt *common = salts_find(salt->composition, &why);
    if (common == NULL) {
        fault_say(ld->faults, at, "composition: %s", why.text);
        return;
    }
    struct salt_power power = salts_power(common);
    struct ions ions = salts_ions(common, 1.0);
    double ec = NAN;
    if (ions_ec25(&ions, &ec, NULL) != STATUS_OK)
        ec = NAN;
    salt->gh = isnan(salt->gh) ? power.gh_dh : salt->gh;
    salt->kh = isnan(salt->kh) ? power.kh_dh : salt->kh;
    salt->tds = isnan(salt->tds) ? power.tds_mg_l : salt->tds;
    salt->ec = isnan(salt->ec) ? ec : salt->ec;
}

/* "2026-11-22": midnight of that day in UTC. */
static void read_day(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                     void *target)
{
    const char *day;
    char stamp[40], label[KEYS_LABEL_MAX];
    bool zoned;
    (void)key;
    if (!keys_text(ld, at, &day))
        return;
    int n = snprintf(stamp, sizeof stamp, "%.20sT00:00:00Z", day);
    if (utc_parse(stamp, (size_t)n, target, &zoned) != STATUS_OK)
        fault_say(ld->faults, at, "%s is a day such as \"2026-11-22\", not \"%.40s\"", keys_label(at, label),
                  day);
}

void waters_salts(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct salt, field)
    static const struct key rows[] = {
        { .name = "id", .type = KEY_ID, .into = INTO(id), .required = true },
        { .name = "name", .type = KEY_TEXT, .into = INTO(name) },
        { .name = "composition", .type = KEY_TEXT, .into = INTO(composition) },
        { .name = "gh", .type = KEY_NUMBER, .into = INTO(gh), .lo = 0, .hi = 100, .unit = "°dH per g/L" },
        { .name = "kh", .type = KEY_NUMBER, .into = INTO(kh), .lo = 0, .hi = 100, .unit = "°dH per g/L" },
        { .name = "ec", .type = KEY_NUMBER, .into = INTO(ec), .lo = 0, .hi = 5000, .unit = "µS/cm per g/L" },
        { .name = "tds", .type = KEY_NUMBER, .into = INTO(tds), .lo = 0, .hi = 2000, .unit = "mg/L per g/L" },
        { .name = "stock_g", .type = KEY_NUMBER, .into = INTO(stock_g), .lo = 0, .hi = 1e6, .unit = "g" },
        { .name = "stock_since", .type = KEY_APPLY, .into = INTO(stock_since), .apply = read_day },
    };
#undef INTO
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    struct ids seen = { .count = 0 };
    ld->site->salts = arena_take(&ld->site->arena, (size_t)n, sizeof *ld->site->salts);
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        struct salt salt = {
            .gh = NAN, .kh = NAN, .ec = NAN, .tds = NAN, .stock_g = NAN, .stock_since = UTC_NONE
        };
        struct key_part part = { KEY_ROWS(rows), &salt, NULL };
        (void)keys_read(ld, each, "salts", &part, 1);
        if (!id_is_new(ld, each, "salts", salt.id, &seen))
            continue;
        if (salt.name == NULL)
            salt.name = salt.id;
        if (salt.composition != NULL)
            salt_from_composition(ld, each, &salt);
        else if (isnan(salt.gh) && isnan(salt.kh) && isnan(salt.ec) && isnan(salt.tds))
            fault_say(ld->faults, each,
                      "the salt \"%s\" needs a composition, or what 1 g/L of it adds: gh, kh, ec, tds",
                      salt.id);
        if (utc_is_set(salt.stock_since) && isnan(salt.stock_g))
            fault_say(ld->faults, each,
                      "the salt \"%s\" has a stock_since, but no stock_g that was weighed then", salt.id);
        ld->site->salts[ld->site->salt_count++] = salt;
    }
}

/* Waters */

static void read_salt_ref(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                          void *target)
{
    struct ids known = { .count = 0 };
    (void)key;
    for (int i = 0; i < ld->site->salt_count; i++)
        known.id[known.count++] = ld->site->salts[i].id;
    find_ref(ld, at, "salt", &known, target);
}

static void read_recipe(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                        void *target)
{
    static const struct key rows[] = {
        { .name = "salt",
          .type = KEY_APPLY,
          .into = offsetof(struct recipe_part, salt),
          .required = true,
          .apply = read_salt_ref },
        { .name = "g_per_l",
          .type = KEY_NUMBER,
          .into = offsetof(struct recipe_part, g_per_l),
          .required = true,
          .lo = 0,
          .hi = 20,
          .unit = "g/L",
          .above = true },
    };
    (void)key;
    struct water *water = target;
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    if (n > RECIPE_MAX) {
        fault_say(ld->faults, at, "a recipe takes at most %d salts", RECIPE_MAX);
        return;
    }
    water->recipe = arena_take(&ld->site->arena, (size_t)n, sizeof *water->recipe);
    for (int i = 0; i < n; i++) {
        struct recipe_part made = { .salt = -1, .g_per_l = NAN };
        struct key_part part = { KEY_ROWS(rows), &made, NULL };
        if (keys_read(ld, config_setting_get_elem(at, (unsigned)i), "recipe", &part, 1))
            water->recipe[water->recipe_count++] = made;
    }
}

struct blend_read {
    int source;
    double share;
};

static void read_blend(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                       void *target)
{
    static const struct key rows[] = {
        { .name = "source",
          .type = KEY_APPLY,
          .into = offsetof(struct blend_read, source),
          .required = true,
          .apply = places_source },
        { .name = "share",
          .type = KEY_NUMBER,
          .into = offsetof(struct blend_read, share),
          .required = true,
          .lo = 0,
          .hi = 1,
          .unit = "of the whole",
          .above = true },
    };
    struct blend_read read = { -1, NAN };
    struct key_part part = { KEY_ROWS(rows), &read, NULL };
    struct water *water = target;
    (void)key;
    if (!keys_is_group(ld, at) || !keys_read(ld, at, "blend", &part, 1))
        return;
    water->blend = read.source;
    water->blend_share = read.share;
}

static void check_blend(struct loader *ld, const struct config_setting_t *at, const struct water *water)
{
    if (water->blend >= 0 && (water->source < 0 || water->source == water->blend))
        fault_say(
            ld->faults, at,
            "the water \"%s\" is blended: name the other water it is made from too, as source = \"...\"",
            water->id);
}

static void read_target(struct loader *ld, const struct config_setting_t *at, enum quantity q, void *target)
{
    const struct quantity_info *info = quantity_info(q);
    struct key range = { .name = info->name, .lo = info->hard_lo, .hi = info->hard_hi, .unit = info->unit };
    (void)keys_number_in(ld, at, &range, &((struct water *)target)->target[q]);
}

static void check_drift(struct loader *ld, const struct config_setting_t *at, const struct water *water)
{
    for (int q = 0; q < Q_COUNT; q++)
        if (!isnan(water->drift[q]) && isnan(water->target[q]))
            fault_say(ld->faults, at, "the water \"%s\" has a drift of %s but no target it could drift from",
                      water->id, quantity_info((enum quantity)q)->name);
}

void waters_waters(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct water, field)
    static const struct key rows[] = {
        { .name = "id", .type = KEY_ID, .into = INTO(id), .required = true },
        { .name = "name", .type = KEY_TEXT, .into = INTO(name) },
        { .name = "drift", .type = KEY_APPLY, .into = INTO(drift), .apply = keys_amounts },
        { .name = "tds_per_ec",
          .type = KEY_NUMBER,
          .into = INTO(tds_per_ec),
          .lo = 0.4,
          .hi = 1.0,
          .unit = "mg/L per µS/cm" },
        { .name = "source", .type = KEY_APPLY, .into = INTO(source), .apply = places_source },
        { .name = "blend", .type = KEY_APPLY, .apply = read_blend },
        { .name = "recipe", .type = KEY_APPLY, .apply = read_recipe },
    };
#undef INTO
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    struct ids seen = { .count = 0 };
    ld->site->waters = arena_take(&ld->site->arena, (size_t)n, sizeof *ld->site->waters);
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        struct water water = { .tds_per_ec = NAN, .source = -1, .blend = -1 };
        waters_unset(water.target);
        waters_unset(water.drift);
        struct key_part part = { KEY_ROWS(rows), &water, read_target };
        (void)keys_read(ld, each, "waters", &part, 1);
        if (!id_is_new(ld, each, "waters", water.id, &seen))
            continue;
        if (water.name == NULL)
            water.name = water.id;
        check_drift(ld, each, &water);
        check_blend(ld, each, &water);
        (void)places_take(ld, PLACE_WATER, water.id, water.name);
        ld->site->waters[ld->site->water_count++] = water;
    }
}

void waters_water_ref(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target)
{
    struct ids known = { .count = 0 };
    (void)key;
    for (int i = 0; i < ld->site->water_count; i++)
        known.id[known.count++] = ld->site->waters[i].id;
    find_ref(ld, at, "water", &known, target);
}

/* Kits of hand tests */

static void read_kit_sd(struct loader *ld, const struct config_setting_t *at, enum quantity q, void *target)
{
    const struct quantity_info *info = quantity_info(q);
    struct key range = {
        .name = info->name, .lo = 0, .hi = info->hard_hi - info->hard_lo, .unit = info->unit, .above = true
    };
    (void)keys_number_in(ld, at, &range, &((struct kit *)target)->sd[q]);
}

void waters_kits(struct loader *ld, const struct config_setting_t *at)
{
    static const struct key rows[] = {
        { .name = "id", .type = KEY_ID, .into = offsetof(struct kit, id), .required = true },
        { .name = "name", .type = KEY_TEXT, .into = offsetof(struct kit, name) },
    };
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    struct ids seen = { .count = 0 };
    ld->site->kits = arena_take(&ld->site->arena, (size_t)n, sizeof *ld->site->kits);
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        struct kit kit = { .id = NULL };
        waters_unset(kit.sd);
        struct key_part part = { KEY_ROWS(rows), &kit, read_kit_sd };
        (void)keys_read(ld, each, "kits", &part, 1);
        if (!id_is_new(ld, each, "kits", kit.id, &seen))
            continue;
        if (kit.name == NULL)
            kit.name = kit.id;
        ld->site->kits[ld->site->kit_count++] = kit;
    }
}

/* Stocks */

static void read_band(struct loader *ld, const struct config_setting_t *at, enum quantity q, void *target)
{
    keys_span(ld, at, q, &((struct stock *)target)->band[q]);
}

void waters_stocks(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct stock, field)
    static const struct key rows[] = {
        { .name = "id", .type = KEY_ID, .into = INTO(id), .required = true },
        { .name = "name", .type = KEY_TEXT, .into = INTO(name) },
        { .name = "day_range", .type = KEY_APPLY, .into = INTO(day_range), .apply = keys_amounts },
        { .name = "per_hour", .type = KEY_APPLY, .into = INTO(per_hour), .apply = keys_amounts },
        { .name = "step", .type = KEY_APPLY, .into = INTO(step), .apply = keys_amounts },
        { .name = "source", .type = KEY_TEXT, .into = INTO(source) },
    };
#undef INTO
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    struct ids seen = { .count = 0 };
    ld->site->stocks = arena_take(&ld->site->arena, (size_t)n, sizeof *ld->site->stocks);
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        struct stock stock = { .id = NULL };
        for (int q = 0; q < Q_COUNT; q++)
            stock.band[q] = (struct span){ NAN, NAN };
        waters_unset(stock.day_range);
        waters_unset(stock.per_hour);
        waters_unset(stock.step);
        struct key_part part = { KEY_ROWS(rows), &stock, read_band };
        (void)keys_read(ld, each, "stocks", &part, 1);
        if (!id_is_new(ld, each, "stocks", stock.id, &seen))
            continue;
        if (stock.name == NULL)
            stock.name = stock.id;
        ld->site->stocks[ld->site->stock_count++] = stock;
    }
}

void waters_stock_ref(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target)
{
    struct ids known = { .count = 0 };
    (void)key;
    for (int i = 0; i < ld->site->stock_count; i++)
        known.id[known.count++] = ld->site->stocks[i].id;
    find_ref(ld, at, "kind of animals (stocks)", &known, target);
}
