#include "rehearse/mishap.h"

#include <math.h>
#include <string.h>

#include "base/nearest.h"
#include "base/number.h"
#include "base/span.h"

#define NAMES_MAX 64
#define YEAR_S    (366 * 86400.0)
#define NO_SIZE   NAN, NAN, NAN

static const struct mishap_info table[MISHAP_COUNT] = {
    [MISHAP_HEATER_DEAD] = { "heater-dead", MISHAP_OF_TANK, NO_SIZE, Q_COUNT, "the heater gives no heat" },
    [MISHAP_HEATER_STUCK] = { "heater-stuck", MISHAP_OF_TANK, NO_SIZE, Q_COUNT,
                              "the heater is on whatever the thermostat says" },
    [MISHAP_HEATER_WEAK] = { "heater-weak", MISHAP_OF_TANK, 0.35, 0, 1, Q_COUNT,
                             "the heater gives a share of its power (size 0.35)" },
    [MISHAP_CIRCUIT_LOST] = { "circuit-lost", MISHAP_OF_CIRCUIT, NO_SIZE, Q_COUNT,
                              "no mains on the circuit: heaters, lights, top-off pumps" },
    [MISHAP_RACK_LOST] = { "rack-lost", MISHAP_OF_RACK, NO_SIZE, Q_COUNT, "no mains on the rack" },
    [MISHAP_ROOM_COLD] = { "room-cold", MISHAP_OF_ROOM, 9, 0.1, 40, Q_COUNT,
                           "the room settles colder by size (9) degrees" },
    [MISHAP_ROOM_HOT] = { "room-hot", MISHAP_OF_ROOM, 9, 0.1, 40, Q_COUNT,
                          "the room settles warmer by size (9) degrees" },
    [MISHAP_TOPOFF_STOPPED] = { "topoff-stopped", MISHAP_OF_TANK, NO_SIZE, Q_COUNT,
                                "nobody and nothing tops off" },
    [MISHAP_TOPOFF_MINERALS] = { "topoff-minerals", MISHAP_OF_TANK, 520, 1, 20000, Q_COUNT,
                                 "the top-off water carries minerals: size (520) uS/cm, as from a tap" },
    [MISHAP_TOPOFF_OVER] = { "topoff-over", MISHAP_OF_TANK, 3, 0.1, 100, Q_COUNT,
                             "the top-off does not stop: size (3) % of the tank an hour" },
    [MISHAP_LEAK] = { "leak", MISHAP_OF_TANK, 2.5, 0.01, 100, Q_COUNT,
                      "the tank loses water: size (2.5) % of it an hour" },
    [MISHAP_BAD_BATCH] = { "bad-batch", MISHAP_OF_WATER, 40, -90, 400, Q_COUNT,
                           "all tanks of a water are changed with a batch off by size (40) % of solids" },
    [MISHAP_WASTE] = { "waste", MISHAP_OF_TANK, 20, 0.1, 1000, Q_COUNT,
                       "waste builds up: size (20) uS/cm a day" },
    [MISHAP_SOURCE_WORN] = { "source-worn", MISHAP_OF_SOURCE, 4, 0.1, 1000, Q_COUNT,
                             "purified water climbs by size (4) uS/cm a day" },
    [MISHAP_OUT_OF_WATER] = { "probe-out-of-water", MISHAP_OF_TANK, NO_SIZE, Q_COUNT,
                              "probes hang in the air" },
    [MISHAP_SILENT] = { "probe-silent", MISHAP_OF_TANK, NO_SIZE, Q_COUNT, "probes send nothing" },
    [MISHAP_STUCK] = { "probe-stuck", MISHAP_OF_TANK, NO_SIZE, Q_TEMP, "the probe repeats its last value" },
    [MISHAP_NOISY] = { "probe-noisy", MISHAP_OF_TANK, 25, 1, 1000, Q_TEMP,
                       "size (25) times the usual noise" },
    [MISHAP_EC_DRIFTING] = { "ec-drifting", MISHAP_OF_TANK, 2, -50, 50, Q_EC,
                             "the conductivity probe reads size (2) % more every day" },
    [MISHAP_PH_DRIFTING] = { "ph-drifting", MISHAP_OF_TANK, 0.06, -2, 2, Q_PH,
                             "the pH probe reads size (0.06) more every day" },
};

const struct mishap_info *mishap_info(enum mishap_kind kind)
{
    return &table[kind];
}

struct word {
    char text[64];
};

