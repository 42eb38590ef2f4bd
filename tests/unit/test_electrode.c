/* Nernst slopes 54.20, 58.17, 59.16, 60.15 mV at 0, 20, 25, 30 degrees (every textbook; CODATA constants).
 * Buffers: NIST / DIN 19266, 4.002 / 6.881 / 9.225 at 20 degrees. Points are made from the model itself: fit
 * and use are inverse. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/electrode.h"
#include "near.h"

static double mv_of(double offset, double k, double t, double ph)
{
    double s = 0;
    assert_int_equal(electrode_slope(t, &s, NULL), STATUS_OK);
    return offset - k * s * (ph - 7);
}

static void nernst(void **state)
{
    (void)state;
    near(mv_of(0, 1, 25, 6), 59.1593, 0.0001);
    near(mv_of(0, 1, 0, 6), 54.199, 0.001);
    near(mv_of(0, 1, 20, 6), 58.168, 0.001);
    near(mv_of(0, 1, 30, 6), 60.152, 0.001);
}

static void buffers(void **state)
{
    (void)state;
    double ph = 0;
    assert_int_equal(electrode_buffer_ph(4.01, 20, &ph, NULL), STATUS_OK);
    near(ph, 4.002, 1e-9);
    assert_int_equal(electrode_buffer_ph(6.86, 25, &ph, NULL), STATUS_OK);
    near(ph, 6.865, 1e-9);
    assert_int_equal(electrode_buffer_ph(9.18, 22.5, &ph, NULL), STATUS_OK);
    near(ph, 9.2025, 1e-9);
    assert_int_equal(electrode_buffer_ph(9.18, 50, &ph, NULL), STATUS_OK);
    near(ph, 9.011, 1e-9);
    assert_int_equal(electrode_buffer_ph(7.00, 25, &ph, NULL), STATUS_NONE);
    assert_int_equal(electrode_buffer_ph(4.01, 51, &ph, NULL), STATUS_INVALID);
}

static void one_point_sets_the_offset(void **state)
{
    (void)state;
    struct electrode e;
    struct electrode_quality q;
    struct electrode_point p = { mv_of(12, 1, 20, 6.88), 6.88 };
    double ph = 0;
    assert_int_equal(electrode_fit(&p, 1, 20, &e, &q, NULL), STATUS_OK);
    near(e.offset_mv, 12, 1e-9);
    near(q.slope_percent, 100, 1e-12);
    assert_true(isnan(q.residual_mv));
    assert_int_equal(electrode_ph(&e, mv_of(12, 1, 28, 7.6), 28, &ph, NULL), STATUS_OK);
    near(ph, 7.6, 1e-9);
}

static void two_points_at_another_temperature(void **state)
{
    (void)state;
    struct electrode e;
    struct electrode_quality q;
    /* Given in falling order on purpose. */
    struct electrode_point p[] = { { mv_of(-8, 0.93, 18, 9.23), 9.23 }, { mv_of(-8, 0.93, 18, 6.89), 6.89 } };
    double ph = 0, mv = 0;
    assert_int_equal(electrode_fit(p, 2, 18, &e, &q, NULL), STATUS_OK);
    near(e.offset_mv, -8, 1e-9);
    near(q.slope_percent, 93, 1e-9);
    assert_int_equal(q.health, ELECTRODE_AGEING);
    assert_int_equal(electrode_ph(&e, mv_of(-8, 0.93, 26, 5.5), 26, &ph, NULL), STATUS_OK);
    near(ph, 5.5, 1e-9);
    assert_int_equal(electrode_mv(&e, 5.5, 26, &mv, NULL), STATUS_OK);
    near(mv, mv_of(-8, 0.93, 26, 5.5), 1e-9);
}

static void three_points_bend_at_the_middle(void **state)
{
    (void)state;
    struct electrode e;
    struct electrode_quality q;
    double mid = mv_of(5, 0.97, 25, 6.865), s = mv_of(0, 1, 25, 6), ph = 0, mv = 0;
    struct electrode_point p[] = { { mid + 0.99 * s * (6.865 - 4.008), 4.008 },
                                   { mid, 6.865 },
                                   { mid - 0.97 * s * (9.18 - 6.865), 9.18 } };
    assert_int_equal(electrode_fit(p, 3, 25, &e, &q, NULL), STATUS_OK);
    near(e.slope_fraction[0], 0.99, 1e-9);
    near(e.slope_fraction[1], 0.97, 1e-9);
    near(e.offset_mv, 5, 1e-9);
    near(e.pivot_ph, 6.865, 0);
    assert_true(q.residual_mv > 0.1 && q.residual_mv < 5);
    assert_true(q.slope_percent > 97 && q.slope_percent < 99);
    for (int i = 0; i < 3; i++) {
        assert_int_equal(electrode_ph(&e, p[i].mv, 25, &ph, NULL), STATUS_OK);
        near(ph, p[i].buffer_ph, 1e-9);
    }
    for (double want = 3; want < 11; want += 0.25) {
        assert_int_equal(electrode_mv(&e, want, 31, &mv, NULL), STATUS_OK);
        assert_int_equal(electrode_ph(&e, mv, 31, &ph, NULL), STATUS_OK);
        near(ph, want, 1e-9);
    }
}

