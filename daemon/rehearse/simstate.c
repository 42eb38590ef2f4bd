#include "rehearse/simstate.h"

#include <math.h>
#include <string.h>

#include "water/oxygen.h"

#define ROOM_USUAL_C     20.5
#define SETPOINT_USUAL_C 23.0
#define EC_USUAL         300.0
#define PH_USUAL         7.0
#define TDS_PER_EC       0.6
#define SOURCE_EC        6.0
#define TAP_EC           520.0
#define CHANGE_SHARE     0.12  /* of the tank, a week */
#define WASTE_SHARE      0.012 /* of the solids, at most, in a well kept tank */
#define DIAL_OFF_K       1.5
#define PULSE_S          480.0
#define LAMP_TO_WATER    0.25
#define TOPOFF_MARGIN    3.0 /* the pump gives more than is usually needed */
#define RACK_IDLE_W      3.0 /* air pump */
#define TEST_HOUR        15.0
#define PEN_GAIN_SD      0.015 /* a hand meter of 2 %, calibrated now and then */
#define BATCH_ROUND_S    (2 * 3600.0)
#define AIR_SETTLE_S     240.0
#define EC_IN_AIR        0.4
#define DAY_S            86400.0

static double first_known(double a, double b, double c)
{
    return !isnan(a) ? a : !isnan(b) ? b : c;
}

static double middle(struct span s)
{
    return (s.lo + s.hi) / 2; /* NaN when open on a side */
}

static double target_of(const struct site *site, int tank, enum quantity q)
{
    const struct tank *t = &site->tanks[tank];
    return first_known(t->water >= 0 ? site->waters[t->water].target[q] : NAN, middle(t->band[q]), NAN);
}

static double tds_per_ec(const struct site *site, int tank)
{
    int water = site->tanks[tank].water;
    return first_known(water >= 0 ? site->waters[water].tds_per_ec : NAN, TDS_PER_EC, TDS_PER_EC);
}

static double target_ec(const struct site *site, int tank)
{
    double by_tds = target_of(site, tank, Q_TDS) / tds_per_ec(site, tank);
    return first_known(target_of(site, tank, Q_EC), by_tds, EC_USUAL);
}

static double setpoint_of(const struct site *site, int tank)
{
    return first_known(site->tanks[tank].setpoint_c, target_of(site, tank, Q_TEMP), SETPOINT_USUAL_C);
}

/* Not above the lowest thermostat, or that tank is never heated. */
static double room_day_c(const struct site *site)
{
    double c = ROOM_USUAL_C;
    for (int i = 0; i < site->tank_count; i++)
        if (site->tanks[i].heater_w > 0)
            c = fmin(c, setpoint_of(site, i));
    return c;
}

/* Evenings before the start are over: work begins the next day. */
static double first_midnight_s(const struct sim_options *o)
{
    double of_day = (double)(o->start.ms % MS_PER_DAY) / MS_PER_S;
    return of_day < 16 * 3600 ? -of_day : DAY_S - of_day;
}

static void make_rough(const struct sim *sim, int tank, struct basin *b)
{
    struct dice d = dice_init(sim->options.seed, "rough heater", (uint64_t)tank);
    b->setpoint_c += dice_between(&d, -DIAL_OFF_K, DIAL_OFF_K);
    b->hysteresis_k = dice_between(&d, 0.3, 1.0);
    b->pulse_s = tank % 2 == 0 ? 0 : PULSE_S;
}

