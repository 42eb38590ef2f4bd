#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "engine/window.h"
#include "near.h"

#define BIN  (5 * MS_PER_MIN)
#define SPAN (2 * MS_PER_HOUR)
#define T0   INT64_C(1772366400000)

static struct arena arena;
static struct window window;

static int make(void **state)
{
    (void)state;
    arena = (struct arena){ 0 };
    window_init(&window, BIN, SPAN, &arena);
    return 0;
}

static int unmake(void **state)
{
    (void)state;
    arena_fini(&arena);
    return 0;
}

static void add(int64_t ms, double v)
{
    window_add(&window, (utc_t){ T0 + ms }, v);
}

static struct window_range range(int64_t ms, int64_t span_ms)
{
    return window_range(&window, (utc_t){ T0 + ms }, span_ms);
}

static void an_empty_window_knows_nothing(void **state)
{
    (void)state;
    struct window_range r = range(0, SPAN);
    assert_int_equal(r.bins, 0);
    assert_true(isnan(r.lo) && isnan(r.hi) && isnan(r.mean_lo) && isnan(r.mean_hi));
    assert_false(utc_is_set(r.lo_at));
    assert_null(window_at(&window, (utc_t){ T0 }));
    assert_true(isnan(window_mean_over(&window, (utc_t){ T0 }, SPAN)));
}

static void what_is_forgotten_leaves_whole_bins_empty(void **state)
{
    (void)state;
    for (int i = 0; i < 6; i++)
        add(i * BIN, 20 + i);
    window_forget_since(&window, (utc_t){ T0 + 4 * BIN + 1 });
    assert_null(window_at(&window, (utc_t){ T0 + 4 * BIN }));
    assert_near(range(5 * BIN, SPAN).hi, 23, 1e-6);
    add(5 * BIN, 30);
    assert_near(window_mean(window_at(&window, (utc_t){ T0 + 5 * BIN })), 30, 1e-12);
    window_forget_since(&window, (utc_t){ T0 - 30 * MS_PER_DAY });
    assert_int_equal(range(5 * BIN, SPAN).bins, 0);
}

/* A probe that was heard but whose first value still waits has no time yet. */
static void a_time_that_is_not_set_finds_nothing(void **state)
{
    (void)state;
    add(0, 20);
    assert_int_equal(window_range(&window, UTC_NONE, MS_PER_DAY).bins, 0);
    assert_null(window_at(&window, UTC_NONE));
}

static void a_bin_holds_extremes_and_mean(void **state)
{
    (void)state;
    add(0, 20);
    add(BIN - 1, 23);
    add(BIN, 40);
    const struct window_bin *bin = window_at(&window, (utc_t){ T0 + 1000 });
    assert_non_null(bin);
    assert_int_equal(bin->n, 2);
    assert_near(window_mean(bin), 21.5, 1e-12);
    struct window_range r = range(BIN, SPAN);
    assert_int_equal(r.bins, 2);
    assert_near(r.lo, 20, 1e-6);
    assert_near(r.hi, 40, 1e-6);
    assert_near(r.mean_lo, 21.5, 1e-12);
    assert_int_equal(r.hi_at.ms, T0 + BIN);
}

/* One reading 3 °C off among one a minute: neither the mean of an hour nor the day's range tells of it. */
static void one_odd_value_moves_no_mean(void **state)
{
    (void)state;
    for (int minute = 0; minute < 60; minute++)
        add(minute * MS_PER_MIN, minute == 31 ? 27 : 24);
    assert_near(window_mean_over(&window, (utc_t){ T0 + 59 * MS_PER_MIN }, MS_PER_HOUR), 24, 1e-9);
    struct window_range r = range(59 * MS_PER_MIN, MS_PER_HOUR);
    assert_near(r.hi, 27, 1e-6);
    assert_near(r.mean_hi, 24, 1e-9);
    assert_near(r.mean_lo, 24, 1e-9);
}

