/* Mass balance worked by hand beside each case, and properties: what is mixed back gives what was there. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/mixing.h"
#include "near.h"
#include "chance.h"

static struct why why;

static void says(const char *word)
{
    if (strstr(why.text, word) == NULL)
        fail_msg("\"%s\" does not say %s", why.text, word);
}

static void one_change(void **state)
{
    (void)state;
    double v = 0;
    assert_int_equal(mixing_change(400, 100, 0.25, &v, NULL), STATUS_OK);
    near(v, 325, 1e-9);
    assert_int_equal(mixing_fraction(400, 325, 100, &v, NULL), STATUS_OK);
    near(v, 0.25, 1e-12);
    assert_int_equal(mixing_fraction(400, 100, 100, &v, NULL), STATUS_OK);
    near(v, 1, 0);
    assert_int_equal(mixing_fraction(400, 400, 100, &v, NULL), STATUS_OK);
    near(v, 0, 0);
    assert_int_equal(mixing_repeat(400, 100, 0.25, 2, &v, NULL), STATUS_OK);
    near(v, 100 + 300 * 0.5625, 1e-9);
    assert_int_equal(mixing_repeat(400, 100, 0.25, 0, &v, NULL), STATUS_OK);
    near(v, 400, 0);
    assert_int_equal(mixing_repeat(400, 100, 1, 1, &v, NULL), STATUS_OK);
    near(v, 100, 0);
}

static void fewest_changes(void **state)
{
    (void)state;
    double n = 0, f = 0;
    assert_int_equal(mixing_changes(400, 200, 100, 0.25, &n, &f, NULL), STATUS_OK);
    near(n, 4, 0); /* 0.75^4 = 0.316 <= 1/3 < 0.75^3 */
    near(f, 1 - pow(1.0 / 3, 0.25), 1e-12);
    assert_int_equal(mixing_changes(400, 100 + 300 * 0.75 * 0.75, 100, 0.25, &n, &f, NULL), STATUS_OK);
    near(n, 2, 0); /* exactly on the edge */
    near(f, 0.25, 1e-9);
    assert_int_equal(mixing_changes(400, 400, 100, 0.25, &n, &f, NULL), STATUS_OK);
    near(n, 0, 0);
    near(f, 0, 0);
    assert_int_equal(mixing_changes(400, 100, 100, 1, &n, &f, NULL), STATUS_OK);
    near(n, 1, 0);
    near(f, 1, 0);
    assert_int_equal(mixing_changes(100, 150, 300, 0.2, &n, &f, NULL), STATUS_OK);
    near(n, 2, 0); /* rising: 0.8^2 = 0.64 <= 0.75 */
    assert_int_equal(mixing_changes(400, 100, 100, 0.5, &n, &f, &why), STATUS_REFUSED);
    says("ever nearer");
}

static void changes_reach_the_target(void **state)
{
    (void)state;
    for (int i = 0; i < 2000; i++) {
        double c0 = random_between(0, 500), cn = random_between(0, 500), most = random_between(0.05, 1);
        double ct = c0 + (cn - c0) * random_between(0, 0.99), n = 0, f = 0, c = 0;
        assert_int_equal(mixing_changes(c0, ct, cn, most, &n, &f, NULL), STATUS_OK);
        assert_true(f <= most * (1 + 1e-6));
        assert_int_equal(mixing_repeat(c0, cn, f, n, &c, NULL), STATUS_OK);
        near(c, ct, 1e-6);
        if (n > 1) {
            assert_int_equal(mixing_repeat(c0, cn, most, n - 1, &c, NULL), STATUS_OK);
            assert_true(fabs(c - cn) >= fabs(ct - cn) * (1 - 1e-6));
        }
    }
}

