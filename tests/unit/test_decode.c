#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include <stdio.h>
#include "wire/decode.h"
#include "site_sketch.h"

static struct arena arena;
static struct site site;
static struct topics *topics;
static struct sample got[DECODE_MAX];
static int got_count, left_out;

static void use(struct probe_entry *entries, int count)
{
    site = sketch_site(entries, count);
    topics = topics_init(&site, &arena);
}

static int tear_down(void **state)
{
    (void)state;
    site_fini(&site);
    arena_fini(&arena);
    return 0;
}

static void send_bytes(const char *topic, const char *payload, size_t n)
{
    struct message m = {
        .topic = topic, .topic_len = (uint32_t)strlen(topic), .payload = payload, .payload_len = (uint32_t)n
    };
    /* On the heap and without a terminator, so that a sanitizer sees a byte read too far. */
    char *copy = malloc(n + 1);
    memcpy(copy, payload, n);
    m.payload = realloc(copy, n > 0 ? n : 1);
    got_count = decode_message(topics, &site, &m, got, DECODE_MAX, &left_out);
    free((char *)(uintptr_t)m.payload);
}

static void send(const char *topic, const char *payload)
{
    send_bytes(topic, payload, strlen(payload));
}

static void expect(int i, enum sample_kind kind, double sent, double raw)
{
    assert_true(i < got_count);
    bool same_sent = isnan(sent) ? isnan(got[i].sent) : got[i].sent == sent;
    bool same_raw = isnan(raw) ? isnan(got[i].raw) : fabs(got[i].raw - raw) < 1e-9;
    if (got[i].kind != kind || !same_sent || !same_raw)
        fail_msg("sample %d: kind %d sent %g raw %g (%s, \"%s\")", i, (int)got[i].kind, got[i].sent,
                 got[i].raw, got[i].reason == NULL ? "" : got[i].reason, got[i].shown);
    bool refused = kind == SAMPLE_SYNTAX || kind == SAMPLE_UNIT;
    assert_true(refused == (got[i].reason != NULL));
}

struct row {
    const char *payload;
    size_t n; /* 0: up to the terminator */
    enum sample_kind kind;
    double value;
};

static void check_rows(const struct row *rows, size_t count, enum quantity q, bool comma)
{
    for (size_t i = 0; i < count; i++) {
        double value = -1;
        const char *reason = NULL;
        size_t n = rows[i].n > 0 ? rows[i].n : strlen(rows[i].payload);
        enum sample_kind kind = decode_plain(rows[i].payload, n, q, comma, &value, &reason);
        if (kind != rows[i].kind || (kind == SAMPLE_VALUE && value != rows[i].value))
            fail_msg("row %zu \"%s\": kind %d value %g", i, rows[i].payload, (int)kind, value);
        assert_true((kind == SAMPLE_SYNTAX) == (reason != NULL));
    }
}
#define CHECK(rows, q, comma) check_rows(rows, sizeof rows / sizeof *rows, q, comma)