static struct sim_tank make_tank(const struct sim *sim, int tank)
{
    const struct site *site = sim->site;
    const struct tank *t = &site->tanks[tank];
    struct dice d = dice_init(sim->options.seed, t->id, 0);
    double ec = target_ec(site, tank);
    struct sim_tank st = { .target_ec = ec };
    double setpoint = setpoint_of(site, tank);
    st.basin = basin_init(t->volume_l, t->lid, setpoint, ec * dice_normal(&d, 1, 0.01), t->heater_w,
                          setpoint + dice_normal(&d, 0, 0.15));
    st.basin.hysteresis_k = dice_between(&d, 0.3, 0.8);
    st.basin.loss_w_k *= dice_between(&d, 0.9, 1.1);
    st.basin.ph_usual = first_known(target_of(site, tank, Q_PH), PH_USUAL, PH_USUAL);
    st.basin.ph_swing = dice_between(&d, 0.04, 0.15);
    st.air_k = dice_normal(&d, 0, 0.25);
    st.lights_from = dice_between(&d, 9, 11);
    st.lights_to = st.lights_from + dice_between(&d, 7, 9);
    st.lamp_w = 2 + 0.15 * t->volume_l;
    st.batch_delay_s = dice_between(&d, 0, BATCH_ROUND_S);
    st.tests = dice_init(sim->options.seed, "tests", (uint64_t)tank);
    st.next_test_s =
        first_midnight_s(&sim->options) + dice_below(&st.tests, 7) * DAY_S + TEST_HOUR * 3600 + tank * 120;
    if (sim->options.rough)
        make_rough(sim, tank, &st.basin);
    double full_mm = basin_level_mm(&st.basin);
    st.level_zero_mm = first_known(middle(t->band[Q_LEVEL]), full_mm, full_mm) - full_mm;
    double change_l = first_known(t->change_l_week, CHANGE_SHARE * t->volume_l, 0);
    /* Feeding and the weekly change balance about there. */
    st.waste_us_day = dice_between(&d, 0.3, 1) * WASTE_SHARE * ec * change_l / t->volume_l / 7;
    st.chore = chore_init(sim->options.seed, tank, change_l, isnan(t->topoff_l_day),
                          first_midnight_s(&sim->options));
    return st;
}

static int count_voices(const struct site *site, int *most_values)
{
    int count = 0;
    for (int e = 0; e < site->entry_count; e++) {
        if (site->entries[e].value_count == 0)
            continue;
        count += site->entries[e].place_count;
        if (site->entries[e].value_count > *most_values)
            *most_values = site->entries[e].value_count;
    }
    return count;
}

static void make_voices(struct sim *sim)
{
    const struct site *site = sim->site;
    int most_values = 1;
    sim->voices = arena_take(&sim->arena, (size_t)count_voices(site, &most_values), sizeof *sim->voices);
    sim->inputs = arena_take(&sim->arena, (size_t)most_values, sizeof *sim->inputs);
    for (int e = 0; e < site->entry_count; e++) {
        const struct probe_entry *entry = &site->entries[e];
        for (int p = 0; p < entry->place_count && entry->value_count > 0; p++)
            sim->voices[sim->voice_count++] = voice_init(site, entry, entry->places[p], sim->options.seed,
                                                         sim->options.least_every_s, &sim->arena);
    }
}

struct sim *simstate_make(const struct site *site, const struct sim_options *options)
{
    struct arena arena = { 0 };
    struct sim *sim = arena_take(&arena, 1, sizeof *sim);
    *sim = (struct sim){ .arena = arena, .site = site, .options = *options, .own = UTC_NONE };
    size_t faults = (size_t)options->fault_count;
    sim->faults = arena_take(&sim->arena, faults, sizeof *sim->faults);
    if (faults > 0)
        memcpy(sim->faults, options->faults, faults * sizeof *sim->faults);
    sim->arrived = (utc_t){ options->start.ms };
    sim->climate = climate_init(options->seed, room_day_c(site));
    sim->latency = dice_init(options->seed, "latency", 0);
    sim->gossip = dice_init(options->seed, "gossip", 0);
    sim->tanks = arena_take(&sim->arena, (size_t)site->tank_count, sizeof *sim->tanks);
    for (int i = 0; i < site->tank_count; i++)
        sim->tanks[i] = make_tank(sim, i);
    struct dice pen = dice_init(options->seed, "pen", 0);
    sim->pen_gain = dice_normal(&pen, 1, PEN_GAIN_SD);
    make_voices(sim);
    return sim;
}

