#include "config/probes.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <libconfig.h>

#include "base/number.h"
#include "config/devices.h"
#include "config/kinds.h"
#include "config/places.h"
#include "config/values.h"
#include "model/message.h"
#include "model/pattern.h"

#define VALUES_MAX 64

struct entry_draft {
    struct probe_entry entry;
    const struct config_setting_t *tanks, *values, *place;
    enum place_kind capture;
};

/* Rows of an entry */

static void read_topic(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                       void *target)
{
    struct entry_draft *draft = target;
    char filter[MESSAGE_TOPIC_MAX + 1];
    const char *s;
    struct why why = { "" };
    (void)key;
    if (!keys_text(ld, at, &s))
        return;
    if (pattern_check(s, &draft->capture, &why) != STATUS_OK) {
        fault_say(ld->faults, at, "topic \"%.80s\": %s", s, why.text);
        return;
    }
    (void)pattern_filter(s, filter, sizeof filter);
    draft->entry.topic = keys_keep(ld, s);
    draft->entry.filter = keys_keep(ld, filter);
}

static void keep_setting(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                         void *target)
{
    (void)ld;
    (void)key;
    *(const struct config_setting_t **)target = at;
}

static void read_place(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                       void *target)
{
    struct entry_draft *draft = target;
    draft->place = at;
    places_any(ld, at, key, &draft->entry.place);
}

/* Text as it stands, numbers and flags as JSON would show them. */
static void read_match(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                       void *target)
{
    char buf[40];
    const char *s;
    double v;
    (void)key;
    if (config_setting_type(at) == CONFIG_TYPE_STRING) {
        if (keys_text(ld, at, &s))
            *(const char **)target = keys_keep(ld, s);
    } else if (config_setting_type(at) == CONFIG_TYPE_BOOL) {
        *(const char **)target = config_setting_get_bool(at) ? "true" : "false";
    } else if (config_setting_type(at) == CONFIG_TYPE_INT || config_setting_type(at) == CONFIG_TYPE_INT64) {
        (void)snprintf(buf, sizeof buf, "%lld", config_setting_get_int64(at));
        *(const char **)target = keys_keep(ld, buf);
    } else if (keys_number(ld, at, &v)) {
        (void)number_exact(buf, sizeof buf, v);
        *(const char **)target = keys_keep(ld, buf);
    }
}

static void read_match_group(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                             void *target)
{
    static const struct key rows[] = {
        { .name = "at",
          .type = KEY_POINTER,
          .into = offsetof(struct probe_entry, match_at),
          .required = true },
        { .name = "is",
          .type = KEY_APPLY,
          .into = offsetof(struct probe_entry, match),
          .required = true,
          .apply = read_match },
    };
    struct key_part part = { KEY_ROWS(rows), target, NULL };
    (void)key;
    (void)keys_read(ld, at, "match", &part, 1);
}

static const char *const time_forms[] = { "auto", "s", "ms", NULL };

#define INTO(field) offsetof(struct entry_draft, entry.field)
static const struct key entry_rows[] = {
    { .name = "topic", .type = KEY_APPLY, .required = true, .apply = read_topic },
    { .name = "place", .type = KEY_APPLY, .apply = read_place },
    { .name = "tanks",
      .type = KEY_APPLY,
      .into = offsetof(struct entry_draft, tanks),
      .apply = keep_setting },
    { .name = "values",
      .type = KEY_APPLY,
      .into = offsetof(struct entry_draft, values),
      .apply = keep_setting },
    { .name = "each", .type = KEY_POINTER_OR_ALL, .into = INTO(list_at) },
    { .name = "time", .type = KEY_POINTER, .into = INTO(time_at) },
    { .name = "time_form", .type = KEY_CHOICE, .into = INTO(time_form), .choices = time_forms },
    { .name = "match",
      .type = KEY_APPLY,
      .into = offsetof(struct entry_draft, entry),
      .apply = read_match_group },
    { .name = "device", .type = KEY_ID, .into = INTO(device) },
    { .name = "kind", .type = KEY_APPLY, .apply = kinds_skip },
    { .name = "qos", .type = KEY_WHOLE, .into = INTO(qos), .lo = 0, .hi = 1 },
};
#undef INTO