static void plain_payloads(void **state)
{
    (void)state;
    static const struct row rows[] = {
        { "24.6", 0, SAMPLE_VALUE, 24.6 },
        { "-0.5e1", 0, SAMPLE_VALUE, -5 },
        { " 24.6\r\n", 0, SAMPLE_VALUE, 24.6 },
        { "+24.6", 0, SAMPLE_VALUE, 24.6 },
        { ".5", 0, SAMPLE_VALUE, 0.5 },
        { "25.", 0, SAMPLE_VALUE, 25 },
        { "007", 0, SAMPLE_VALUE, 7 },
        { "24.6\0", 5, SAMPLE_VALUE, 24.6 },
        { "24.6\n\0", 6, SAMPLE_VALUE, 24.6 },
        { "\xEF\xBB\xBF"
          "24.6",
          0, SAMPLE_VALUE, 24.6 },
        { "24.6\0\0", 6, SAMPLE_SYNTAX, 0 },
        { "24\0"
          "6",
          4, SAMPLE_SYNTAX, 0 },
        { "\"24.6\"", 0, SAMPLE_SYNTAX, 0 },
        { "24,6", 0, SAMPLE_SYNTAX, 0 },
        { "24.6 C", 0, SAMPLE_SYNTAX, 0 },
        { "24.6C", 0, SAMPLE_SYNTAX, 0 },
        { "24 6", 0, SAMPLE_SYNTAX, 0 },
        { "1e999", 0, SAMPLE_SYNTAX, 0 },
        { "inf", 0, SAMPLE_SYNTAX, 0 },
        { "0x1F", 0, SAMPLE_SYNTAX, 0 },
        { "1_000", 0, SAMPLE_SYNTAX, 0 },
        { "???", 0, SAMPLE_SYNTAX, 0 },
        { "true", 0, SAMPLE_SYNTAX, 0 },
        { "on", 0, SAMPLE_SYNTAX, 0 },
        { "{}", 0, SAMPLE_SYNTAX, 0 },
        { "1.2.3", 0, SAMPLE_SYNTAX, 0 },
        { "--5", 0, SAMPLE_SYNTAX, 0 },
        { "\xD9\xA1", 0, SAMPLE_SYNTAX, 0 }, /* a digit of another script */
    };
    CHECK(rows, Q_TEMP, false);
}

static void missing_words(void **state)
{
    (void)state;
    static const struct row rows[] = {
        { "", 0, SAMPLE_MISSING, 0 },          { " \n", 0, SAMPLE_MISSING, 0 },
        { "\0", 1, SAMPLE_MISSING, 0 },        { "nan", 0, SAMPLE_MISSING, 0 },
        { "NaN", 0, SAMPLE_MISSING, 0 },       { "unavailable", 0, SAMPLE_MISSING, 0 },
        { "Unknown\n", 0, SAMPLE_MISSING, 0 }, { "NULL", 0, SAMPLE_MISSING, 0 },
        { "None", 0, SAMPLE_MISSING, 0 },      { "OFFLINE", 0, SAMPLE_MISSING, 0 },
        { "N/A", 0, SAMPLE_MISSING, 0 },       { "n/a", 0, SAMPLE_MISSING, 0 },
        { "-", 0, SAMPLE_MISSING, 0 },         { "--", 0, SAMPLE_MISSING, 0 },
        { "---", 0, SAMPLE_SYNTAX, 0 },        { "nano", 0, SAMPLE_SYNTAX, 0 },
        { "nul", 0, SAMPLE_SYNTAX, 0 },
    };
    CHECK(rows, Q_TEMP, false);
}

static void decimal_comma_by_choice(void **state)
{
    (void)state;
    static const struct row rows[] = {
        { "24,6", 0, SAMPLE_VALUE, 24.6 },  { "24", 0, SAMPLE_VALUE, 24 },
        { "24.6", 0, SAMPLE_SYNTAX, 0 },    { "1.024,6", 0, SAMPLE_SYNTAX, 0 },
        { "1,024,6", 0, SAMPLE_SYNTAX, 0 },
    };
    CHECK(rows, Q_TEMP, true);
}

static void leak_words(void **state)
{
    (void)state;
    static const struct row rows[] = {
        { "true", 0, SAMPLE_VALUE, 1 }, { "ON", 0, SAMPLE_VALUE, 1 },    { "wet", 0, SAMPLE_VALUE, 1 },
        { "1", 0, SAMPLE_VALUE, 1 },    { "false", 0, SAMPLE_VALUE, 0 }, { "Off", 0, SAMPLE_VALUE, 0 },
        { "dry", 0, SAMPLE_VALUE, 0 },  { "damp", 0, SAMPLE_SYNTAX, 0 }, { "unknown", 0, SAMPLE_MISSING, 0 },
    };
    CHECK(rows, Q_LEAK, false);
}

