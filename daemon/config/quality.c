#include "config/quality.h"

#include <math.h>
#include <string.h>

#include <libconfig.h>

#define DAY_S          86400.0
#define GAP_SUSPECT_OF 3 /* cadences without a record before a gap is suspect, and before it is one */
#define GAP_FAIL_OF    12

/* All fields are doubles: limits and marks are walked side by side. */
#define FIELDS (sizeof(struct gate_limits) / sizeof(double))

static void read_limit(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                       void *target);

#define FIELD(field)                                                                                         \
    .name = #field, .type = KEY_APPLY, .into = offsetof(struct gate_limits, field), .apply = read_limit
#define SECONDS(field)                                                                                       \
    {                                                                                                        \
        FIELD(field), .lo = 0, .hi = 30 * DAY_S, .unit = "s", .above = true                                  \
    }
#define AMOUNT(field)                                                                                        \
    {                                                                                                        \
        FIELD(field), .lo = 0, .hi = 1e6, .above = true                                                      \
    }
#define BOUND(field)                                                                                         \
    {                                                                                                        \
        FIELD(field)                                                                                         \
    }
static const struct key rows[] = {
    SECONDS(gap_suspect_s),
    SECONDS(gap_fail_s),
    BOUND(fail_lo),
    BOUND(fail_hi),
    BOUND(suspect_lo),
    BOUND(suspect_hi),
    AMOUNT(spike_suspect),
    AMOUNT(spike_fail),
    AMOUNT(rate_suspect),
    AMOUNT(rate_fail),
    AMOUNT(flat_tol),
    SECONDS(flat_suspect_s),
    SECONDS(flat_fail_s),
    SECONDS(attenuated_window_s),
    { FIELD(attenuated_min_obs), .lo = 2, .hi = 100000, .unit = "readings" },
    AMOUNT(attenuated_suspect),
    AMOUNT(attenuated_fail),
    AMOUNT(twin_suspect),
    AMOUNT(twin_fail),
    SECONDS(pair_age_s),
};

/* The probe's own word goes before that of its kind. */
static void set(struct quality_words *words, size_t field, double limit, double off)
{
    ((double *)&words->limits)[field] = limit;
    ((double *)&words->off)[field] = off;
}

static void read_limit(struct loader *ld, const struct config_setting_t *at, const struct key *key,
                       void *target)
{
    struct gate_limits *limits = (struct gate_limits *)(void *)((char *)target - key->into);
    struct quality_words *words =
        (struct quality_words *)(void *)((char *)limits - offsetof(struct quality_words, limits));
    size_t field = key->into / sizeof(double);
    const char *word;
    if (config_setting_type(at) == CONFIG_TYPE_STRING) {
        if (!keys_text(ld, at, &word))
            return;
        if (strcmp(word, "off") != 0)
            fault_say(ld->faults, at, "%s must be a number, or \"off\", not \"%.40s\"", key->name, word);
        else
            set(words, field, NAN, 1);
        return;
    }
    double v;
    if (!keys_number(ld, at, &v))
        return;
    if (v == 0 && key->above)
        fault_say(ld->faults, at, "%s must not be 0: zero is not \"off\"; write \"off\" to switch it off",
                  key->name);
    else if (keys_number_in(ld, at, key, (double *)target))
        set(words, field, v, NAN);
}

struct quality_words quality_words_init(void)
{
    struct quality_words words = { .at = NULL };
    for (size_t i = 0; i < FIELDS; i++)
        ((double *)&words.limits)[i] = ((double *)&words.off)[i] = NAN;
    return words;
}

void quality_read(struct loader *ld, const struct config_setting_t *at, const struct key *key, void *target)
{
    struct quality_words *words = target;
    struct key_part part = { KEY_ROWS(rows), &words->limits, NULL };
    (void)key;
    words->at = at;
    (void)keys_read(ld, at, "quality", &part, 1);
}

