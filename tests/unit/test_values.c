#include "config_text.h"

#include <math.h>

#include "config/values.h"

static char text[2000];

/* One probe at the tank with these keys, a thermometer beside it. */
static const char *probe(const char *keys)
{
    (void)snprintf(text, sizeof text,
                   SITE TANK "probes = ( { topic = \"t\"; place = \"tank/a1\"; measures = \"temp\"; },\n"
                             "{ topic = \"p\"; place = \"tank/a1\"; %s } );\n",
                   keys);
    return text;
}

static const struct probe_value *value_of(const char *keys)
{
    expect_sound(probe(keys));
    return &site->entries[1].values[0];
}

static void the_unit_is_a_line_to_the_stored_one(void **state)
{
    (void)state;
    const struct probe_value *value = value_of("measures = \"temp\"; unit = \"[degF]\";");
    assert_true(fabs(unit_to_stored(value->unit, 75.2) - 24.0) < 1e-9);
    value = value_of("measures = \"ec\";");
    assert_true(value->unit.gain == 1.0);
    assert_string_equal(value->unit_name, "µS/cm");
    expect_fault(probe("measures = \"temp\"; unit = \"mS/cm\";"), 4,
                 "unit of temp: \"mS/cm\" is the unit of a conductivity");
    expect_fault(probe("measures = \"temp\"; at = \"/a\"; unit_per_message = true;"), 4, "needs unit_at");
    expect_fault(probe("measures = \"temp\"; unit_at = \"/u\";"), 4, "at is missing");
    expect_fault(probe("measures = \"tempe\";"), 4, "did you mean \"temp\"");
}

static void compensation_is_for_conductivity(void **state)
{
    (void)state;
    assert_true(value_of("measures = \"ec\";")->compensated);
    const struct probe_value *value = value_of("measures = \"ec\"; compensated = false; alpha = 0.02;");
    assert_false(value->compensated);
    assert_true(value->alpha == 0.02);
    expect_fault(probe("measures = \"ec\"; alpha = 0.02;"), 4, "alpha without compensated = false");
    expect_fault(probe("measures = \"ec\"; compensated = true; alpha = 0.02;"), 4,
                 "alpha without compensated = false");
    expect_fault(probe("measures = \"ec\"; compensated = false; alpha = 2.0;"), 4,
                 "alpha must be 0.005 to 0.05 per °C");
    expect_fault(probe("measures = \"temp\"; compensated = false;"), 4, "compensated goes with ec only");
}

static void calibration_suits_the_probe(void **state)
{
    (void)state;
    const struct probe_value *value = value_of("measures = \"ec\"; calib = { gain = 1.02; offset = -3; };");
    assert_int_equal(value->calib.kind, CALIB_LINEAR);
    assert_true(value->calib.gain == 1.02 && value->calib.offset == -3.0);
    value =
        value_of("measures = \"ph\"; millivolts = true; calib = { offset_mv = 4.5; slope = [0.98, 0.97]; };");
    assert_int_equal(value->calib.kind, CALIB_ELECTRODE);
    assert_true(value->calib.offset_mv == 4.5 && value->calib.slope_fraction[0] == 0.98 &&
                value->calib.slope_fraction[1] == 0.97 && value->calib.pivot_ph == 7.0);
    value =
        value_of("measures = \"ph\"; millivolts = true; calib = { slope = [0.98, 0.97]; pivot_ph = 6.86; };");
    assert_true(value->calib.pivot_ph == 6.86 && value->calib.offset_mv == 0.0);
    expect_fault(probe("measures = \"ph\"; millivolts = true; calib = { pivot_ph = 2; };"), 4,
                 "pivot_ph must be 4 to 10");
    value = value_of("measures = \"ph\"; unit = \"V\"; millivolts = true; calib = { slope = 0.9; };");
    assert_true(value->calib.slope_fraction[0] == 0.9 && value->calib.slope_fraction[1] == 0.9 &&
                value->unit.gain == 1000.0);
    value = value_of("measures = \"ph\";");
    assert_true(value->calib.kind == CALIB_LINEAR && value->calib.gain == 1.0);
    expect_fault(probe("measures = \"ph\"; calib = { slope = 0.9; };"), 4,
                 "go with ph and millivolts = true");
    expect_fault(probe("measures = \"ph\"; millivolts = true; calib = { gain = 1.1; };"), 4,
                 "takes offset_mv, slope and pivot_ph");
    expect_fault(probe("measures = \"ec\"; millivolts = true;"), 4, "millivolts goes with ph and orp only");
    expect_fault(probe("measures = \"ph\"; millivolts = true; calib = { slope = (1, 1, 1); };"), 4,
                 "slope takes one number, or two");
    expect_fault(probe("measures = \"ph\"; millivolts = true; calib = { slope = 59.16; };"), 4,
                 "slope must be 0.5 to 1.2 of the ideal");
    expect_fault(probe("measures = \"ec\"; calib = { gain = 0; };"), 4, "gain must be 0.01 to 100");
}

static void missing_codes_and_silence(void **state)
{
    (void)state;
    const struct probe_value *value =
        value_of("measures = \"temp\"; missing = (85, -127.0); every_s = 10; stale_s = 60;");
    assert_int_equal(value->missing_count, 2);
    assert_true(value->missing[0] == 85.0 && value->missing[1] == -127.0);
    assert_true(value->every_s == 10.0 && value->stale_s == 60.0);
    assert_true(isnan(value_of("measures = \"temp\";")->every_s));
    expect_fault(probe("measures = \"temp\"; missing = 85;"), 4, "missing must be an array");
    expect_fault(probe("measures = \"temp\"; missing = (1,2,3,4,5,6,7,8,9);"), 4, "at most 8 codes");
    expect_fault(probe("measures = \"temp\"; every_s = 60; stale_s = 30;"), 4, "would always be silent");
    expect_fault(probe("measures = \"temp\"; every_s = 0;"), 4, "every_s must be 0.05 to");
    expect_warning(probe("measures = \"temp\"; on_change = true;"), 4, "on_change without stale_s");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_unit_is_a_line_to_the_stored_one),
        cmocka_unit_test(compensation_is_for_conductivity),
        cmocka_unit_test(calibration_suits_the_probe),
        cmocka_unit_test(missing_codes_and_silence),
    };
    RUN(tests);
}
