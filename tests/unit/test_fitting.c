#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <math.h>

#include "engine/fitting.h"

#define DAY(n) ((utc_t){ INT64_C(1772366400000) + (n)*MS_PER_DAY })

static struct fitting f;
static const struct calib configured = { .kind = CALIB_LINEAR, .gain = 2, .since = { INT64_MIN } };

static int set_up(void **state)
{
    (void)state;
    fitting_init(&f, &configured);
    return 0;
}

static void calibrate(int day, double gain)
{
    struct calib c = CALIB_IDENTITY;
    c.gain = gain;
    c.since = DAY(day);
    fitting_calibrate(&f, &c);
}

static void each_reading_has_the_calibration_of_its_time(void **state)
{
    (void)state;
    calibrate(10, 3);
    calibrate(30, 5);
    calibrate(20, 4); /* told afterwards: it counts in between */
    assert_true(fitting_calib(&f)->gain == 5);
    assert_true(fitting_calib_before(&f)->gain == 4);
    const double want[] = { 2, 3, 3, 4, 4 };
    for (int i = 0; i < 5; i++)
        assert_true(fitting_calib_at(&f, DAY(5 + 6 * i))->gain == want[i]);
    assert_true(fitting_calib_at(&f, DAY(30))->gain == 5);
    calibrate(20, 4.5);
    assert_int_equal(f.calib_count, 4);
    assert_true(fitting_calib_at(&f, DAY(25))->gain == 4.5);
}

static void one_by_one_taken_back(void **state)
{
    (void)state;
    assert_false(fitting_undo(&f));
    for (int i = 1; i <= FITTING_CALIBS + 3; i++)
        calibrate(i, 10 + i);
    for (int i = FITTING_CALIBS + 3; i > 4; i--) {
        assert_true(fitting_calib(&f)->gain == 10 + i);
        assert_true(fitting_undo(&f));
    }
    assert_true(fitting_calib(&f)->gain == 14);
    assert_false(fitting_undo(&f)); /* what came before is no longer kept */
    calibrate(-100, 1);
    assert_true(fitting_calib(&f)->gain == 14);
}

static void a_device_counts_when_it_is_sure(void **state)
{
    (void)state;
    utc_t since = UTC_NONE;
    fitting_assign(&f, "old", DAY(0));
    assert_false(fitting_hear(&f, "old", DAY(1), &since));
    assert_false(fitting_hear(&f, "new", DAY(2), &since));
    assert_false(fitting_hear(&f, "old", DAY(3), &since)); /* both send: nothing was exchanged */
    for (int i = 0; i < FITTING_SURE - 1; i++)
        assert_false(fitting_hear(&f, "new", DAY(4 + i), &since));
    assert_true(fitting_hear(&f, "new", DAY(9), &since));
    assert_int_equal(since.ms, DAY(4).ms);
}

static void electrode(int day, double slope)
{
    struct calib c = CALIB_IDENTITY;
    c.kind = CALIB_ELECTRODE;
    c.slope_fraction[0] = c.slope_fraction[1] = slope;
    c.since = DAY(day);
    fitting_calibrate(&f, &c);
}

static void an_electrode_ages(void **state)
{
    (void)state;
    double slope;
    assert_true(isnan(fitting_slope_month(&f, &slope)) && isnan(slope));
    electrode(1, 0.99);
    electrode(5, 0.985);
    assert_true(isnan(fitting_slope_month(&f, &slope))); /* four days tell nothing */
    electrode(61, 0.95);
    assert_true(fabs(fitting_slope_month(&f, &slope) + 2) < 1e-9);
    assert_true(fabs(slope - 95) < 1e-9);
    fitting_assign(&f, "new", DAY(70)); /* another device has another slope */
    electrode(80, 0.99);
    assert_true(isnan(fitting_slope_month(&f, &slope)));
}

static void fresh_until_calibrated(void **state)
{
    (void)state;
    assert_false(fitting_is_fresh(&f));
    fitting_assign(&f, "new", DAY(3));
    assert_false(fitting_is_fresh(&f));
    calibrate(3, 1);
    assert_true(fitting_is_fresh(&f));
    calibrate(4, 1.1);
    assert_false(fitting_is_fresh(&f));
}

static void survives(void **state)
{
    (void)state;
    uint8_t bytes[2048];
    calibrate(1, 3);
    fitting_assign(&f, "probe 7", DAY(2));
    struct pack w = pack_writer(bytes, sizeof bytes);
    fitting_visit(&f, &w, &configured);
    assert_false(w.bad);
    struct fitting g;
    struct calib other = configured;
    other.gain = 2.5;
    fitting_init(&g, &other);
    struct pack r = pack_reader(bytes, w.at);
    fitting_visit(&g, &r, &other);
    assert_false(r.bad);
    assert_string_equal(g.device, "probe 7");
    assert_true(fitting_calib(&g)->gain == 3);
    assert_true(fitting_undo(&g));
    assert_true(fitting_calib(&g)->gain == 2.5); /* as it is configured now */
    bytes[0] = 0xff;
    r = pack_reader(bytes, w.at);
    fitting_visit(&g, &r, &other);
    assert_true(r.bad);
}

int main(void)
{
#define TEST(t) cmocka_unit_test_setup(t, set_up)
    const struct CMUnitTest tests[] = {
        TEST(each_reading_has_the_calibration_of_its_time),
        TEST(one_by_one_taken_back),
        TEST(a_device_counts_when_it_is_sure),
        TEST(an_electrode_ages),
        TEST(fresh_until_calibrated),
        TEST(survives),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
