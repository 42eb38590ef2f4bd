/* The gate against a second implementation that looks back over the whole series, straight from the
 * definitions, on random series with gaps, missing values, spikes, quantised and flat stretches; and cases
 * worked by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/gate.h"

#define N_MAX 400

struct record {
    int64_t t_ms;
    double v; /* NaN: missing */
};

struct flags {
    enum flag of[TEST_COUNT];
};

static struct gate_limits plain_limits(void)
{
    return (struct gate_limits){ .gap_suspect_s = 90,
                                 .gap_fail_s = 300,
                                 .fail_lo = 0,
                                 .fail_hi = 40,
                                 .suspect_lo = 15,
                                 .suspect_hi = 30,
                                 .spike_suspect = 0.5,
                                 .spike_fail = 1.5,
                                 .rate_suspect = 0.01,
                                 .rate_fail = 0.05,
                                 .flat_tol = 0.05,
                                 .flat_suspect_s = 240,
                                 .flat_fail_s = 600,
                                 .attenuated_window_s = 600,
                                 .attenuated_min_obs = 5,
                                 .attenuated_suspect = 0.05,
                                 .attenuated_fail = 0.01,
                                 .twin_suspect = NAN,
                                 .twin_fail = NAN,
                                 .pair_age_s = NAN };
}

/* --- the definitions, naively --- */

static bool usable(const struct record *r, const struct gate_limits *l)
{
    return !isnan(r->v) && !(r->v < l->fail_lo || r->v > l->fail_hi);
}

static int usable_before(const struct record *s, int n, const struct gate_limits *l)
{
    for (int i = n - 1; i >= 0; i--)
        if (usable(&s[i], l))
            return i;
    return -1;
}

static int usable_after(const struct record *s, int n, int count, const struct gate_limits *l)
{
    for (int i = n + 1; i < count; i++)
        if (usable(&s[i], l))
            return i;
    return -1;
}

static bool same_segment(const struct record *s, int a, int b, const struct gate_limits *l)
{
    return a >= 0 && b >= 0 && (double)(s[b].t_ms - s[a].t_ms) / 1000 <= l->gap_fail_s;
}

static enum flag level(double x, double suspect, double fail)
{
    return x > fail ? FLAG_FAIL : x > suspect ? FLAG_SUSPECT : FLAG_GOOD;
}

static enum flag ref_spike(const struct record *s, int n, int count, const struct gate_limits *l)
{
    int p = usable_before(s, n, l), q = usable_after(s, n, count, l);
    if (!same_segment(s, p, n, l) || !same_segment(s, n, q, l))
        return FLAG_NOT_EVALUATED;
    double a = s[n].v - s[p].v, b = s[q].v - s[n].v;
    double d = a * b < 0 ? fmin(fabs(a), fabs(b)) : 0;
    return level(d, l->spike_suspect, l->spike_fail);
}

static enum flag ref_flat(const struct record *s, int n, const struct gate_limits *l)
{
    double lo = s[n].v, hi = s[n].v;
    int k = n;
    for (int i = usable_before(s, n, l); same_segment(s, i, k, l); i = usable_before(s, i, l)) {
        lo = fmin(lo, s[i].v);
        hi = fmax(hi, s[i].v);
        if (!(hi - lo < l->flat_tol))
            break;
        k = i;
    }
    double r = (double)(s[n].t_ms - s[k].t_ms) / 1000;
    return r >= l->flat_fail_s ? FLAG_FAIL : r >= l->flat_suspect_s ? FLAG_SUSPECT : FLAG_GOOD;
}

static enum flag ref_attenuated(const struct record *s, int n, const struct gate_limits *l)
{
    double sum = 0, squares = 0;
    int m = 0;
    for (int pass = 0; pass < 2; pass++)
        for (int i = 0; i <= n; i++) {
            if (!usable(&s[i], l) || (double)(s[n].t_ms - s[i].t_ms) / 1000 >= l->attenuated_window_s)
                continue;
            if (pass == 0) {
                sum += s[i].v;
                m++;
            } else {
                squares += (s[i].v - sum / m) * (s[i].v - sum / m);
            }
        }
    if (m < l->attenuated_min_obs)
        return FLAG_NOT_EVALUATED;
    double sd = sqrt(squares / m);
    return sd < l->attenuated_fail ? FLAG_FAIL : sd < l->attenuated_suspect ? FLAG_SUSPECT : FLAG_GOOD;
}