/* The active fault of that kind that touches the tank, NULL when there is none. */
static const struct mishap *fault_at(const struct sim *sim, int tank, enum mishap_kind kind)
{
    for (int i = 0; i < sim->options.fault_count; i++) {
        const struct mishap *f = &sim->faults[i];
        if (f->kind == kind && mishap_active(f, sim->t_s) && mishap_touches(sim->site, f, tank))
            return f;
    }
    return NULL;
}

static bool mains_lost(const struct sim *sim, int tank)
{
    return fault_at(sim, tank, MISHAP_CIRCUIT_LOST) != NULL || fault_at(sim, tank, MISHAP_RACK_LOST) != NULL;
}

static bool lamp_is_on(const struct sim *sim, int tank)
{
    const struct sim_tank *st = &sim->tanks[tank];
    return sim->hour >= st->lights_from && sim->hour < st->lights_to && !mains_lost(sim, tank);
}

/* Purified or rain water, tap water, or what stands mixed. */
static double clean_ec(const struct sim *sim, int place)
{
    int source = place < 0 ? -1 : site_source_at(sim->site, place);
    int store = place < 0 ? -1 : site_store_at(sim->site, place);
    if (store >= 0 && sim->site->stores[store].water >= 0)
        return sim->site->waters[sim->site->stores[store].water].target[Q_EC];
    bool hard = source >= 0 && (sim->site->sources[source].kind == SOURCE_TAP ||
                                sim->site->sources[source].kind == SOURCE_WELL);
    return hard ? TAP_EC : SOURCE_EC;
}

/* source: place index, -1: any. */
static double source_ec(const struct sim *sim, int source)
{
    double ec = clean_ec(sim, source);
    for (int i = 0; i < sim->options.fault_count; i++) {
        const struct mishap *f = &sim->faults[i];
        if (f->kind == MISHAP_SOURCE_WORN && mishap_active(f, sim->t_s) && f->target == source)
            ec += f->size * (sim->t_s - f->at_s) / DAY_S;
    }
    return ec;
}

static double topoff_ec(const struct sim *sim, int tank)
{
    const struct mishap *minerals = fault_at(sim, tank, MISHAP_TOPOFF_MINERALS);
    if (minerals != NULL)
        return minerals->size;
    const struct mishap *worn = fault_at(sim, tank, MISHAP_SOURCE_WORN);
    return worn != NULL ? source_ec(sim, worn->target) : SOURCE_EC;
}

static double heater_gain(const struct sim *sim, int tank)
{
    if (fault_at(sim, tank, MISHAP_HEATER_DEAD) != NULL || mains_lost(sim, tank))
        return 0;
    const struct mishap *weak = fault_at(sim, tank, MISHAP_HEATER_WEAK);
    return weak != NULL ? weak->size : 1;
}

static double share_per_hour(const struct sim *sim, int tank, enum mishap_kind kind)
{
    const struct mishap *f = fault_at(sim, tank, kind);
    return f != NULL ? f->size / 100 * sim->tanks[tank].basin.full_l : 0;
}

static double batch_ec(const struct sim *sim, int tank)
{
    const struct sim_tank *st = &sim->tanks[tank];
    int water = sim->site->tanks[tank].water;
    double ec = keeper_batch_ec(sim->options.seed, water >= 0 ? water : 1000 + tank, st->target_ec, sim->t_s);
    const struct mishap *bad = fault_at(sim, tank, MISHAP_BAD_BATCH);
    return bad != NULL ? ec * (1 + bad->size / 100) : ec;
}