/* What two bins agree on is no odd value: a step counts from its second bin on, also at the edge. */
static void a_step_moves_the_calm_mean(void **state)
{
    (void)state;
    for (int bin = 0; bin < 12; bin++)
        add(bin * BIN, bin < 6 ? 24 : 22);
    assert_near(window_calm_mean(&window, (utc_t){ T0 + 5 * BIN }), 24, 1e-9);
    assert_near(window_calm_mean(&window, (utc_t){ T0 + 6 * BIN }), 22, 1e-9);
    assert_near(window_calm_mean(&window, (utc_t){ T0 + 11 * BIN }), 22, 1e-9);
    add(12 * BIN, 30);
    assert_near(window_calm_mean(&window, (utc_t){ T0 + 12 * BIN }), 22, 1e-9);
    assert_true(isnan(window_calm_mean(&window, (utc_t){ T0 + 13 * BIN })));
}

static void values_age_out(void **state)
{
    (void)state;
    add(0, 99);
    for (int64_t t = BIN; t <= SPAN; t += BIN)
        add(t, 20);
    assert_near(range(SPAN - BIN, SPAN).hi, 99, 1e-6);
    assert_near(range(SPAN, SPAN).hi, 20, 1e-6);
    add(10 * SPAN, 21);
    assert_int_equal(range(10 * SPAN, SPAN).bins, 1);
}

static void late_values_find_their_place_or_none(void **state)
{
    (void)state;
    add(SPAN, 20);
    add(SPAN / 2, 30);
    assert_near(range(SPAN, SPAN).hi, 30, 1e-6);
    add(-SPAN, 50);
    add(INT64_MIN / 4, 60);
    assert_near(range(SPAN, 100 * SPAN).hi, 30, 1e-6);
    assert_int_equal(range(SPAN, 100 * SPAN).bins, 2);
}

static void times_before_1970_are_one_bin(void **state)
{
    (void)state;
    window_add(&window, (utc_t){ -5 }, 20);
    window_add(&window, (utc_t){ 0 }, 22);
    assert_int_equal(window_range(&window, (utc_t){ 0 }, SPAN).bins, 0); /* (to - span, to] begins after it */
    window_clear(&window);
    assert_null(window_at(&window, (utc_t){ 0 }));
}

static uint64_t dice = 1234567;

static unsigned roll(unsigned sides)
{
    dice ^= dice << 13;
    dice ^= dice >> 7;
    dice ^= dice << 17;
    return (unsigned)((dice >> 33) % sides);
}

/* Against a list of everything, looked through from end to end. */
static void random_values_equal_a_list(void **state)
{
    (void)state;
    static struct {
        int64_t ms;
        double v;
    } list[3000];
    int64_t newest = 0;
    for (int n = 0; n < 3000; n++) {
        newest += (int64_t)roll(40000) * (roll(50) == 0 ? 100 : 1);
        int64_t ms = newest - (roll(4) == 0 ? (int64_t)roll((unsigned)SPAN) : 0);
        list[n].ms = ms;
        list[n].v = 15 + roll(1000) / 64.0; /* exact as float */
        add(ms, list[n].v);
        if (n % 10 != 0)
            continue;
        int64_t span = BIN * (1 + (int64_t)roll(24)), to = newest;
        double lo = INFINITY, hi = -INFINITY;
        int64_t last = (T0 + to) / BIN, first = (T0 + to - span) / BIN + 1;
        for (int i = 0; i <= n; i++) {
            int64_t bin = (T0 + list[i].ms) / BIN;
            if (bin < first || bin > last)
                continue;
            lo = fmin(lo, list[i].v);
            hi = fmax(hi, list[i].v);
        }
        struct window_range r = range(to, span);
        bool none = isinf(lo) && isnan(r.lo) && r.bins == 0;
        if (!none && !(r.lo == lo && r.hi == hi))
            fail_msg("value %d: %g to %g, by the list %g to %g, %d bins", n, r.lo, r.hi, lo, hi, r.bins);
    }
}

