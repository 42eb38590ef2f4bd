/* Stretches are made by stepping the law in small steps (4000 an hour), so the fit is judged by another sum
 * than its own. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/heat_fit.h"
#include "near.h"
#include "chance.h"

static double scratch[HEAT_FIT_SCRATCH(300)];
static struct heat_sample samples[300];

static double steady_room(double h)
{
    (void)h;
    return 18;
}

static double varying_room(double h)
{
    return 18 + 1.5 * sin(h / 3) - 0.1 * h;
}

/* Heater of so many degrees an hour from heater_from on. */
static void make(size_t n, double step_h, double tau, double t0, double (*room)(double), double noise,
                 double heater_from, double heater_c_h)
{
    double t = t0, h = 0;
    for (size_t i = 0; i < n; i++) {
        for (; h < (double)i * step_h - 1e-9; h += 1.0 / 4000)
            t += ((room(h) - t) / tau + (h >= heater_from ? heater_c_h : 0)) / 4000;
        samples[i] = (struct heat_sample){ h, t + random_between(-noise, noise), room(h) };
    }
}

static struct heat_fit fit(size_t n)
{
    struct heat_fit f;
    struct why why;
    if (heat_fit_tau(samples, n, scratch, &f, &why) != STATUS_OK)
        fail_msg("refused: %s", why.text);
    return f;
}

static void plain_cooling(void **state)
{
    (void)state;
    make(40, 0.25, 6, 26, steady_room, 0, 1e9, 0);
    struct heat_fit f = fit(40);
    near(f.tau_h, 6, 0.006);
    assert_true(f.reliable);
    make(6, 1, 5, 25, steady_room, 0, 1e9, 0);
    near(fit(6).tau_h, 5, 0.01);
    make(30, 0.25, 6, 12, steady_room, 0, 1e9, 0); /* warming towards the room */
    near(fit(30).tau_h, 6, 0.006);
}

static void varying_room_and_noise(void **state)
{
    (void)state;
    for (double tau = 2; tau < 13; tau += 2.5) {
        make(120, 0.1, tau, 27, varying_room, 0.06, 1e9, 0);
        struct heat_fit f = fit(120);
        near(f.tau_h, tau, 0.03 * tau);
        assert_true(f.reliable);
        assert_true(fabs(f.tau_h - tau) < 5 * f.tau_sd_h);
    }
}

static void coarse_steps_in_a_varying_room(void **state)
{
    (void)state;
    make(12, 1, 4, 27, varying_room, 0, 1e9, 0);
    near(fit(12).tau_h, 4, 0.08);
}

static void late_heater_does_no_harm(void **state)
{
    (void)state;
    for (int percent = 60; percent < 100; percent += 10) {
        make(100, 0.1, 6, 26, steady_room, 0.03, 0.1 * percent, 2.5);
        near(fit(100).tau_h, 6, 0.15);
        make(60, 0.1, 4, 26, varying_room, 0.03, 0.06 * percent, 4);
        near(fit(60).tau_h, 4, 0.2);
    }
}

static void scattered_outliers_do_no_harm(void **state)
{
    (void)state;
    make(50, 0.2, 6, 26, steady_room, 0.03, 1e9, 0);
    for (size_t i = 4; i < 50; i += 7)
        samples[i].temp_c = i % 2 ? 85 : -20;
    near(fit(50).tau_h, 6, 0.15);
}

static void half_steps_of_a_thermometer(void **state)
{
    (void)state;
    make(60, 0.1, 6, 26, steady_room, 0, 1e9, 0);
    for (size_t i = 0; i < 60; i++)
        samples[i].temp_c = floor(samples[i].temp_c * 16 + 0.5) / 16;
    near(fit(60).tau_h, 6, 0.1);
}

static void refused(size_t n, enum status want, const char *word)
{
    struct heat_fit f = { .tau_h = 7 };
    struct why why;
    assert_int_equal(heat_fit_tau(samples, n, scratch, &f, &why), want);
    if (strstr(why.text, word) == NULL)
        fail_msg("\"%s\" does not say %s", why.text, word);
    assert_true(f.tau_h == 7);
}

static void refusals(void **state)
{
    (void)state;
    make(40, 0.25, 6, 26, steady_room, 0, 1e9, 0);
    refused(3, STATUS_REFUSED, "too few");
    samples[5].hours = samples[4].hours;
    refused(40, STATUS_INVALID, "rise");
    samples[5].hours = (double)NAN;
    refused(40, STATUS_INVALID, "hours");
    make(40, 0.25, 6, 18.1, steady_room, 0.05, 1e9, 0);
    refused(40, STATUS_REFUSED, "never more than");
    make(40, 0.25, 6, 22, steady_room, 0, 0, 3); /* heated all along, away from the room */
    refused(40, STATUS_REFUSED, "does not approach");
    make(10, 0.01, 6, 20, steady_room, 0.03, 1e9, 0); /* a tenth of an hour tells nothing */
    refused(10, STATUS_REFUSED, "");
}

int main(void)
{
    print_message("seed %llu\n", (unsigned long long)seed);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(plain_cooling),
        cmocka_unit_test(varying_room_and_noise),
        cmocka_unit_test(coarse_steps_in_a_varying_room),
        cmocka_unit_test(late_heater_does_no_harm),
        cmocka_unit_test(scattered_outliers_do_no_harm),
        cmocka_unit_test(half_steps_of_a_thermometer),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