void simstate_world(const struct sim *sim, int tank, struct basin_world *world, struct chore_world *chores)
{
    const struct tank *t = &sim->site->tanks[tank];
    const struct sim_tank *st = &sim->tanks[tank];
    const struct mishap *waste = fault_at(sim, tank, MISHAP_WASTE);
    bool stopped = fault_at(sim, tank, MISHAP_TOPOFF_STOPPED) != NULL;
    double pump_l_h = isnan(t->topoff_l_day) ? 0 : TOPOFF_MARGIN * t->topoff_l_day / 24;
    *world = (struct basin_world){
        .air_c = sim->climate.temp_c + st->air_k,
        .humidity = sim->climate.humidity,
        .heater_gain = heater_gain(sim, tank),
        .heater_forced = fault_at(sim, tank, MISHAP_HEATER_STUCK) != NULL,
        .lights_on = lamp_is_on(sim, tank),
        .light_w = LAMP_TO_WATER * st->lamp_w,
        .topoff_l_h = stopped || mains_lost(sim, tank) ? 0 : pump_l_h,
        .topoff_ec = topoff_ec(sim, tank),
        .overrun_l_h = share_per_hour(sim, tank, MISHAP_TOPOFF_OVER),
        .leak_l_h = share_per_hour(sim, tank, MISHAP_LEAK),
        .waste_us_day = st->waste_us_day + (waste != NULL ? waste->size : 0),
    };
    *chores = (struct chore_world){
        .t_s = sim->t_s,
        .batch_ec = batch_ec(sim, tank),
        .topoff_ec = world->topoff_ec,
        .room_c = sim->climate.temp_c,
        .topoff_stopped = stopped,
    };
}

bool simstate_bad_batch_due(struct sim *sim, int tank)
{
    struct sim_tank *st = &sim->tanks[tank];
    const struct mishap *bad = fault_at(sim, tank, MISHAP_BAD_BATCH);
    if (bad == NULL || st->batched || st->chore.phase != CHORE_REST ||
        sim->t_s < bad->at_s + st->batch_delay_s)
        return false;
    st->batched = true;
    return true;
}

/* Watts that rack or circuit draw. */
static double power_of(const struct sim *sim, int place)
{
    double watts = 0;
    bool live = false;
    for (int i = 0; i < sim->site->tank_count; i++) {
        const struct tank *t = &sim->site->tanks[i];
        if ((t->rack != place && t->circuit != place) || mains_lost(sim, i))
            continue;
        live = true;
        watts += sim->tanks[i].basin.power_w + (lamp_is_on(sim, i) ? sim->tanks[i].lamp_w : 0);
    }
    return live ? watts + RACK_IDLE_W : 0;
}

static double oxygen_of(const struct sim *sim, const struct basin *b, bool lit)
{
    double saturation = NAN, pressure = OXYGEN_PRESSURE_HPA;
    struct why why;
    if (!isnan(sim->site->altitude_m) &&
        oxygen_pressure_at(sim->site->altitude_m, &pressure, &why) != STATUS_OK)
        pressure = OXYGEN_PRESSURE_HPA;
    if (oxygen_saturation(b->temp_c, pressure, basin_ec25(b), &saturation, &why) != STATUS_OK)
        return NAN;
    return saturation * (lit ? 0.98 : 0.9);
}

static double tank_truth(const struct sim *sim, int tank, enum quantity q)
{
    const struct sim_tank *st = &sim->tanks[tank];
    const struct basin *b = &st->basin;
    switch (q) {
    case Q_TEMP:
        return b->temp_c;
    case Q_EC:
        return basin_ec25(b);
    case Q_TDS:
        return basin_ec25(b) * tds_per_ec(sim->site, tank);
    case Q_PH:
        return basin_ph(b);
    case Q_LEVEL:
        return basin_level_mm(b) + st->level_zero_mm;
    case Q_POWER:
        return b->power_w;
    case Q_LEAK:
        return fault_at(sim, tank, MISHAP_LEAK) != NULL || b->water_l >= 1.055 * b->full_l;
    case Q_DO:
        return oxygen_of(sim, b, lamp_is_on(sim, tank));
    case Q_ORP:
        return 280;
    case Q_GH:
    case Q_KH:
        return target_of(sim->site, tank, q) * b->mineral_us_l / b->water_l / st->target_ec;
    default:
        return target_of(sim->site, tank, q);
    }
}