static struct flags reference(const struct record *s, int n, int count, const struct gate_limits *l)
{
    struct flags f = { { 0 } };
    int p = usable_before(s, n, l);
    f.of[TEST_GAP] = n == 0
                         ? FLAG_NOT_EVALUATED
                         : level((double)(s[n].t_ms - s[n - 1].t_ms) / 1000, l->gap_suspect_s, l->gap_fail_s);
    f.of[TEST_SYNTAX] = isnan(s[n].v) ? FLAG_MISSING : FLAG_GOOD;
    if (isnan(s[n].v))
        return f;
    bool outside = s[n].v < l->suspect_lo || s[n].v > l->suspect_hi;
    f.of[TEST_GROSS] = !usable(&s[n], l) ? FLAG_FAIL : outside ? FLAG_SUSPECT : FLAG_GOOD;
    for (int t = TEST_SPIKE; t < TEST_COUNT; t++)
        f.of[t] = FLAG_NOT_EVALUATED;
    if (!usable(&s[n], l))
        return f;
    f.of[TEST_SPIKE] = ref_spike(s, n, count, l);
    if (same_segment(s, p, n, l))
        f.of[TEST_RATE] = level(fabs(s[n].v - s[p].v) / ((double)(s[n].t_ms - s[p].t_ms) / 1000),
                                l->rate_suspect, l->rate_fail);
    f.of[TEST_FLAT] = ref_flat(s, n, l);
    f.of[TEST_ATTENUATED] = ref_attenuated(s, n, l);
    return f;
}

/* --- the gate on a whole series --- */

static void judge_series(struct gate *g, const struct record *s, int from, int to, struct reading *out)
{
    for (int i = from; i < to; i++) {
        struct reading r = { .t = { s[i].t_ms }, .sent = s[i].v, .value = s[i].v }, revised;
        bool has;
        enum sample_kind kind = isnan(s[i].v) ? SAMPLE_MISSING : SAMPLE_VALUE;
        assert_int_equal(gate_judge(g, &r, kind, NULL, &revised, &has), GATE_TAKEN);
        out[i] = r;
        for (int k = i; has && k >= 0; k--)
            if (out[k].t.ms == revised.t.ms)
                out[k] = revised;
    }
}

static uint64_t dice;

static double roll(void)
{
    dice ^= dice << 13;
    dice ^= dice >> 7;
    dice ^= dice << 17;
    return (double)(dice >> 11) / 9007199254740992.0;
}

static int make_series(struct record *s)
{
    int n = 50 + (int)(roll() * (N_MAX - 50));
    int64_t t = INT64_C(1772366400000);
    double v = 22, step = roll() < 0.5 ? 0.0625 : 0.001, wander = roll() * 0.05;
    for (int i = 0; i < n; i++) {
        t += roll() < 0.03 ? (int64_t)(roll() * 900000) + 1 : 10000 + (int64_t)(roll() * 20000);
        if (roll() < 0.1)
            wander = roll() < 0.5 ? 0 : roll() * 0.4;
        v += (roll() - 0.5) * wander;
        double shown = round(v / step) * step;
        if (roll() < 0.03)
            shown += (roll() - 0.5) * 6;
        if (roll() < 0.02)
            shown = roll() < 0.5 ? 85 : -127;
        s[i] = (struct record){ t, roll() < 0.04 ? NAN : shown };
    }
    return n;
}

static void compare(const struct record *s, int count, const struct reading *got, const struct gate_limits *l,
                    uint64_t seed)
{
    for (int i = 0; i < count; i++) {
        struct flags want = reference(s, i, count, l);
        for (int t = 0; t < TEST_COUNT; t++)
            if (verdict_get(got[i].tests, (enum gate_test)t) != want.of[t])
                fail_msg("seed %llu record %d test %s: %d, by definition %d", (unsigned long long)seed, i,
                         gate_test_name((enum gate_test)t), (int)verdict_get(got[i].tests, (enum gate_test)t),
                         (int)want.of[t]);
    }
}

