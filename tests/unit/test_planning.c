/* The keys that a plan rests on: read, defaulted, refused with what is wrong. */
#include "config_text.h"

#include <math.h>

static void usual_figures(void **state)
{
    (void)state;
    assert_int_equal(load_text(SITE TANK), STATUS_OK);
    assert_true(site->plan.days == 7 && site->plan.stage_d == 2 && site->plan.no3_most == 20);
    assert_true(site->plan.test_every_d[Q_GH] == 14 && isnan(site->plan.test_every_d[Q_CA]));
    assert_true(isnan(site->tanks[0].change_every_d) && isnan(site->tanks[0].reservoir_l));
}

static void every_key(void **state)
{
    (void)state;
    assert_int_equal(
        load_text(SITE
                  "sources = ( { id = \"ro\"; makes_l_day = 60; store_l = 50.5; }, { id = \"rain\"; } );\n"
                  "salts = ( { id = \"mix\"; gh = 30.0; stock_g = 480; stock_since = \"2026-11-22\"; } );\n"
                  "plan = { days = 14; most_share = 0.2; stage_d = 2; no3_most = 30;\n"
                  "  test_every_d = { gh = 7; ca = 30; }; calibrate_every_d = { ph = 21; }; };\n"
                  "tanks = ( { id = \"a1\"; volume_l = 30.0; change_l_week = 3; change_every_d = 10;\n"
                  "  reservoir_l = 5; } );\n"),
        STATUS_OK);
    assert_int_equal(site->source_count, 2);
    assert_true(site->sources[0].makes_l_day == 60 && site->sources[0].store_l == 50.5);
    assert_string_equal(site->places[site->sources[0].place].text, "source/ro");
    assert_true(isnan(site->sources[1].makes_l_day));
    assert_int_equal(site->salts[0].stock_since.ms, INT64_C(1795305600000));
    assert_true(site->plan.days == 14 && site->plan.most_share == 0.2 && site->plan.stage_d == 2);
    assert_true(site->plan.test_every_d[Q_GH] == 7 && site->plan.test_every_d[Q_CA] == 30);
    assert_true(site->plan.test_every_d[Q_KH] == 14 && site->plan.calibrate_every_d[Q_PH] == 21);
    assert_true(site->tanks[0].change_every_d == 10 && site->tanks[0].reservoir_l == 5);
}

static void refusals(void **state)
{
    (void)state;
    (void)load_text(SITE TANK "plan = { days = 60; test_every_d = { gh = 0; gg = 3; }; };\n");
    assert_int_equal(faults.errors, 3);
    (void)load_text(SITE TANK
                    "salts = ( { id = \"mix\"; gh = 30.0; stock_g = 9; stock_since = \"22.11.2026\"; } );\n");
    assert_int_equal(faults.errors, 1);
    assert_non_null(strstr(faults.items[0].text, "stock_since is a day such as \"2026-11-22\""));
    (void)load_text(SITE TANK "salts = ( { id = \"mix\"; gh = 30.0; stock_since = \"2026-11-22\"; } );\n");
    assert_int_equal(faults.errors, 1);
    assert_non_null(strstr(faults.items[0].text, "no stock_g"));
    (void)load_text(SITE TANK "sources = ( { id = \"ro\"; }, { id = \"ro\"; makes_l_day = -1; } );\n");
    assert_int_equal(faults.errors, 2);
    (void)load_text(SITE TANK "stores = ( { id = \"drum\"; store_l = 3; } );\n");
    assert_int_equal(faults.errors, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(usual_figures),
        cmocka_unit_test(every_key),
        cmocka_unit_test(refusals),
    };
    RUN(tests);
}