/* Places an entry serves */

static int *named_tanks(struct loader *ld, const struct config_setting_t *at, int *count)
{
    const struct site *site = ld->site;
    *count = 0;
    if (!keys_is_sequence(ld, at))
        return NULL;
    int n = config_setting_length(at);
    int *places = arena_take(&ld->site->arena, (size_t)n, sizeof *places);
    const char **known = arena_take(&ld->site->arena, (size_t)site->tank_count, sizeof *known);
    char hint[KEYS_HINT_MAX];
    for (int t = 0; t < site->tank_count; t++)
        known[t] = site->tanks[t].id;
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        const char *id;
        if (!keys_text(ld, each, &id))
            continue;
        int tank = site_tank_find(site, id, strlen(id));
        if (tank < 0)
            fault_say(ld->faults, each, "tanks names the unknown tank \"%.40s\"%s", id,
                      keys_hint(id, known, (size_t)site->tank_count, hint));
        else
            places[(*count)++] = site->tanks[tank].place;
    }
    return places;
}

static void serve_named(struct loader *ld, struct entry_draft *draft)
{
    struct probe_entry *entry = &draft->entry;
    if (draft->capture != PLACE_TANK) {
        fault_say(ld->faults, draft->tanks, "tanks goes with a topic that holds {tank}");
        return;
    }
    entry->places = named_tanks(ld, draft->tanks, &entry->place_count);
    entry->tanks_named = true;
    for (int i = 0; i < entry->place_count; i++) {
        const struct place *place = &ld->site->places[entry->places[i]];
        if (!pattern_serves(entry->topic, ld->site, entry->places[i]))
            fault_say(ld->faults, draft->tanks,
                      "tank \"%s\" has no rack or circuit to fill the topic \"%.80s\" with", place->id,
                      entry->topic);
        for (int k = 0; k < i; k++)
            if (entry->places[k] == entry->places[i])
                fault_say(ld->faults, draft->tanks, "tank \"%s\" stands twice in tanks", place->id);
    }
}

static void serve_all(struct loader *ld, struct probe_entry *entry)
{
    const struct site *site = ld->site;
    entry->places = arena_take(&ld->site->arena, (size_t)site->place_count, sizeof *entry->places);
    for (int p = 0; p < site->place_count; p++)
        if (site->places[p].kind == entry->capture && pattern_serves(entry->topic, site, p))
            entry->places[entry->place_count++] = p;
}

static void serve_place(struct loader *ld, struct probe_entry *entry)
{
    entry->places = arena_take(&ld->site->arena, 1, sizeof *entry->places);
    entry->places[0] = entry->place;
    entry->place_count = 1;
}

static void find_places(struct loader *ld, const struct config_setting_t *at, struct entry_draft *draft)
{
    struct probe_entry *entry = &draft->entry;
    bool captures = draft->capture != PLACE_KIND_COUNT;
    entry->capture = draft->capture;
    if (captures && draft->place != NULL) {
        fault_say(ld->faults, draft->place, "the topic \"%.80s\" names its place itself: leave place out",
                  entry->topic);
    } else if (!captures && draft->place == NULL) {
        fault_say(ld->faults, at,
                  "no place: put {tank} or another capture into the topic, or add place = \"tank/...\"");
    } else if (draft->tanks != NULL) {
        serve_named(ld, draft);
    } else if (captures) {
        serve_all(ld, entry);
        if (entry->place_count == 0)
            fault_say(ld->faults, at, "no place in this file fits the topic \"%.80s\"", entry->topic);
    } else if (entry->place >= 0) {
        enum place_kind kind = ld->site->places[entry->place].kind;
        if (kind == PLACE_SERVICE || kind == PLACE_WATER)
            fault_say(ld->faults, draft->place, "a probe cannot be at \"%s\"",
                      ld->site->places[entry->place].text);
        serve_place(ld, entry);
    }
}

/* Values of an entry */

static void own_keys_beside_values(struct loader *ld, const struct config_setting_t *at)
{
    for (size_t i = 0; i < values_own_count; i++) {
        const struct config_setting_t *own = config_setting_get_member(at, values_own_rows[i].name);
        if (own != NULL)
            fault_say(ld->faults, own, "%s stands beside values; it belongs inside, to one of them",
                      values_own_rows[i].name);
    }
}

