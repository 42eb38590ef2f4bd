#include "config_text.h"

#include <math.h>

#include "config/quality.h"

static char text[2000];

static const char *probe(const char *keys, const char *quality)
{
    (void)snprintf(text, sizeof text,
                   SITE TANK
                   "probes = ( { topic = \"t/{tank}\"; measures = \"temp\"; %s\n quality = { %s }; } );\n",
                   keys, quality);
    return text;
}

static const struct gate_limits *gate_of(const char *keys, const char *quality)
{
    expect_sound(probe(keys, quality));
    return &site->entries[0].values[0].gate;
}

static void words_go_over_the_quantitys_own_limits(void **state)
{
    (void)state;
    const struct gate_limits *own = &quantity_info(Q_TEMP)->gate;
    const struct gate_limits *gate = gate_of("", "spike_fail = 4; flat_fail_s = \"off\"; fail_lo = \"off\";");
    assert_true(gate->spike_fail == 4.0);
    assert_true(isnan(gate->flat_fail_s) && isnan(gate->fail_lo));
    assert_true(gate->rate_fail == own->rate_fail && gate->spike_suspect == own->spike_suspect);
}

static void spikes_of_solids_are_measured_by_the_sites_water(void **state)
{
    (void)state;
    static const char form[] =
        SITE "stocks = ( { id = \"s\"; ec = [100.0, 300.0]; } );\n"
             "tanks = ( { id = \"a1\"; volume_l = 30.0; stock = \"s\"; } );\n"
             "probes = ( { topic = \"t/{tank}\"; measures = \"ec\"; unit = \"uS/cm\"; %s } );\n";
    (void)snprintf(text, sizeof text, form, "");
    expect_sound(text);
    const struct gate_limits *gate = &site->entries[0].values[0].gate;
    assert_true(fabs(gate->spike_fail - 30) < 1e-9 && fabs(gate->spike_suspect - 15) < 1e-9);
    (void)snprintf(text, sizeof text, form, "quality = { spike_fail = 80; spike_suspect = \"off\"; };");
    expect_sound(text);
    gate = &site->entries[0].values[0].gate;
    assert_true(gate->spike_fail == 80 && isnan(gate->spike_suspect));
}

static void every_limit_can_be_named(void **state)
{
    (void)state;
    const struct gate_limits *gate = gate_of(
        "",
        "gap_suspect_s = 1; gap_fail_s = 2; fail_lo = 3; suspect_lo = 4; suspect_hi = 5; fail_hi = 6; "
        "spike_suspect = 7; "
        "spike_fail = 8; rate_suspect = 9; rate_fail = 10; flat_tol = 11; flat_suspect_s = 12; flat_fail_s = "
        "13; "
        "attenuated_window_s = 14; attenuated_min_obs = 15; attenuated_fail = 16; attenuated_suspect = 17; "
        "twin_suspect = 18; twin_fail = 19; pair_age_s = 20;");
    assert_true(gate->gap_suspect_s == 1 && gate->gap_fail_s == 2 && gate->fail_lo == 3 &&
                gate->suspect_lo == 4);
    assert_true(gate->suspect_hi == 5 && gate->fail_hi == 6 && gate->spike_suspect == 7 &&
                gate->spike_fail == 8);
    assert_true(gate->rate_suspect == 9 && gate->rate_fail == 10 && gate->flat_tol == 11 &&
                gate->flat_suspect_s == 12);
    assert_true(gate->flat_fail_s == 13 && gate->attenuated_window_s == 14 && gate->attenuated_min_obs == 15);
    assert_true(gate->attenuated_fail == 16 && gate->attenuated_suspect == 17 && gate->twin_suspect == 18);
    assert_true(gate->twin_fail == 19 && gate->pair_age_s == 20);
}

static void what_is_not_named_makes_room(void **state)
{
    (void)state;
    const struct gate_limits *gate =
        gate_of("", "fail_hi = 40; spike_fail = 0.5; suspect_lo = -29.5; rate_suspect = 2;");
    assert_true(gate->fail_hi == 40.0 && gate->suspect_hi == 40.0);
    assert_true(gate->spike_suspect == 0.5);
    assert_true(gate->fail_lo == -30.0);
    assert_true(gate->rate_fail == 2.0);
    gate = gate_of("", "fail_hi = 1;");
    assert_true(gate->suspect_lo == 1.0 && gate->suspect_hi == 1.0);
}

static void gaps_suit_the_cadence(void **state)
{
    (void)state;
    assert_true(gate_of("every_s = 10;", "")->gap_suspect_s == 900.0);
    const struct gate_limits *gate = gate_of("every_s = 3600;", "");
    assert_true(gate->gap_suspect_s > 2 * 3600 && gate->gap_fail_s > gate->gap_suspect_s);
    assert_true(gate_of("every_s = 3600;", "gap_suspect_s = 3700;")->gap_suspect_s == 3700.0);
}

static void no_flat_line_for_senders_on_change(void **state)
{
    (void)state;
    const struct gate_limits *gate = gate_of("on_change = true; stale_s = 900;", "spike_fail = 4;");
    assert_true(isnan(gate->flat_suspect_s) && isnan(gate->flat_fail_s));
    expect_fault(probe("on_change = true; stale_s = 900;", "flat_fail_s = 90;"), 4,
                 "flat line cannot be judged");
}

static void faults_of_limits_are_told(void **state)
{
    (void)state;
    static const struct {
        const char *quality, *words;
    } cases[] = {
        { "spike_fail = 0;", "zero is not \"off\"" },
        { "rate_suspect = 0.0;", "zero is not \"off\"" },
        { "flat_tol = 0;", "zero is not \"off\"" },
        { "spike_fail = -1;", "spike_fail must be above 0" },
        { "spike_fail = \"on\";", "a number, or \"off\"" },
        { "fail_hi = 200;", "outside what temp can be: -30 to 60 °C" },
        { "fail_lo = 30; fail_hi = 20;", "upside down" },
        { "suspect_lo = 30; suspect_hi = 20;", "upside down" },
        { "rate_suspect = 5; rate_fail = 1;", "rate_suspect 5 is above rate_fail 1" },
        { "attenuated_fail = 3; attenuated_suspect = 1; attenuated_window_s = 60;",
          "attenuated_fail 3 is above" },
        { "attenuated_fail = 0.1;", "need attenuated_window_s" },
        { "attenuated_min_obs = 2.5;", "whole number" },
        { "flat_tol = \"off\";", "need flat_tol" },
        { "pair_age_s = \"off\";", "need pair_age_s" },
        { "spike_fial = 1;", "did you mean \"spike_fail\"" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_int_equal(load_text(probe("", cases[i].quality)), STATUS_INVALID);
        if (!told(4, cases[i].words))
            show_faults();
        assert_true(told(4, cases[i].words));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_go_over_the_quantitys_own_limits),
        cmocka_unit_test(spikes_of_solids_are_measured_by_the_sites_water),
        cmocka_unit_test(every_limit_can_be_named),
        cmocka_unit_test(what_is_not_named_makes_room),
        cmocka_unit_test(gaps_suit_the_cadence),
        cmocka_unit_test(no_flat_line_for_senders_on_change),
        cmocka_unit_test(faults_of_limits_are_told),
    };
    RUN(tests);
}
