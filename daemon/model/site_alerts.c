/* Alert slots: every alert that this configuration can raise, made once. */
#include "model/site.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* The first reminder while nobody has acknowledged, and the new alarm when an acknowledged one stays: by
 * priority. Further reminders come ever more rarely, but daily at least; of low priority every third day, for
 * the daily summary lists what stands. */
static const int64_t renotify_ms[PRIORITY_COUNT] = { 3 * MS_PER_DAY, 12 * MS_PER_HOUR, 3 * MS_PER_HOUR };
static const int64_t realarm_ms[PRIORITY_COUNT] = { 0, 48 * MS_PER_HOUR, 12 * MS_PER_HOUR };

static const char *joined(struct site *site, const char *a, const char *b)
{
    char buf[160];
    int n = snprintf(buf, sizeof buf, "%s/%s", a, b);
    return arena_text(&site->arena, buf, (size_t)n);
}

static double on_delay_s(enum alert_kind kind, enum quantity q)
{
    double least_s = kind == KIND_LOW || kind == KIND_HIGH ? quantity_info(q)->on_delay_s : 0;
    return fmax(kind_info(kind)->on_delay_s, least_s);
}

static struct alert_settings settings_default(enum alert_kind kind, enum quantity q)
{
    const struct kind_info *info = kind_info(kind);
    double deadband = info->deadband;
    if (isnan(deadband))
        deadband = q == Q_COUNT ? 0.0 : quantity_info(q)->deadband;
    return (struct alert_settings){
        .enabled = true,
        .priority = info->priority,
        .latching = info->latching,
        .deadband = deadband,
        .on_delay_ms = (int64_t)(on_delay_s(kind, q) * MS_PER_S),
        .off_delay_ms = (int64_t)(info->off_delay_s * MS_PER_S),
        .renotify_ms = kind == KIND_BATTERY ? 0 : renotify_ms[info->priority], /* once is enough */
        .renotify_most_ms = MS_PER_DAY,
        /* Seen is not renewed: weekly until the day. */
        .realarm_ms = kind == KIND_CERTIFICATE ? 7 * MS_PER_DAY : realarm_ms[info->priority],
    };
}

/* With alerts == NULL only counts. */
static void add(struct site *site, int place, enum alert_kind kind, enum quantity q)
{
    int n = site->alert_count++;
    if (site->alerts == NULL)
        return;
    char name[KIND_TEXT_MAX];
    kind_format(kind, q, name, sizeof name);
    struct alert_slot *slot = &site->alerts[n];
    slot->kind = kind;
    slot->quantity = q;
    slot->place = place;
    slot->settings = settings_default(kind, q);
    slot->name = arena_text(&site->arena, name, strlen(name));
    slot->ref = joined(site, site->places[place].text, name);
}

static void add_limits(struct site *site, const struct tank *tank)
{
    const struct water *water = tank->water < 0 ? NULL : &site->waters[tank->water];
    for (int i = 0; i < Q_COUNT; i++) {
        enum quantity q = (enum quantity)i;
        if (!isnan(tank->band[q].lo))
            add(site, tank->place, KIND_LOW, q);
        if (!isnan(tank->band[q].hi))
            add(site, tank->place, KIND_HIGH, q);
        if (!isnan(tank->day_range[q]))
            add(site, tank->place, KIND_SWING, q);
        if (!isnan(tank->per_hour[q]))
            add(site, tank->place, KIND_FAST, q);
        if (water != NULL && !isnan(water->target[q]) && !isnan(water->drift[q]))
            add(site, tank->place, KIND_DRIFT, q);
    }
}

static void add_causes(struct site *site, const struct tank *tank)
{
    int temp = site_stream_of(site, tank->place, Q_TEMP);
    int ec = site_stream_of(site, tank->place, Q_EC);
    int level = site_stream_of(site, tank->place, Q_LEVEL);
    if (temp >= 0) {
        if (!isnan(tank->setpoint_c) || !isnan(tank->heater_w)) {
            add(site, tank->place, KIND_HEATER_DEAD, Q_COUNT);
            add(site, tank->place, KIND_HEATER_STUCK, Q_COUNT);
            add(site, tank->place, KIND_HEATER_WEAK, Q_COUNT);
        }
        add(site, tank->place, KIND_OUT_OF_WATER, Q_COUNT);
        add(site, tank->place, KIND_OXYGEN, Q_COUNT);
    }
    if (ec >= 0) {
        static const enum alert_kind solids[] = { KIND_TOPOFF_STOPPED, KIND_TOPOFF_MINERALS, KIND_WASTE,
                                                  KIND_EC_FALL };
        for (unsigned i = 0; i < sizeof solids / sizeof *solids; i++)
            add(site, tank->place, solids[i], Q_COUNT);
    }
    if (ec >= 0 || level >= 0)
        add(site, tank->place, KIND_TOPOFF_OVER, Q_COUNT);
    if (level >= 0 || site_stream_of(site, tank->place, Q_LEAK) >= 0)
        add(site, tank->place, KIND_LEAK, Q_COUNT);
    add(site, tank->place, KIND_AMMONIA, Q_COUNT);
}