static bool lacks_measures(struct loader *ld, const struct config_setting_t *at,
                           const struct value_draft *draft)
{
    if (config_setting_get_member(at, "measures") != NULL || draft->value.quantity != Q_COUNT)
        return false;
    fault_say(ld->faults, at, "measures is missing: which quantity is it, such as \"temp\" or \"ec\"");
    return true;
}

static void read_values(struct loader *ld, const struct value_draft *shared, struct entry_draft *draft)
{
    struct probe_entry *entry = &draft->entry;
    const struct config_setting_t *at = draft->values;
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    if (n < 1 || n > VALUES_MAX) {
        fault_say(ld->faults, at, "values takes 1 to %d of them, not %d", VALUES_MAX, n);
        return;
    }
    entry->values = arena_take(&ld->site->arena, (size_t)n, sizeof *entry->values);
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        static const struct key kind_row[] = { { .name = "kind", .type = KEY_APPLY, .apply = kinds_skip } };
        struct value_draft value = kinds_draft(ld, each, shared);
        struct key_part parts[] = { { values_own_rows, values_own_count, &value, NULL },
                                    { values_shared_rows, values_shared_count, &value, NULL },
                                    { KEY_ROWS(kind_row), &value, NULL } };
        if (!keys_read(ld, each, "values", parts, 3) || lacks_measures(ld, each, &value) ||
            !values_finish(ld, each, &value))
            continue;
        if (value.value.at == NULL && n > 1)
            fault_say(ld->faults, each, "at is missing: where in the JSON payload this value stands");
        entry->values[entry->value_count++] = value.value;
    }
}

static void take_single(struct loader *ld, const struct config_setting_t *at, struct value_draft *value,
                        struct probe_entry *entry)
{
    if (lacks_measures(ld, at, value) || !values_finish(ld, at, value))
        return;
    entry->values = arena_take(&ld->site->arena, 1, sizeof *entry->values);
    entry->values[0] = value->value;
    entry->value_count = 1;
}

static void check_json_words(struct loader *ld, const struct config_setting_t *at,
                             const struct probe_entry *entry)
{
    bool plain = entry->value_count == 1 && entry->values[0].at == NULL;
    if (plain && (entry->time_at != NULL || entry->match_at != NULL || entry->list_at != NULL))
        fault_say(ld->faults, at,
                  "time, match and each need a JSON payload, but without at the payload is a bare number");
    if (entry->list_at != NULL && entry->match_at == NULL && entry->time_at == NULL)
        fault_say(
            ld->faults, at,
            "each needs match, so that one probe's items are told from another's, or time, when the list "
            "is what one probe has saved up");
    if (plain && (entry->device_at != NULL || entry->battery_at != NULL || entry->link_at != NULL))
        fault_say(
            ld->faults, at,
            "device_at, battery and link need a JSON payload, but without at the payload is a bare number");
    if (entry->device != NULL && entry->device_at != NULL)
        fault_say(ld->faults, at, "device names it here, device_at in the payload: leave one of them out");
}

/* True when the entry is sound and may be used. */
static bool read_entry(struct loader *ld, const struct config_setting_t *at, struct probe_entry *out)
{
    int before = ld->faults->errors;
    struct entry_draft draft = {
        .entry = { .place = -1, .battery_low = NAN, .qos = 1, .line = (int)config_setting_source_line(at) },
        .capture = PLACE_KIND_COUNT
    };
    struct value_draft plain = values_draft(), value = kinds_draft(ld, at, &plain);
    struct key_part parts[] = { { KEY_ROWS(entry_rows), &draft, NULL },
                                { devices_rows, devices_count, &draft.entry, NULL },
                                { values_own_rows, values_own_count, &value, NULL },
                                { values_shared_rows, values_shared_count, &value, NULL } };
    (void)keys_read(ld, at, "probes", parts, 4);
    if (draft.entry.topic != NULL)
        find_places(ld, at, &draft);
    if (draft.values == NULL) {
        if (ld->faults->errors == before || value.value.quantity != Q_COUNT)
            take_single(ld, at, &value, &draft.entry);
    } else {
        own_keys_beside_values(ld, at);
        read_values(ld, &value, &draft);
    }
    check_json_words(ld, at, &draft.entry);
    *out = draft.entry;
    return ld->faults->errors == before;
}

