#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "wire/encode.h"
#include "wire/json.h"
#include "site_sketch.h"

#define NOON INT64_C(1772366400000)

static struct arena arena;
static struct site site;
static struct probe_value values[2];
static struct probe_entry entry;
static char buf[ENCODE_DOCUMENT_MAX];
static struct text out;

static int set_up(void **state)
{
    (void)state;
    values[0] = sketch_value("/t", Q_TEMP, "Cel");
    values[1] = sketch_value("/ec", Q_EC, "mS/cm");
    entry = sketch_entry(&arena, "state/{tank}", -1, values, 2);
    site = sketch_site(&entry, 1);
    out = text_over(buf, sizeof buf);
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    site_fini(&site);
    arena_fini(&arena);
    return 0;
}

static struct alert alert_of(const char *ref)
{
    struct alert a = { .index = site_alert_find(&site, ref, strlen(ref)),
                       .base = ALERT_UNACK,
                       .active = true,
                       .since = { NOON },
                       .raised_at = { NOON },
                       .value = NAN,
                       .limit = NAN,
                       .due = UTC_NONE,
                       .shelved_until = UTC_NONE,
                       .out_until = UTC_NONE,
                       .leader = -1 };
    if (a.index < 0)
        fail_msg("no alert %s", ref);
    return a;
}

static void readings(void **state)
{
    (void)state;
    struct reading r = { .stream = 1,
                         .t = { NOON },
                         .sent = 0.41234567,
                         .value = 412.34567,
                         .flag = FLAG_SUSPECT,
                         .basis = TIME_OWN };
    r.tests = verdict_set(verdict_set(0, TEST_GAP, FLAG_GOOD), TEST_RATE, FLAG_SUSPECT);
    encode_reading(&site, &r, &out);
    assert_string_equal(
        buf,
        "{\"t\":\"2026-03-01T12:00:00.000Z\",\"place\":\"tank/a1\",\"quantity\":\"ec\",\"raw\":0.41234567,"
        "\"value\":412.346,\"unit\":\"µS/cm\",\"flag\":3,\"tests\":{\"gap\":1,\"rate\":3},\"time\":\"own\"}");
    text_clear(&out);
    r = (struct reading){ .stream = 0,
                          .t = { NOON },
                          .sent = NAN,
                          .value = NAN,
                          .flag = FLAG_MISSING,
                          .basis = TIME_RECEIVED,
                          .late = true,
                          .revised = true };
    encode_reading(&site, &r, &out);
    assert_string_equal(
        buf, "{\"t\":\"2026-03-01T12:00:00.000Z\",\"place\":\"tank/a1\",\"quantity\":\"temp\",\"raw\":null,"
             "\"value\":null,\"unit\":\"°C\",\"flag\":9,\"tests\":{},\"time\":\"received\",\"late\":true,"
             "\"revised\":true}");
}

static void events(void **state)
{
    (void)state;
    struct event e = { EVENT_CHANGE_SEEN, AT_A1, Q_EC, -52.4, "about 6 L of other water" };
    encode_event(&site, &e, (utc_t){ NOON }, &out);
    assert_string_equal(buf, "{\"t\":\"2026-03-01T12:00:00.000Z\",\"event\":\"change-seen\",\"place\":\"tank/"
                             "a1\",\"quantity\":\"ec\","
                             "\"value\":-52,\"text\":\"about 6 L of other water\"}");
    text_clear(&out);
    e = (struct event){ EVENT_CLOCK, -1, Q_COUNT, NAN, "" };
    encode_event(&site, &e, (utc_t){ NOON }, &out);
    assert_string_equal(buf, "{\"t\":\"2026-03-01T12:00:00.000Z\",\"event\":\"clock\",\"place\":null,"
                             "\"quantity\":null,\"value\":null,"
                             "\"text\":null}");
}

