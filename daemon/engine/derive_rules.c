/* Rules on what follows from readings: oxygen that warm water can hold, and un-ionised ammonia. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>

#include "water/ammonia.h"

/* mg/L at saturation. Early stages of warm-water animals want at least 5 mg/L on every day (US EPA 1986,
 * Ambient Water Quality Criteria for Dissolved Oxygen, EPA 440/5-86-003); before dawn a stocked, planted tank
 * is taken to stand at 70 % of saturation: 5 / 0.7, rounded. At sea level that is 34 degrees, at 1000 m 28.
 */
#define OXYGEN_LEAST_MG_L 7.0

/* mg/L of nitrogen: 0.025 mg/L of NH3, which European inland waters shall not exceed for fish (EIFAC
 * Technical Paper 11, 1970; Directive 2006/44/EC, annex I), times 14/17. Invertebrates such as mussels and
 * shrimp larvae are no hardier (US EPA 2013, EPA 822-R-13-001). */
#define NH3_MOST_MG_L 0.02

static void rule_oxygen(struct engine *e, int tank, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place, slot = slot_find(e->site, place, KIND_OXYGEN, Q_COUNT);
    double temp_c = value_now(e, place, Q_TEMP);
    double saturation = derive_saturation(e->site, temp_c, value_now(e, place, Q_EC));
    if (slot < 0 || isnan(temp_c) || isnan(saturation))
        return;
    struct alert *pub = &e->alarms.items[slot].pub;
    snprintf(pub->evidence, sizeof pub->evidence,
             "at %.1f °C and %.0f m the water holds %.1f mg/L of oxygen at the most; before dawn animals and "
             "plants leave about 70 %% of it",
             temp_c, e->site->altitude_m, saturation);
    enum tri condition =
        alarm_compare(saturation, OXYGEN_LEAST_MG_L, e->site->alerts[slot].settings.deadband, false);
    alarm_judge(&e->alarms, slot, condition, saturation, OXYGEN_LEAST_MG_L, now, fx);
}

static void rule_ammonia(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_report r = { .tank = tank, .t = now.utc };
    int slot = slot_find(e->site, e->site->tanks[tank].place, KIND_AMMONIA, Q_COUNT);
    static const enum quantity needs[] = { Q_TAN, Q_PH, Q_TEMP };
    double fraction;
    for (unsigned i = 0; i < sizeof needs / sizeof *needs; i++) {
        engine_report_value(e, tank, needs[i], now, &r.values[needs[i]]);
        if (derive_input(&r, needs[i]) == NULL)
            return;
    }
    double tan = r.values[Q_TAN].value, ph = r.values[Q_PH].value, temp_c = r.values[Q_TEMP].value;
    if (slot < 0 || ammonia_fraction(ph, temp_c, &fraction, NULL) != STATUS_OK)
        return;
    struct alert *pub = &e->alarms.items[slot].pub;
    snprintf(pub->evidence, sizeof pub->evidence,
             "%.2f mg/L of total ammonia nitrogen at pH %.2f and %.1f °C: %.3f mg/L of it un-ionised, limit "
             "%.3f mg/L",
             tan, ph, temp_c, tan * fraction, NH3_MOST_MG_L);
    enum tri condition =
        alarm_compare(tan * fraction, NH3_MOST_MG_L, e->site->alerts[slot].settings.deadband, true);
    alarm_judge(&e->alarms, slot, condition, tan * fraction, NH3_MOST_MG_L, now, fx);
}

static bool ammonia_was_tested(const struct engine *e, int tank)
{
    return hand_last(e, tank, Q_TAN) != NULL ||
           site_stream_of(e->site, e->site->tanks[tank].place, Q_TAN) >= 0;
}

void derive_rules(struct engine *e, int tank, enum quantity q, struct now now, struct effects *fx)
{
    if (q == Q_TEMP)
        rule_oxygen(e, tank, now, fx);
    if ((q == Q_TAN || q == Q_PH || q == Q_TEMP) && ammonia_was_tested(e, tank))
        rule_ammonia(e, tank, now, fx);
}
