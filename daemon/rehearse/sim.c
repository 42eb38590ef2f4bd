/* The order of one step: faults, room, tanks, keeper, senders. */
#include "rehearse/sim.h"

#include <math.h>

#include "base/text.h"
#include "rehearse/climate.h"
#include "rehearse/simstate.h"

#define TICK_S            5.0
#define SETTLE_S          (36 * 3600.0) /* before the start, so that heaters and room are in their stride */
#define DAY_S             86400.0
#define STALE_RETAINED_MS (3 * MS_PER_HOUR)
#define PAYLOAD_MAX       4096
#define LIGHTS_ON         9.0
#define LIGHTS_OFF        18.5

static double hour_of(const struct sim *sim, double t_s)
{
    double s = fmod((double)(sim->options.start.ms % MS_PER_DAY) / MS_PER_S + t_s, DAY_S);
    return (s < 0 ? s + DAY_S : s) / 3600;
}

static bool room_lights(double hour)
{
    return hour >= LIGHTS_ON && hour < LIGHTS_OFF;
}

static double push_of_room(const struct sim *sim)
{
    double k = 0;
    for (int i = 0; i < sim->options.fault_count; i++) {
        const struct mishap *f = &sim->faults[i];
        if (!mishap_active(f, sim->t_s))
            continue;
        if (f->kind == MISHAP_ROOM_COLD)
            k -= f->size;
        else if (f->kind == MISHAP_ROOM_HOT)
            k += f->size;
    }
    return k;
}

static utc_t utc_at(const struct sim *sim, double t_s)
{
    return (utc_t){ sim->options.start.ms + (int64_t)llround(t_s * (double)MS_PER_S) };
}

/* t_s: when it was sent. */
static void hear_message(struct sim *sim, double t_s, const char *topic, const struct text *payload, int qos,
                         bool retain)
{
    if (sim->hear == NULL)
        return;
    int64_t late_ms = (int64_t)dice_between(&sim->latency, 20, 300);
    struct sim_message m = { .t = { utc_at(sim, t_s).ms + late_ms },
                             .topic = topic,
                             .payload = payload->buf,
                             .payload_len = payload->len,
                             .qos = qos,
                             .retain = retain,
                             .replay = false };
    /* Arrivals never run backwards, as a subscriber's never do. */
    if (m.t.ms <= sim->arrived.ms)
        m.t.ms = sim->arrived.ms + 1;
    sim->arrived = m.t;
    sim->hear(sim->context, &m);
}

static void tell(struct sim *sim, int tank, enum chore_event event)
{
    struct sim_tank *st = &sim->tanks[tank];
    if (event == CHORE_BEGUN)
        st->told = sim->options.service && dice_chance(&sim->gossip, 0.6);
    if (event == CHORE_NOTHING || !st->told)
        return;
    char topic[256], body[256];
    struct text to = text_over(topic, sizeof topic), b = text_over(body, sizeof body);
    text_printf(&to, "%s/do/%s", sim->site->publish.base, event == CHORE_BEGUN ? "service" : "note");
    json_open(&b, '{');
    json_key(&b, "place");
    json_string(&b, sim->site->places[sim->site->tanks[tank].place].text);
    json_key(&b, event == CHORE_BEGUN ? "minutes" : "what");
    if (event == CHORE_BEGUN)
        json_number(&b, 45, 0);
    else
        json_string(&b, "change");
    if (event == CHORE_DONE) {
        json_key(&b, "litres");
        json_number(&b, st->chore.litres, 1);
    }
    json_key(&b, "who");
    json_string(&b, "keeper");
    if (event == CHORE_BEGUN) {
        json_key(&b, "why");
        json_string(&b, "water change");
    }
    json_close(&b, '}');
    hear_message(sim, sim->t_s, topic, &b, 1, false);
}

#define TEST_SD   0.01 /* from test to test */
#define TEST_DAYS 7

static void test_by_hand(struct sim *sim, int tank)
{
    struct sim_tank *st = &sim->tanks[tank];
    char topic[256], body[256];
    if (!sim->options.tests || sim->t_s < st->next_test_s)
        return;
    st->next_test_s += (TEST_DAYS - 2 + dice_below(&st->tests, 5)) * DAY_S;
    struct text to = text_over(topic, sizeof topic), b = text_over(body, sizeof body);
    text_printf(&to, "%s/do/note", sim->site->publish.base);
    json_open(&b, '{');
    json_key(&b, "place");
    json_string(&b, sim->site->places[sim->site->tanks[tank].place].text);
    json_key(&b, "what");
    json_string(&b, "test");
    json_key(&b, "values");
    json_open(&b, '{');
    json_key(&b, "ec");
    json_number(&b, basin_ec25(&st->basin) * sim->pen_gain * dice_normal(&st->tests, 1, TEST_SD), 0);
    json_close(&b, '}');
    json_close(&b, '}');
    hear_message(sim, sim->t_s, topic, &b, 1, false);
}