static void straight_three_points_leave_no_residual(void **state)
{
    (void)state;
    struct electrode e;
    struct electrode_quality q;
    struct electrode_point p[] = { { mv_of(35, 0.98, 25, 4.01), 4.01 },
                                   { mv_of(35, 0.98, 25, 7.0), 7.0 },
                                   { mv_of(35, 0.98, 25, 10.01), 10.01 } };
    assert_int_equal(electrode_fit(p, 3, 25, &e, &q, NULL), STATUS_OK);
    near(q.residual_mv, 0, 1e-9);
    near(q.slope_percent, 98, 1e-9);
    assert_int_equal(q.health, ELECTRODE_SUSPECT); /* offset beyond 30 mV */
}

static void fit_refused(const struct electrode_point *p, int n, double t, enum status want, const char *word)
{
    struct electrode e = { 7, 7, { 7, 7 } };
    struct electrode_quality q;
    struct why why;
    assert_int_equal(electrode_fit(p, n, t, &e, &q, &why), want);
    if (strstr(why.text, word) == NULL)
        fail_msg("\"%s\" does not say %s", why.text, word);
    assert_true(e.offset_mv == 7);
}

static void refusals(void **state)
{
    (void)state;
    struct electrode_point twice[] = { { 177, 4.01 }, { 170, 4.01 } };
    struct electrode_point flat[] = { { 10, 4.01 }, { 9, 7.0 } };
    struct electrode_point wrong[] = { { -177, 4.01 }, { 0, 7.0 } };
    struct electrode_point steep[] = { { 250, 4.01 }, { 0, 7.0 } };
    struct electrode_point far[] = { { 240, 4.01 }, { 62, 7.0 } };
    struct electrode_point bent[] = { { 177, 4.01 }, { 0, 7.0 }, { -20, 10.01 } };
    fit_refused(twice, 2, 25, STATUS_REFUSED, "same");
    fit_refused(flat, 2, 25, STATUS_REFUSED, "next to nothing");
    fit_refused(wrong, 2, 25, STATUS_REFUSED, "wrong sign");
    fit_refused(steep, 2, 25, STATUS_REFUSED, "more than any");
    fit_refused(far, 2, 25, STATUS_REFUSED, "offset");
    fit_refused(bent, 3, 25, STATUS_REFUSED, "alkaline side");
    fit_refused(far, 0, 25, STATUS_INVALID, "one to three");
    fit_refused(far, 4, 25, STATUS_INVALID, "one to three");
    fit_refused(far, 2, 99, STATUS_INVALID, "temperature");
    struct electrode_point mad[] = { { 2400, 4.01 } };
    fit_refused(mad, 1, 25, STATUS_INVALID, "voltage");
    struct electrode ideal = ELECTRODE_IDEAL;
    double ph = 7;
    struct why why;
    assert_int_equal(electrode_ph(&ideal, -800, 25, &ph, &why), STATUS_REFUSED);
    assert_int_equal(electrode_ph(&ideal, 0, -3, &ph, &why), STATUS_INVALID);
    assert_int_equal(electrode_mv(&ideal, 15, 25, &ph, &why), STATUS_INVALID);
    assert_true(ph == 7);
}

static void health_by_slope(void **state)
{
    (void)state;
    const struct {
        double k;
        enum electrode_health health;
    } cases[] = { { 0.99, ELECTRODE_GOOD },
                  { 0.94, ELECTRODE_AGEING },
                  { 0.85, ELECTRODE_REPLACE },
                  { 1.04, ELECTRODE_SUSPECT } };
    for (size_t i = 0; i < 4; i++) {
        struct electrode_point p[] = { { mv_of(0, cases[i].k, 25, 4), 4 },
                                       { mv_of(0, cases[i].k, 25, 7), 7 } };
        struct electrode e;
        struct electrode_quality q;
        assert_int_equal(electrode_fit(p, 2, 25, &e, &q, NULL), STATUS_OK);
        assert_int_equal(q.health, cases[i].health);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nernst),
        cmocka_unit_test(buffers),
        cmocka_unit_test(one_point_sets_the_offset),
        cmocka_unit_test(two_points_at_another_temperature),
        cmocka_unit_test(three_points_bend_at_the_middle),
        cmocka_unit_test(straight_three_points_leave_no_residual),
        cmocka_unit_test(refusals),
        cmocka_unit_test(health_by_slope),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
