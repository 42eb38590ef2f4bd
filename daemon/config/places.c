#include "config/places.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <libconfig.h>

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

struct named {
    const char *id, *name;
    struct source source;
};

static void add_source(struct site *site, int place, const struct source *read)
{
    site->sources[site->source_count] = *read;
    site->sources[site->source_count++].place = place;
}

static void read_list(struct loader *ld, const struct config_setting_t *at, enum place_kind kind,
                      const struct key *rows, size_t row_count)
{
    for (int i = 0; i < config_setting_length(at); i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        struct named named = { NULL, NULL, { -1, NAN, NAN } };
        struct key_part part = { rows, row_count, &named, NULL };
        (void)keys_read(ld, each, config_setting_name(at), &part, 1);
        if (named.id == NULL)
            continue;
        if (places_find(ld->site, kind, named.id) >= 0) {
            fault_say(ld->faults, each, "the id \"%s\" stands twice in %s", named.id,
                      config_setting_name(at));
            continue;
        }
        int place = places_take(ld, kind, named.id, named.name);
        if (kind == PLACE_SOURCE)
            add_source(ld->site, place, &named.source);
    }
}

#define INTO(field) offsetof(struct named, field)
void places_sources(struct loader *ld, const struct config_setting_t *at)
{
    static const struct key rows[] = {
        { .name = "id", .type = KEY_ID, .into = INTO(id), .required = true },
        { .name = "name", .type = KEY_TEXT, .into = INTO(name) },
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
    };
    if (!keys_is_list(ld, at))
        return;
    ld->site->sources =
        arena_take(&ld->site->arena, (size_t)config_setting_length(at), sizeof *ld->site->sources);
    read_list(ld, at, PLACE_SOURCE, KEY_ROWS(rows));
}

void places_stores(struct loader *ld, const struct config_setting_t *at)
{
    static const struct key rows[] = {
        { .name = "id", .type = KEY_ID, .into = INTO(id), .required = true },
        { .name = "name", .type = KEY_TEXT, .into = INTO(name) },
    };
    if (keys_is_list(ld, at))
        read_list(ld, at, PLACE_STORE, KEY_ROWS(rows));
}
#undef INTO

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
