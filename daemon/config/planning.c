#include "config/planning.h"

#include <math.h>

#include "config/waters.h"

/* Starting points, our own. A day of rest between two stages of a correction. Hardness moves slowly; what is
 * measured by drops is worth its bottle every second week. Nitrate: Camargo, Alonso & Salamanca 2005
 * (Chemosphere 58:1255) want 2 mg/L of nitrate nitrogen for the most sensitive freshwater animals and see
 * harm from 10: as nitrate 9 and 44 mg/L. 20 lies between. Electrodes for pH drift by some hundredths a week,
 * cells for conductivity by their dirt only. */
void planning_defaults(struct plan_settings *plan)
{
    *plan = (struct plan_settings){ .days = 7, .most_share = 0.30, .stage_d = 2, .no3_most = 20 };
    waters_unset(plan->test_every_d);
    waters_unset(plan->calibrate_every_d);
    plan->test_every_d[Q_GH] = plan->test_every_d[Q_KH] = plan->test_every_d[Q_NO3] = 14;
    plan->calibrate_every_d[Q_PH] = 30;
    plan->calibrate_every_d[Q_EC] = 90;
}

static void read_every(struct loader *ld, const struct config_setting_t *at, enum quantity q, void *target)
{
    struct key range = { .name = quantity_info(q)->name, .lo = 1, .hi = 3650, .unit = "days" };
    (void)keys_number_in(ld, at, &range, (double *)target + q);
}

static void read_days(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                      void *target)
{
    struct key_part part = { NULL, 0, target, read_every };
    (void)keys_read(ld, at, key->name, &part, 1);
}

void planning_plan(struct loader *ld, const struct config_setting_t *at)
{
#define INTO(field) offsetof(struct plan_settings, field)
    static const struct key rows[] = {
        { .name = "days", .type = KEY_NUMBER, .into = INTO(days), .lo = 1, .hi = 28, .unit = "days" },
        { .name = "most_share", .type = KEY_NUMBER, .into = INTO(most_share), .lo = 0.02, .hi = 1 },
        { .name = "stage_d", .type = KEY_NUMBER, .into = INTO(stage_d), .lo = 1, .hi = 14, .unit = "days" },
        { .name = "no3_most",
          .type = KEY_NUMBER,
          .into = INTO(no3_most),
          .lo = 1,
          .hi = 1000,
          .unit = "mg/L" },
        { .name = "test_every_d", .type = KEY_APPLY, .into = INTO(test_every_d), .apply = read_days },
        { .name = "calibrate_every_d",
          .type = KEY_APPLY,
          .into = INTO(calibrate_every_d),
          .apply = read_days },
    };
#undef INTO
    struct key_part part = { KEY_ROWS(rows), &ld->site->plan, NULL };
    (void)keys_read(ld, at, "plan", &part, 1);
}
