/* A curve that says what was and no more: its scale, its gaps, its marks. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <cmocka.h>

#include "show/curve.h"

static char buf[1 << 20];
static struct tally_point points[CURVE_POINTS_MAX];

static struct curve curve_of(int count)
{
    return (struct curve){ .name = "temperature",
                           .unit = "°C",
                           .told = "told",
                           .decimals = 2,
                           .least_span = 1,
                           .from = { 0 },
                           .to = { 1200 },
                           .points = points,
                           .count = count,
                           .break_ms = 250,
                           .band = { NAN, NAN } };
}

static void set(int i, int t, double v)
{
    points[i] = (struct tally_point){ { t }, v, v - 0.1, v + 0.1, 1, 1 };
}

static const char *drawn(const struct curve *c)
{
    struct text out = text_over(buf, sizeof buf);
    curve_put(&out, c);
    assert_false(out.cut);
    return buf;
}

static int count_of(const char *piece)
{
    int n = 0;
    for (const char *at = buf; (at = strstr(at, piece)) != NULL; at += strlen(piece))
        n++;
    return n;
}

/* The path of that class. */
static const char *path(const char *of)
{
    static char found[4096];
    char begin[64];
    snprintf(begin, sizeof begin, "<path class=\"%s\" d=\"", of);
    const char *at = strstr(buf, begin);
    assert_non_null(at);
    snprintf(found, sizeof found, "%.*s", (int)strcspn(at + strlen(begin), "\""), at + strlen(begin));
    return found;
}

static void the_scale_holds_what_is_shown(void **state)
{
    struct curve_scale s;
    (void)state;
    set(0, 0, 20.1);
    set(1, 100, 23.9);
    struct curve c = curve_of(2);
    assert_true(curve_scale_of(&c, &s));
    assert_true(s.lo < 20 && s.hi > 24 && s.hi - s.lo < 5);
    assert_true(s.step == 1);
    const struct curve_test test = { { 50 }, 30 };
    c.tests = &test;
    c.test_count = 1;
    assert_true(curve_scale_of(&c, &s));
    assert_true(s.hi > 30);
}

static void the_axis_has_a_few_round_lines(void **state)
{
    (void)state;
    set(0, 0, 20.1);
    set(1, 100, 23.9);
    struct curve c = curve_of(2);
    drawn(&c);
    assert_non_null(strstr(buf, ">20</span>"));
    assert_non_null(strstr(buf, ">24</span>"));
    assert_null(strstr(buf, ">25</span>"));
    assert_int_equal(count_of("<span style=\"top:"), 5);
}

static void quiet_water_is_drawn_quiet(void **state)
{
    struct curve_scale s;
    (void)state;
    points[0] = (struct tally_point){ { 0 }, 22, 22, 22, 1, 1 };
    struct curve c = curve_of(1);
    assert_true(curve_scale_of(&c, &s));
    assert_true(s.hi - s.lo >= 1 && s.hi - s.lo < 1.5);
    c.least_span = 0;
    assert_true(curve_scale_of(&c, &s) && s.hi > s.lo && s.step > 0);
}

static void an_edge_of_the_band_that_is_near_is_shown(void **state)
{
    struct curve_scale s;
    (void)state;
    set(0, 0, 22);
    struct curve c = curve_of(1);
    c.band = (struct span){ 21.2, 40 };
    assert_true(curve_scale_of(&c, &s));
    assert_true(s.lo < 21.2 && s.hi < 25);
    drawn(&c);
    assert_int_equal(count_of("class=\"edge\""), 1);
    assert_non_null(strstr(buf, "band 21.20 to 40.00"));
    c.band = (struct span){ NAN, 22.5 };
    drawn(&c);
    assert_non_null(strstr(buf, "band up to 22.50"));
}

