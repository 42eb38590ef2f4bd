#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <math.h>
#include "model/calib.h"
#include "water/electrode.h"

static void near(double got, double want)
{
    if (!(fabs(got - want) < 1e-3))
        fail_msg("got %.9g, want %.9g", got, want);
}

static void straight_line(void **state)
{
    (void)state;
    struct calib c = CALIB_IDENTITY;
    assert_true(calib_apply(&c, 24.625, NAN) == 24.625);
    c.gain = 1.02;
    c.offset = -0.3;
    near(calib_apply(&c, 24.6, NAN), 24.792);
}

/* 59.159 mV a pH at 25 degrees, 58.167 at 20. */
static void electrode_by_temperature(void **state)
{
    (void)state;
    struct calib c = CALIB_IDENTITY;
    c.kind = CALIB_ELECTRODE;
    near(calib_apply(&c, 0, 25), 7);
    near(calib_apply(&c, 59.159, 25), 6);
    near(calib_apply(&c, -58.167, 20), 8);
    c.offset_mv = 10;
    c.slope_fraction[0] = 0.95;
    c.slope_fraction[1] = 0.9;
    near(calib_apply(&c, 10 + 0.95 * 59.159, 25), 6);
    near(calib_apply(&c, 10 - 0.9 * 59.159, 25), 8);
}

/* Buffers 4, 6.86 and 9.18 at 25 degrees: the bend is at the middle one, not at 7. */
static void three_points_bend_at_the_middle_buffer(void **state)
{
    (void)state;
    const struct electrode_point points[] = { { 172, 4.0 }, { 10, 6.86 }, { -115, 9.18 } };
    struct electrode e;
    struct electrode_quality quality;
    assert_int_equal(electrode_fit(points, 3, 25, &e, &quality, NULL), STATUS_OK);
    struct calib c = CALIB_IDENTITY;
    c.kind = CALIB_ELECTRODE;
    c.offset_mv = e.offset_mv;
    c.slope_fraction[0] = e.slope_fraction[0];
    c.slope_fraction[1] = e.slope_fraction[1];
    c.pivot_ph = e.pivot_ph;
    for (int i = 0; i < 3; i++)
        near(calib_apply(&c, points[i].mv, 25), points[i].buffer_ph);
    c.pivot_ph = 7;
    assert_true(fabs(calib_apply(&c, 172, 25) - 4.0) > 0.002);
}

static void what_cannot_be_said_is_nan(void **state)
{
    (void)state;
    struct calib c = CALIB_IDENTITY;
    assert_true(isnan(calib_apply(&c, NAN, 25)));
    c.gain = 1e300;
    assert_true(isnan(calib_apply(&c, 1e300, 25)));
    c.kind = CALIB_ELECTRODE;
    assert_true(isnan(calib_apply(&c, 59, NAN)));
    assert_true(isnan(calib_apply(&c, 5000, 25)));
    assert_true(isnan(calib_apply(&c, NAN, 25)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(straight_line),
        cmocka_unit_test(electrode_by_temperature),
        cmocka_unit_test(three_points_bend_at_the_middle_buffer),
        cmocka_unit_test(what_cannot_be_said_is_nan),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