static void random_series_equal_the_definitions(void **state)
{
    (void)state;
    struct gate_limits l = plain_limits();
    for (uint64_t seed = 1; seed <= 60; seed++) {
        struct arena arena = { 0 };
        struct gate g;
        struct record s[N_MAX];
        struct reading got[N_MAX];
        dice = seed * UINT64_C(0x9E3779B97F4A7C15);
        int n = make_series(s);
        gate_init(&g, &l, 10, &arena);
        judge_series(&g, s, 0, n, got);
        compare(s, n, got, &l, seed);
        arena_fini(&arena);
    }
}

static void a_cut_anywhere_changes_nothing(void **state)
{
    (void)state;
    struct gate_limits l = plain_limits();
    static uint8_t bytes[256 * 1024];
    for (uint64_t seed = 100; seed < 110; seed++) {
        struct record s[N_MAX];
        struct reading got[N_MAX];
        dice = seed * UINT64_C(0x9E3779B97F4A7C15);
        int n = make_series(s);
        for (int cut = 1; cut < n; cut += 7) {
            struct arena arena = { 0 };
            struct gate a, b;
            gate_init(&a, &l, 10, &arena);
            gate_init(&b, &l, 10, &arena);
            judge_series(&a, s, 0, cut, got);
            struct pack w = pack_writer(bytes, sizeof bytes);
            gate_visit(&a, &w);
            assert_false(w.bad);
            struct pack r = pack_reader(bytes, w.at);
            gate_visit(&b, &r);
            assert_false(r.bad);
            judge_series(&b, s, cut, n, got);
            compare(s, n, got, &l, seed);
            arena_fini(&arena);
        }
    }
}

/* --- by hand --- */

struct fixture {
    struct arena arena;
    struct gate_limits limits;
    struct gate gate;
};

static int make(void **state)
{
    struct fixture *f = calloc(1, sizeof *f);
    f->limits = plain_limits();
    gate_init(&f->gate, &f->limits, 10, &f->arena);
    *state = f;
    return 0;
}

static int unmake(void **state)
{
    struct fixture *f = *state;
    arena_fini(&f->arena);
    free(f);
    return 0;
}

static struct reading feed(struct fixture *f, int64_t t_s, double v, enum gate_arrival want)
{
    struct reading r = { .t = { t_s * 1000 }, .sent = v, .value = v }, revised;
    bool has;
    assert_int_equal(gate_judge(&f->gate, &r, isnan(v) ? SAMPLE_MISSING : SAMPLE_VALUE, NULL, &revised, &has),
                     want);
    return r;
}

static void a_value_on_a_limit_is_inside(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(feed(f, 10, 40, GATE_TAKEN).flag, FLAG_SUSPECT);
    assert_int_equal(feed(f, 20, 30, GATE_TAKEN).flag, FLAG_FAIL); /* 10 in 10 s: rate */
    struct reading r = feed(f, 500, 30, GATE_TAKEN);
    assert_int_equal(verdict_get(r.tests, TEST_GROSS), FLAG_GOOD);
    assert_int_equal(verdict_get(r.tests, TEST_RATE), FLAG_NOT_EVALUATED);
}

static void same_time_is_duplicate_or_conflict(void **state)
{
    struct fixture *f = *state;
    feed(f, 10, 20, GATE_TAKEN);
    feed(f, 10, 20, GATE_DUPLICATE);
    feed(f, 10, 21, GATE_CONFLICT);
    feed(f, 20, 20, GATE_TAKEN);
    feed(f, 10, 20, GATE_DUPLICATE);
}

/* A backlog sent twice: far more than a few records back. */
static void a_backlog_sent_twice_is_known(void **state)
{
    struct fixture *f = *state;
    for (int i = 0; i < GATE_RECENT; i++)
        feed(f, 10 + 10 * i, 20 + 0.01 * (i % 7), GATE_TAKEN);
    for (int i = 0; i < GATE_RECENT; i++)
        feed(f, 10 + 10 * i, 20 + 0.01 * (i % 7), GATE_DUPLICATE);
    feed(f, 10, 0.0, GATE_CONFLICT);
    feed(f, 5, 0.0, GATE_LATE);
    feed(f, 5, -0.0, GATE_DUPLICATE);
}