static void gaps_are_not_bridged(void **state)
{
    (void)state;
    set(0, 0, 20);
    set(1, 100, 20);
    set(2, 600, 22); /* further than break_ms */
    set(3, 700, 22);
    set(4, 800, NAN); /* came, but cannot be trusted */
    set(5, 900, 22);
    struct curve c = curve_of(6);
    drawn(&c);
    const char *mean = path("mean");
    int runs = 0;
    for (const char *at = mean; *at != '\0'; at++)
        runs += *at == 'M';
    assert_int_equal(runs, 3);
    assert_non_null(strstr(mean, "M0 "));
    assert_non_null(strstr(mean, "M600 "));
    assert_non_null(strstr(mean, "M900 "));
    assert_non_null(strstr(mean, "l 0 0")); /* a lonely point is a dot */
    c.break_ms = 500;
    points[4].mean = 22;
    drawn(&c);
    assert_null(strchr(path("mean") + 1, 'M'));
}

static void steps_add_up(void **state)
{
    int x, y, dx, dy, n = 0;
    (void)state;
    for (int i = 0; i < 100; i++)
        set(i, i * 12, 20 + i % 7);
    struct curve c = curve_of(100);
    drawn(&c);
    const char *at = path("mean");
    assert_int_equal(sscanf(at, "M%d %dl%n", &x, &y, &n), 2);
    at += n;
    while (*at != '\0' && sscanf(at, "%d%d%n", &dx, &dy, &n) == 2) {
        x += dx;
        y += dy;
        at += n;
    }
    assert_int_equal(x, 99 * 12);
    assert_true(y >= 0 && y <= 1000);
}

static void work_changes_alerts_and_tests_are_marked(void **state)
{
    const struct curve_stretch work = { { -100 }, { 120 } },
                               alerts[] = { { { 600 }, { 1500 } }, { { 2000 }, { 3000 } } };
    const struct curve_mark marks[] = { { { 300 }, true }, { { 1190 }, false }, { { 1300 }, true } };
    const struct curve_test test = { { 600 }, 20 };
    const struct curve_tick tick = { { 600 }, "Sun <1" };
    (void)state;
    set(0, 0, 20);
    struct curve c = curve_of(1);
    c.work = &work;
    c.work_count = 1;
    c.alerts = alerts;
    c.alert_count = 2;
    c.marks = marks;
    c.mark_count = 3;
    c.tests = &test;
    c.test_count = 1;
    c.ticks = &tick;
    c.tick_count = 1;
    drawn(&c);
    assert_non_null(strstr(
        buf, "class=\"work\" fill=\"url(#work)\" y=\"0\" height=\"100%\" x=\"0.00%\" width=\"10.00%\""));
    assert_non_null(strstr(buf, "class=\"alert\" y=\"95%\" height=\"5%\" x=\"50.00%\" width=\"50.00%\""));
    assert_int_equal(count_of("class=\"alert\""), 1); /* the other lies outside */
    assert_non_null(strstr(buf, ">W</text>"));
    assert_non_null(strstr(buf, "text-anchor=\"end\">w</text>"));
    assert_int_equal(count_of("<text"), 2);
    assert_int_equal(count_of("<circle class=\"test\" cx=\"50.00%\""), 1);
    assert_non_null(strstr(buf, "Sun &lt;1"));
    assert_non_null(strstr(buf, "role=\"img\"><title>told</title>"));
}

static void nothing_draws_nothing(void **state)
{
    (void)state;
    set(0, 0, NAN);
    struct curve c = curve_of(1);
    assert_string_equal(drawn(&c), "");
    c.count = 0;
    assert_string_equal(drawn(&c), "");
}

/* As wild as it comes, a curve stays small. */
static void the_size_is_bounded(void **state)
{
    (void)state;
    for (int i = 0; i < CURVE_POINTS_MAX; i++)
        points[i] = (struct tally_point){ { i * 2 }, i % 2 * 100, i % 2 * 100 - 50, i % 2 * 100 + 50, 1, 1 };
    struct curve c = curve_of(CURVE_POINTS_MAX);
    assert_true(strlen(drawn(&c)) < 20000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_scale_holds_what_is_shown),
        cmocka_unit_test(the_axis_has_a_few_round_lines),
        cmocka_unit_test(quiet_water_is_drawn_quiet),
        cmocka_unit_test(an_edge_of_the_band_that_is_near_is_shown),
        cmocka_unit_test(gaps_are_not_bridged),
        cmocka_unit_test(steps_add_up),
        cmocka_unit_test(work_changes_alerts_and_tests_are_marked),
        cmocka_unit_test(nothing_draws_nothing),
        cmocka_unit_test(the_size_is_bounded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