static void state_goes_over(void **state)
{
    (void)state;
    static uint8_t bytes[4096];
    struct window other;
    for (int i = 0; i < 60; i++)
        add(i * MS_PER_MIN, 20 + i % 7);
    window_init(&other, BIN, SPAN, &arena);
    struct pack w = pack_writer(bytes, sizeof bytes);
    window_visit(&window, &w);
    assert_false(w.bad);
    struct pack r = pack_reader(bytes, w.at);
    window_visit(&other, &r);
    assert_false(r.bad);
    for (int64_t t = 0; t < 60 * MS_PER_MIN; t += BIN) {
        const struct window_bin *a = window_at(&window, (utc_t){ T0 + t });
        const struct window_bin *b = window_at(&other, (utc_t){ T0 + t });
        assert_non_null(b);
        assert_int_equal(a->n, b->n);
        assert_true(a->lo == b->lo && a->hi == b->hi && a->sum == b->sum);
    }
    assert_int_equal(window.newest, other.newest);
}

/* Gaps and bins that have aged out: what is left comes back, at eighteen bytes each. */
static void state_is_small(void **state)
{
    (void)state;
    static uint8_t bytes[4096];
    struct window other;
    int held = 0;
    for (int64_t t = 0; t < 3 * SPAN; t += (t / BIN % 3 + 1) * BIN)
        add(t, (double)(t / BIN));
    window_init(&other, BIN, SPAN, &arena);
    struct pack w = pack_writer(bytes, sizeof bytes);
    window_visit(&window, &w);
    struct pack r = pack_reader(bytes, w.at);
    window_visit(&other, &r);
    assert_true(!r.bad && r.at == w.at);
    for (int64_t t = 0; t < 3 * SPAN; t += BIN) {
        const struct window_bin *a = window_at(&window, (utc_t){ T0 + t });
        const struct window_bin *b = window_at(&other, (utc_t){ T0 + t });
        bool aged = t + SPAN < 3 * SPAN - 4 * BIN;
        assert_true(aged ? b == NULL : (a == NULL) == (b == NULL));
        held += b != NULL;
        if (b != NULL)
            assert_true(a->n == b->n && a->lo == b->lo && a->hi == b->hi && a->sum == b->sum);
    }
    assert_true(held > 3);
    assert_int_equal(w.at, 16 + 18 * held);
}

static void damaged_state_is_refused(void **state)
{
    (void)state;
    uint8_t bytes[4096];
    add(0, 20);
    struct pack w = pack_writer(bytes, sizeof bytes);
    window_visit(&window, &w);
    bytes[8 + 2] = 1; /* more bins than there is room for */
    struct pack r = pack_reader(bytes, w.at);
    window_visit(&window, &r);
    assert_true(r.bad);
    struct pack cut = pack_reader(bytes, 20);
    window_visit(&window, &cut);
    assert_true(cut.bad);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_empty_window_knows_nothing, make, unmake),
        cmocka_unit_test_setup_teardown(what_is_forgotten_leaves_whole_bins_empty, make, unmake),
        cmocka_unit_test_setup_teardown(a_time_that_is_not_set_finds_nothing, make, unmake),
        cmocka_unit_test_setup_teardown(a_bin_holds_extremes_and_mean, make, unmake),
        cmocka_unit_test_setup_teardown(one_odd_value_moves_no_mean, make, unmake),
        cmocka_unit_test_setup_teardown(a_step_moves_the_calm_mean, make, unmake),
        cmocka_unit_test_setup_teardown(values_age_out, make, unmake),
        cmocka_unit_test_setup_teardown(late_values_find_their_place_or_none, make, unmake),
        cmocka_unit_test_setup_teardown(times_before_1970_are_one_bin, make, unmake),
        cmocka_unit_test_setup_teardown(random_values_equal_a_list, make, unmake),
        cmocka_unit_test_setup_teardown(state_goes_over, make, unmake),
        cmocka_unit_test_setup_teardown(state_is_small, make, unmake),
        cmocka_unit_test_setup_teardown(damaged_state_is_refused, make, unmake),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
