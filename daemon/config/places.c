#include "config/places.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <libconfig.h>

#include "config/waters.h"

#define KNOWN_MAX 64

static const char *const prefixes[PLACE_KIND_COUNT] = {
    [PLACE_ROOM] = "room",     [PLACE_TANK] = "tank",   [PLACE_RACK] = "rack",   [PLACE_CIRCUIT] = "circuit",
    [PLACE_SOURCE] = "source", [PLACE_STORE] = "store", [PLACE_WATER] = "water", [PLACE_SERVICE] = "lentic",
};

static size_t length_of(const struct loader *ld, const char *list)
{
    const struct config_setting_t *at = config_setting_get_member(ld->root, list);
    return at == NULL ? 0 : (size_t)config_setting_length(at);
}

void places_init(struct loader *ld)
{
    /* A tank may bring its rack and its circuit. */
    size_t most = 2 + 3 * length_of(ld, "tanks") + length_of(ld, "sources") + length_of(ld, "stores") +
                  length_of(ld, "waters");
    ld->site->places = arena_take(&ld->site->arena, most, sizeof *ld->site->places);
    ld->site->room_place = places_take(ld, PLACE_ROOM, "room", NULL);
    ld->site->service_place = places_take(ld, PLACE_SERVICE, "lentic", NULL);
}

int places_find(const struct site *site, enum place_kind kind, const char *id)
{
    for (int i = 0; i < site->place_count; i++)
        if (site->places[i].kind == kind && strcmp(site->places[i].id, id) == 0)
            return i;
    return -1;
}

int places_take(struct loader *ld, enum place_kind kind, const char *id, const char *name)
{
    struct site *site = ld->site;
    int known = places_find(site, kind, id);
    if (known >= 0)
        return known;
    char text[PLACE_TEXT_MAX];
    bool alone = kind == PLACE_ROOM || kind == PLACE_SERVICE;
    (void)snprintf(text, sizeof text, "%s%s%s", prefixes[kind], alone ? "" : "/", alone ? "" : id);
    site->places[site->place_count] = (struct place){ .kind = kind,
                                                      .id = keys_keep(ld, id),
                                                      .text = keys_keep(ld, text),
                                                      .name = keys_keep(ld, name == NULL ? id : name),
                                                      .tank = -1 };
    return site->place_count++;
}

/* A thing of a list that begins with its id and name. */
struct named {
    const char *id, *name;
};

/* Reads one of a list; -1 when it has no id, or one that is taken. parts: named first. */
static int read_named(struct loader *ld, const struct config_setting_t *each, const char *list,
                      enum place_kind kind, const struct key_part parts[2])
{
    const struct named *named = parts[0].target;
    (void)keys_read(ld, each, list, parts, 2);
    if (named->id == NULL)
        return -1;
    if (places_find(ld->site, kind, named->id) >= 0) {
        fault_say(ld->faults, each, "the id \"%s\" stands twice in %s", named->id, list);
        return -1;
    }
    return places_take(ld, kind, named->id, named->name);
}

static const struct key named_rows[] = {
    { .name = "id", .type = KEY_ID, .into = offsetof(struct named, id), .required = true },
    { .name = "name", .type = KEY_TEXT, .into = offsetof(struct named, name) },
};

/* --- sources --- */

static const char *const source_kinds[] = { "purified", "tap", "well", "rain", NULL };
static const char *const disinfectants[] = { "unknown", "none", "chlorine", "chloramine", NULL };

struct source_read {
    struct source source;
    int kind, disinfectant;
    const char *feed;
};

/* The feed may stand behind what it feeds: resolved when all are known. */
static void take_feeds(struct loader *ld, const struct config_setting_t *at)
{
    for (int i = 0; i < config_setting_length(at); i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i), *feed;
        const char *id;
        if (!config_setting_is_group(each) || config_setting_lookup_string(each, "id", &id) != CONFIG_TRUE ||
            (feed = config_setting_get_member(each, "feed")) == NULL)
            continue;
        int source = site_source_find(ld->site, id, strlen(id));
        if (source < 0)
            continue;
        places_source(ld, feed, NULL, &ld->site->sources[source].feed);
        if (ld->site->sources[source].feed == ld->site->sources[source].place)
            fault_say(ld->faults, feed, "the source \"%s\" cannot feed itself", id);
    }
}

