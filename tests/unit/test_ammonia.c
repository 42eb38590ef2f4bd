/* Percent un-ionised: Emerson et al. (1975), table 3, to its three digits. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "water/ammonia.h"
#include "near.h"

static void emerson_table(void **state)
{
    (void)state;
    static const struct {
        double t, ph, percent;
    } table[] = { { 5, 7, 0.125 },  { 10, 7, 0.186 }, { 15, 8, 2.67 }, { 20, 7, 0.396 }, { 20, 8, 3.82 },
                  { 25, 7, 0.566 }, { 25, 8, 5.38 },  { 25, 9, 36.3 }, { 30, 8, 7.46 },  { 30, 9, 44.6 } };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        double f = 0;
        assert_int_equal(ammonia_fraction(table[i].ph, table[i].t, &f, NULL), STATUS_OK);
        near(100 * f, table[i].percent, 0.006 * table[i].percent);
    }
}

static void half_at_pka(void **state)
{
    (void)state;
    double pka = 0, f = 0;
    assert_int_equal(ammonia_pka(25, &pka, NULL), STATUS_OK);
    near(pka, 9.2464, 0.0001);
    assert_int_equal(ammonia_fraction(pka, 25, &f, NULL), STATUS_OK);
    near(f, 0.5, 1e-12);
}

static void corrected_is_lower(void **state)
{
    (void)state;
    double plain = 0, corrected = 0, none = 0;
    assert_int_equal(ammonia_fraction(8, 25, &plain, NULL), STATUS_OK);
    assert_int_equal(ammonia_fraction_corrected(8, 25, 300, &corrected, NULL), STATUS_OK);
    assert_int_equal(ammonia_fraction_corrected(8, 25, 0, &none, NULL), STATUS_OK);
    near(none, plain, 1e-15);
    assert_true(corrected < plain * 0.96 && corrected > plain * 0.90);
}

static void refusals(void **state)
{
    (void)state;
    double f = 7;
    struct why why;
    assert_int_equal(ammonia_fraction(3.9, 25, &f, &why), STATUS_INVALID);
    assert_int_equal(ammonia_fraction(7, -1, &f, &why), STATUS_INVALID);
    assert_int_equal(ammonia_fraction((double)NAN, 25, &f, &why), STATUS_INVALID);
    assert_int_equal(ammonia_fraction_corrected(7, 25, -1, &f, &why), STATUS_INVALID);
    assert_int_equal(ammonia_fraction_corrected(7, 60, 100, &f, &why), STATUS_INVALID);
    assert_true(f == 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(emerson_table),
        cmocka_unit_test(half_at_pka),
        cmocka_unit_test(corrected_is_lower),
        cmocka_unit_test(refusals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
