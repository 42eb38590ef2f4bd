/* Retained documents become notices, whatever comes; kinds explained; forecasts as they turned out. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/store.h"
#include "cli/alerts.h"
#include "small_room.h"

static struct small_room room;
static struct alerts_heard h;

static int setup(void **state)
{
    (void)state;
    small_room_init(&room);
    site_derive_streams(&room.site);
    site_derive_alerts(&room.site);
    return alerts_heard_init(&h, &room.site);
}

static int teardown(void **state)
{
    (void)state;
    alerts_heard_fini(&h);
    site_fini(&room.site);
    return 0;
}

static void hear(const char *topic, const char *payload)
{
    struct message m = { .topic = topic,
                         .topic_len = (uint32_t)strlen(topic),
                         .payload = payload,
                         .payload_len = (uint32_t)strlen(payload) };
    alerts_heard_take(&h, &m);
}

#define LOW                                                                                                  \
    "{\"place\":\"tank/"                                                                                     \
    "a1\",\"kind\":\"temp-low\",\"state\":\"UNACK\",\"priority\":\"high\",\"value\":20.31,"                  \
    "\"limit\":20.5,\"unit\":\"°C\",\"cause\":null,\"evidence\":null,\"action\":\"look\",\"consequence\":"  \
    "\"x\","                                                                                                 \
    "\"raised\":\"2026-03-01T12:00:00Z\",\"due\":null,\"until\":null,\"chattering\":true,\"leader\":null,"   \
    "\"who\":\"mara\",\"why\":null}"

static void a_document_becomes_a_notice(void **state)
{
    (void)state;
    hear("lentic/millrace/status", "{\"state\":\"online\"}");
    hear("lentic/millrace/alert/tank/a1/temp-low", LOW);
    assert_true(h.status_heard && h.online);
    assert_int_equal(h.count, 1);
    const struct notice *n = &h.notices[0];
    assert_string_equal(n->ref, "tank/a1/temp-low");
    assert_string_equal(n->title, "temperature below the band");
    assert_string_equal(n->number, "20.31 °C, limit 20.5 °C");
    assert_string_equal(n->who, "mara");
    assert_string_equal(n->leader, "");
    assert_int_equal(n->priority, PRIORITY_HIGH);
    assert_int_equal(n->raised.ms, INT64_C(1772366400000));
    assert_true(n->chattering && !utc_is_set(n->due));
    assert_string_equal(h.documents[0], LOW);
}

static void what_ends_goes(void **state)
{
    (void)state;
    hear("lentic/millrace/alert/tank/a1/temp-low", LOW);
    hear("lentic/millrace/alert/tank/b1/temp-low", "{\"state\":\"ACKED\",\"priority\":\"low\"}");
    hear("lentic/millrace/alert/tank/a1/temp-low", "");
    hear("lentic/millrace/alert/tank/a1/temp-low", "");
    assert_int_equal(h.count, 1);
    assert_string_equal(h.notices[0].ref, "tank/b1/temp-low");
    hear("lentic/millrace/status", "{\"state\":\"offline\"}");
    assert_true(h.status_heard && !h.online);
}

static void documents_stay_with_their_notices(void **state)
{
    (void)state;
    hear("lentic/millrace/alert/tank/b1/temp-low", "{\"state\":\"ACKED\",\"priority\":\"low\"}");
    hear("lentic/millrace/alert/tank/a1/temp-low", LOW);
    alerts_heard_sort(&h);
    assert_string_equal(h.notices[0].ref, "tank/a1/temp-low");
    assert_string_equal(h.documents[0], LOW);
    assert_string_equal(h.documents[1], "{\"state\":\"ACKED\",\"priority\":\"low\"}");
}

static void rubbish_is_counted(void **state)
{
    (void)state;
    hear("lentic/millrace/alert/tank/a1/temp-low", "{\"state\":");
    hear("lentic/millrace/status", "no");
    hear("lentic/other/alert/tank/a1/temp-low", LOW);
    hear("lentic/millrace", "x");
    hear("lentic/millrace/alert/tank/zz/nothing-known", "{\"state\":7,\"priority\":[],\"kind\":\"odd\"}");
    assert_int_equal(h.unreadable, 1);
    assert_int_equal(h.count, 1);
    assert_string_equal(h.notices[0].title, "odd");
    assert_int_equal(h.notices[0].priority, PRIORITY_HIGH);
    assert_false(h.status_heard);
}

/* --- what goes to the standard output --- */

static char printed[65536];
static const struct options options = { .verb = "alerts" };

/* The exit code; what was printed is in printed. */
static int print_of(int (*of)(const struct alerts_job *job, const char *word), const struct alerts_job *job,
                    const char *word)
{
    FILE *file = tmpfile();
    assert_non_null(file);
    fflush(stdout);
    int before = dup(STDOUT_FILENO);
    assert_true(dup2(fileno(file), STDOUT_FILENO) >= 0);
    int code = of(job, word);
    fflush(stdout);
    assert_true(dup2(before, STDOUT_FILENO) >= 0);
    close(before);
    rewind(file);
    printed[fread(printed, 1, sizeof printed - 1, file)] = '\0';
    fclose(file);
    return code;
}

