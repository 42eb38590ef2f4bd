#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <cmocka.h>

#include "model/steady.h"
#include "near.h"

static void an_electrode_comes_to_rest(void **state)
{
    (void)state;
    struct steady s = { .count = 0 };
    double v[] = { 100, 140, 160, 167, 171, 171.5, 172, 171.8, 171.2, 171.6 };
    bool steady[] = { 0, 0, 0, 0, 0, 0, 0, 0, 0, 1 };
    for (int i = 0; i < 10; i++) {
        steady_add(&s, i * 5000, v[i]);
        if (steady_view(&s, 1.0).steady != steady[i])
            fail_msg("at reading %d", i);
    }
    struct steady_view view = steady_view(&s, 1.0);
    assert_near(view.mean, (171 + 171.5 + 172 + 171.8 + 171.2 + 171.6) / 6, 1e-9);
    assert_near(view.span, 1, 1e-9);
    assert_near(view.most, 4, 0);
    assert_int_equal(view.took_ms, 25000);
}

static void quick_readings_wait_for_the_time(void **state)
{
    (void)state;
    struct steady s = { .count = 0 };
    assert_true(isnan(steady_view(&s, 1).mean));
    for (int i = 0; i < 100; i++)
        steady_add(&s, i * 100, 7);
    assert_false(steady_view(&s, 1).steady);
    for (int i = 0; i < 12; i++)
        steady_add(&s, 20000 + i * 2000, 7 + 0.1 * (i % 2));
    struct steady_view view = steady_view(&s, 1);
    assert_true(view.steady && view.count == 11 && view.took_ms == 20000);
}

static void noise_suits_the_probe(void **state)
{
    (void)state;
    assert_near(steady_noise(Q_PH, true, 170), 1, 0);
    assert_near(steady_noise(Q_PH, false, 7), 0.02, 0);
    assert_near(steady_noise(Q_EC, false, 1413), 7.065, 1e-9);
    assert_near(steady_noise(Q_EC, false, 84), 4, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_electrode_comes_to_rest),
        cmocka_unit_test(quick_readings_wait_for_the_time),
        cmocka_unit_test(noise_suits_the_probe),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
