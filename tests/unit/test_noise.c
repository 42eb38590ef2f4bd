#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <cmocka.h>

#include <math.h>

#include "engine/noise.h"

#define FLOOR 0.03

static struct noise n;
static int64_t t_ms;
static uint64_t dice;

static int set_up(void **state)
{
    (void)state;
    noise_init(&n);
    t_ms = INT64_C(1772366400000);
    dice = 88172645463325252u;
    return 0;
}

static double roll(void)
{
    dice ^= dice << 13;
    dice ^= dice >> 7;
    dice ^= dice << 17;
    return (double)(dice >> 11) / 9007199254740992.0;
}

/* Twelve dice make a bell. */
static double bell(double sd)
{
    double sum = -6;
    for (int i = 0; i < 12; i++)
        sum += roll();
    return sd * sum;
}

static void feed(double v)
{
    t_ms += 20000 + (int64_t)(roll() * 20000);
    noise_add(&n, t_ms, v, 3600, FLOOR);
}

static void a_steep_trend_is_no_noise(void **state)
{
    (void)state;
    for (int i = 0; i < 100; i++) {
        t_ms += 30000;
        noise_add(&n, t_ms, 20 + 0.1 * i, 3600, FLOOR);
    }
    assert_true(noise_sd(&n) < 1e-5);
}

static void as_much_as_it_is(void **state)
{
    (void)state;
    double sum = 0;
    for (int i = 0; i < 2000; i++) {
        feed(20 + bell(0.2));
        if (i >= NOISE_KEPT + 1)
            sum += noise_sd(&n) / (2000 - NOISE_KEPT - 1);
    }
    assert_true(sum > 0.16 && sum < 0.24);
}

static void the_usual_is_learnt_and_a_fault_is_not(void **state)
{
    (void)state;
    assert_true(isnan(noise_sd(&n)));
    for (int i = 0; i < 3000; i++)
        feed(300 + bell(0.05));
    double usual = noise_usual_sd(&n, FLOOR);
    assert_true(usual > 0.035 && usual < 0.065);
    for (int i = 0; i < 300; i++)
        feed(300 + bell(0.5));
    assert_true(noise_sd(&n) > 4 * usual);
    assert_true(noise_usual_sd(&n, FLOOR) < 1.2 * usual);
}

static void single_odd_values_and_flicker_do_not_weigh(void **state)
{
    (void)state;
    for (int i = 0; i < 200; i++)
        feed(i % 20 == 7 ? 25 : 20);
    assert_true(noise_sd(&n) == 0);
    noise_init(&n);
    for (int i = 0; i < 200; i++)
        feed(20 + 0.5 * (i % 2)); /* coarse steps, at their edge */
    assert_true(noise_sd(&n) < 4 * noise_usual_sd(&n, FLOOR));
}

static void survives(void **state)
{
    (void)state;
    uint8_t bytes[512];
    for (int i = 0; i < 100; i++)
        feed(20 + bell(0.1));
    struct pack w = pack_writer(bytes, sizeof bytes);
    noise_visit(&n, &w);
    assert_false(w.bad);
    struct noise m;
    noise_init(&m);
    struct pack r = pack_reader(bytes, w.at);
    noise_visit(&m, &r);
    assert_false(r.bad);
    assert_true(n.usual_sd > 0.05);
    for (int i = 0; i < 30; i++) {
        feed(20 + bell(0.1));
        noise_add(&m, t_ms, n.v[0], 3600, FLOOR);
    }
    assert_true(noise_sd(&m) == noise_sd(&n) && m.usual_sd == n.usual_sd);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup(f, set_up)
    const struct CMUnitTest tests[] = {
        TEST(a_steep_trend_is_no_noise),
        TEST(as_much_as_it_is),
        TEST(the_usual_is_learnt_and_a_fault_is_not),
        TEST(single_odd_values_and_flicker_do_not_weigh),
        TEST(survives),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
