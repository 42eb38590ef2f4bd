/* Notes through the pump: numbered, corrected, tied to their batch, answered. */
#include "journal_room.h"

#include "app/pump.h"

static struct journal_room room;
static struct pump pump;
static struct now now;
static char answer[2048];
static struct journal_entry last;

static void take_answer(void *context, const struct message *m, const char *json, size_t n)
{
    (void)context;
    (void)m;
    snprintf(answer, sizeof answer, "%.*s", (int)n, json);
}

static void take_effect(void *context, const struct effect *e)
{
    (void)context;
    if (e->kind == EFFECT_JOURNAL)
        last = e->u.journal;
}

static int set_up(void **state)
{
    const struct pump_sinks sinks = { .answer = take_answer, .effect = take_effect };
    (void)state;
    journal_room_init(&room);
    room.site.notify.command = NULL;
    site_derive_streams(&room.site);
    site_derive_alerts(&room.site);
    now = (struct now){ { NOON }, { 1000 }, true };
    pump_init(&pump, &room.site, &sinks, now);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    pump_fini(&pump);
    site_fini(&room.site);
    return 0;
}

static void say(const char *json)
{
    static const char topic[] = "lentic/millrace/do/note";
    struct message m = { .topic = topic,
                         .topic_len = sizeof topic - 1,
                         .payload = json,
                         .payload_len = (uint32_t)strlen(json),
                         .qos = 1,
                         .now = now };
    answer[0] = '\0';
    last.id = last.withdraws = 0;
    pump_message(&pump, &m);
    now.utc.ms += 1000;
    now.mono.ms += 1000;
}

static void hears(const char *json, const char *with)
{
    say(json);
    if (strstr(answer, with) == NULL)
        fail_msg("%s was answered %s, want %s", json, answer, with);
}

static void numbers_go_up(void **state)
{
    (void)state;
    hears("{\"tank\":\"a1\",\"what\":\"test\",\"values\":{\"gh\":6}}", "noted as entry 1: test gh 6");
    hears("{\"tank\":\"a1\",\"what\":\"test\"}", "\"ok\":false");
    hears("{\"tank\":\"a1\",\"what\":\"feeding\",\"grams\":0.2}", "noted as entry 2");
    assert_int_equal(last.id, 2);
    assert_int_equal(last.at.ms, NOON + 2000);
}

static void corrected_and_withdrawn(void **state)
{
    (void)state;
    say("{\"tank\":\"a1\",\"what\":\"test\",\"values\":{\"gh\":6,\"kh\":2},\"kit\":\"drops-1\"}");
    hears("{\"correct\":1,\"values\":{\"gh\":5}}", "entry 2 now stands for 1: test gh 5 °dH, kh 2");
    assert_int_equal(last.corrects, 1);
    assert_int_equal(last.at.ms, NOON);
    hears("{\"correct\":1,\"values\":{\"gh\":4}}", "corrected already");
    hears("{\"correct\":9,\"values\":{\"gh\":4}}", "no entry 9");
    hears("{\"correct\":2,\"what\":\"change\"}", "is a test, not a change");
    hears("{\"correct\":2,\"values\":{\"gh\":400}}", "cannot be");
    hears("{\"withdraw\":2,\"why\":\"wrong tank\"}", "no longer counts");
    assert_int_equal(last.withdraws, 2);
    assert_string_equal(last.place, "tank/a1");
    hears("{\"withdraw\":2,\"why\":\"again\"}", "counts no longer already");
    hears("{\"withdraw\":1,\"why\":\"again\"}", "counts no longer already");
}

static void a_change_knows_its_batch(void **state)
{
    (void)state;
    say("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6}");
    assert_int_equal(last.batch, 0);
    say("{\"water\":\"soft\",\"what\":\"batch\",\"litres\":60,\"values\":{\"ec\":245}}");
    int64_t first = last.id;
    say("{\"water\":\"soft\",\"what\":\"batch\",\"litres\":60,\"values\":{\"ec\":247}}");
    int64_t second = last.id;
    hears("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6}", "batch 3");
    assert_int_equal(last.batch, second);
    assert_string_equal(last.water, "soft");
    say("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6,\"batch\":2}");
    assert_int_equal(last.batch, first);
    hears("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6,\"batch\":4}", "is no batch but a change");
    say("{\"withdraw\":3,\"why\":\"poured away\"}");
    say("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6}");
    assert_int_equal(last.batch, first);
    now.utc.ms += NOTEBOOK_BATCH_MS;
    now.mono.ms += NOTEBOOK_BATCH_MS;
    say("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6}");
    assert_int_equal(last.batch, 0);
}

static void a_bad_batch_is_told_at_once(void **state)
{
    (void)state;
    hears("{\"water\":\"soft\",\"what\":\"batch\",\"litres\":60,\"values\":{\"ec\":294}}", "20 % too strong");
    assert_non_null(strstr(answer, "add 12.0 L of purified water"));
    hears("{\"water\":\"soft\",\"what\":\"batch\",\"litres\":60,\"values\":{\"ec\":246}}", "as it should be");
    hears("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6}", "noted as entry 3");
    assert_null(strstr(answer, "watch the animals"));
    hears("{\"tank\":\"a1\",\"what\":\"change\",\"litres\":6,\"batch\":1}", "batch 1 is not as it should be");
    assert_non_null(strstr(answer, "lentic note --batch 1 tells which tanks got it"));
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
    const struct CMUnitTest tests[] = { TEST(numbers_go_up), TEST(corrected_and_withdrawn),
                                        TEST(a_change_knows_its_batch), TEST(a_bad_batch_is_told_at_once) };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
