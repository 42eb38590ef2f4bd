#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <cmocka.h>

#include "wire/capture.h"

static struct capture_line line;

static void refused(const char *text, const char *words)
{
    struct why why = { "" };
    assert_int_not_equal(capture_parse(text, strlen(text), &line, &why), STATUS_OK);
    if (strstr(why.text, words) == NULL)
        fail_msg("%s: \"%s\" lacks \"%s\"", text, why.text, words);
}

static const struct message *taken(const char *text)
{
    struct why why = { "" };
    if (capture_parse(text, strlen(text), &line, &why) != STATUS_OK)
        fail_msg("%s: %s", text, why.text);
    return &line.message;
}

static void what_mosquitto_sub_writes(void **state)
{
    (void)state;
    const struct message *m = taken(
        "{\"tst\":\"2026-03-01T12:00:00.123456Z+0000\",\"topic\":\"probes/a1/temp\",\"qos\":1,\"retain\":1,"
        "\"payloadlen\":5,\"mid\":7,\"properties\":{},\"payload\":\"22.50\"}");
    assert_int_equal(m->now.utc.ms, INT64_C(1772366400123));
    assert_int_equal(m->topic_len, 14);
    assert_memory_equal(m->topic, "probes/a1/temp", 14);
    assert_int_equal(m->payload_len, 5);
    assert_memory_equal(m->payload, "22.50", 5);
    assert_int_equal(m->qos, 1);
    assert_true(m->retain);
    assert_false(m->dup);
    capture_fini(&line);
}

static void other_forms_of_time_and_an_empty_payload(void **state)
{
    (void)state;
    static const char *const lines[] = {
        "{\"tst\":\"2026-03-01T12:00:00Z\",\"topic\":\"a\",\"payload\":null}",
        "{\"tst\":\"2026-03-01T12:00:00+0000\",\"topic\":\"a\"}",
        "{\"tst\":\"2026-03-01T13:00:00+01:00\",\"topic\":\"a\",\"payload\":\"\"}",
    };
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        const struct message *m = taken(lines[i]);
        assert_int_equal(m->now.utc.ms, INT64_C(1772366400000));
        assert_int_equal(m->payload_len, 0);
        assert_false(m->retain);
        capture_fini(&line);
    }
}

static void what_is_no_capture_line(void **state)
{
    (void)state;
    refused("", "");
    refused("{\"tst\":", "");
    refused("[]", "tst");
    refused("{\"topic\":\"a\",\"payload\":\"1\"}", "\"tst\" is missing");
    refused("{\"tst\":\"yesterday\",\"topic\":\"a\"}", "\"tst\"");
    refused("{\"tst\":1772366400,\"topic\":\"a\"}", "\"tst\"");
    refused("{\"tst\":\"2026-03-01T12:00:00Z\"}", "\"topic\"");
    refused("{\"tst\":\"2026-03-01T12:00:00Z\",\"topic\":\"\"}", "\"topic\"");
    refused("{\"tst\":\"2026-03-01T12:00:00Z\",\"topic\":\"a\",\"payload\":{\"temp\":22}}", "\"payload\"");
    refused("{\"tst\":\"2026-03-01T12:00:00Z\",\"topic\":\"a\",\"payload\":22.5}", "\"payload\"");
}

static void a_topic_too_long(void **state)
{
    (void)state;
    char text[400], topic[MESSAGE_TOPIC_MAX + 2];
    memset(topic, 'x', sizeof topic - 1);
    topic[sizeof topic - 1] = '\0';
    struct text out = text_over(text, sizeof text);
    text_printf(&out, "{\"tst\":\"2026-03-01T12:00:00Z\",\"topic\":\"%s\"}", topic);
    refused(text, "longer than");
}

static void written_lines_are_read_back(void **state)
{
    (void)state;
    static const char *const payloads[] = { "22.5", "", "{\"t\":\"\\u00b0\"}", "a\nb\t\"\\", "\x01\x1f" };
    for (size_t i = 0; i < sizeof payloads / sizeof *payloads; i++) {
        char buf[512];
        struct text out = text_over(buf, sizeof buf);
        struct message m = { .topic = "probes/\xc3\xa4/temp",
                             .topic_len = 14,
                             .payload = payloads[i],
                             .payload_len = (uint32_t)strlen(payloads[i]),
                             .qos = 1,
                             .retain = i % 2 == 1,
                             .now = { { INT64_C(1772366400123) }, { 0 }, true } };
        capture_format(&m, &out);
        assert_false(out.cut);
        const struct message *back = taken(buf);
        assert_int_equal(back->now.utc.ms, m.now.utc.ms);
        assert_int_equal(back->topic_len, m.topic_len);
        assert_memory_equal(back->topic, m.topic, m.topic_len);
        assert_int_equal(back->payload_len, m.payload_len);
        assert_memory_equal(back->payload, m.payload, m.payload_len);
        assert_int_equal(back->retain, m.retain);
        capture_fini(&line);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_mosquitto_sub_writes),
        cmocka_unit_test(other_forms_of_time_and_an_empty_payload),
        cmocka_unit_test(what_is_no_capture_line),
        cmocka_unit_test(a_topic_too_long),
        cmocka_unit_test(written_lines_are_read_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