static bool word_take(struct word *w, const char *s, size_t n)
{
    if (n >= sizeof w->text)
        return false;
    memcpy(w->text, s, n);
    w->text[n] = '\0';
    return true;
}

static enum status say_nearest(struct why *why, const char *what, const char *word, const char *const *names,
                               size_t count)
{
    const char *near = nearest_of(word, names, count);
    if (near == NULL)
        return why_say(why, STATUS_INVALID, "there is no %s \"%.60s\"", what, word);
    return why_say(why, STATUS_INVALID, "there is no %s \"%.60s\"; did you mean \"%s\"?", what, word, near);
}

static enum status kind_parse(const char *name, enum mishap_kind *kind, struct why *why)
{
    const char *names[MISHAP_COUNT];
    for (int k = 0; k < MISHAP_COUNT; k++) {
        names[k] = table[k].name;
        if (strcmp(names[k], name) == 0) {
            *kind = (enum mishap_kind)k;
            return STATUS_OK;
        }
    }
    return say_nearest(why, "fault", name, names, MISHAP_COUNT);
}

static int place_of_kind(const struct site *site, enum place_kind kind, const char *id)
{
    for (int p = 0; p < site->place_count; p++)
        if (site->places[p].kind == kind && (id == NULL || strcmp(site->places[p].id, id) == 0))
            return p;
    return -1;
}

static enum status say_no_place(const struct site *site, enum place_kind kind, const char *what,
                                const char *id, struct why *why)
{
    const char *names[NAMES_MAX];
    size_t count = 0;
    for (int p = 0; p < site->place_count && count < NAMES_MAX; p++)
        if (site->places[p].kind == kind)
            names[count++] = site->places[p].id;
    return say_nearest(why, what, id, names, count);
}

static int water_find(const struct site *site, const char *id)
{
    for (int w = 0; w < site->water_count; w++)
        if (strcmp(site->waters[w].id, id) == 0)
            return w;
    return -1;
}

static int tank_source(const struct site *site, int tank)
{
    int water = site->tanks[tank].water;
    int source = water >= 0 ? site->waters[water].source : -1;
    return source >= 0 ? source : place_of_kind(site, PLACE_SOURCE, NULL);
}

/* What a tank stands for when the fault concerns more than a tank. */
static int target_by_tank(const struct site *site, enum mishap_scope scope, int tank)
{
    switch (scope) {
    case MISHAP_OF_TANK:
        return tank;
    case MISHAP_OF_RACK:
        return site->tanks[tank].rack;
    case MISHAP_OF_CIRCUIT:
        return site->tanks[tank].circuit;
    case MISHAP_OF_ROOM:
        return site->room_place;
    case MISHAP_OF_WATER:
        return site->tanks[tank].water;
    case MISHAP_OF_SOURCE:
        return tank_source(site, tank);
    }
    return -1;
}

static const char *const scope_names[] = { "tank", "rack", "circuit", "room", "water", "source" };

static enum status target_parse(const struct site *site, const char *where, struct mishap *f, struct why *why)
{
    static const enum place_kind kinds[] = { PLACE_TANK, PLACE_RACK,  PLACE_CIRCUIT,
                                             PLACE_ROOM, PLACE_WATER, PLACE_SOURCE };
    const struct mishap_info *info = &table[f->kind];
    const char *own = scope_names[info->scope];
    const char *equals = strchr(where, '=');
    struct word key;
    if (!word_take(&key, where, equals != NULL ? (size_t)(equals - where) : strlen(where)))
        return why_say(why, STATUS_INVALID, "%s: the place is too long", info->name);
    if (info->scope == MISHAP_OF_ROOM && strcmp(key.text, "room") == 0) {
        f->target = site->room_place;
        return STATUS_OK;
    }
    if (equals == NULL || (strcmp(key.text, "tank") != 0 && strcmp(key.text, own) != 0))
        return why_say(why, STATUS_INVALID, "%s happens to a %s: %s@%s=ID%s", info->name, own, info->name,
                       own, info->scope == MISHAP_OF_TANK ? "" : " or @tank=ID of one of its tanks");
    const char *id = equals + 1;
    if (strcmp(key.text, "tank") == 0) {
        int tank = site_tank_find(site, id, strlen(id));
        if (tank < 0)
            return say_no_place(site, PLACE_TANK, "tank", id, why);
        f->target = target_by_tank(site, info->scope, tank);
        if (f->target < 0)
            return why_say(why, STATUS_INVALID, "tank %s has no %s in the configuration", id, own);
        return STATUS_OK;
    }
    f->target =
        info->scope == MISHAP_OF_WATER ? water_find(site, id) : place_of_kind(site, kinds[info->scope], id);
    return f->target >= 0 ? STATUS_OK : say_no_place(site, kinds[info->scope], own, id, why);
}

