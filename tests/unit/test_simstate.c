#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "near.h"
#include "rehearse/simstate.h"
#include "small_room.h"

static struct small_room room;
static struct mishap faults[4];
static struct sim *sim;

static void make(const char *const *texts, int count)
{
    struct why why = { "" };
    for (int i = 0; i < count; i++)
        if (mishap_parse(&room.site, texts[i], &faults[i], &why) != STATUS_OK)
            fail_msg("%s", why.text);
    const struct sim_options o = {
        .seed = 1, .start = { INT64_C(1772323200000) }, .faults = faults, .fault_count = count
    };
    sim = simstate_make(&room.site, &o);
}

#define MAKE(...)                                                                                            \
    make((const char *const[]){ __VA_ARGS__ },                                                               \
         (int)(sizeof((const char *const[]){ __VA_ARGS__ }) / sizeof(char *)))

static int setup(void **state)
{
    (void)state;
    small_room_init(&room);
    sim = NULL;
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    if (sim != NULL)
        sim_fini(sim);
    return 0;
}

/* What one probe of that quantity would meet at the place. */
static struct voice_input met(int place, enum quantity q)
{
    struct probe_value value = small_value(NULL, q, 10);
    struct probe_entry entry = { .values = &value, .value_count = 1 };
    struct voice v = { .entry = &entry, .place = place };
    struct voice_input in;
    simstate_inputs(sim, &v, &in);
    return in;
}

static void a_room_is_made_of_the_site(void **state)
{
    (void)state;
    make(NULL, 0);
    assert_int_equal(sim->voice_count, 6);
    assert_near(sim->climate.day_c, 20.5, 0);
    assert_near(sim->tanks[0].target_ec, 320, 0);
    assert_near(sim->tanks[0].basin.full_l, 30, 0);
    assert_true(sim->tanks[0].chore.by_hand);
    assert_false(sim->tanks[1].chore.by_hand);
}

static void targets_fall_back(void **state)
{
    (void)state;
    room.water.target[Q_EC] = NAN;
    room.water.target[Q_TDS] = 150;
    room.water.tds_per_ec = 0.5;
    room.tanks[1].water = -1;
    room.tanks[1].setpoint_c = NAN;
    room.tanks[0].setpoint_c = 18;
    make(NULL, 0);
    assert_near(sim->tanks[0].target_ec, 300, 1e-9);
    assert_near(sim->tanks[1].target_ec, 300, 1e-9);
    assert_near(sim->tanks[1].basin.setpoint_c, 24, 0.9);
    assert_near(sim->climate.day_c, 18, 0);
}

static void probes_meet_the_truth(void **state)
{
    (void)state;
    make(NULL, 0);
    const struct basin *b = &sim->tanks[0].basin;
    assert_near(met(1, Q_TEMP).sense.truth, b->temp_c, 0);
    assert_near(met(1, Q_EC).sense.truth, basin_ec25(b), 0);
    assert_near(met(1, Q_TDS).sense.truth, basin_ec25(b) * 0.6, 1e-9);
    assert_near(met(1, Q_LEVEL).sense.truth, basin_level_mm(b), 1e-9);
    assert_near(met(1, Q_DO).sense.truth, 7.7, 0.5);
    assert_near(met(1, Q_LEAK).sense.truth, 0, 0);
    assert_true(isnan(met(1, Q_NO3).sense.truth));
    assert_near(met(0, Q_TEMP).sense.truth, sim->climate.temp_c, 0);
    assert_true(isnan(met(0, Q_EC).sense.truth));
    assert_near(met(5, Q_EC).sense.truth, 6, 0);
    assert_near(met(3, Q_POWER).sense.truth, 3, 1e-9);
    assert_true(isnan(met(0, Q_POWER).sense.truth));
}

static void a_level_band_sets_the_zero(void **state)
{
    (void)state;
    room.tanks[0].band[Q_LEVEL] = (struct span){ 180, 220 };
    make(NULL, 0);
    assert_near(met(1, Q_LEVEL).sense.truth, 200, 1e-9);
}