static void suit_cadence(const struct quality_words *words, struct probe_value *value)
{
    struct gate_limits *gate = &value->gate;
    if (isnan(value->every_s))
        return;
    if (isnan(words->limits.gap_suspect_s) && isnan(words->off.gap_suspect_s))
        gate->gap_suspect_s = fmax(gate->gap_suspect_s, GAP_SUSPECT_OF * value->every_s);
    if (isnan(words->limits.gap_fail_s) && isnan(words->off.gap_fail_s))
        gate->gap_fail_s = fmax(gate->gap_fail_s, GAP_FAIL_OF * value->every_s);
}

/* Dissolved solids differ from site to site tenfold, what a probe's contact or a radio does to a value goes
 * with it: a leap there and back by a tenth of the most that an animal here bears is no water, and far above
 * the noise of cheap probes (1-2 %). */
#define SPIKE_SHARE_FAIL    0.10
#define SPIKE_SHARE_SUSPECT 0.05

static void suit_solids(const struct loader *ld, const struct quality_words *words, struct probe_value *value)
{
    struct gate_limits *gate = &value->gate;
    double most = NAN;
    if (value->quantity != Q_EC && value->quantity != Q_TDS)
        return;
    for (int i = 0; i < ld->site->tank_count; i++)
        most = fmax(most, ld->site->tanks[i].band[value->quantity].hi);
    if (isnan(most))
        return;
    if (isnan(words->limits.spike_fail) && isnan(words->off.spike_fail))
        gate->spike_fail = SPIKE_SHARE_FAIL * most;
    if (isnan(words->limits.spike_suspect) && isnan(words->off.spike_suspect))
        gate->spike_suspect = SPIKE_SHARE_SUSPECT * most;
}

static void forget_flat_line(struct loader *ld, const struct quality_words *words, struct probe_value *value)
{
    if (!isnan(words->limits.flat_tol) || !isnan(words->limits.flat_suspect_s) ||
        !isnan(words->limits.flat_fail_s))
        fault_say(
            ld->faults, words->at,
            "a flat line cannot be judged for a probe that sends on change only (on_change = true): leave "
            "flat_tol, flat_suspect_s and flat_fail_s out");
    value->gate.flat_suspect_s = value->gate.flat_fail_s = NAN;
}

static void check_bounds(struct loader *ld, const struct config_setting_t *at,
                         const struct probe_value *value)
{
    const struct quantity_info *info = quantity_info(value->quantity);
    const struct gate_limits *gate = &value->gate;
    const double bounds[] = { gate->fail_lo, gate->suspect_lo, gate->suspect_hi, gate->fail_hi };
    static const char *const names[] = { "fail_lo", "suspect_lo", "suspect_hi", "fail_hi" };
    double below = NAN;
    const char *below_name = NULL;
    for (size_t i = 0; i < 4; i++) {
        if (bounds[i] < info->hard_lo || bounds[i] > info->hard_hi)
            fault_say(ld->faults, at, "%s %.10g is outside what %s can be: %.10g to %.10g %s", names[i],
                      bounds[i], info->name, info->hard_lo, info->hard_hi, info->unit);
        if (bounds[i] < below)
            fault_say(ld->faults, at, "%s %.10g is below %s %.10g: the limits are upside down", names[i],
                      bounds[i], below_name, below);
        if (!isnan(bounds[i])) {
            below = bounds[i];
            below_name = names[i];
        }
    }
}

struct pair {
    const char *less_name, *more_name;
    size_t less, more; /* offsets */
};

#define PAIR(less, more)                                                                                     \
    {                                                                                                        \
#less, #more, offsetof(struct gate_limits, less), offsetof(struct gate_limits, more)                 \
    }
static const struct pair pairs[] = {
    PAIR(gap_suspect_s, gap_fail_s),
    PAIR(spike_suspect, spike_fail),
    PAIR(rate_suspect, rate_fail),
    PAIR(flat_suspect_s, flat_fail_s),
    PAIR(attenuated_fail, attenuated_suspect),
    PAIR(twin_suspect, twin_fail),
};