static enum status seconds_parse(const char *text, double *seconds)
{
    double v;
    if (span_parse(text, &v) != STATUS_OK || v < 0 || v > YEAR_S)
        return STATUS_INVALID;
    *seconds = v;
    return STATUS_OK;
}

static enum status size_parse(const struct mishap_info *info, const char *value, double *size,
                              struct why *why)
{
    double v;
    if (isnan(info->size))
        return why_say(why, STATUS_INVALID, "%s has no size", info->name);
    if (number_parse(value, strlen(value), NUMBER_PLAIN, &v) != STATUS_OK || v < info->least ||
        v > info->most)
        return why_say(why, STATUS_INVALID, "%s: size is a number from %g to %g, not \"%.40s\"", info->name,
                       info->least, info->most, value);
    *size = v;
    return STATUS_OK;
}

static enum status setting_parse(const char *setting, struct mishap *f, struct why *why)
{
    static const char *const keys[] = { "at", "for", "size", "of" };
    const struct mishap_info *info = &table[f->kind];
    const char *equals = strchr(setting, '=');
    struct word key;
    size_t n = equals != NULL ? (size_t)(equals - setting) : strlen(setting);
    if (!word_take(&key, setting, n))
        return why_say(why, STATUS_INVALID, "%s: a setting is too long", info->name);
    const char *value = equals != NULL ? equals + 1 : "";
    if (strcmp(key.text, "at") == 0 || strcmp(key.text, "for") == 0) {
        if (seconds_parse(value, key.text[0] == 'a' ? &f->at_s : &f->for_s) == STATUS_OK)
            return STATUS_OK;
        return why_say(why, STATUS_INVALID, "%s: %s takes a time such as 30m, 6h or 2d, not \"%.40s\"",
                       info->name, key.text, value);
    }
    if (strcmp(key.text, "size") == 0)
        return size_parse(info, value, &f->size, why);
    if (strcmp(key.text, "of") == 0) {
        f->of = quantity_find(value, strlen(value));
        if (f->of != Q_COUNT)
            return STATUS_OK;
        return why_say(why, STATUS_INVALID, "%s: there is no quantity \"%.40s\"", info->name, value);
    }
    return say_nearest(why, "setting", key.text, keys, sizeof keys / sizeof keys[0]);
}

enum status mishap_parse(const struct site *site, const char *text, struct mishap *out, struct why *why)
{
    struct mishap f = { .for_s = INFINITY, .at_s = NAN };
    struct word part;
    size_t n = strcspn(text, "@");
    if (!word_take(&part, text, n))
        return why_say(why, STATUS_INVALID, "the name of the fault is too long");
    enum status st = kind_parse(part.text, &f.kind, why);
    if (st != STATUS_OK)
        return st;
    f.size = table[f.kind].size;
    f.of = table[f.kind].of;
    const char *at = text + n + (text[n] == '@');
    for (bool first = true; first || *at != '\0'; first = false) {
        n = strcspn(at, ",");
        if (!word_take(&part, at, n))
            return why_say(why, STATUS_INVALID, "%s: a setting is too long", table[f.kind].name);
        st = first ? target_parse(site, part.text, &f, why) : setting_parse(part.text, &f, why);
        if (st != STATUS_OK)
            return st;
        at += n + (at[n] == ',');
    }
    if (isnan(f.at_s))
        return why_say(why, STATUS_INVALID, "%s: say when it begins: at=6h", table[f.kind].name);
    *out = f;
    return STATUS_OK;
}

bool mishap_active(const struct mishap *f, double t_s)
{
    return t_s >= f->at_s && t_s < f->at_s + f->for_s;
}

bool mishap_touches(const struct site *site, const struct mishap *f, int tank)
{
    return target_by_tank(site, table[f->kind].scope, tank) == f->target;
}

const char *mishap_place(const struct site *site, const struct mishap *f)
{
    switch (table[f->kind].scope) {
    case MISHAP_OF_TANK:
        return site->places[site->tanks[f->target].place].text;
    case MISHAP_OF_WATER:
        return site->waters[f->target].id;
    default:
        return site->places[f->target].text;
    }
}