static void faults_reach_what_they_name(void **state)
{
    (void)state;
    MAKE("heater-weak@tank=a1,at=0,size=0.4", "probe-noisy@tank=a1,at=0,of=ph",
         "source-worn@source=ro,at=0,size=5", "topoff-stopped@tank=b1,at=0");
    sim->t_s = 86400;
    struct basin_world w;
    struct chore_world c;
    simstate_world(sim, 0, &w, &c);
    assert_near(w.heater_gain, 0.4, 0);
    assert_near(w.topoff_ec, 11, 1e-9);
    assert_near(w.topoff_l_h, 0, 0);
    assert_false(c.topoff_stopped);
    simstate_world(sim, 1, &w, &c);
    assert_near(w.heater_gain, 1, 0);
    assert_near(w.topoff_l_h, 0, 0);
    assert_true(c.topoff_stopped);
    assert_near(met(5, Q_EC).sense.truth, 11, 1e-9);
    assert_near(met(1, Q_PH).sense.noise_gain, 25, 0);
    assert_near(met(1, Q_TEMP).sense.noise_gain, 1, 0);
    assert_near(met(2, Q_PH).sense.noise_gain, 1, 0);
}

static void a_pump_without_fault_runs(void **state)
{
    (void)state;
    make(NULL, 0);
    struct basin_world w;
    struct chore_world c;
    simstate_world(sim, 1, &w, &c);
    assert_near(w.topoff_l_h, 3 * 0.5 / 24, 1e-12);
    simstate_world(sim, 0, &w, &c);
    assert_near(w.topoff_l_h, 0, 0);
}

static void a_bad_batch_comes_once_to_each(void **state)
{
    (void)state;
    MAKE("bad-batch@water=soft,at=1h");
    for (int tank = 0; tank < ROOM_TANKS; tank++) {
        sim->t_s = 1800;
        assert_false(simstate_bad_batch_due(sim, tank));
        sim->t_s = 3 * 3600 + 1;
        sim->tanks[tank].chore.phase = CHORE_FILL;
        assert_false(simstate_bad_batch_due(sim, tank));
        sim->tanks[tank].chore.phase = CHORE_REST;
        assert_true(simstate_bad_batch_due(sim, tank));
        assert_false(simstate_bad_batch_due(sim, tank));
    }
    struct basin_world w;
    struct chore_world c;
    simstate_world(sim, 0, &w, &c);
    assert_near(c.batch_ec, 1.4 * keeper_batch_ec(1, 0, 320, sim->t_s), 1e-9);
}

static void without_mains_nothing_runs(void **state)
{
    (void)state;
    MAKE("circuit-lost@circuit=c1,at=1h");
    struct basin_world before, after;
    struct chore_world c;
    sim->hour = 12;
    simstate_world(sim, 1, &before, &c);
    assert_true(before.lights_on && before.topoff_l_h > 0 && before.heater_gain > 0);
    sim->t_s = 3600;
    simstate_world(sim, 1, &after, &c);
    assert_false(after.lights_on);
    assert_near(after.topoff_l_h, 0, 0);
    assert_near(after.heater_gain, 0, 0);
    assert_near(met(4, Q_POWER).sense.truth, 0, 0);
}

static void out_of_the_water_a_probe_meets_air(void **state)
{
    (void)state;
    MAKE("probe-out-of-water@tank=a1,at=0");
    sim->t_s = 3600;
    assert_near(met(1, Q_TEMP).sense.truth, sim->climate.temp_c, 0.01);
    assert_near(met(1, Q_EC).sense.truth, 0.4, 0);
    assert_near(met(1, Q_EC).sense.temp_c, sim->climate.temp_c, 0.01);
    assert_true(met(2, Q_EC).sense.truth > 300);
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_room_is_made_of_the_site),
        TEST(targets_fall_back),
        TEST(probes_meet_the_truth),
        TEST(a_level_band_sets_the_zero),
        TEST(faults_reach_what_they_name),
        TEST(a_pump_without_fault_runs),
        TEST(a_bad_batch_comes_once_to_each),
        TEST(without_mains_nothing_runs),
        TEST(out_of_the_water_a_probe_meets_air),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