static double *field_of(struct gate_limits *limits, size_t offset)
{
    return (double *)(void *)((char *)limits + offset);
}

static void check_order(struct loader *ld, struct quality_words *words, struct gate_limits *gate)
{
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        const struct pair *pair = &pairs[i];
        double *less = field_of(gate, pair->less), *more = field_of(gate, pair->more);
        if (!(*less > *more))
            continue;
        if (isnan(*field_of(&words->limits, pair->less)))
            *less = *more;
        else if (isnan(*field_of(&words->limits, pair->more)))
            *more = *less;
        else
            fault_say(ld->faults, words->at, "%s %.10g is above %s %.10g: the limits are upside down",
                      pair->less_name, *less, pair->more_name, *more);
    }
}

/* A bound that is not named makes room for one that is. */
static void make_room(const struct gate_limits *named, struct gate_limits *gate)
{
    if (isnan(named->fail_lo) && gate->suspect_lo < gate->fail_lo)
        gate->fail_lo = gate->suspect_lo;
    if (isnan(named->fail_hi) && gate->suspect_hi > gate->fail_hi)
        gate->fail_hi = gate->suspect_hi;
    if (isnan(named->suspect_lo) && gate->suspect_lo < gate->fail_lo)
        gate->suspect_lo = gate->fail_lo;
    if (isnan(named->suspect_lo) && gate->suspect_lo > gate->fail_hi)
        gate->suspect_lo = gate->fail_hi;
    if (isnan(named->suspect_hi) && gate->suspect_hi > gate->fail_hi)
        gate->suspect_hi = gate->fail_hi;
    if (isnan(named->suspect_hi) && gate->suspect_hi < gate->fail_lo)
        gate->suspect_hi = gate->fail_lo;
}

/* A test whose levels are given lacks what it measures them by. */
static void check_whole(struct loader *ld, const struct config_setting_t *at, const struct gate_limits *gate)
{
    bool attenuated = !isnan(gate->attenuated_suspect) || !isnan(gate->attenuated_fail);
    if (attenuated && (isnan(gate->attenuated_window_s) || isnan(gate->attenuated_min_obs)))
        fault_say(ld->faults, at,
                  "attenuated_suspect and attenuated_fail need attenuated_window_s and attenuated_min_obs");
    if (gate->attenuated_min_obs != floor(gate->attenuated_min_obs) && !isnan(gate->attenuated_min_obs))
        fault_say(ld->faults, at, "attenuated_min_obs must be a whole number");
    bool flat = !isnan(gate->flat_suspect_s) || !isnan(gate->flat_fail_s);
    if (flat && isnan(gate->flat_tol))
        fault_say(ld->faults, at, "flat_suspect_s and flat_fail_s need flat_tol");
    bool twin = !isnan(gate->twin_suspect) || !isnan(gate->twin_fail);
    if (twin && isnan(gate->pair_age_s))
        fault_say(ld->faults, at, "twin_suspect and twin_fail need pair_age_s");
}

void quality_apply(struct loader *ld, struct quality_words *words, struct probe_value *value)
{
    value->gate = quantity_info(value->quantity)->gate;
    double *gate = (double *)&value->gate;
    const double *limits = (const double *)&words->limits, *off = (const double *)&words->off;
    for (size_t i = 0; i < FIELDS; i++)
        if (!isnan(limits[i]))
            gate[i] = limits[i];
        else if (!isnan(off[i]))
            gate[i] = NAN;
    suit_cadence(words, value);
    suit_solids(ld, words, value);
    if (value->on_change)
        forget_flat_line(ld, words, value);
    if (words->at == NULL)
        return;
    make_room(&words->limits, &value->gate);
    check_bounds(ld, words->at, value);
    check_order(ld, words, &value->gate);
    check_whole(ld, words->at, &value->gate);
}
