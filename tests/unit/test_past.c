/* lentic past as a keeper types it, against a small store. */
#include "store_fixture.h"

#include <fcntl.h>
#include <time.h>

#include "cli/past.h"
#include "cli/stretch.h"
#include "cli/verbs.h"

static char said[65536];

/* Runs the verb with standard output and error caught in said. */
static int run(struct room *room, const char *words)
{
    char copy[512], path[128], *argv[32] = { "past" };
    int argc = 1;
    snprintf(copy, sizeof copy, "%s --store %s", words, room->path);
    for (char *word = strtok(copy, " "); word != NULL; word = strtok(NULL, " "))
        argv[argc++] = word;
    snprintf(path, sizeof path, "%s/said", room->dir);
    fflush(NULL);
    int out = dup(1), err = dup(2), file = open(path, O_RDWR | O_CREAT | O_TRUNC, 0600);
    dup2(file, 1);
    dup2(file, 2);
    int code = past_main(argc, argv);
    fflush(NULL);
    dup2(out, 1);
    dup2(err, 2);
    close(out);
    close(err);
    ssize_t n = pread(file, said, sizeof said - 1, 0);
    said[n > 0 ? n : 0] = 0;
    close(file);
    return code;
}

static void has(const char *piece)
{
    if (strstr(said, piece) == NULL)
        fail_msg("no \"%s\" in:\n%s", piece, said);
}

static void put_test(struct store *store, int64_t id, const char *place, const char *quantity, double v,
                     double sd, int at_s)
{
    struct journal_entry e;
    journal_clear(&e);
    e.id = id;
    e.kind = JOURNAL_TEST;
    e.at = e.written = (utc_t){ T0 + at_s * 1000 };
    snprintf(e.place, sizeof e.place, "%s", place);
    snprintf(e.kit, sizeof e.kit, "drops-1");
    snprintf(e.who, sizeof e.who, "Ada");
    assert_int_equal(journal_put(&e, JOURNAL_VALUE, quantity, v, sd), STATUS_OK);
    assert_int_equal(store_put_journal(store, &e, e.at), STATUS_OK);
}

static int setup(void **state)
{
    struct room *room = malloc(sizeof *room);
    room_make(room);
    struct store *store = store_made(room);
    for (int i = 0; i < 10; i++) {
        struct reading r = reading_at(0, i * 60, 24.0 + i / 10.0);
        store_put_reading(store, &r);
    }
    put_test(store, 3, "tank/a1", "gh", 6, 0.5, 600);
    put_test(store, 4, "tank/a1", "gh", 5, NAN, 1200);
    put_test(store, 5, "tank/a1", "temp", 24.5, 0.3, 1800);
    committed(store, 1, 600);
    store_close(store);
    setenv("TZ", "Europe/Amsterdam", 1);
    tzset();
    *state = room;
    return 0;
}

static int teardown(void **state)
{
    room_remove(*state);
    free(*state);
    return 0;
}

#define SPAN " --from 2026-03-01T12:00:00Z --to 2026-03-01T13:00:00Z"

static void people_see_chart_and_table_in_local_time(void **state)
{
    assert_int_equal(run(*state, "a1 temp --points 2" SPAN), 0);
    has("temperature of tank/a1 in °C, 2026-03-01 13:00 to 2026-03-01 14:00 CET");
    has("24.90 °C ┤");
    has("24.00 °C ┤▁");
    has("2026-03-01 13:00:00  24.45   24.00    24.90        10  good\n");
}

static void programs_get_utc(void **state)
{
    assert_int_equal(run(*state, "tank/a1 temp --csv" SPAN), 0);
    has("t,place,quantity,unit,value,raw,flag,probe,sd,kit,lot,entry\n"
        "2026-03-01T12:00:00.000Z,tank/a1,temp,°C,24,24,1,\"probes/a1#/t\",,,,\n");
    has("2026-03-01T12:09:00.000Z,tank/a1,temp,°C,24.9,24.9,1,");
    assert_int_equal(run(*state, "a1 temp --json --points 1" SPAN), 0);
    has("\"points\":[\n{\"t\":\"2026-03-01T12:00:00.000Z\",\"mean\":24.45");
    has("\"lo\":24,\"hi\":24.9,\"n\":10,\"flag\":1}\n],\"tests\":[\n{\"t\":\"2026-03-01T12:30:00.000Z\"");
}

