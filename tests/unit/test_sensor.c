#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "near.h"
#include "small_room.h"

#include "rehearse/sensor.h"
#include "water/conductivity.h"

static struct probe_value ideal(enum quantity q)
{
    return small_value(NULL, q, 10);
}

static struct sensor exact(const struct probe_value *v)
{
    return (struct sensor){ .value = v, .gain = 1, .step = 1e-9, .last = NAN };
}

static struct sensor_input meets(double truth, double temp_c)
{
    return (struct sensor_input){ .truth = truth, .temp_c = temp_c, .noise_gain = 1, .drift_gain = 1 };
}

static void units_are_turned_back(void **state)
{
    (void)state;
    struct probe_value v = ideal(Q_TEMP);
    v.unit = (struct unit){ 5.0 / 9, -160.0 / 9, UNIT_TEMP };
    assert_near(sensor_unread(&v, 25, 25), 77, 1e-9);
    v = ideal(Q_EC);
    v.unit = (struct unit){ 1000, 0, UNIT_EC };
    assert_near(sensor_unread(&v, 350, 20), 0.35, 1e-12);
}

static void raw_conductivity_compensates_back(void **state)
{
    (void)state;
    struct why why;
    double ec25, factor;
    struct probe_value v = ideal(Q_EC);
    v.compensated = false;
    double sent = sensor_unread(&v, 350, 21);
    assert_true(sent < 330);
    assert_int_equal(conductivity_at_25(sent, 21, NAN, &ec25, &factor, &why), STATUS_OK);
    assert_near(ec25, 350, 1e-9);
    v.alpha = 0.02;
    sent = sensor_unread(&v, 350, 21);
    assert_near(sent, 350 * (1 - 0.02 * 4), 1e-9);
}

static void calibration_is_turned_back(void **state)
{
    (void)state;
    struct probe_value v = ideal(Q_TEMP);
    v.calib.gain = 1.02;
    v.calib.offset = -0.3;
    assert_near(1.02 * sensor_unread(&v, 24, 24) - 0.3, 24, 1e-12);
    struct probe_value mv = ideal(Q_PH);
    mv.millivolts = true;
    mv.calib.kind = CALIB_ELECTRODE;
    mv.calib.offset_mv = 5;
    mv.calib.slope_fraction[0] = 0.98;
    mv.calib.slope_fraction[1] = 0.96;
    assert_near(sensor_unread(&mv, 7, 25), 5, 1e-9);
    assert_near(sensor_unread(&mv, 6, 25), 5 + 0.98 * 59.15935, 1e-3);
    assert_near(sensor_unread(&mv, 8, 25), 5 - 0.96 * 59.15935, 1e-3);
}

static void readings_come_in_steps_about_the_truth(void **state)
{
    (void)state;
    struct dice d = dice_init(3, "probe", 0);
    struct probe_value v = ideal(Q_TEMP);
    struct sensor s = sensor_init(&v, &d);
    struct sensor_input in = meets(24.03, 24.03);
    double sum = 0;
    for (int i = 0; i < 2000; i++) {
        double x = sensor_read(&s, &in, &d);
        assert_near(x / 0.0625, round(x / 0.0625), 1e-9);
        sum += x;
    }
    assert_near(sum / 2000, 24.03 + s.offset, 0.035);
    assert_int_equal(sensor_decimals(&s), 4);
}

static void faults_of_probes(void **state)
{
    (void)state;
    struct dice d = dice_init(3, "probe", 0);
    struct probe_value v = ideal(Q_EC);
    struct sensor s = exact(&v);
    struct sensor_input in = meets(300, 25);
    assert_near(sensor_read(&s, &in, &d), 300, 1e-6);
    in.stuck = true;
    in.truth = 500;
    assert_near(sensor_read(&s, &in, &d), 300, 1e-6);
    in.stuck = false;
    in.drift_gain = 1.1;
    in.drift_offset = 2;
    assert_near(sensor_read(&s, &in, &d), 552, 1e-6);
    struct sensor noisy = exact(&v);
    noisy.noise_sd = 1;
    in = meets(300, 25);
    in.noise_gain = 25;
    double squares = 0;
    for (int i = 0; i < 2000; i++) {
        double x = sensor_read(&noisy, &in, &d) - 300;
        squares += x * x;
    }
    assert_near(sqrt(squares / 2000), 25, 1.5);
}

static void nothing_stays_nothing_and_limits_hold(void **state)
{
    (void)state;
    struct dice d = dice_init(3, "probe", 0);
    struct probe_value v = ideal(Q_EC);
    struct sensor s = exact(&v);
    struct sensor_input in = meets(NAN, 25);
    assert_true(isnan(sensor_read(&s, &in, &d)));
    in = meets(1e9, 25);
    assert_near(sensor_read(&s, &in, &d), quantity_info(Q_EC)->hard_hi, 0);
}

static void ageing_adds_up(void **state)
{
    (void)state;
    struct dice d = dice_init(3, "probe", 0);
    struct probe_value v = ideal(Q_EC);
    struct sensor s = exact(&v);
    s.gain_per_day = 0.001;
    struct sensor_input in = meets(300, 25);
    in.days = 10;
    assert_near(sensor_read(&s, &in, &d), 303, 1e-6);
}

static void a_dry_cell_reads_nothing_steadily(void **state)
{
    (void)state;
    struct dice d = dice_init(3, "probe", 0);
    struct probe_value v = ideal(Q_EC);
    struct sensor s = exact(&v);
    s.noise_sd = 3;
    struct sensor_input in = meets(0.4, 20);
    for (int i = 0; i < 100; i++)
        assert_near(sensor_read(&s, &in, &d), 0.4, 1e-6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(units_are_turned_back),
        cmocka_unit_test(raw_conductivity_compensates_back),
        cmocka_unit_test(calibration_is_turned_back),
        cmocka_unit_test(readings_come_in_steps_about_the_truth),
        cmocka_unit_test(faults_of_probes),
        cmocka_unit_test(nothing_stays_nothing_and_limits_hold),
        cmocka_unit_test(ageing_adds_up),
        cmocka_unit_test(a_dry_cell_reads_nothing_steadily),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