/* The window of a probe that is faster than anyone said holds all there is of it. */
static void a_fast_probe_fills_its_window(void **state)
{
    struct gate_limits l = plain_limits();
    struct gate g;
    struct reading r, revised;
    bool has;
    struct arena arena = { 0 };
    (void)state;
    l.attenuated_window_s = 7200;
    l.attenuated_suspect = 0.09;
    gate_init(&g, &l, 60, &arena);
    for (int i = 0; i < 7200; i++) {
        double v = i < 7000 ? 20 + 0.2 * (i % 2) : 20.1;
        r = (struct reading){ .t = { (i + 1) * 1000 }, .sent = v, .value = v };
        assert_int_equal(gate_judge(&g, &r, SAMPLE_VALUE, NULL, &revised, &has), GATE_TAKEN);
    }
    assert_int_equal(verdict_get(r.tests, TEST_ATTENUATED), FLAG_GOOD); /* 0.0986 over all of it */
    arena_fini(&arena);
}

/* A level that is off cannot be exceeded; without a partner nothing is compared. */
static void twin_levels_that_are_off(void **state)
{
    struct fixture *f = *state;
    struct gate_point twin = { 9000, 30 };
    struct reading r = { .t = { 10000 }, .sent = 20, .value = 20 }, revised;
    bool has;
    f->limits.pair_age_s = 1;
    (void)gate_judge(&f->gate, &r, SAMPLE_VALUE, &twin, &revised, &has);
    assert_int_equal(verdict_get(r.tests, TEST_TWIN), FLAG_GOOD);
    r = (struct reading){ .t = { 10001 }, .sent = 20, .value = 20 };
    (void)gate_judge(&f->gate, &r, SAMPLE_VALUE, &twin, &revised, &has);
    assert_int_equal(verdict_get(r.tests, TEST_TWIN), FLAG_NOT_EVALUATED);
}

static void late_is_history_only(void **state)
{
    struct fixture *f = *state;
    feed(f, 10, 20, GATE_TAKEN);
    feed(f, 30, 20, GATE_TAKEN);
    struct reading r = feed(f, 20, 39, GATE_LATE);
    assert_true(r.late);
    assert_int_equal(r.flag, FLAG_SUSPECT);
    assert_int_equal(verdict_get(r.tests, TEST_RATE), FLAG_NOT_EVALUATED);
    assert_int_equal(feed(f, 40, 20, GATE_TAKEN).flag, FLAG_GOOD);
}

static void missing_is_nine(void **state)
{
    struct fixture *f = *state;
    struct reading r = feed(f, 10, NAN, GATE_TAKEN);
    assert_int_equal(r.flag, FLAG_MISSING);
    assert_false(gate_usable(&r));
}

static void damaged_state_is_refused(void **state)
{
    struct fixture *f = *state;
    uint8_t bytes[8192];
    feed(f, 10, 20, GATE_TAKEN);
    struct pack w = pack_writer(bytes, sizeof bytes);
    gate_visit(&f->gate, &w);
    memset(bytes + 40, 0xff, 4); /* the count of usable records */
    struct pack r = pack_reader(bytes, w.at);
    gate_visit(&f->gate, &r);
    assert_true(r.bad);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(random_series_equal_the_definitions),
        cmocka_unit_test(a_cut_anywhere_changes_nothing),
        cmocka_unit_test_setup_teardown(a_value_on_a_limit_is_inside, make, unmake),
        cmocka_unit_test_setup_teardown(same_time_is_duplicate_or_conflict, make, unmake),
        cmocka_unit_test_setup_teardown(a_backlog_sent_twice_is_known, make, unmake),
        cmocka_unit_test_setup_teardown(a_fast_probe_fills_its_window, make, unmake),
        cmocka_unit_test_setup_teardown(twin_levels_that_are_off, make, unmake),
        cmocka_unit_test_setup_teardown(late_is_history_only, make, unmake),
        cmocka_unit_test_setup_teardown(missing_is_nine, make, unmake),
        cmocka_unit_test_setup_teardown(damaged_state_is_refused, make, unmake),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