static void plain_topic(void **state)
{
    (void)state;
    struct probe_value v = sketch_value(NULL, Q_TEMP, "[degF]");
    v.missing[0] = 85;
    v.missing[1] = -127;
    v.missing_count = 2;
    struct probe_entry e = sketch_entry(&arena, "probes/{tank}/temp", -1, &v, 1);
    use(&e, 1);
    send("probes/a2/temp", "77");
    assert_int_equal(got_count, 1);
    expect(0, SAMPLE_VALUE, 77, 25);
    assert_int_equal(site.streams[got[0].stream].place, AT_A2);
    assert_false(utc_is_set(got[0].claimed));
    send("probes/a2/temp", "85.0");
    expect(0, SAMPLE_MISSING, NAN, NAN);
    assert_string_equal(got[0].shown, "85");
    send("probes/a2/temp", "185");
    expect(0, SAMPLE_VALUE, 185, 85);
    send("probes/zz/temp", "77");
    assert_int_equal(got_count, 0);
    send_bytes("probes/a1/temp", "7\x1B[2J\x07", 6);
    expect(0, SAMPLE_SYNTAX, NAN, NAN);
    assert_string_equal(got[0].shown, "7?[2J?");
}

static void nested_document(void **state)
{
    (void)state;
    struct probe_value v[] = { sketch_value("/sensors/0/t", Q_TEMP, "Cel"),
                               sketch_value("/ec", Q_EC, "mS/cm"), sketch_value("/ph", Q_PH, NULL),
                               sketch_value("/wet", Q_LEAK, NULL) };
    v[0].missing[0] = 85;
    v[0].missing_count = 1;
    struct probe_entry e = sketch_entry(&arena, "rack/{rack}/{tank}", -1, v, 4);
    use(&e, 1);
    send("rack/rb/b1", "{\"sensors\":[{\"t\":24.5}],\"ec\":0.412,\"ph\":\"6.90\",\"wet\":false}");
    assert_int_equal(got_count, 4);
    expect(0, SAMPLE_VALUE, 24.5, 24.5);
    expect(1, SAMPLE_VALUE, 0.412, 412);
    expect(2, SAMPLE_VALUE, 6.9, 6.9);
    expect(3, SAMPLE_VALUE, 0, 0);
    for (int i = 0; i < 4; i++)
        assert_int_equal(got[i].stream, site.entries[0].first_stream + 2 * 4 + i);
    send("rack/rb/b1", "{\"sensors\":[{\"t\":85}],\"ec\":nan,\"ph\":null,\"wet\":\"ON\"}");
    expect(0, SAMPLE_MISSING, NAN, NAN);
    expect(1, SAMPLE_MISSING, NAN, NAN);
    expect(2, SAMPLE_MISSING, NAN, NAN);
    expect(3, SAMPLE_VALUE, 1, 1);
    send("rack/rb/b1", "{\"sensors\":[{\"t\":true}],\"ec\":1e999,\"ph\":{},\"wet\":\"damp\"}");
    for (int i = 0; i < 4; i++)
        expect(i, SAMPLE_SYNTAX, NAN, NAN);
    send("rack/rb/b1",
         "{\"sensors\":[{\"t\":\"+24\"}],\"ec\":\"0.4 mS\",\"ph\":\".5\",\"wet\":\"unavailable\"}");
    for (int i = 0; i < 3; i++)
        expect(i, SAMPLE_SYNTAX, NAN, NAN);
    expect(3, SAMPLE_MISSING, NAN, NAN);
    send("rack/rb/b1", "{\"ec\":1e306,\"ph\":7}");
    assert_int_equal(got_count, 2);
    expect(0, SAMPLE_SYNTAX, NAN, NAN);
    assert_string_equal(got[0].shown, "1e306");
    expect(1, SAMPLE_VALUE, 7, 7);
    send("rack/ra/b1", "{\"ph\":7}");
    assert_int_equal(got_count, 0);
}

