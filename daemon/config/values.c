#include "config/values.h"

#include <math.h>
#include <string.h>

#include <libconfig.h>

#define MISSING_MAX (int)(sizeof((struct probe_value *)0)->missing / sizeof(double))
#define DAY_S       86400.0

static void read_missing(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                         void *target)
{
    struct probe_value *value = target;
    (void)key;
    if (!keys_is_sequence(ld, at))
        return;
    int n = config_setting_length(at);
    if (n > MISSING_MAX) {
        fault_say(ld->faults, at, "missing takes at most %d codes", MISSING_MAX);
        return;
    }
    value->missing_count = 0;
    for (int i = 0; i < n; i++)
        if (keys_number(ld, config_setting_get_elem(at, (unsigned)i), &value->missing[value->missing_count]))
            value->missing_count++;
}

static void read_compensated(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                             void *target)
{
    (void)key;
    if (config_setting_type(at) != CONFIG_TYPE_BOOL)
        fault_say(ld->faults, at, "compensated must be true or false, without quotes");
    else
        *(int *)target = config_setting_get_bool(at);
}

/* One number for both sides of neutral, or [acid, base]. */
static void read_slope(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                       void *target)
{
    double *slope = target;
    if (!config_setting_is_list(at) && !config_setting_is_array(at)) {
        if (keys_number_in(ld, at, key, &slope[0]))
            slope[1] = slope[0];
    } else if (config_setting_length(at) != 2) {
        fault_say(ld->faults, at, "slope takes one number, or two: acid side, base side");
    } else {
        for (unsigned i = 0; i < 2; i++)
            (void)keys_number_in(ld, config_setting_get_elem(at, i), key, &slope[i]);
    }
}

static void read_calib(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                       void *target)
{
#define INTO(field) offsetof(struct value_draft, field)
    static const struct key rows[] = {
        { .name = "gain", .type = KEY_NUMBER, .into = INTO(gain), .lo = 0.01, .hi = 100 },
        { .name = "offset", .type = KEY_NUMBER, .into = INTO(offset), .lo = -10000, .hi = 10000 },
        { .name = "offset_mv",
          .type = KEY_NUMBER,
          .into = INTO(offset_mv),
          .lo = -200,
          .hi = 200,
          .unit = "mV" },
        { .name = "slope",
          .type = KEY_APPLY,
          .into = INTO(slope),
          .lo = 0.5,
          .hi = 1.2,
          .unit = "of the ideal",
          .apply = read_slope },
        { .name = "pivot_ph", .type = KEY_NUMBER, .into = INTO(pivot_ph), .lo = 4, .hi = 10 },
    };
#undef INTO
    struct value_draft *draft = target;
    struct key_part part = { KEY_ROWS(rows), draft, NULL };
    (void)key;
    draft->calib_at = at;
    (void)keys_read(ld, at, "calib", &part, 1);
}

#define INTO(field) offsetof(struct value_draft, value.field)
const struct key values_shared_rows[] = {
    { .name = "every_s",
      .type = KEY_NUMBER,
      .into = INTO(every_s),
      .lo = 0.05,
      .hi = 7 * DAY_S,
      .unit = "s" },
    { .name = "stale_s", .type = KEY_NUMBER, .into = INTO(stale_s), .lo = 1, .hi = 60 * DAY_S, .unit = "s" },
    { .name = "on_change", .type = KEY_FLAG, .into = INTO(on_change) },
    { .name = "comma", .type = KEY_FLAG, .into = INTO(comma) },
    { .name = "missing",
      .type = KEY_APPLY,
      .into = offsetof(struct value_draft, value),
      .apply = read_missing },
};
const size_t values_shared_count = sizeof values_shared_rows / sizeof *values_shared_rows;

const struct key values_own_rows[] = {
    { .name = "measures", .type = KEY_APPLY, .into = INTO(quantity), .apply = keys_quantity },
    { .name = "at", .type = KEY_POINTER, .into = INTO(at) },
    { .name = "unit", .type = KEY_TEXT, .into = INTO(unit_name) },
    { .name = "unit_at", .type = KEY_POINTER, .into = INTO(unit_at) },
    { .name = "unit_per_message", .type = KEY_FLAG, .into = INTO(unit_per_message) },
    { .name = "compensated",
      .type = KEY_APPLY,
      .into = offsetof(struct value_draft, compensated),
      .apply = read_compensated },
    { .name = "alpha", .type = KEY_NUMBER, .into = INTO(alpha), .lo = 0.005, .hi = 0.05, .unit = "per °C" },
    { .name = "millivolts", .type = KEY_FLAG, .into = INTO(millivolts) },
    { .name = "calib", .type = KEY_APPLY, .apply = read_calib },
    { .name = "quality",
      .type = KEY_APPLY,
      .into = offsetof(struct value_draft, quality),
      .apply = quality_read },
};
const size_t values_own_count = sizeof values_own_rows / sizeof *values_own_rows;
#undef INTO