static double place_truth(const struct sim *sim, int place, enum quantity q)
{
    const struct place *p = &sim->site->places[place];
    bool pipe = p->kind == PLACE_SOURCE || p->kind == PLACE_STORE;
    switch (q) {
    case Q_TEMP:
        return sim->climate.temp_c;
    case Q_POWER:
        return p->kind == PLACE_RACK || p->kind == PLACE_CIRCUIT ? power_of(sim, place) : NAN;
    case Q_EC:
        return pipe ? source_ec(sim, place) : NAN;
    case Q_TDS:
        return pipe ? source_ec(sim, place) * TDS_PER_EC : NAN;
    case Q_LEVEL:
        return pipe ? 400 : NAN;
    case Q_FLOW:
        return pipe ? 0.15 : NAN;
    case Q_LEAK:
        return 0;
    default:
        return NAN;
    }
}

/* A probe that hangs in the air after t seconds there. */
static double air_truth(const struct sim *sim, enum quantity q, double truth, double seconds)
{
    double left = exp(-seconds / AIR_SETTLE_S);
    switch (q) {
    case Q_TEMP:
        return sim->climate.temp_c + (truth - sim->climate.temp_c) * left;
    case Q_EC:
    case Q_TDS:
        return EC_IN_AIR;
    case Q_PH:
        return truth + 0.9 * (1 - left);
    default:
        return truth;
    }
}

static void apply_probe_fault(const struct sim *sim, const struct mishap *f, enum quantity q,
                              struct voice_input *in)
{
    double seconds = sim->t_s - f->at_s;
    switch (f->kind) {
    case MISHAP_OUT_OF_WATER:
        in->sense.truth = air_truth(sim, q, in->sense.truth, seconds);
        in->sense.temp_c = air_truth(sim, Q_TEMP, in->sense.temp_c, seconds);
        break;
    case MISHAP_SILENT:
        in->silent = true;
        break;
    case MISHAP_STUCK:
        in->sense.stuck = true;
        break;
    case MISHAP_NOISY:
        in->sense.noise_gain = f->size;
        break;
    case MISHAP_EC_DRIFTING:
        in->sense.drift_gain = 1 + f->size / 100 * seconds / DAY_S;
        break;
    case MISHAP_PH_DRIFTING:
        in->sense.drift_offset = f->size * seconds / DAY_S;
        break;
    default:
        break;
    }
}

static struct voice_input input_of(const struct sim *sim, int place, enum quantity q)
{
    int tank = sim->site->places[place].tank;
    bool wet = sim->site->places[place].kind == PLACE_TANK;
    struct voice_input in = {
        .sense = { .truth = wet ? tank_truth(sim, tank, q) : place_truth(sim, place, q),
                   .temp_c = wet ? sim->tanks[tank].basin.temp_c : sim->climate.temp_c,
                   .days = sim->t_s / DAY_S,
                   .noise_gain = 1,
                   .drift_gain = 1 },
    };
    for (int i = 0; wet && i < sim->options.fault_count; i++) {
        const struct mishap *f = &sim->faults[i];
        if (mishap_active(f, sim->t_s) && mishap_touches(sim->site, f, tank) &&
            (f->of == Q_COUNT || f->of == q))
            apply_probe_fault(sim, f, q, &in);
    }
    return in;
}

void simstate_inputs(const struct sim *sim, const struct voice *v, struct voice_input *inputs)
{
    for (int i = 0; i < v->entry->value_count; i++)
        inputs[i] = input_of(sim, v->place, v->entry->values[i].quantity);
}
