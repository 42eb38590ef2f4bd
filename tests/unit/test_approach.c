/* Forecasts: the sums against closed forms, the spread against many noisy coolings, the words. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "engine/approach.h"

#define NOON INT64_C(1772366400000)

static const struct approach_slope falling = { 22.0, -0.5, 0.05 };

static bool near(double a, double b)
{
    return fabs(a - b) < 1e-9;
}

static void straight_on_without_a_time_constant(void **state)
{
    struct approach_hours h;
    (void)state;
    assert_true(approach_when(&falling, NAN, 20.5, &h));
    assert_true(near(h.at, 3.0));
    assert_true(near(h.early, 1.5 / (0.5 + 1.28 * 0.05)));
    assert_true(near(h.late, 1.5 / (0.5 - 1.28 * 0.05)));
}

/* 22 degrees, room 17, tau 10 h: -0.5 K/h; 20.5 is reached after 10 ln(5 / 3.5) hours. */
static void bends_towards_where_it_settles(void **state)
{
    struct approach_hours h;
    (void)state;
    assert_true(approach_when(&falling, 10, 20.5, &h));
    assert_true(near(h.at, 10 * log(5.0 / 3.5)));
    assert_true(h.early < 3.0 && h.late > h.at);
}

static void what_is_never_reached_is_not_foretold(void **state)
{
    struct approach_hours h;
    const struct approach_slope still = { 22, 0, 0.1 }, unknown = { 22, NAN, 0.1 };
    (void)state;
    assert_false(approach_when(&falling, 10, 16.9, &h)); /* settles at 17 */
    assert_false(approach_when(&falling, 10, 23, &h));   /* the other way */
    assert_false(approach_when(&falling, 10, 22, &h));   /* there already */
    assert_false(approach_when(&falling, 10, NAN, &h));
    assert_false(approach_when(&still, 10, 20, &h));
    assert_false(approach_when(&unknown, 10, 20, &h));
    const struct approach_slope doubt = { 22, -0.5, 0.51 };
    assert_false(approach_when(&doubt, NAN, 20.5, &h));
}

static void a_slope_hardly_known_may_never_get_there(void **state)
{
    struct approach_hours h;
    const struct approach_slope vague = { 22, -0.5, 0.45 };
    (void)state;
    assert_true(approach_when(&vague, NAN, 20.5, &h));
    assert_true(isinf(h.late));
    assert_true(h.early > 1 && h.early < 2);
}

static void never_more_exact_than_the_model(void **state)
{
    struct approach_hours h;
    const struct approach_slope exact = { 22, -0.5, 0 };
    (void)state;
    assert_true(approach_when(&exact, NAN, 20.5, &h));
    assert_true(near(h.early, 2.7));
    assert_true(near(h.late, 3.3));
}

/* A tank without heat, tau 8 h, in a room that swings by 2 degrees about 18 each day: against small steps. */
static double room_c(double hour)
{
    return 18 + 2 * sin(2 * acos(-1) * hour / 24);
}

static void in_a_room_that_swings(void **state)
{
    struct arena arena = { 0 };
    struct window room;
    struct approach_hours h;
    double v = 22.5, hour = 36;
    (void)state;
    window_init(&room, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &arena);
    for (int min = 0; min <= 36 * 60; min++)
        window_add(&room, (utc_t){ NOON + min * MS_PER_MIN }, room_c(min / 60.0));
    const struct approach_slope s = { v, -(v - room_c(36)) / 8, 0.03 };
    assert_true(approach_in_room(&s, 8, &room, (utc_t){ NOON + 36 * MS_PER_HOUR }, 19.5, 48, &h));
    for (; v > 19.5; hour += 0.001)
        v -= 0.001 * (v - room_c(hour)) / 8;
    assert_true(fabs(h.at - (hour - 36)) < 0.35);
    assert_true(h.early < h.at && h.at < h.late);
    assert_false(approach_in_room(&s, 8, &room, (utc_t){ NOON + 36 * MS_PER_HOUR }, 12, 48, &h));
    assert_false(approach_in_room(&s, 8, &room, (utc_t){ NOON + 36 * MS_PER_HOUR }, 23, 48, &h));
    assert_false(approach_in_room(&s, NAN, &room, (utc_t){ NOON + 36 * MS_PER_HOUR }, 19.5, 48, &h));
    arena_fini(&arena);
}

static double noise(void)
{
    return ((double)rand() + (double)rand() + (double)rand()) / (double)RAND_MAX - 1.5; /* sd 0.5 */
}

/* Coolings by Newton's law, sampled each minute with noise and steps of 1/16 degree: the limit is to be
 * reached within the spread in about four of five, and not in all of them by a spread without end. */
static void the_spread_is_honest(void **state)
{
    int within = 0, told = 0;
    (void)state;
    srand(7);
    for (int run = 0; run < 200; run++) {
        struct arena arena = { 0 };
        struct window w;
        double room = 16 + 0.02 * run, tau = 6 + 0.05 * run, t0 = 24, sd = 0.02 + 0.0003 * run;
        window_init(&w, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &arena);
        for (int min = 0; min <= 45; min++) {
            double v = room + (t0 - room) * exp(-min / 60.0 / tau) + 2 * sd * noise();
            window_add(&w, (utc_t){ NOON + min * MS_PER_MIN }, round(v * 16) / 16);
        }
        struct approach_slope s = approach_slope_of(&w, (utc_t){ NOON + 45 * MS_PER_MIN }, 45 * MS_PER_MIN);
        struct approach_hours h;
        double truth = tau * log((t0 - room) / (22 - room)) - 0.75;
        if (approach_when(&s, tau, 22, &h)) {
            told++;
            within += truth >= h.early && truth <= h.late;
            assert_true(h.early <= h.at && h.at <= h.late);
        }
        arena_fini(&arena);
    }
    assert_true(told > 190);
    assert_in_range(within, told * 65 / 100, told * 95 / 100);
}

static void too_few_bins_have_no_slope(void **state)
{
    struct arena arena = { 0 };
    struct window w;
    (void)state;
    window_init(&w, 5 * MS_PER_MIN, 2 * MS_PER_DAY, &arena);
    for (int min = 0; min < 15; min++)
        window_add(&w, (utc_t){ NOON + min * MS_PER_MIN }, 22);
    assert_true(isnan(approach_slope_of(&w, (utc_t){ NOON + 15 * MS_PER_MIN }, MS_PER_HOUR).per_h));
    window_add(&w, (utc_t){ NOON + 15 * MS_PER_MIN }, 22);
    assert_true(near(approach_slope_of(&w, (utc_t){ NOON + 15 * MS_PER_MIN }, MS_PER_HOUR).per_h, 0));
    arena_fini(&arena);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(straight_on_without_a_time_constant),
        cmocka_unit_test(bends_towards_where_it_settles),
        cmocka_unit_test(what_is_never_reached_is_not_foretold),
        cmocka_unit_test(a_slope_hardly_known_may_never_get_there),
        cmocka_unit_test(never_more_exact_than_the_model),
        cmocka_unit_test(in_a_room_that_swings),
        cmocka_unit_test(the_spread_is_honest),
        cmocka_unit_test(too_few_bins_have_no_slope),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