static void step_tank(struct sim *sim, int tank, bool quiet, double dt_s)
{
    struct sim_tank *st = &sim->tanks[tank];
    struct basin_world world;
    struct chore_world chores;
    simstate_world(sim, tank, &world, &chores);
    basin_advance(&st->basin, &world, dt_s);
    if (quiet)
        return;
    if (simstate_bad_batch_due(sim, tank))
        st->chore.next_s = sim->t_s;
    tell(sim, tank, chore_advance(&st->chore, &st->basin, &chores, dt_s));
    test_by_hand(sim, tank);
}

/* quiet: before the start, nobody changes water and no probe speaks. */
static void step(struct sim *sim, double dt_s, bool quiet)
{
    sim->t_s += dt_s;
    sim->hour = hour_of(sim, sim->t_s);
    sim->climate.pushed_k = push_of_room(sim);
    climate_advance(&sim->climate, sim->hour, room_lights(sim->hour), dt_s);
    for (int i = 0; i < sim->site->tank_count; i++)
        step_tank(sim, i, quiet, dt_s);
}

static struct voice *next_due(struct sim *sim)
{
    struct voice *first = NULL;
    for (int i = 0; i < sim->voice_count; i++) {
        struct voice *v = &sim->voices[i];
        if (v->next_s <= sim->t_s && (first == NULL || v->next_s < first->next_s))
            first = v;
    }
    return first;
}

static void speak(struct sim *sim, struct voice *v)
{
    char buf[PAYLOAD_MAX];
    struct text payload = text_over(buf, sizeof buf);
    double due_s = v->next_s;
    simstate_inputs(sim, v, sim->inputs);
    if (voice_speak(v, sim->inputs, utc_is_set(sim->own) ? sim->own : utc_at(sim, due_s), &payload))
        hear_message(sim, due_s, v->topic, &payload, v->entry->qos, v->retained);
}

/* What a broker has kept of the probes that publish retained: old by now. */
static void repeat_retained(struct sim *sim)
{
    char buf[PAYLOAD_MAX];
    utc_t old = { sim_utc(sim).ms - STALE_RETAINED_MS };
    for (int i = 0; i < sim->voice_count; i++) {
        struct voice copy = sim->voices[i];
        struct text payload = text_over(buf, sizeof buf);
        simstate_inputs(sim, &copy, sim->inputs);
        copy.waking = false;
        if (!copy.retained || !voice_speak(&copy, sim->inputs, old, &payload))
            continue;
        struct sim_message m = { .t = sim_utc(sim),
                                 .topic = copy.topic,
                                 .payload = buf,
                                 .payload_len = payload.len,
                                 .qos = copy.entry->qos,
                                 .retain = true,
                                 .replay = true };
        sim->hear(sim->context, &m);
    }
}

void sim_advance(struct sim *sim, double dt_s, sim_hear *hear, void *context)
{
    sim->hear = hear;
    sim->context = context;
    if (!sim->begun && hear != NULL)
        repeat_retained(sim);
    sim->begun = true;
    /* On a grid of its own, so that the caller's steps do not show. */
    sim->owed_s += dt_s;
    while (sim->owed_s >= TICK_S) {
        sim->owed_s -= TICK_S;
        step(sim, TICK_S, false);
        for (struct voice *v = next_due(sim); v != NULL; v = next_due(sim))
            speak(sim, v);
    }
}

struct sim *sim_init(const struct site *site, const struct sim_options *options)
{
    struct sim *sim = simstate_make(site, options);
    sim->t_s = -SETTLE_S;
    while (sim->t_s < 0)
        step(sim, TICK_S, true);
    sim->t_s = 0;
    return sim;
}

void sim_fini(struct sim *sim)
{
    struct arena arena = sim->arena;
    arena_fini(&arena);
}

void sim_set_own_time(struct sim *sim, utc_t own)
{
    sim->own = own;
}

utc_t sim_utc(const struct sim *sim)
{
    return utc_at(sim, sim->t_s);
}

double sim_room_c(const struct sim *sim)
{
    return sim->climate.temp_c;
}

static bool outside(const struct span *band, double v)
{
    return v < band->lo || v > band->hi;
}

struct sim_truth sim_truth(const struct sim *sim, int tank)
{
    const struct basin *b = &sim->tanks[tank].basin;
    const struct span *band = sim->site->tanks[tank].band;
    struct sim_truth t = { .temp_c = b->temp_c,
                           .ec25_us_cm = basin_ec25(b),
                           .ph = basin_ph(b),
                           .level_mm = basin_level_mm(b),
                           .water_l = b->water_l,
                           .heater_w = b->power_w,
                           .heater_on = b->power_w > 0,
                           .heater_wanted = b->heating };
    for (int i = 0; i < sim->options.fault_count; i++)
        if (mishap_active(&sim->faults[i], sim->t_s) && mishap_touches(sim->site, &sim->faults[i], tank))
            t.faults |= UINT32_C(1) << sim->faults[i].kind;
    t.left[Q_TEMP] = outside(&band[Q_TEMP], t.temp_c);
    t.left[Q_EC] = outside(&band[Q_EC], t.ec25_us_cm);
    t.left[Q_PH] = outside(&band[Q_PH], t.ph);
    t.level_mm += sim->tanks[tank].level_zero_mm;
    t.left[Q_LEVEL] = outside(&band[Q_LEVEL], t.level_mm);
    return t;
}