static void alerts_as_documents(void **state)
{
    (void)state;
    struct alert a = alert_of("tank/a1/temp-low");
    a.value = 20.3125;
    a.limit = 20.5;
    strcpy(a.cause, "heater \"B\" not heating");
    a.due = (utc_t){ NOON + 160 * MS_PER_MIN };
    a.leader = site_alert_find(&site, "tank/a1/heater-dead", 19);
    strcpy(a.who, "night shift");
    strcpy(a.also, "temp-fast");
    a.forecast = (struct forecast){ Q_TEMP, site.alerts[a.index].place, 20.5,
                                    a.due,  { NOON + 2 * MS_PER_HOUR }, UTC_NONE };
    encode_alert(&site, &a, CHANGE_RAISE, true, (utc_t){ NOON }, &out);
    static const char head[] =
        "{\"t\":\"2026-03-01T12:00:00.000Z\",\"place\":\"tank/"
        "a1\",\"change\":\"raise\",\"announced\":true,\"kind\":\"temp-low\","
        "\"id\":\"tank/a1/temp-low\",\"state\":\"UNACK\",\"priority\":\"high\",\"value\":20.31,"
        "\"limit\":20.50,\"unit\":\"°C\",\"cause\":\"heater \\\"B\\\" not heating\",\"evidence\":null,"
        "\"action\":\"";
    assert_memory_equal(buf, head, sizeof head - 1);
    static const char tail[] =
        "\"since\":\"2026-03-01T12:00:00.000Z\",\"raised\":\"2026-03-01T12:00:00.000Z\","
        "\"due\":\"2026-03-01T14:40:00.000Z\",\"until\":null,\"chattering\":false,"
        "\"leader\":\"tank/a1/heater-dead\",\"who\":\"night shift\",\"why\":null,"
        "\"also\":\"temp-fast\",\"forecast\":{\"quantity\":\"temp\",\"place\":\"tank/"
        "a1\",\"limit\":20.50,\"unit\":\"°C\","
        "\"at\":\"2026-03-01T14:40:00.000Z\",\"at_early\":\"2026-03-01T14:00:00.000Z\",\"at_late\":null,"
        "\"text\":\"reaches 20.5 °C in about 2 h 40 min (2 h at the earliest, perhaps never)\"},"
        "\"meaning\":\"The value is under the band in which these animals live and breed.\","
        "\"time\":\"Hours for temperature and oxygen, days for the rest; the sooner, the smaller the "
        "correction.\"}";
    assert_string_equal(buf + out.len - (sizeof tail - 1), tail);
    text_clear(&out);
    a = alert_of("lentic/broker-down");
    a.marks = ALERT_SHELVED;
    a.shelved_until = (utc_t){ NOON + MS_PER_HOUR };
    a.chattering = true;
    encode_alert(&site, &a, CHANGE_SHELVE, false, (utc_t){ NOON }, &out);
    assert_non_null(strstr(buf, "\"state\":\"SHLVD\""));
    assert_non_null(strstr(buf, "\"value\":null,\"limit\":null,\"unit\":null,"));
    assert_non_null(strstr(buf, "\"change\":\"shelve\",\"announced\":false,"));
    assert_non_null(strstr(buf, "\"due\":null,\"until\":\"2026-03-01T13:00:00.000Z\",\"chattering\":true,"
                                "\"leader\":null,"));
}

static void numbers_that_are_not_in_the_quantitys_unit(void **state)
{
    (void)state;
    struct alert a = alert_of("tank/a1/temp-silent");
    a.value = 31.4;
    a.limit = 15;
    encode_alert(&site, &a, CHANGE_RAISE, true, (utc_t){ NOON }, &out);
    assert_non_null(strstr(buf, "\"value\":31,\"limit\":15,\"unit\":\"min\","));
    text_clear(&out);
    encode_alert_text(&site, &a, CHANGE_RAISE, (utc_t){ NOON }, NULL, &out);
    assert_non_null(strstr(buf, "Seen: 31 min, limit 15 min."));
    text_clear(&out);
    a = alert_of("tank/a1/temp-noisy");
    a.value = 0.18;
    encode_alert(&site, &a, CHANGE_RAISE, true, (utc_t){ NOON }, &out);
    assert_non_null(strstr(buf, "\"value\":0.18,\"limit\":null,\"unit\":\"°C\","));
    text_clear(&out);
    a = alert_of("tank/a1/ammonia");
    a.value = 0.0271;
    encode_alert(&site, &a, CHANGE_RAISE, true, (utc_t){ NOON }, &out);
    assert_non_null(strstr(buf, "\"value\":0.027,\"limit\":null,\"unit\":\"mg/L\","));
}

