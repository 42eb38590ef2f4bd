#include "config/overrides.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <libconfig.h>

#include "config/places.h"

#define NAMES_MAX (KIND_COUNT * (Q_COUNT + 1))

struct override {
    const char *kind;                /* "temp-low", or "low" for every quantity */
    int place;                       /* -1: everywhere */
    int enabled, priority, latching; /* -1: not said */
    double deadband, on_delay_s, off_delay_s, renotify_s, renotify_most_s, realarm_s;
};

static void keep_text(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target)
{
    (void)key;
    (void)keys_text(ld, at, target);
}

static void read_tank(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target)
{
    const char *id;
    (void)key;
    if (!keys_text(ld, at, &id))
        return;
    *(int *)target = places_find(ld->site, PLACE_TANK, id);
    if (*(int *)target < 0)
        fault_say(ld->faults, at, "tank names the unknown tank \"%.40s\"", id);
}

static void read_flag(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target)
{
    if (config_setting_type(at) != CONFIG_TYPE_BOOL)
        fault_say(ld->faults, at, "%s must be true or false, without quotes", key->name);
    else
        *(int *)target = config_setting_get_bool(at);
}

static const char *const priorities[] = { "low", "medium", "high", NULL };

#define INTO(field) offsetof(struct override, field)
#define SECONDS(field)                                                                                       \
    .name = #field, .type = KEY_NUMBER, .into = INTO(field), .hi = 30 * 86400.0, .unit = "s"
static const struct key rows[] = {
    { .name = "kind", .type = KEY_APPLY, .into = INTO(kind), .required = true, .apply = keep_text },
    { .name = "place", .type = KEY_APPLY, .into = INTO(place), .apply = places_any },
    { .name = "tank", .type = KEY_APPLY, .into = INTO(place), .apply = read_tank },
    { .name = "enabled", .type = KEY_APPLY, .into = INTO(enabled), .apply = read_flag },
    { .name = "priority", .type = KEY_CHOICE, .into = INTO(priority), .choices = priorities },
    { .name = "latching", .type = KEY_APPLY, .into = INTO(latching), .apply = read_flag },
    { .name = "deadband", .type = KEY_NUMBER, .into = INTO(deadband), .hi = 10000, .above = true },
    { SECONDS(on_delay_s) },
    { SECONDS(off_delay_s) },
    { SECONDS(renotify_s) },
    { SECONDS(renotify_most_s) },
    { SECONDS(realarm_s) },
};

/* All names that the kinds can have, whether this room has such an alert or not. */
static size_t all_names(char names[][KIND_TEXT_MAX], const char **known)
{
    size_t count = 0;
    for (int k = 0; k < KIND_COUNT; k++) {
        enum alert_scope scope = kind_info((enum alert_kind)k)->scope;
        bool each = scope == SCOPE_TANK_LIMIT || scope == SCOPE_STREAM;
        for (int q = each ? 0 : Q_COUNT; q <= Q_COUNT; q++, count++)
            known[count] = kind_format((enum alert_kind)k, (enum quantity)q, names[count], KIND_TEXT_MAX);
    }
    return count;
}

static bool check_kind(struct loader *ld, const struct override *over, const struct config_setting_t *at)
{
    char names[NAMES_MAX][KIND_TEXT_MAX];
    const char *known[NAMES_MAX];
    char hint[KEYS_HINT_MAX];
    size_t count = all_names(names, known);
    for (size_t i = 0; i < count; i++)
        if (strcmp(known[i], over->kind) == 0)
            return true;
    fault_say(ld->faults, at, "there is no kind of alert \"%.40s\"%s", over->kind,
              keys_hint(over->kind, known, count, hint));
    return false;
}

static int64_t in_ms(double seconds, int64_t otherwise)
{
    return isnan(seconds) ? otherwise : (int64_t)llround(seconds * 1000);
}

static void lay_over(const struct override *over, struct alert_settings *settings)
{
    settings->enabled = over->enabled < 0 ? settings->enabled : over->enabled != 0;
    settings->latching = over->latching < 0 ? settings->latching : over->latching != 0;
    settings->priority = over->priority < 0 ? settings->priority : (enum priority)over->priority;
    settings->deadband = isnan(over->deadband) ? settings->deadband : over->deadband;
    settings->on_delay_ms = in_ms(over->on_delay_s, settings->on_delay_ms);
    settings->off_delay_ms = in_ms(over->off_delay_s, settings->off_delay_ms);
    /* A time that is asked for is kept to the second, each time, unless a longest is asked for too. */
    if (!isnan(over->renotify_s))
        settings->renotify_most_ms = 0;
    settings->renotify_ms = in_ms(over->renotify_s, settings->renotify_ms);
    settings->renotify_most_ms = in_ms(over->renotify_most_s, settings->renotify_most_ms);
    settings->realarm_ms = in_ms(over->realarm_s, settings->realarm_ms);
}

static bool means(const struct override *over, const struct alert_slot *slot)
{
    return (over->place < 0 || over->place == slot->place) &&
           (strcmp(over->kind, slot->name) == 0 || strcmp(over->kind, kind_info(slot->kind)->name) == 0);
}

static void apply(struct loader *ld, const struct override *over, const struct config_setting_t *at)
{
    struct site *site = ld->site;
    int met = 0;
    for (int i = 0; i < site->alert_count; i++)
        if (means(over, &site->alerts[i])) {
            lay_over(over, &site->alerts[i].settings);
            met++;
        }
    if (met > 0 || ld->faults->errors > 0)
        return;
    if (over->place >= 0)
        fault_say(ld->faults, at, "there is no alert \"%s\" at %s: no probe or limit there asks for it",
                  over->kind, site->places[over->place].text);
    else
        fault_warn(ld->faults, at, "no place in this file has an alert \"%s\"", over->kind);
}

void overrides_list(struct loader *ld, const struct config_setting_t *at)
{
    if (!keys_is_list(ld, at))
        return;
    for (int i = 0; i < config_setting_length(at); i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        struct override over = { .place = -1,
                                 .enabled = -1,
                                 .priority = -1,
                                 .latching = -1,
                                 .deadband = NAN,
                                 .on_delay_s = NAN,
                                 .off_delay_s = NAN,
                                 .renotify_s = NAN,
                                 .renotify_most_s = NAN,
                                 .realarm_s = NAN };
        struct key_part part = { KEY_ROWS(rows), &over, NULL };
        bool sound = keys_read(ld, each, "alerts", &part, 1);
        if (config_setting_is_group(each) && config_setting_get_member(each, "tank") != NULL &&
            config_setting_get_member(each, "place") != NULL)
            fault_say(ld->faults, each, "tank and place are two words for one thing: leave one out");
        else if (over.kind != NULL && check_kind(ld, &over, each) && sound)
            apply(ld, &over, each);
    }
}