struct value_draft values_draft(void)
{
    return (
        struct value_draft){ .value = { .quantity = Q_COUNT, .alpha = NAN, .every_s = NAN, .stale_s = NAN },
                             .compensated = -1,
                             .gain = NAN,
                             .offset = NAN,
                             .offset_mv = NAN,
                             .slope = { NAN, NAN },
                             .pivot_ph = NAN,
                             .quality = quality_words_init() };
}

static void finish_unit(struct loader *ld, const struct config_setting_t *at, struct probe_value *value)
{
    const struct quantity_info *info = quantity_info(value->quantity);
    enum unit_kind kind = value->millivolts ? UNIT_VOLTAGE : info->kind;
    const char *name = value->unit_name == NULL ? "" : value->unit_name;
    struct why why = { "" };
    if (value->millivolts && value->quantity != Q_PH && value->quantity != Q_ORP)
        fault_say(ld->faults, at, "millivolts goes with ph and orp only, not with %s", info->name);
    else if (unit_find_n(name, strlen(name), kind, &value->unit, &why) != STATUS_OK)
        fault_say(ld->faults, at, "unit of %s: %s", info->name, why.text);
    if (value->unit_name == NULL)
        value->unit_name = unit_stored_name(kind);
    if (value->unit_per_message && value->unit_at == NULL)
        fault_say(ld->faults, at, "unit_per_message needs unit_at: where the payload names its unit");
    if (value->unit_at != NULL && value->at == NULL)
        fault_say(ld->faults, at, "unit_at needs a JSON payload: at is missing");
}

static void finish_compensation(struct loader *ld, const struct config_setting_t *at,
                                struct value_draft *draft)
{
    struct probe_value *value = &draft->value;
    const char *name = quantity_info(value->quantity)->name;
    if (draft->compensated >= 0 && value->quantity != Q_EC)
        fault_say(ld->faults, at, "compensated goes with ec only, not with %s", name);
    if (!isnan(value->alpha) && value->quantity != Q_EC)
        fault_say(ld->faults, at, "alpha goes with ec only, not with %s", name);
    else if (!isnan(value->alpha) && draft->compensated != 0)
        fault_say(ld->faults, at,
                  "alpha without compensated = false: the probe's own compensation would be used");
    value->compensated = draft->compensated != 0;
}

static void finish_calib(struct loader *ld, struct value_draft *draft)
{
    struct calib *calib = &draft->value.calib;
    bool electrode = draft->value.millivolts && draft->value.quantity == Q_PH;
    bool linear_words = !isnan(draft->gain) || !isnan(draft->offset);
    bool electrode_words = !isnan(draft->offset_mv) || !isnan(draft->slope[0]) || !isnan(draft->pivot_ph);
    *calib = CALIB_IDENTITY;
    if (electrode)
        calib->kind = CALIB_ELECTRODE;
    if (electrode && linear_words)
        fault_say(ld->faults, draft->calib_at,
                  "an electrode in millivolts takes offset_mv, slope and pivot_ph, not gain and offset");
    if (!electrode && electrode_words)
        fault_say(
            ld->faults, draft->calib_at,
            "offset_mv, slope and pivot_ph go with ph and millivolts = true; here gain and offset count");
    calib->gain = isnan(draft->gain) ? 1.0 : draft->gain;
    calib->offset = isnan(draft->offset) ? 0.0 : draft->offset;
    calib->offset_mv = isnan(draft->offset_mv) ? 0.0 : draft->offset_mv;
    for (int i = 0; i < 2; i++)
        calib->slope_fraction[i] = isnan(draft->slope[i]) ? 1.0 : draft->slope[i];
    if (!isnan(draft->pivot_ph))
        calib->pivot_ph = draft->pivot_ph;
}

static void check_silence(struct loader *ld, const struct config_setting_t *at,
                          const struct probe_value *value)
{
    if (value->stale_s < value->every_s)
        fault_say(ld->faults, at,
                  "stale_s %.10g s is shorter than every_s %.10g s: the probe would always be silent",
                  value->stale_s, value->every_s);
    if (value->on_change && isnan(value->stale_s))
        fault_warn(
            ld->faults, at,
            "on_change without stale_s: say after how long without a message the probe counts as silent");
}

bool values_finish(struct loader *ld, const struct config_setting_t *at, struct value_draft *draft)
{
    int before = ld->faults->errors;
    if (draft->value.quantity == Q_COUNT)
        return false;
    finish_unit(ld, at, &draft->value);
    finish_compensation(ld, at, draft);
    finish_calib(ld, draft);
    check_silence(ld, at, &draft->value);
    quality_apply(ld, &draft->quality, &draft->value);
    return ld->faults->errors == before;
}