static struct tank_report report(void)
{
    struct tank_report r = { .tank = 0,
                             .t = { NOON },
                             .forecast.quantity = Q_COUNT,
                             .last_change = UTC_NONE,
                             .heat = { NAN, NAN, NAN, NAN, NAN, 0 } };
    return r;
}

static struct json_doc parsed(void)
{
    struct json_doc doc;
    struct why why;
    assert_false(out.cut);
    if (json_doc_parse(buf, out.len, &doc, &why) != STATUS_OK)
        fail_msg("%s: %s", why.text, buf);
    return doc;
}

static void tanks(void **state)
{
    (void)state;
    struct tank_report r = report();
    r.values[Q_TEMP] =
        (struct value_report){ ORIGIN_PROBE, 24.567, { NOON - 12345 }, FLAG_GOOD, false, -0.1234, 24, NAN };
    r.derived[DERIVED_NH3] =
        (struct value_report){ ORIGIN_DERIVED, 0.00125, { NOON - 60000 }, FLAG_SUSPECT, true, NAN, NAN, NAN };
    r.derived_sd[DERIVED_NH3] = 0.0005;
    r.derived[DERIVED_TDS] =
        (struct value_report){ ORIGIN_DERIVED, 201, { NOON - 60000 }, FLAG_GOOD, false, NAN, NAN, NAN };
    r.tds_factor = 0.67;
    r.tds_factor_from = TDS_FACTOR_WATER;
    r.heat.tau_h = 7.5;
    r.forecast = (struct forecast){ Q_TEMP, 0, 20.5, { NOON + 1000 }, { NOON }, { NOON + 2000 } };
    r.in_service = true;
    r.service_until = (utc_t){ NOON + 5000 };
    r.last_change = (utc_t){ NOON - 1000 };
    r.last_step_ec = -20.6;
    struct alert a[2] = { alert_of("tank/a1/heater-dead"), alert_of("tank/a1/temp-low") };
    encode_tank(&site, &r, NULL, a, 2, &out);
    static const char head[] =
        "{\"v\":1,\"tank\":\"a1\",\"name\":\"Mill pond\",\"t\":\"2026-03-01T12:00:00.000Z\","
        "\"values\":{\"temp\":{\"value\":24.57,\"unit\":\"°C\",\"t\":\"2026-03-01T11:59:47.655Z\",\"age_s\":"
        "12,"
        "\"flag\":1,\"stale\":false,\"origin\":\"probe\",\"per_day\":-0.123,\"day_lo\":24.00,\"day_hi\":null}"
        "},"
        "\"derived\":{\"nh3\":{\"value\":0.0013,";
    assert_memory_equal(buf, head, sizeof head - 1);
    struct json_doc doc = parsed();
    assert_true(json_doc_at(&doc, "/bands/temp/lo").number == 20.5);
    assert_int_equal(json_doc_at(&doc, "/bands/ec/hi").kind, JSON_KIND_NULL);
    assert_int_equal(json_doc_at(&doc, "/bands/ph").kind, JSON_KIND_NONE);
    assert_true(json_doc_at(&doc, "/derived/nh3/sd").number == 0.0005);
    assert_true(json_doc_at(&doc, "/derived/tds/factor").number == 0.67);
    assert_string_equal(json_doc_at(&doc, "/derived/tds/factor_from").text, "water");
    assert_true(json_doc_at(&doc, "/heat/tau_h").number == 7.5);
    assert_int_equal(json_doc_at(&doc, "/heat/duty").kind, JSON_KIND_NULL);
    assert_string_equal(json_doc_at(&doc, "/forecast/at_late").text, "2026-03-01T12:00:02.000Z");
    assert_string_equal(json_doc_at(&doc, "/service/until").text, "2026-03-01T12:00:05.000Z");
    assert_true(json_doc_at(&doc, "/last_change/step_ec").number == -21);
    assert_string_equal(json_doc_at(&doc, "/alerts/0/id").text, "tank/a1/heater-dead");
    assert_string_equal(json_doc_at(&doc, "/alerts/1/kind").text, "temp-low");
    json_doc_fini(&doc);
}

