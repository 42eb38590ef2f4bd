#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "engine/timers.h"

#define IDS 40

static struct arena arena;
static struct timers timers;

static int make(void **state)
{
    (void)state;
    arena = (struct arena){ 0 };
    timers_init(&timers, IDS, &arena);
    return 0;
}

static int unmake(void **state)
{
    (void)state;
    arena_fini(&arena);
    return 0;
}

static void set(int id, int64_t ms)
{
    timers_set(&timers, id, (mono_t){ ms });
}

static void nothing_is_due_at_first(void **state)
{
    (void)state;
    assert_int_equal(timers_next(&timers).ms, MONO_NEVER.ms);
    assert_int_equal(timers_due(&timers, 3).ms, MONO_NEVER.ms);
    assert_int_equal(timers_take(&timers, (mono_t){ INT64_MAX - 1 }, true), -1);
}

static void before_and_at(void **state)
{
    (void)state;
    set(4, 100);
    assert_int_equal(timers_take(&timers, (mono_t){ 99 }, true), -1);
    assert_int_equal(timers_take(&timers, (mono_t){ 100 }, false), -1);
    assert_int_equal(timers_take(&timers, (mono_t){ 100 }, true), 4);
    assert_int_equal(timers_take(&timers, (mono_t){ 1000 }, true), -1);
    assert_int_equal(timers_due(&timers, 4).ms, MONO_NEVER.ms);
}

static void equal_deadlines_by_id(void **state)
{
    (void)state;
    static const int order[] = { 7, 2, 39, 0, 20 }, sorted[] = { 0, 2, 7, 20, 39 };
    for (int i = 0; i < 5; i++)
        set(order[i], -5);
    for (int i = 0; i < 5; i++)
        assert_int_equal(timers_take(&timers, (mono_t){ 0 }, true), sorted[i]);
}

static void set_again_moves_and_never_takes_out(void **state)
{
    (void)state;
    set(1, 10);
    set(2, 20);
    set(3, 30);
    set(1, 40);
    set(3, 5);
    set(2, MONO_NEVER.ms);
    set(2, MONO_NEVER.ms);
    assert_int_equal(timers_next(&timers).ms, 5);
    assert_int_equal(timers_take(&timers, (mono_t){ 100 }, true), 3);
    assert_int_equal(timers_take(&timers, (mono_t){ 100 }, true), 1);
    assert_int_equal(timers_take(&timers, (mono_t){ 100 }, true), -1);
}

static uint64_t dice = 88172645463325252u;

static unsigned roll(unsigned sides)
{
    dice ^= dice << 13;
    dice ^= dice >> 7;
    dice ^= dice << 17;
    return (unsigned)((dice >> 33) % sides);
}

/* Against a plain array that is searched from end to end. */
static void random_use_equals_an_array(void **state)
{
    (void)state;
    int64_t due[IDS], now = 0;
    for (int i = 0; i < IDS; i++)
        due[i] = INT64_MAX;
    for (int step = 0; step < 20000; step++) {
        int id = (int)roll(IDS), best = -1;
        if (roll(3) > 0) {
            due[id] = roll(5) == 0 ? INT64_MAX : now + (int64_t)roll(50) - 10;
            set(id, due[id]);
            assert_int_equal(timers_due(&timers, id).ms, due[id]);
            continue;
        }
        now += roll(12);
        bool inclusive = roll(2);
        for (int i = 0; i < IDS; i++)
            if (due[i] != INT64_MAX && (best < 0 || due[i] < due[best]))
                best = i;
        assert_int_equal(timers_next(&timers).ms, best < 0 ? INT64_MAX : due[best]);
        if (best >= 0 && (due[best] > now || (due[best] == now && !inclusive)))
            best = -1;
        assert_int_equal(timers_take(&timers, (mono_t){ now }, inclusive), best);
        if (best >= 0)
            due[best] = INT64_MAX;
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(nothing_is_due_at_first, make, unmake),
        cmocka_unit_test_setup_teardown(before_and_at, make, unmake),
        cmocka_unit_test_setup_teardown(equal_deadlines_by_id, make, unmake),
        cmocka_unit_test_setup_teardown(set_again_moves_and_never_takes_out, make, unmake),
        cmocka_unit_test_setup_teardown(random_use_equals_an_array, make, unmake),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
