#include "config/tanks.h"

#include <math.h>
#include <string.h>

#include <libconfig.h>

#include "config/places.h"
#include "config/waters.h"

/* What a row can fill directly, and the names that become places once the tank is sound enough to have them.
 */
struct draft {
    struct tank tank;
    const char *rack, *circuit;
};

static void read_band(struct loader *ld, const struct config_setting_t *at, enum quantity q, void *target)
{
    keys_span(ld, at, q, &((struct draft *)target)->tank.band[q]);
}

static double or_else(double own, double other)
{
    return isnan(own) ? other : own;
}

static void take_over(struct tank *tank, const struct stock *stock)
{
    for (int q = 0; q < Q_COUNT; q++) {
        tank->band[q].lo = or_else(tank->band[q].lo, stock->band[q].lo);
        tank->band[q].hi = or_else(tank->band[q].hi, stock->band[q].hi);
        tank->day_range[q] = or_else(tank->day_range[q], stock->day_range[q]);
        tank->per_hour[q] = or_else(tank->per_hour[q], stock->per_hour[q]);
        tank->step[q] = or_else(tank->step[q], stock->step[q]);
    }
}

static void check_bands(struct loader *ld, const struct config_setting_t *at, const struct tank *tank)
{
    for (int q = 0; q < Q_COUNT; q++) {
        const struct quantity_info *info = quantity_info((enum quantity)q);
        struct span band = tank->band[q];
        if (band.lo >= band.hi)
            fault_say(
                ld->faults, at,
                "with what its stock brings the band of %s in tank \"%s\" is upside down: %.10g to %.10g %s",
                info->name, tank->id, band.lo, band.hi, info->unit);
        if (tank->water < 0)
            continue;
        double target = ld->site->waters[tank->water].target[q];
        if (target < band.lo || target > band.hi)
            fault_warn(ld->faults, at,
                       "tank \"%s\": its water \"%s\" aims at %s %.10g %s, outside the band of its animals",
                       tank->id, ld->site->waters[tank->water].id, info->name, target, info->unit);
    }
    struct span temp = tank->band[Q_TEMP];
    if (tank->setpoint_c < temp.lo || tank->setpoint_c > temp.hi)
        fault_warn(ld->faults, at, "tank \"%s\": the setpoint %.10g °C is outside its band of temperature",
                   tank->id, tank->setpoint_c);
}

static void add_tank(struct loader *ld, struct draft *draft)
{
    struct site *site = ld->site;
    struct tank *tank = &draft->tank;
    if (tank->name == NULL)
        tank->name = tank->id;
    tank->place = places_take(ld, PLACE_TANK, tank->id, tank->name);
    site->places[tank->place].tank = site->tank_count;
    if (draft->rack != NULL)
        tank->rack = places_take(ld, PLACE_RACK, draft->rack, NULL);
    if (draft->circuit != NULL)
        tank->circuit = places_take(ld, PLACE_CIRCUIT, draft->circuit, NULL);
    site->tanks[site->tank_count++] = *tank;
}

static struct draft empty_draft(void)
{
    struct draft draft = { .tank = { .volume_l = NAN,
                                     .water = -1,
                                     .stock = -1,
                                     .rack = -1,
                                     .circuit = -1,
                                     .heater_w = NAN,
                                     .setpoint_c = NAN,
                                     .topoff_l_day = NAN,
                                     .change_l_week = NAN,
                                     .change_every_d = NAN,
                                     .reservoir_l = NAN } };
    for (int q = 0; q < Q_COUNT; q++)
        draft.tank.band[q] = (struct span){ NAN, NAN };
    waters_unset(draft.tank.day_range);
    waters_unset(draft.tank.per_hour);
    waters_unset(draft.tank.step);
    return draft;
}

#define INTO(field) offsetof(struct draft, tank.field)
static const struct key rows[] = {
    { .name = "id", .type = KEY_ID, .into = INTO(id), .required = true },
    { .name = "name", .type = KEY_TEXT, .into = INTO(name) },
    { .name = "volume_l",
      .type = KEY_NUMBER,
      .into = INTO(volume_l),
      .required = true,
      .lo = 0.2,
      .hi = 20000,
      .unit = "L" },
    { .name = "water", .type = KEY_APPLY, .into = INTO(water), .apply = waters_water_ref },
    { .name = "stock", .type = KEY_APPLY, .into = INTO(stock), .apply = waters_stock_ref },
    { .name = "rack", .type = KEY_ID, .into = offsetof(struct draft, rack) },
    { .name = "circuit", .type = KEY_ID, .into = offsetof(struct draft, circuit) },
    { .name = "heater_w",
      .type = KEY_NUMBER,
      .into = INTO(heater_w),
      .lo = 0,
      .hi = 5000,
      .unit = "W",
      .above = true },
    { .name = "setpoint", .type = KEY_NUMBER, .into = INTO(setpoint_c), .lo = 4, .hi = 40, .unit = "°C" },
    { .name = "lid", .type = KEY_FLAG, .into = INTO(lid) },
    { .name = "topoff",
      .type = KEY_NUMBER,
      .into = INTO(topoff_l_day),
      .lo = 0,
      .hi = 500,
      .unit = "L a day" },
    { .name = "change_l_week",
      .type = KEY_NUMBER,
      .into = INTO(change_l_week),
      .lo = 0,
      .hi = 20000,
      .unit = "L a week" },
    { .name = "change_every_d",
      .type = KEY_NUMBER,
      .into = INTO(change_every_d),
      .lo = 1,
      .hi = 90,
      .unit = "days" },
    { .name = "reservoir_l",
      .type = KEY_NUMBER,
      .into = INTO(reservoir_l),
      .lo = 0,
      .hi = 20000,
      .unit = "L",
      .above = true },
    { .name = "day_range", .type = KEY_APPLY, .into = INTO(day_range), .apply = keys_amounts },
    { .name = "per_hour", .type = KEY_APPLY, .into = INTO(per_hour), .apply = keys_amounts },
    { .name = "step", .type = KEY_APPLY, .into = INTO(step), .apply = keys_amounts },
};
#undef INTO

void tanks_list(struct loader *ld, const struct config_setting_t *at)
{
    if (!keys_is_list(ld, at))
        return;
    int n = config_setting_length(at);
    ld->site->tanks = arena_take(&ld->site->arena, (size_t)n, sizeof *ld->site->tanks);
    for (int i = 0; i < n; i++) {
        const struct config_setting_t *each = config_setting_get_elem(at, (unsigned)i);
        struct draft draft = empty_draft();
        struct key_part part = { KEY_ROWS(rows), &draft, read_band };
        bool sound = keys_read(ld, each, "tanks", &part, 1);
        if (draft.tank.id == NULL)
            continue;
        if (places_find(ld->site, PLACE_TANK, draft.tank.id) >= 0) {
            fault_say(ld->faults, each, "the id \"%s\" stands twice in tanks", draft.tank.id);
            continue;
        }
        if (draft.tank.stock >= 0)
            take_over(&draft.tank, &ld->site->stocks[draft.tank.stock]);
        if (sound)
            check_bands(ld, each, &draft.tank);
        add_tank(ld, &draft);
    }
}