static void a_tank_of_which_nothing_is_known(void **state)
{
    (void)state;
    struct tank_report r = report();
    encode_tank(&site, &r, NULL, NULL, 0, &out);
    struct json_doc doc = parsed();
    assert_int_equal(json_doc_at(&doc, "/values/temp").kind, JSON_KIND_NONE);
    assert_int_equal(json_doc_at(&doc, "/forecast").kind, JSON_KIND_NULL);
    assert_int_equal(json_doc_at(&doc, "/service").kind, JSON_KIND_NULL);
    assert_int_equal(json_doc_at(&doc, "/last_change").kind, JSON_KIND_NULL);
    assert_int_equal(json_doc_at(&doc, "/alerts").kind, JSON_KIND_CONTAINER);
    json_doc_fini(&doc);
}

static void the_fullest_tank_fits(void **state)
{
    (void)state;
    struct tank_report r = report();
    struct alert a[12];
    for (int q = 0; q < Q_COUNT; q++) {
        r.values[q] = (struct value_report){ ORIGIN_PROBE, -12345.678, { NOON },   FLAG_GOOD,
                                             false,        -12345.678, -12345.678, -12345.678 };
        sketch_tanks[0].band[q] = (struct span){ -12345.678, -12345.678 };
        sketch_tanks[0].day_range[q] = sketch_tanks[0].per_hour[q] = -12345.678;
    }
    for (int d = 0; d < DERIVED_COUNT; d++)
        r.derived[d] = r.values[0];
    for (int i = 0; i < 12; i++) {
        a[i] = alert_of("tank/a1/heater-dead");
        memset(a[i].evidence, 'e', sizeof a[i].evidence - 1);
        memset(a[i].cause, 'c', sizeof a[i].cause - 1);
    }
    encode_tank(&site, &r, NULL, a, 12, &out);
    struct json_doc doc = parsed();
    json_doc_fini(&doc);
}

static void told_at_night(void **state)
{
    (void)state;
    struct alert a = alert_of("tank/a1/temp-low");
    a.value = 20.31;
    a.limit = 20.5;
    strcpy(a.cause, "heater not heating");
    strcpy(a.evidence, "20.31 °C, lower limit 20.50 °C; falling 0.60 °C/h");
    strcpy(a.action, "Check the plug.");
    a.due = (utc_t){ NOON + 160 * MS_PER_MIN };
    a.forecast = (struct forecast){ Q_TEMP, site.alerts[a.index].place, 20.5,
                                    a.due,  { NOON + 2 * MS_PER_HOUR }, { NOON + 204 * MS_PER_MIN } };
    encode_alert_text(&site, &a, CHANGE_RAISE, (utc_t){ NOON }, NULL, &out);
    assert_string_equal(
        buf, "ALERT, high priority - tank/a1 (Mill pond): temperature below the band.\n"
             "Seen: 20.31 °C, lower limit 20.50 °C; falling 0.60 °C/h.\n"
             "Likely cause: heater not heating.\n"
             "Time left: reaches 20.5 °C in about 2 h 40 min (2 h to 3 h 20 min), until 14:40 UTC.\n"
             "Do now: Check the plug.\n"
             "If nothing is done: Outside their band the animals stop breeding, then die.\n"
             "Began 12:00 UTC.\n"
             "Not acknowledged yet: tank/a1/temp-low\n");
}

static void told_without_evidence_or_with_the_time_up(void **state)
{
    (void)state;
    struct alert a = alert_of("tank/a2/temp-low");
    a.value = 20.31;
    a.limit = 20.5;
    a.due = (utc_t){ NOON };
    a.unknown = true;
    encode_alert_text(&site, &a, CHANGE_RAISE, (utc_t){ NOON }, NULL, &out);
    assert_non_null(strstr(buf, "- tank/a2: temperature"));
    assert_non_null(strstr(buf, "Seen: 20.31 °C, limit 20.50 °C.\n"));
    assert_non_null(strstr(buf, "cannot be judged at the moment"));
    assert_non_null(strstr(buf, "Time left: none"));
    assert_null(strstr(buf, "Likely cause"));
    assert_non_null(strstr(buf, kind_info(KIND_LOW)->action));
    text_clear(&out);
    a.habitual = true;
    encode_alert_text(&site, &a, CHANGE_RAISE, (utc_t){ NOON }, NULL, &out);
    assert_non_null(
        strstr(buf, "again and again for days: you will hear of it every third day, or when it is worse."));
}