static void documents_that_are_none(void **state)
{
    (void)state;
    struct probe_value v[] = { sketch_value("/t", Q_TEMP, "Cel"), sketch_value("/ec", Q_EC, "uS/cm") };
    struct probe_entry e = sketch_entry(&arena, "state/{tank}", -1, v, 2);
    use(&e, 1);
    static const char *const bad[] = { "24.5",  "???",   "{\"t\":1,\"t\":2}", "{\"t\":24",
                                       "\"x\"", "{t:1}", "<t>1</t>" };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        send("state/a1", bad[i]);
        assert_int_equal(got_count, 2);
        expect(0, SAMPLE_SYNTAX, NAN, NAN);
        expect(1, SAMPLE_SYNTAX, NAN, NAN);
        assert_string_equal(got[0].shown, bad[i]);
    }
    static const char *const missing[] = { "", "unavailable", "null", "offline\n" };
    for (size_t i = 0; i < sizeof missing / sizeof *missing; i++) {
        send("state/a1", missing[i]);
        assert_int_equal(got_count, 2);
        expect(0, SAMPLE_MISSING, NAN, NAN);
        expect(1, SAMPLE_MISSING, NAN, NAN);
    }
    static const char *const beside[] = { "{\"other\":1}", "{}" };
    for (size_t i = 0; i < sizeof beside / sizeof *beside; i++) {
        send("state/a1", beside[i]);
        assert_int_equal(got_count, 1);
        assert_int_equal(got[0].kind, SAMPLE_ABSENT);
        assert_string_equal(got[0].reason, "none of the members asked for");
        assert_string_equal(got[0].shown, beside[i]);
    }
}

static void announced_units(void **state)
{
    (void)state;
    struct probe_value v = sketch_value("/t", Q_TEMP, "Cel");
    v.unit_at = "/unit";
    struct probe_entry e = sketch_entry(&arena, "state/{tank}", -1, &v, 1);
    use(&e, 1);
    static const char *const same[] = {
        "\"°C\"", "\"C\"", "\" \xE2\x84\x83 \"", "\"celsius\"", "\"\"", "null"
    };
    char doc[120];
    for (size_t i = 0; i < sizeof same / sizeof *same; i++) {
        snprintf(doc, sizeof doc, "{\"t\":25,\"unit\":%s}", same[i]);
        send("state/a1", doc);
        expect(0, SAMPLE_VALUE, 25, 25);
    }
    send("state/a1", "{\"t\":25}");
    expect(0, SAMPLE_VALUE, 25, 25);
    static const char *const others[] = { "\"°F\"", "\"K\"", "\"bananas\"", "\"mS/cm\"", "7", "true" };
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        snprintf(doc, sizeof doc, "{\"t\":25,\"unit\":%s}", others[i]);
        send("state/a1", doc);
        expect(0, SAMPLE_UNIT, 25, NAN);
    }
    send("state/a1", "{\"t\":77,\"unit\":\"°F\"}");
    assert_string_equal(got[0].shown, "°F");
    send("state/a1", "{\"t\":null,\"unit\":\"°F\"}");
    expect(0, SAMPLE_MISSING, NAN, NAN);
    v.unit_per_message = true;
    send("state/a1", "{\"t\":77,\"unit\":\"°F\"}");
    expect(0, SAMPLE_VALUE, 77, 25);
    send("state/a1", "{\"t\":77,\"unit\":\"bananas\"}");
    expect(0, SAMPLE_UNIT, 77, NAN);
    send("state/a1", "{\"t\":25}");
    expect(0, SAMPLE_VALUE, 25, 25);
}

