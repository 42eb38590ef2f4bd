#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "near.h"

#include <math.h>

#include "rehearse/dice.h"

static void same_seed_same_rolls(void **state)
{
    (void)state;
    struct dice a = dice_init(7, "tank", 3), b = dice_init(7, "tank", 3);
    struct dice other = dice_init(7, "tank", 4), seed = dice_init(8, "tank", 3),
                name = dice_init(7, "rack", 3);
    int same_other = 0, same_seed = 0, same_name = 0;
    for (int i = 0; i < 1000; i++) {
        double x = dice_unit(&a);
        assert_true(x == dice_unit(&b));
        same_other += x == dice_unit(&other);
        same_seed += x == dice_unit(&seed);
        same_name += x == dice_unit(&name);
    }
    assert_int_equal(same_other + same_seed + same_name, 0);
}

static void rolls_are_fair(void **state)
{
    (void)state;
    struct dice d = dice_init(1, "fair", 0);
    const int n = 20000;
    double sum = 0, squares = 0, unit = 0;
    int hits = 0, faces[6] = { 0 };
    for (int i = 0; i < n; i++) {
        double x = dice_normal(&d, 3, 2);
        sum += x;
        squares += (x - 3) * (x - 3);
        double u = dice_unit(&d);
        assert_true(u >= 0 && u < 1);
        unit += u;
        hits += (int)dice_chance(&d, 0.25);
        faces[dice_below(&d, 6)]++;
    }
    assert_near(sum / n, 3, 0.06);
    assert_near(sqrt(squares / n), 2, 0.05);
    assert_near(unit / n, 0.5, 0.01);
    assert_near((double)hits / n, 0.25, 0.015);
    for (int i = 0; i < 6; i++)
        assert_near((double)faces[i] / n, 1 / 6.0, 0.015);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(same_seed_same_rolls),
                                        cmocka_unit_test(rolls_are_fair) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