static void reminders_say_so_with_their_age(void **state)
{
    (void)state;
    struct alert a = alert_of("tank/a1/temp-silent");
    encode_alert_text(&site, &a, CHANGE_REMIND, (utc_t){ NOON + 26 * MS_PER_HOUR }, NULL, &out);
    static const char head[] =
        "REMINDER - tank/a1 (Mill pond): probe silent (temperature), for 1 d 2 h now, not acknowledged.\n";
    assert_memory_equal(buf, head, sizeof head - 1);
    assert_non_null(strstr(buf, "Began 2026-03-01 12:00 UTC, 1 d 2 h ago.\n"));
    assert_non_null(strstr(buf, "\nDo: "));
    text_clear(&out);
    a.base = ALERT_UNACK;
    encode_alert_text(&site, &a, CHANGE_REALARM, (utc_t){ NOON + 60000 }, NULL, &out);
    static const char still[] = "STILL NOT OVER - tank/a1 (Mill pond): probe silent (temperature), for 1 min "
                                "now, though acknowledged.\n";
    assert_memory_equal(buf, still, sizeof still - 1);
}

static void told_when_over(void **state)
{
    (void)state;
    struct alert a = alert_of("tank/a1/heater-dead");
    a.active = false;
    a.base = ALERT_RTNUN;
    a.due = (utc_t){ NOON };
    strcpy(a.evidence, "23.9 °C");
    encode_alert_text(&site, &a, CHANGE_CLEAR, (utc_t){ NOON + 90 * MS_PER_MIN }, NULL, &out);
    assert_string_equal(buf, "OVER - tank/a1 (Mill pond): heater not heating.\n"
                             "Last seen: 23.9 °C.\n"
                             "It had begun 12:00 UTC, 1 h 30 min ago.\n"
                             "Not acknowledged yet: tank/a1/heater-dead\n");
}

static void what_people_did(void **state)
{
    (void)state;
    struct alert a = alert_of("tank/a1/heater-dead");
    strcpy(a.who, "night shift");
    strcpy(a.why, "spare on its way");
    a.shelved_until = (utc_t){ NOON + MS_PER_DAY };
    encode_alert_text(&site, &a, CHANGE_SHELVE, (utc_t){ NOON }, NULL, &out);
    assert_string_equal(buf, "tank/a1 (Mill pond): heater not heating.\n"
                             "Put aside until 2026-03-02 12:00 UTC by night shift (spare on its way).\n");
    for (int change = 0; change < CHANGE_COUNT; change++) {
        text_clear(&out);
        encode_alert_text(&site, &a, (enum alert_change)change, (utc_t){ NOON }, NULL, &out);
        assert_null(strstr(buf, "(null)"));
        assert_int_equal(buf[out.len - 1], '\n');
    }
}

static void the_longest_telling_fits(void **state)
{
    (void)state;
    struct alert a = alert_of("tank/a1/temp-low");
    memset(a.evidence, 'e', sizeof a.evidence - 1);
    memset(a.cause, 'c', sizeof a.cause - 1);
    memset(a.action, 'a', sizeof a.action - 1);
    a.due = (utc_t){ NOON + 30 * MS_PER_DAY };
    out = text_over(buf, ENCODE_TEXT_MAX);
    encode_alert_text(&site, &a, CHANGE_REMIND, (utc_t){ NOON }, NULL, &out);
    assert_false(out.cut);
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(readings),
        TEST(events),
        TEST(alerts_as_documents),
        TEST(numbers_that_are_not_in_the_quantitys_unit),
        TEST(tanks),
        TEST(a_tank_of_which_nothing_is_known),
        TEST(the_fullest_tank_fits),
        TEST(told_at_night),
        TEST(told_without_evidence_or_with_the_time_up),
        TEST(reminders_say_so_with_their_age),
        TEST(told_when_over),
        TEST(what_people_did),
        TEST(the_longest_telling_fits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