static int explained(const char *kind, bool json)
{
    const struct alerts_job job = { .options = &options, .json = json };
    return print_of(alerts_explain, &job, kind);
}

static int times(const char *word)
{
    int n = 0;
    for (const char *at = printed; (at = strstr(at, word)) != NULL; at += strlen(word))
        n++;
    return n;
}

static void kinds_are_explained_by_any_of_their_names(void **state)
{
    (void)state;
    const char *const names[] = { "heater-dead", "tank/a1/heater-dead" };
    for (int i = 0; i < 2; i++) {
        assert_int_equal(explained(names[i], false), 0);
        assert_non_null(strstr(printed, "heater-dead - "));
        assert_int_equal(times("  Do: "), 1);
    }
    assert_int_equal(explained("ec-drift", false), 0); /* the quantity says nothing of the kind */
    assert_non_null(strstr(printed, "drift - "));
    assert_int_equal(explained("all", false), 0);
    assert_int_equal(times("  Means: "), KIND_COUNT);
    assert_int_equal(explained("all", true), 0);
    assert_int_equal(times("{\"kind\":\""), KIND_COUNT);
    assert_true(printed[0] == '[' && strstr(printed, "}]\n") != NULL);
}

static void an_unknown_kind_is_refused(void **state)
{
    (void)state;
    fflush(stderr);
    int before = dup(STDERR_FILENO), nowhere = open("/dev/null", O_WRONLY);
    assert_true(dup2(nowhere, STDERR_FILENO) >= 0);
    int code = explained("heater-deaf", false);
    assert_true(dup2(before, STDERR_FILENO) >= 0);
    close(before);
    close(nowhere);
    assert_int_equal(code, 2);
    assert_string_equal(printed, "");
    assert_int_equal(explained("wind-drift", false) + explained("", false), 4); /* no quantity; no word */
}

static int scores(const struct alerts_job *job, const char *word)
{
    (void)word;
    return alerts_scores(job);
}

static void score(struct store *store, const char *verdict, double off_h, struct now now)
{
    struct event e = { .kind = EVENT_FORECAST_SCORED, .place = 1, .quantity = Q_TEMP, .value = off_h };
    (void)snprintf(e.text, sizeof e.text, "tank/a1/heater-dead: %s; said 5 h, reached after 6 h", verdict);
    store_hold_event(store, &e, now.utc);
}

static void forecasts_are_summed_up(void **state)
{
    (void)state;
    char path[64], file[80], name[100];
    struct store *store;
    struct why why;
    uint64_t committed;
    struct now now = clock_now();
    (void)snprintf(path, sizeof path, "/tmp/lentic-alerts-XXXXXX");
    assert_non_null(mkdtemp(path));
    (void)snprintf(file, sizeof file, "%s/store.db", path);
    room.site.store.path = file;
    room.site.store.commit_rows = 100;
    assert_int_equal(store_open(&room.site, &store, &why), STATUS_OK);
    struct alerts_job job = { .options = &options, .site = &room.site };
    assert_int_equal(print_of(scores, &job, NULL), 0);
    assert_string_equal(printed, "No forecast came to its end in the last 90 days.\n");
    score(store, "within the spread", 1, now);
    score(store, "within the spread", -2, now);
    score(store, "outside the spread", 6, now);
    score(store, "overtaken", NAN, now);
    assert_int_equal(store_commit(store, 1, now, true, &committed), STATUS_OK);
    assert_int_equal(print_of(scores, &job, NULL), 0);
    assert_non_null(strstr(printed, "4 forecasts in 90 days: 2 of 3 came within their spread"));
    assert_non_null(strstr(printed, "1 were overtaken"));
    assert_non_null(strstr(printed, "Off by 2 h in the middle"));
    job.json = true;
    assert_int_equal(print_of(scores, &job, NULL), 0);
    assert_non_null(strstr(printed, "],\"within\":2,\"outside\":1,\"overtaken\":1,\"median_off_h\":2.00}\n"));
    store_close(store);
    for (int i = 0; i < 3; i++) {
        (void)snprintf(name, sizeof name, "%s%s", file, i == 0 ? "" : i == 1 ? "-wal" : "-shm");
        unlink(name);
    }
    rmdir(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_document_becomes_a_notice, setup, teardown),
        cmocka_unit_test_setup_teardown(what_ends_goes, setup, teardown),
        cmocka_unit_test_setup_teardown(documents_stay_with_their_notices, setup, teardown),
        cmocka_unit_test_setup_teardown(rubbish_is_counted, setup, teardown),
        cmocka_unit_test(kinds_are_explained_by_any_of_their_names),
        cmocka_unit_test(an_unknown_kind_is_refused),
        cmocka_unit_test_setup_teardown(forecasts_are_summed_up, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