static void own_time(void **state)
{
    (void)state;
    const int64_t noon = INT64_C(1772366400000);
    struct probe_value v = sketch_value("/v", Q_TEMP, "Cel");
    struct probe_entry e = sketch_entry(&arena, "state/{tank}", -1, &v, 1);
    e.time_at = "/t";
    use(&e, 1);
    static const struct {
        const char *t;
        int64_t ms;
        bool zoned;
    } rows[] = {
        { "\"2026-03-01T12:00:00Z\"", INT64_C(1772366400000), true },
        { "\"2026-03-01T13:00:00+01:00\"", INT64_C(1772366400000), true },
        { "\"2026-03-01 12:00:00\"", INT64_C(1772366400000), false },
        { "1772366400", INT64_C(1772366400000), true },
        { "1772366400.123", INT64_C(1772366400123), true },
        { "1772366400123", INT64_C(1772366400123), true },
        { "\"1772366400\"", INT64_C(1772366400000), true },
        { "\"1772366400123\"", INT64_C(1772366400123), true },
        { "99999999999", INT64_C(99999999999000), true },
        { "100000000000", INT64_C(100000000000), true },
        { "0", 0, true },
        { "1e300", INT64_C(253402300799999), true },
        { "null", INT64_MIN, false },
        { "true", INT64_MIN, false },
        { "\"noon\"", INT64_MIN, false },
        { "\"\"", INT64_MIN, false },
        { "nan", INT64_MIN, false },
        { "\"2026-02-30T12:00:00Z\"", INT64_MIN, false },
    };
    char doc[120];
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        snprintf(doc, sizeof doc, "{\"t\":%s,\"v\":24.5}", rows[i].t);
        send("state/a1", doc);
        expect(0, SAMPLE_VALUE, 24.5, 24.5);
        if (got[0].claimed.ms != rows[i].ms || got[0].zoned != rows[i].zoned)
            fail_msg("%s: %lld, zoned %d", doc, (long long)got[0].claimed.ms, got[0].zoned);
    }
    send("state/a1", "{\"v\":24.5}");
    assert_false(utc_is_set(got[0].claimed));
    bool zoned;
    assert_int_equal(decode_time("1772366400", 10, TIME_FORM_MS, &zoned).ms, 1772366400);
    assert_int_equal(decode_time("1772366400000", 13, TIME_FORM_S, &zoned).ms, INT64_C(253402300799999));
    assert_int_equal(decode_time("2026-03-01T12:00:00Z", 20, TIME_FORM_S, &zoned).ms, noon);
    assert_false(utc_is_set(decode_time("", 0, TIME_FORM_AUTO, &zoned)));
}

static void documents_chosen_by_a_member(void **state)
{
    (void)state;
    struct probe_value v = sketch_value("/t", Q_TEMP, "Cel");
    struct probe_entry e[3] = { sketch_entry(&arena, "gw/up", AT_A1, &v, 1),
                                sketch_entry(&arena, "gw/up", AT_A2, &v, 1),
                                sketch_entry(&arena, "gw/alone", AT_B1, &v, 1) };
    for (int i = 0; i < 3; i++)
        e[i].match_at = "/id";
    e[0].match = "probe-1";
    e[1].match = e[2].match = "2";
    use(e, 3);
    send("gw/up", "{\"id\":\"probe-1\",\"t\":24}");
    assert_int_equal(got_count, 1);
    assert_int_equal(site.streams[got[0].stream].place, AT_A1);
    send("gw/up", "{\"id\":2,\"t\":24}");
    assert_int_equal(got_count, 1);
    assert_int_equal(site.streams[got[0].stream].place, AT_A2);
    send("gw/up", "{\"id\":\"2\",\"t\":24}");
    assert_int_equal(got_count, 1);
    static const char *const nobodys[] = { "{\"id\":\"probe-10\",\"t\":1}",
                                           "{\"id\":3,\"t\":1}",
                                           "{\"t\":1}",
                                           "{\"id\":null,\"t\":1}",
                                           "{\"id\":true,\"t\":1}",
                                           "???",
                                           "" };
    for (size_t i = 0; i < sizeof nobodys / sizeof *nobodys; i++) {
        send("gw/up", nobodys[i]);
        assert_int_equal(got_count, 0);
    }
    send("gw/alone", "???");
    assert_int_equal(got_count, 1);
    expect(0, SAMPLE_SYNTAX, NAN, NAN);
    send("gw/alone", "{\"id\":3,\"t\":1}");
    assert_int_equal(got_count, 0);
}

