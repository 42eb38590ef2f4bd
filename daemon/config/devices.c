#include "config/devices.h"

#include <math.h>

#include <libconfig.h>

#define LOW_PERCENT 20.0 /* of most coin and alkaline cells some weeks are left then */

static const char *const battery_units[] = { "%", "V", "mV", NULL };
static const char *const link_units[] = { "dBm", "%", NULL };

struct told {
    const char *at;
    int unit;
    double low;
};

#define INTO(field) offsetof(struct told, field)
static void read_battery(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                         void *target)
{
    static const struct key rows[] = {
        { .name = "at", .type = KEY_POINTER, .into = INTO(at), .required = true },
        { .name = "unit", .type = KEY_CHOICE, .into = INTO(unit), .choices = battery_units },
        { .name = "low", .type = KEY_NUMBER, .into = INTO(low), .lo = 0, .hi = 20000, .above = true },
    };
    struct probe_entry *entry = target;
    struct told told = { .low = NAN };
    struct key_part part = { KEY_ROWS(rows), &told, NULL };
    (void)key;
    if (!keys_read(ld, at, "battery", &part, 1))
        return;
    if (told.unit == 0 && told.low > 100)
        fault_say(ld->faults, at, "low %.10g %% is above 100 %%; for a voltage say unit = \"V\" or \"mV\"",
                  told.low);
    if (told.unit != 0 && isnan(told.low))
        fault_say(ld->faults, at, "a battery in %s needs low: where it is low depends on its kind",
                  battery_units[told.unit]);
    entry->battery_at = told.at;
    entry->battery_unit = battery_units[told.unit];
    entry->battery_low = isnan(told.low) && told.unit == 0 ? LOW_PERCENT : told.low;
}

static void read_link(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target)
{
    static const struct key rows[] = {
        { .name = "at", .type = KEY_POINTER, .into = INTO(at), .required = true },
        { .name = "unit", .type = KEY_CHOICE, .into = INTO(unit), .choices = link_units },
    };
    struct probe_entry *entry = target;
    struct told told = { .low = NAN };
    struct key_part part = { KEY_ROWS(rows), &told, NULL };
    (void)key;
    if (!keys_read(ld, at, "link", &part, 1))
        return;
    entry->link_at = told.at;
    entry->link_unit = link_units[told.unit];
}
#undef INTO

const struct key devices_rows[] = {
    { .name = "device_at", .type = KEY_POINTER, .into = offsetof(struct probe_entry, device_at) },
    { .name = "battery", .type = KEY_APPLY, .apply = read_battery },
    { .name = "link", .type = KEY_APPLY, .apply = read_link },
};
const size_t devices_count = sizeof devices_rows / sizeof *devices_rows;