#define INTO(field) offsetof(struct source_read, field)
static const struct key source_rows[] = {
    { .name = "makes_l_day",
      .type = KEY_NUMBER,
      .into = INTO(source.makes_l_day),
      .lo = 0,
      .hi = 100000,
      .unit = "L a day" },
    { .name = "store_l",
      .type = KEY_NUMBER,
      .into = INTO(source.store_l),
      .lo = 0,
      .hi = 100000,
      .unit = "L" },
    { .name = "kind", .type = KEY_CHOICE, .into = INTO(kind), .choices = source_kinds },
    { .name = "disinfectant", .type = KEY_CHOICE, .into = INTO(disinfectant), .choices = disinfectants },
    { .name = "feed", .type = KEY_TEXT, .into = INTO(feed) },
    { .name = "exhausted_ec",
      .type = KEY_NUMBER,
      .into = INTO(source.exhausted_ec),
      .lo = 0,
      .hi = 1000,
      .unit = "µS/cm",
      .above = true },
};
#undef INTO

static void read_source(struct loader *ld, const struct config_setting_t *each)
{
    struct named named = { NULL, NULL };
    struct source_read read = { .source = { -1, NAN, NAN, SOURCE_PURIFIED, DISINFECTANT_UNKNOWN, -1, NAN } };
    const struct key_part parts[] = { { KEY_ROWS(named_rows), &named, NULL },
                                      { KEY_ROWS(source_rows), &read, NULL } };
    int place = read_named(ld, each, "sources", PLACE_SOURCE, parts);
    if (place < 0)
        return;
    read.source.place = place;
    read.source.kind = (enum source_kind)read.kind;
    read.source.disinfectant = (enum disinfectant)read.disinfectant;
    if (read.source.kind != SOURCE_PURIFIED && (read.feed != NULL || !isnan(read.source.exhausted_ec)))
        fault_say(ld->faults, each, "feed and exhausted_ec belong to a source of kind \"purified\"");
    ld->site->sources[ld->site->source_count++] = read.source;
}

void places_sources(struct loader *ld, const struct config_setting_t *at)
{
    if (!keys_is_list(ld, at))
        return;
    ld->site->sources =
        arena_take(&ld->site->arena, (size_t)config_setting_length(at), sizeof *ld->site->sources);
    for (int i = 0; i < config_setting_length(at); i++)
        read_source(ld, config_setting_get_elem(at, (unsigned)i));
    take_feeds(ld, at);
}

/* --- stores --- */

#define INTO(field) offsetof(struct container, field)
static const struct key store_rows[] = {
    { .name = "water", .type = KEY_APPLY, .into = INTO(water), .apply = waters_water_ref },
    { .name = "holds_l",
      .type = KEY_NUMBER,
      .into = INTO(holds_l),
      .lo = 0,
      .hi = 100000,
      .unit = "L",
      .above = true },
    { .name = "l_per_mm",
      .type = KEY_NUMBER,
      .into = INTO(l_per_mm),
      .lo = 0,
      .hi = 1000,
      .unit = "L per mm",
      .above = true },
};
#undef INTO

static void read_store(struct loader *ld, const struct config_setting_t *each)
{
    struct named named = { NULL, NULL };
    struct container store = { -1, -1, NAN, NAN };
    const struct key_part parts[] = { { KEY_ROWS(named_rows), &named, NULL },
                                      { KEY_ROWS(store_rows), &store, NULL } };
    store.place = read_named(ld, each, "stores", PLACE_STORE, parts);
    if (store.place >= 0)
        ld->site->stores[ld->site->store_count++] = store;
}

void places_stores(struct loader *ld, const struct config_setting_t *at)
{
    if (!keys_is_list(ld, at))
        return;
    ld->site->stores =
        arena_take(&ld->site->arena, (size_t)config_setting_length(at), sizeof *ld->site->stores);
    for (int i = 0; i < config_setting_length(at); i++)
        read_store(ld, config_setting_get_elem(at, (unsigned)i));
}

static void say_unknown(struct loader *ld, const struct config_setting_t *at, const char *word, bool whole,
                        enum place_kind kind)
{
    const char *known[KNOWN_MAX];
    char hint[KEYS_HINT_MAX], label[KEYS_LABEL_MAX];
    size_t count = 0;
    for (int i = 0; i < ld->site->place_count && count < KNOWN_MAX; i++) {
        const struct place *place = &ld->site->places[i];
        if (whole || place->kind == kind)
            known[count++] = whole ? place->text : place->id;
    }
    fault_say(ld->faults, at, "%s names the unknown %s \"%.40s\"%s", keys_label(at, label),
              whole ? "place" : prefixes[kind], word, keys_hint(word, known, count, hint));
}

void places_source(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target)
{
    const char *id;
    (void)key;
    if (!keys_text(ld, at, &id))
        return;
    *(int *)target = places_find(ld->site, PLACE_SOURCE, id);
    if (*(int *)target < 0)
        say_unknown(ld, at, id, false, PLACE_SOURCE);
}

void places_any(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target)
{
    const char *text;
    (void)key;
    if (!keys_text(ld, at, &text))
        return;
    *(int *)target = site_place_find(ld->site, text, strlen(text));
    if (*(int *)target < 0)
        say_unknown(ld, at, text, true, PLACE_ROOM);
}