static void out_of_reach(void **state)
{
    (void)state;
    double v = 7, f = 7;
    assert_int_equal(mixing_fraction(400, 300, 400, &v, &why), STATUS_REFUSED);
    says("equal to the tank");
    assert_int_equal(mixing_fraction(400, 50, 100, &v, &why), STATUS_REFUSED);
    says("nearest is 100");
    assert_int_equal(mixing_fraction(400, 450, 100, &v, &why), STATUS_REFUSED);
    says("away");
    assert_int_equal(mixing_changes(400, 50, 100, 0.3, &v, &f, &why), STATUS_REFUSED);
    assert_int_equal(mixing_repeat(400, 100, 1.2, 1, &v, &why), STATUS_REFUSED);
    says("100 %");
    assert_int_equal(mixing_changes(400, 300, 100, 1.5, &v, &f, &why), STATUS_REFUSED);
    assert_int_equal(mixing_repeat(400, 100, -0.1, 1, &v, &why), STATUS_INVALID);
    assert_int_equal(mixing_repeat(400, 100, 0.1, 1.5, &v, &why), STATUS_INVALID);
    assert_int_equal(mixing_repeat(400, 100, 0.1, -1, &v, &why), STATUS_INVALID);
    assert_int_equal(mixing_changes(400, 300, 100, 0, &v, &f, &why), STATUS_INVALID);
    assert_int_equal(mixing_fraction(-1, 300, 400, &v, &why), STATUS_INVALID);
    assert_int_equal(mixing_fraction(400, (double)NAN, 100, &v, &why), STATUS_INVALID);
    assert_true(v == 7 && f == 7);
}

static void steps(void **state)
{
    (void)state;
    double n = 7;
    assert_int_equal(mixing_stages(400, 200, 50, &n, NULL), STATUS_OK);
    near(n, 4, 0);
    assert_int_equal(mixing_stages(200, 401, 50, &n, NULL), STATUS_OK);
    near(n, 5, 0);
    assert_int_equal(mixing_stages(0.3, 0, 0.1, &n, NULL), STATUS_OK);
    near(n, 3, 0); /* 0.3/0.1 is a hair above 3 */
    assert_int_equal(mixing_stages(200, 200, 50, &n, NULL), STATUS_OK);
    near(n, 0, 0);
    n = 7;
    assert_int_equal(mixing_stages(400, 200, 0, &n, &why), STATUS_INVALID);
    assert_int_equal(mixing_stages(400, 200, -5, &n, &why), STATUS_INVALID);
    assert_int_equal(mixing_stages((double)NAN, 200, 5, &n, &why), STATUS_INVALID);
    assert_true(n == 7);
}

static void evaporation(void **state)
{
    (void)state;
    double v = 0;
    assert_int_equal(mixing_topoff_full(200, 220, 22, &v, NULL), STATUS_OK);
    near(v, 2, 1e-12);
    assert_int_equal(mixing_topoff_now(200, 220, 20, &v, NULL), STATUS_OK);
    near(v, 2, 1e-12);
    assert_int_equal(mixing_topoff_now(200, 200, 20, &v, NULL), STATUS_OK);
    near(v, 0, 0);
    v = 7;
    assert_int_equal(mixing_topoff_full(220, 200, 22, &v, &why), STATUS_REFUSED);
    says("nothing has evaporated");
    assert_int_equal(mixing_topoff_full(0, 200, 22, &v, &why), STATUS_INVALID);
    assert_int_equal(mixing_topoff_full(200, 220, 0, &v, &why), STATUS_INVALID);
    assert_int_equal(mixing_topoff_now(200, 220, -3, &v, &why), STATUS_INVALID);
    assert_true(v == 7);
}

static void two_sources(void **state)
{
    (void)state;
    double a = 0, b = 0;
    assert_int_equal(mixing_blend(10, 500, 200, 49, &a, &b, NULL), STATUS_OK);
    near(a, 30, 1e-9);
    near(b, 19, 1e-9);
    assert_int_equal(mixing_blend(10, 500, 500, 49, &a, &b, NULL), STATUS_OK);
    near(a, 0, 0);
    near(b, 49, 0);
    a = b = 7;
    assert_int_equal(mixing_blend(10, 500, 600, 49, &a, &b, &why), STATUS_REFUSED);
    says("nearest is 500");
    assert_int_equal(mixing_blend(10, 500, 5, 49, &a, &b, &why), STATUS_REFUSED);
    says("nearest is 10");
    assert_int_equal(mixing_blend(100, 100, 100, 49, &a, &b, &why), STATUS_REFUSED);
    says("same");
    assert_int_equal(mixing_blend(10, 500, 200, 0, &a, &b, &why), STATUS_INVALID);
    assert_true(a == 7 && b == 7);
}