/* A device has one battery: it is the alert of its first value. */
static bool tells_battery(const struct site *site, int place, enum quantity q)
{
    int first = site_stream_of(site, place, q), s = first;
    do {
        const struct probe_entry *entry = site_stream_entry(site, s);
        if (site->streams[s].value == 0 && entry->battery_at != NULL && !isnan(entry->battery_low))
            return true;
        s = site->streams[s].twin;
    } while (s >= 0 && s != first);
    return false;
}

/* Level, flow and power may move as they like: only these are calm when nothing is wrong. */
static bool moves_calmly(enum quantity q)
{
    return q == Q_TEMP || q == Q_EC || q == Q_TDS || q == Q_PH || q == Q_DO || q == Q_ORP;
}

/* Whoever says when a probe is stale wants to be told then. */
static void hurry_silent(struct site *site, int place, enum quantity q)
{
    if (site->alerts != NULL && !isnan(site_stream_value(site, site_stream_of(site, place, q))->stale_s))
        site->alerts[site->alert_count - 1].settings.on_delay_ms = 0;
}

static void add_probe_health(struct site *site, int place)
{
    static const enum alert_kind each[] = { KIND_SILENT, KIND_STUCK, KIND_NOISY, KIND_DRIFTING,
                                            KIND_REFUSED };
    for (int i = 0; i < Q_COUNT; i++) {
        enum quantity q = (enum quantity)i;
        if (site_stream_of(site, place, q) < 0)
            continue;
        for (unsigned k = 0; k < sizeof each / sizeof *each; k++) {
            if (each[k] != KIND_NOISY || moves_calmly(q))
                add(site, place, each[k], q);
            if (each[k] == KIND_SILENT)
                hurry_silent(site, place, q);
        }
        if (q == Q_PH || q == Q_EC)
            add(site, place, KIND_CALIBRATION_DUE, q);
        if (tells_battery(site, place, q))
            add(site, place, KIND_BATTERY, q);
    }
}

static bool is_purified(const struct site *site, int p)
{
    int source = site_source_at(site, p);
    return source >= 0 && site->sources[source].kind == SOURCE_PURIFIED;
}

static void add_place(struct site *site, int p)
{
    const struct place *place = &site->places[p];
    switch (place->kind) {
    case PLACE_TANK:
        add_limits(site, &site->tanks[place->tank]);
        add_causes(site, &site->tanks[place->tank]);
        break;
    case PLACE_CIRCUIT:
    case PLACE_RACK:
        add(site, p, KIND_POWER_LOST, Q_COUNT);
        break;
    case PLACE_ROOM:
        add(site, p, KIND_ROOM_COLD, Q_COUNT);
        add(site, p, KIND_ROOM_HOT, Q_COUNT);
        break;
    case PLACE_SOURCE:
        if (site_stream_of(site, p, Q_EC) >= 0 || is_purified(site, p))
            add(site, p, KIND_SOURCE_WORN, Q_COUNT);
        break;
    case PLACE_WATER:
        add(site, p, KIND_BATCH, Q_COUNT);
        break;
    case PLACE_SERVICE:
        for (int k = KIND_BROKER_DOWN; k <= KIND_DELIVERY_FAILED; k++)
            add(site, p, (enum alert_kind)k, Q_COUNT);
        break;
    case PLACE_STORE:
    case PLACE_KIND_COUNT:
        break;
    }
    if (place->kind != PLACE_TANK && site_stream_of(site, p, Q_LEAK) >= 0)
        add(site, p, KIND_LEAK, Q_COUNT);
    add_probe_health(site, p);
}

static void add_all(struct site *site)
{
    site->alert_count = 0;
    for (int p = 0; p < site->place_count; p++) {
        if (site->first_alert != NULL)
            site->first_alert[p] = site->alert_count;
        add_place(site, p);
    }
    if (site->first_alert != NULL)
        site->first_alert[site->place_count] = site->alert_count;
}

void site_derive_alerts(struct site *site)
{
    site->alerts = NULL;
    site->first_alert = NULL;
    add_all(site);
    site->alerts = arena_take(&site->arena, (size_t)site->alert_count, sizeof *site->alerts);
    site->first_alert = arena_take(&site->arena, (size_t)site->place_count + 1, sizeof *site->first_alert);
    add_all(site);
}