static void hand_tests_are_readings(void **state)
{
    assert_int_equal(run(*state, "a1 gh" SPAN), 0);
    has("general hardness of tank/a1");
    has("2026-03-01 13:20:00   5.0     5.0      5.0         1  good\n");
    has("Hand tests\n  2026-03-01 13:10  6.0 ± 0.5 °dH, kit drops-1, by Ada (entry 3)\n"
        "  2026-03-01 13:20  5.0 °dH, kit drops-1");
    assert_int_equal(run(*state, "a1 gh --csv" SPAN), 0);
    has("probe,sd,kit,lot,entry\n2026-03-01T12:10:00.000Z,tank/a1,gh,°dH,6,,1,,0.5,\"drops-1\",\"\",3\n");
    assert_int_equal(run(*state, "a1 gh --json" SPAN), 0);
    has("\"readings\":[\n],\"tests\":[\n{\"t\":\"2026-03-01T12:10:00.000Z\",\"value\":6,\"sd\":0.5,"
        "\"kit\":\"drops-1\",\"lot\":null,\"who\":\"Ada\",\"entry\":3},\n");
    has("\"sd\":null");
}

/* Beside a probe a test stands below the table, and for itself where the probe was silent. */
static void beside_a_probe(void **state)
{
    assert_int_equal(run(*state, "a1 temp --points 2" SPAN), 0);
    has("2026-03-01 13:30:00  24.50   24.50    24.50         1  good\n");
    has("Hand tests\n  2026-03-01 13:30  24.50 ± 0.3 °C");
    assert_int_equal(run(*state, "a1 temp --points 1" SPAN), 0);
    has("24.45   24.00    24.90        10  good\n");
    assert_int_equal(run(*state, "a1 gh --from 2020-01-01 --days 2"), 1);
    has("There are readings from 2026-03-01 13:10 to 2026-03-01 13:20 CET");
}

static void nothing_is_answered_with_what_there_is(void **state)
{
    assert_int_equal(run(*state, "a1 temp --from 2020-01-01 --days 2"), 1);
    has("no temp of tank/a1 in that span");
    has("from 2026-03-01 13:00 to 2026-03-01 13:30 CET");
    assert_int_equal(run(*state, "a1 ec" SPAN), 1);
    has("never sent a reading");
    assert_int_equal(run(*state, "a1 ph" SPAN), 1);
    has("It has ec, gh, temp.");
    assert_int_equal(run(*state, "a2 temp" SPAN), 1);
    has("Did you mean tank/a1?");
}

static void slips_are_told(void **state)
{
    struct room *room = *state;
    assert_int_equal(run(room, "a1"), 2);
    assert_int_equal(run(room, "a1 tepm"), 2);
    assert_int_equal(run(room, "a1 temp --from yesterday"), 2);
    has("not \"yesterday\"");
    assert_int_equal(run(room, "a1 temp --from 2026-03-02 --to 2026-03-01"), 2);
    has("--from must lie before --to");
    unlink(room->path);
    assert_int_equal(run(room, "a1 temp"), 3);
    has("there is no store at");
}

static void times_are_local_unless_zoned(void **state)
{
    utc_t t;
    (void)state;
    assert_int_equal(stretch_parse_time("2026-03-01 13:00", &t), STATUS_OK);
    assert_int_equal(t.ms, T0);
    assert_int_equal(stretch_parse_time("2026-03-01T12:00:00Z", &t), STATUS_OK);
    assert_int_equal(t.ms, T0);
    assert_int_equal(stretch_parse_time("2026-03-01", &t), STATUS_OK);
    assert_int_equal(t.ms, T0 - 13 * 3600000);
    assert_int_equal(stretch_parse_time("2026-02-30", &t), STATUS_INVALID);
    assert_int_equal(stretch_parse_time("2026-03-01 13:00 or so", &t), STATUS_INVALID);
    assert_int_equal(stretch_parse_time("", &t), STATUS_INVALID);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(people_see_chart_and_table_in_local_time, setup, teardown),
        cmocka_unit_test_setup_teardown(programs_get_utc, setup, teardown),
        cmocka_unit_test_setup_teardown(hand_tests_are_readings, setup, teardown),
        cmocka_unit_test_setup_teardown(beside_a_probe, setup, teardown),
        cmocka_unit_test_setup_teardown(nothing_is_answered_with_what_there_is, setup, teardown),
        cmocka_unit_test_setup_teardown(slips_are_told, setup, teardown),
        cmocka_unit_test_setup_teardown(times_are_local_unless_zoned, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