void probes_list(struct loader *ld, const struct config_setting_t *at)
{
    struct site *site = ld->site;
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    site->entries = arena_take(&site->arena, (size_t)n, sizeof *site->entries);
    ld->entry_at = arena_take(&site->arena, (size_t)n, sizeof *ld->entry_at);
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        if (!config_setting_is_group(each)) {
            (void)keys_is_group(ld, each);
        } else if (read_entry(ld, each, &site->entries[site->entry_count])) {
            ld->entry_at[site->entry_count] = each;
            site->entry_count++;
        }
    }
}

/* Checks of the whole */

static int by_name(const void *a, const void *b)
{
    const struct stream *const *x = a, *const *y = b;
    int order = strcmp((*x)->name, (*y)->name);
    return order != 0 ? order : (*x > *y) - (*x < *y);
}

static void check_same_stream(struct loader *ld)
{
    const struct site *site = ld->site;
    const struct stream **sorted = arena_take(&ld->site->arena, (size_t)site->stream_count, sizeof *sorted);
    for (int i = 0; i < site->stream_count; i++)
        sorted[i] = &site->streams[i];
    qsort(sorted, (size_t)site->stream_count, sizeof *sorted, by_name);
    for (int i = 1; i < site->stream_count; i++)
        if (strcmp(sorted[i]->name, sorted[i - 1]->name) == 0)
            fault_say(ld->faults, ld->entry_at[sorted[i]->entry],
                      "the value \"%.100s\" is read already by the entry of line %d", sorted[i]->name,
                      site->entries[sorted[i - 1]->entry].line);
}

static void check_temperatures(struct loader *ld)
{
    const struct site *site = ld->site;
    for (int i = 0; i < site->stream_count; i++) {
        const struct probe_value *value = site_stream_value(site, i);
        bool raw_ec = value->quantity == Q_EC && !value->compensated;
        if ((raw_ec || value->calib.kind == CALIB_ELECTRODE) && site->streams[i].temp_stream < 0)
            fault_say(ld->faults, ld->entry_at[site->streams[i].entry],
                      "%s at %s cannot be compensated: no probe gives the temperature there",
                      quantity_info(value->quantity)->name, site->places[site->streams[i].place].text);
    }
}

static void check_own_voice(struct loader *ld)
{
    static const char *const said[] = { "status", "event",  "heartbeat",
                                        "done",   "tank/x", "alert/tank/x/temp-low" };
    const struct site *site = ld->site;
    for (int e = 0; e < site->entry_count; e++)
        for (size_t i = 0; i < sizeof said / sizeof *said; i++) {
            char topic[160];
            int n = snprintf(topic, sizeof topic, "%s/%s", site->publish.base, said[i]);
            if (!pattern_match(site->entries[e].topic, site, site->entries[e].places[0], topic, (size_t)n))
                continue;
            fault_say(ld->faults, ld->entry_at[e],
                      "the topic \"%.80s\" would also hear what is published here, \"%s\"",
                      site->entries[e].topic, topic);
            break;
        }
}

/* One subscription for each: it is sent to the broker in one packet. */
static void check_filters(struct loader *ld)
{
    const struct site *site = ld->site;
    int different = 0;
    for (int i = 0; i < site->entry_count; i++) {
        bool known = false;
        for (int k = 0; k < i && !known; k++)
            known = strcmp(site->entries[k].filter, site->entries[i].filter) == 0;
        different += !known;
    }
    if (different > SITE_FILTERS_MAX)
        fault_say(ld->faults, config_setting_get_member(ld->root, "probes"),
                  "%d different topics are subscribed to, %d at most can be: one pattern such as "
                  "probes/{tank}/temp serves all tanks",
                  different, SITE_FILTERS_MAX);
}

void probes_check_streams(struct loader *ld)
{
    check_filters(ld);
    check_same_stream(ld);
    check_own_voice(ld);
    if (ld->faults->errors == 0)
        check_temperatures(ld);
}