static void two_salts(void **state)
{
    (void)state;
    double g[2] = { 0, 0 };
    struct mixing_salt s[] = { { 30, 15 }, { 38, 0 } };
    struct mixing_dose d = { 20, 1, 0.5, 6, 2 };
    assert_int_equal(mixing_grams(&d, s, 2, g, NULL), STATUS_OK);
    near(g[0], 2, 1e-9);                        /* KH: 1.5 * 20 / 15 */
    near(g[1], (5 * 20 - 2 * 30) / 38.0, 1e-9); /* the GH that is left */
    struct mixing_dose there = { 20, 6, 2, 6, 2 };
    assert_int_equal(mixing_grams(&there, s, 2, g, NULL), STATUS_OK);
    near(g[0] + g[1], 0, 1e-12);
    struct mixing_dose only_b = { 20, 1, 2, 6, 2 };
    assert_int_equal(mixing_grams(&only_b, s, 2, g, NULL), STATUS_OK);
    near(g[0], 0, 1e-12);
    near(g[1], 100 / 38.0, 1e-9);
}

static void doses_out_of_reach(void **state)
{
    (void)state;
    double g[3] = { 7, 7, 7 };
    struct mixing_salt s[] = { { 30, 15 }, { 38, 0 } }, same[] = { { 30, 15 }, { 20, 10 } };
    struct mixing_dose too_much_kh = { 20, 0, 0, 2, 4 }, down = { 20, 6, 2, 4, 2 }, up = { 20, 0, 0, 6, 2 };
    assert_int_equal(mixing_grams(&too_much_kh, s, 2, g, &why), STATUS_REFUSED);
    says("negative");
    says("nearest is GH 3.2 KH 1.6"); /* the foot of (2, 4) on the line of (30, 15): factor 120/1125 */
    assert_int_equal(mixing_grams(&down, s, 2, g, &why), STATUS_REFUSED);
    says("only add");
    assert_int_equal(mixing_grams(&up, same, 2, g, &why), STATUS_REFUSED);
    says("same ratio");
    struct mixing_salt nothing[] = { { 0, 0 }, { 38, 0 } }, negative[] = { { -1, 3 }, { 38, 0 } };
    assert_int_equal(mixing_grams(&up, nothing, 2, g, &why), STATUS_INVALID);
    assert_int_equal(mixing_grams(&up, negative, 2, g, &why), STATUS_INVALID);
    assert_int_equal(mixing_grams(&up, s, 0, g, &why), STATUS_INVALID);
    struct mixing_dose no_water = { 0, 0, 0, 6, 2 };
    assert_int_equal(mixing_grams(&no_water, s, 2, g, &why), STATUS_INVALID);
    assert_true(g[0] == 7 && g[1] == 7);
}

static void any_number_of_salts(void **state)
{
    (void)state;
    for (int round = 0; round < 2000; round++) {
        struct mixing_salt s[5];
        double x[5], g[5], gh = 0, kh = 0;
        size_t n = 1 + (size_t)random_between(0, 4.99);
        for (size_t i = 0; i < n; i++) {
            s[i] = (struct mixing_salt){ random_between(0.1, 40), random_between(0.1, 40) };
            x[i] = random_between(0, 0.3);
            gh += x[i] * s[i].gh_dh;
            kh += x[i] * s[i].kh_dh;
        }
        struct mixing_dose d = { 30, 1, 1, 1 + gh, 1 + kh };
        assert_int_equal(mixing_grams(&d, s, n, g, NULL), STATUS_OK);
        double got_gh = 0, got_kh = 0;
        for (size_t i = 0; i < n; i++) {
            assert_true(g[i] >= 0);
            got_gh += g[i] / 30 * s[i].gh_dh;
            got_kh += g[i] / 30 * s[i].kh_dh;
        }
        near(got_gh, gh, 1e-6);
        near(got_kh, kh, 1e-6);
    }
}

int main(void)
{
    print_message("seed %llu\n", (unsigned long long)seed);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_change),
        cmocka_unit_test(fewest_changes),
        cmocka_unit_test(out_of_reach),
        cmocka_unit_test(changes_reach_the_target),
        cmocka_unit_test(steps),
        cmocka_unit_test(evaporation),
        cmocka_unit_test(two_sources),
        cmocka_unit_test(two_salts),
        cmocka_unit_test(doses_out_of_reach),
        cmocka_unit_test(any_number_of_salts),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