/* A double has 53 bits, a serial number may have 64. */
static void serial_numbers_are_told_apart_by_the_last_digit(void **state)
{
    (void)state;
    static const char *const ids[] = { "9007199254740993", "9007199254740992", "18446744073709551615" };
    static const int places[] = { AT_A1, AT_A2, AT_B1 };
    struct probe_value v = sketch_value("/t", Q_TEMP, "Cel");
    struct probe_entry e[3];
    char payload[64];
    for (int i = 0; i < 3; i++) {
        e[i] = sketch_entry(&arena, "gw/up", places[i], &v, 1);
        e[i].match_at = "/id";
        e[i].match = ids[i];
    }
    use(e, 3);
    for (int i = 0; i < 3; i++) {
        snprintf(payload, sizeof payload, "{\"id\":%s,\"t\":24}", ids[i]);
        send("gw/up", payload);
        assert_int_equal(got_count, 1);
        assert_int_equal(site.streams[got[0].stream].place, places[i]);
    }
    static const char *const nobodys[] = { "9007199254740994", "18446744073709551614", "9007199254740993.5",
                                           "9.007199254740993e15x" };
    for (int i = 0; i < 4; i++) {
        snprintf(payload, sizeof payload, "{\"id\":%s,\"t\":24}", nobodys[i]);
        send("gw/up", payload);
        assert_int_equal(got_count, 0);
    }
}

/* One message with a list of all that the gateway has heard. */
static void a_list_of_documents(void **state)
{
    (void)state;
    struct probe_value v[2] = { sketch_value("/t", Q_TEMP, "Cel"), sketch_value("/ec", Q_EC, "uS/cm") };
    struct probe_entry e[2] = { sketch_entry(&arena, "gw/up", AT_A1, v, 2),
                                sketch_entry(&arena, "gw/up", AT_A2, v, 2) };
    for (int i = 0; i < 2; i++) {
        e[i].match_at = "/id";
        e[i].match = i == 0 ? "x1" : "x2";
        e[i].list_at = "/heard";
        e[i].time_at = "/at";
    }
    use(e, 2);
    send("gw/up", "{\"at\":\"2026-03-01T12:00:00Z\",\"heard\":[{\"id\":\"x2\",\"t\":21.5},7,null,{\"id\":"
                  "\"x9\",\"t\":1},"
                  "{\"id\":\"x1\",\"t\":22.5,\"ec\":300,\"at\":\"2026-03-01T11:59:00Z\"}]}");
    assert_int_equal(got_count, 3);
    expect(0, SAMPLE_VALUE, 22.5, 22.5);
    expect(1, SAMPLE_VALUE, 300, 300);
    expect(2, SAMPLE_VALUE, 21.5, 21.5);
    assert_int_equal(site.streams[got[2].stream].place, AT_A2);
    assert_int_equal(got[2].claimed.ms - got[0].claimed.ms, 60000);
    static const char *const nobodys[] = { "{\"heard\":[]}", "{\"heard\":7}", "{}",
                                           "[{\"id\":\"x1\",\"t\":2}]", "???" };
    for (size_t i = 0; i < sizeof nobodys / sizeof *nobodys; i++) {
        send("gw/up", nobodys[i]);
        assert_int_equal(got_count, 0);
    }
    send("gw/up", "{\"heard\":{\"a\":{\"id\":\"x1\",\"t\":20}}}"); /* an object of objects serves as well */
    assert_int_equal(got_count, 1);
}

/* What one probe has saved up, as the whole payload: no match is needed, each has its time. */
static void a_list_from_one_probe(void **state)
{
    (void)state;
    struct probe_value v = sketch_value("/t", Q_TEMP, "Cel");
    struct probe_entry e = sketch_entry(&arena, "log/{tank}", -1, &v, 1);
    e.list_at = "";
    e.time_at = "/at";
    use(&e, 1);
    send("log/a1", "[{\"at\":1772366400,\"t\":21},{\"at\":1772366460,\"t\":22},{\"at\":1772366520}]");
    assert_int_equal(got_count, 3);
    assert_int_equal(got[1].claimed.ms - got[0].claimed.ms, 60000);
    assert_int_equal(got[2].kind, SAMPLE_ABSENT);
    send("log/a1", "???");
    assert_int_equal(got_count, 1);
    expect(0, SAMPLE_SYNTAX, NAN, NAN);
}

