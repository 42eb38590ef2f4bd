/* The sums of a tank, line by line. */
#include "show/week_sums.h"
#include "week_shown.h"

static void sums(void)
{
    struct week_page p = page_of();
    struct text out = text_over(buf, sizeof buf);
    week_sums_tank(&p, 0, &out);
    assert_false(out.cut);
}

static void a_change_by_the_calendar(void **state)
{
    (void)state;
    weeks[0].step[WEEK_EC] = 5;
    sums();
    has("a1 (Crystals), 40 L, soft water, day +0 and 7 days\n");
    has("EC   210.0 µS/cm, by the probe\n");
    has("EC   200.0 µS/cm, target of the water\n");
    has("day +1: 10.0 % of 40 L = 4.00 L");
    has("EC   210.0 + 10.0 % x (200.0 - 210.0) = 209.0, a step of -1.0 of 5");
    has("temp 22.00 + 10.0 % x (20.00 - 22.00) = 21.80, a step of -0.20\n");
    has("4 L a week x 7 days / 7 = 4.00 L each time; last day -6 + 7 days = day +1");
    has("Test gh: never noted: today");
    has("assumed: no value of general hardness: 4 °dH is assumed\n");
}

static void a_stage_that_is_held(void **state)
{
    (void)state;
    struct week_stage *s = &weeks[0].stages[0];
    s->bound = WEEK_BY_STEP;
    s->bound_axis = WEEK_EC;
    s->wanted = 0.4;
    weeks[0].step[WEEK_EC] = 1;
    weeks[0].limit[WEEK_EC] = (struct span){ NAN, 205 };
    weeks[0].per_day[WEEK_EC] = 0.5;
    s->brought = true;
    s->fresh_c = 21;
    sums();
    has("wanted 40.0 %, held by the step of EC: 1 / |200 - 210| = 10.0 %");
    has("A change is due beyond  EC 205\n");
    has("EC moves by +0.50 µS/cm a day by itself");
    has("water of 20.0 °C would make too large a step: bring it to 21.0 °C first");
    s->bound = WEEK_BY_SHARE;
    sums();
    has("held by the 30 % of one change");
}

static void top_off_and_reservoir(void **state)
{
    (void)state;
    weeks[0].topoff_l_day = 0.4;
    weeks[0].topoff_from = WEEK_TOPOFF_RECKONED;
    weeks[0].reservoir_l = 10;
    weeks[0].reservoir_lasts_d = 25;
    weeks[0].reservoir_filled = (utc_t){ SUNDAY - DAYS(5) };
    weeks[0].reservoir_empty = (utc_t){ SUNDAY + DAYS(20) };
    sums();
    has("Top-off: 0.400 L a day (evaporation reckoned from water and room temperature: half or double), x 7 "
        "days "
        "= 2.80 L");
    has("Reservoir: 10 L / 0.400 L a day = 25.0 days; filled day -5 (the top-off noted last), empty day +20");
}

static void nothing_is_due(void **state)
{
    (void)state;
    weeks[0].stage_count = 0;
    tanks[0].water = -1;
    sums();
    tanks[0].water = 0;
    has("no water named");
    has("No change is due in these days.");
    assert_null(strstr(buf, "In the water that goes in"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_change_by_the_calendar, fill),
        cmocka_unit_test_setup(a_stage_that_is_held, fill),
        cmocka_unit_test_setup(top_off_and_reservoir, fill),
        cmocka_unit_test_setup(nothing_is_due, fill),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
