#include "store_fixture.h"

#include <stdbool.h>

#include "adapters/store_calibration.h"
#include "adapters/store_query.h"
#include "near.h"

static struct calib last;
static int seen, undone;

static void keep(void *context, int stream, const struct calib *c)
{
    (void)context;
    assert_int_equal(stream, 1);
    last = *c;
    seen++;
}

static void keep_row(void *context, const struct calibration_row *row)
{
    (void)context;
    assert_string_equal(row->probe, "probes/a1#/ec");
    last = row->calib;
    seen++;
    undone += row->undone;
}

static struct calib calib_of(double gain, int64_t s)
{
    struct calib c = CALIB_IDENTITY;
    c.gain = gain;
    c.since = (utc_t){ T0 + s * 1000 };
    return c;
}

static void dated_replaced_and_taken_back(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct calib c = calib_of(1.5, 0);
    assert_int_equal(store_undo_calibration(store, 1), STATUS_NONE);
    assert_int_equal(store_put_calibration(store, 1, &c), STATUS_OK);
    c.gain = 2.5; /* of the same time: replaced */
    assert_int_equal(store_put_calibration(store, 1, &c), STATUS_OK);
    c = calib_of(1, 60);
    c.kind = CALIB_ELECTRODE;
    c.offset_mv = 4.5;
    c.slope_fraction[0] = 0.97;
    c.slope_fraction[1] = 0.96;
    c.pivot_ph = 6.86;
    c.residual = 0.4;
    assert_int_equal(store_put_calibration(store, 1, &c), STATUS_OK);
    seen = 0;
    assert_int_equal(store_each_calibration(store, keep, NULL), STATUS_OK);
    assert_int_equal(seen, 2);
    assert_true(last.kind == CALIB_ELECTRODE && last.offset_mv == 4.5 && last.pivot_ph == 6.86 &&
                last.slope_fraction[1] == 0.96 && last.residual == 0.4 && last.since.ms == T0 + 60000);
    assert_int_equal(store_undo_calibration(store, 1), STATUS_OK);
    seen = 0;
    assert_int_equal(store_each_calibration(store, keep, NULL), STATUS_OK);
    assert_int_equal(seen, 1);
    assert_true(last.gain == 2.5 && isnan(last.residual));
    store_close(store);

    struct store_reader *reader;
    assert_int_equal(store_reader_open(room->path, &reader, NULL), STATUS_OK);
    seen = undone = 0;
    assert_int_equal(store_reader_calibrations(reader, "tank/a1", "ec", keep_row, NULL), STATUS_OK);
    assert_int_equal(seen, 2);
    assert_int_equal(undone, 1);
    store_reader_close(reader);
}

static double doubled(void *context, double sent, double temp_c)
{
    *(int *)context += !isnan(temp_c);
    return 2 * sent + (isnan(temp_c) ? 0 : temp_c);
}

static struct reading rows[8];
static int row_count;

static void keep_reading(void *context, const struct reading *r)
{
    (void)context;
    if (r->stream == 1 && row_count < 8)
        rows[row_count++] = *r;
}

/* Readings both settled and recent; temperature known for the later ones only; a missing one stays missing.
 */
static void stored_readings_are_reckoned_anew(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    for (int i = 0; i < 4; i++) {
        struct reading r = reading_at(1, i * 18000, 100 + i);
        r.flag = i == 2 ? FLAG_SUSPECT : FLAG_GOOD;
        store_put_reading(store, &r);
    }
    struct reading t = reading_at(0, 2 * 18000 - 60, 20), gone = reading_at(1, 100, NAN);
    gone.flag = FLAG_MISSING;
    store_put_reading(store, &t);
    store_put_reading(store, &gone);
    committed(store, 1, 3 * 18000);
    for (int i = 0; i < 50 && store_tend(store, at(3 * 18000 + i)); i++)
        continue;
    int with_temp = 0;
    int64_t changed = 0;
    assert_int_equal(store_recompute(store, 1, (utc_t){ T0 + 50000 }, (utc_t){ T0 + 4 * 18000000 }, doubled,
                                     &with_temp, &changed),
                     STATUS_OK);
    assert_int_equal(changed, 3);
    assert_int_equal(with_temp, 1);
    row_count = 0;
    assert_int_equal(store_each_reading(store, (utc_t){ T0 }, keep_reading, NULL), STATUS_OK);
    assert_int_equal(row_count, 5);
    assert_near(rows[0].value, 100, 0); /* before the span */
    assert_true(isnan(rows[1].value));
    assert_near(rows[2].value, 202, 0);
    assert_near(rows[2].sent, 101, 0);
    assert_near(rows[3].value, 224, 0);
    assert_int_equal(rows[3].flag, FLAG_SUSPECT);
    assert_near(rows[4].value, 206, 0); /* the temperature is more than two hours old */
    store_close(store);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(dated_replaced_and_taken_back, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(stored_readings_are_reckoned_anew, room_setup, room_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
