#include <stdarg.h>
#include <setjmp.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "cli/rehearse.h"
#include "near.h"
#include "small_room.h"

static struct small_room room;
static const struct options options = { "rehearse", NULL, "", NULL, 0, NULL };

static struct sim *quiet_sim(void)
{
    small_room_init(&room);
    const struct sim_options o = { .seed = 1, .start = { INT64_C(1772323200000) } };
    return sim_init(&room.site, &o);
}

static void line_is(const struct sim_message *m, const char *expected)
{
    char *text = NULL;
    size_t n = 0;
    FILE *out = open_memstream(&text, &n);
    assert_non_null(out);
    rehearse_write_line(out, m);
    assert_int_equal(fclose(out), 0);
    assert_string_equal(text, expected);
    free(text);
}

static void lines_are_as_mosquitto_writes_them(void **state)
{
    (void)state;
    struct sim_message m = { .t = { INT64_C(1772366400123) },
                             .topic = "probes/a1/temp",
                             .payload = "25.06",
                             .payload_len = 5,
                             .qos = 1,
                             .retain = true };
    line_is(&m, "{\"tst\":\"2026-03-01T12:00:00.123000Z+0000\",\"topic\":\"probes/a1/temp\",\"qos\":1,"
                "\"retain\":0,\"payloadlen\":5,\"payload\":\"25.06\"}\n");
    m.replay = true;
    m.payload = "{\"a\":1}";
    m.payload_len = 7;
    line_is(&m, "{\"tst\":\"2026-03-01T12:00:00.123000Z+0000\",\"topic\":\"probes/a1/temp\",\"qos\":1,"
                "\"retain\":1,\"payloadlen\":7,\"payload\":\"{\\\"a\\\":1}\"}\n");
    m.payload_len = 0;
    line_is(&m, "{\"tst\":\"2026-03-01T12:00:00.123000Z+0000\",\"topic\":\"probes/a1/temp\",\"qos\":1,"
                "\"retain\":1,\"payloadlen\":0,\"payload\":null}\n");
}

static int count_lines(const char *text)
{
    int count = 0;
    for (const char *c = text; *c != '\0'; c++)
        count += *c == '\n';
    return count;
}

static void a_capture_and_its_truth(void **state)
{
    (void)state;
    char *capture = NULL, *truth = NULL;
    size_t capture_n, truth_n;
    struct rehearse_job job = { .options = &options,
                                .site = &room.site,
                                .sim = quiet_sim(),
                                .seconds = 3600,
                                .capture = open_memstream(&capture, &capture_n),
                                .truth = open_memstream(&truth, &truth_n),
                                .truth_every_s = 900,
                                .truth_next_s = 900 };
    assert_int_equal(rehearse_capture(&job), 0);
    assert_int_equal(fclose(job.capture), 0);
    assert_int_equal(fclose(job.truth), 0);
    assert_int_equal(sim_utc(job.sim).ms, INT64_C(1772323200000) + 3600 * 1000);
    sim_fini(job.sim);
    assert_true(job.messages > 900);
    assert_int_equal(count_lines(capture), job.messages);
    assert_int_equal(count_lines(truth), 4 * ROOM_TANKS);
    assert_int_equal(strncmp(truth, "{\"t\":\"2026-03-01T00:15:00.000Z\",\"tank\":\"a1\",\"temp\":", 51), 0);
    assert_non_null(strstr(truth, "\"faults\":[],\"left\":[]}"));
    assert_near(job.left_tank_hours, 0, 0);
    free(capture);
    free(truth);
}

static void truth_tells_faults_and_bands_left(void **state)
{
    (void)state;
    char *truth = NULL;
    size_t truth_n;
    small_room_init(&room);
    const struct mishap dead = { .kind = MISHAP_HEATER_DEAD, .target = 0, .of = Q_COUNT, .for_s = INFINITY };
    const struct sim_options o = {
        .seed = 1, .start = { INT64_C(1772323200000) }, .faults = &dead, .fault_count = 1
    };
    struct rehearse_job job = { .options = &options,
                                .site = &room.site,
                                .sim = sim_init(&room.site, &o),
                                .truth = open_memstream(&truth, &truth_n),
                                .truth_every_s = 3600,
                                .truth_next_s = 3600 };
    rehearse_advance(&job, 30 * 3600, NULL, NULL);
    assert_int_equal(fclose(job.truth), 0);
    sim_fini(job.sim);
    assert_int_equal(count_lines(truth), 30 * ROOM_TANKS);
    assert_non_null(
        strstr(truth, "\"heater\":false,\"heater_w\":0.0,\"faults\":[\"heater-dead\"],\"left\":[\"temp\"]}"));
    assert_true(job.left_tank_hours > 5 && job.left_tank_hours < 30);
    free(truth);
}

static void a_full_disk_is_told(void **state)
{
    (void)state;
    struct rehearse_job job = { .options = &options,
                                .site = &room.site,
                                .sim = quiet_sim(),
                                .seconds = 3600,
                                .capture = fopen("/dev/full", "w"),
                                .truth_every_s = 900,
                                .truth_next_s = 900 };
    if (job.capture == NULL)
        skip();
    assert_int_equal(rehearse_capture(&job), 3);
    (void)fclose(job.capture);
    sim_fini(job.sim);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_are_as_mosquitto_writes_them),
        cmocka_unit_test(a_capture_and_its_truth),
        cmocka_unit_test(truth_tells_faults_and_bands_left),
        cmocka_unit_test(a_full_disk_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