/* Id, battery and link of the device come with every value; its own report of them is not reproached. */
static void what_devices_tell_of_themselves(void **state)
{
    (void)state;
    struct probe_value v[2] = { sketch_value("/t", Q_TEMP, "Cel"), sketch_value("/ph", Q_PH, NULL) };
    struct probe_entry e = sketch_entry(&arena, "state/{tank}", -1, v, 2);
    e.device_at = "/dev/id";
    e.battery_at = "/dev/bat";
    e.link_at = "/dev/rssi";
    use(&e, 1);
    send("state/a1", "{\"t\":21.5,\"ph\":7,\"dev\":{\"id\":\"0xa\\u0001\",\"bat\":\"19.5\",\"rssi\":-81}}");
    assert_int_equal(got_count, 2);
    for (int i = 0; i < 2; i++) {
        assert_string_equal(got[i].device, "0xa?");
        assert_true(got[i].battery == 19.5 && got[i].link == -81);
    }
    send("state/a1", "{\"t\":21.5,\"dev\":{\"id\":17,\"bat\":\"good\",\"rssi\":null}}");
    assert_int_equal(got_count, 1);
    assert_string_equal(got[0].device, "17");
    assert_true(isnan(got[0].battery) && isnan(got[0].link));
    send("state/a1", "{\"dev\":{\"bat\":55}}");
    assert_int_equal(got_count, 1);
    assert_int_equal(got[0].kind, SAMPLE_ABSENT);
    assert_true(got[0].battery == 55 && got[0].reason == NULL);
}

static void never_more_than_there_is_room_for(void **state)
{
    (void)state;
    struct probe_value v[3] = { sketch_value("/a", Q_TEMP, "Cel"), sketch_value("/b", Q_EC, NULL),
                                sketch_value("/c", Q_PH, NULL) };
    struct probe_entry e[2] = { sketch_entry(&arena, "s", AT_A1, v, 3),
                                sketch_entry(&arena, "s", AT_A2, v, 3) };
    use(e, 2);
    struct message m = {
        .topic = "s", .topic_len = 1, .payload = "{\"a\":1,\"b\":2,\"c\":3}", .payload_len = 19
    };
    for (int cap = 0; cap <= 6; cap++) {
        memset(got, 0x55, sizeof got);
        assert_int_equal(decode_message(topics, &site, &m, got, cap, &left_out), cap);
        assert_int_equal(left_out, 6 - cap);
        assert_int_equal(got[cap].stream, 0x55555555);
    }
}

static void shown_is_cut_and_harmless(void **state)
{
    (void)state;
    struct probe_value v = sketch_value(NULL, Q_TEMP, "Cel");
    struct probe_entry e = sketch_entry(&arena, "t/{tank}", -1, &v, 1);
    use(&e, 1);
    send("t/a1", "x°µ\xC2\x9B\xE2\x80\xAE\xFF~");
    assert_string_equal(got[0].shown, "x°µ??????~");
    for (size_t lead = 0; lead < 2; lead++) {
        char payload[120] = "x";
        for (size_t i = lead; i < 100; i += 2)
            memcpy(payload + i, "°", 3);
        send("t/a1", payload);
        size_t n = strlen(got[0].shown);
        assert_in_range(n, 37, 39);
        assert_string_equal(got[0].shown + n - 5, "°...");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(plain_payloads),
        cmocka_unit_test(missing_words),
        cmocka_unit_test(decimal_comma_by_choice),
        cmocka_unit_test(leak_words),
        cmocka_unit_test_teardown(plain_topic, tear_down),
        cmocka_unit_test_teardown(nested_document, tear_down),
        cmocka_unit_test_teardown(documents_that_are_none, tear_down),
        cmocka_unit_test_teardown(announced_units, tear_down),
        cmocka_unit_test_teardown(own_time, tear_down),
        cmocka_unit_test_teardown(documents_chosen_by_a_member, tear_down),
        cmocka_unit_test_teardown(serial_numbers_are_told_apart_by_the_last_digit, tear_down),
        cmocka_unit_test_teardown(a_list_of_documents, tear_down),
        cmocka_unit_test_teardown(a_list_from_one_probe, tear_down),
        cmocka_unit_test_teardown(what_devices_tell_of_themselves, tear_down),
        cmocka_unit_test_teardown(never_more_than_there_is_room_for, tear_down),
        cmocka_unit_test_teardown(shown_is_cut_and_harmless, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
