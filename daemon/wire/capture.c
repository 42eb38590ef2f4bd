#include "wire/capture.h"

#include <stdio.h>

static double number_at(const struct json_doc *doc, const char *pointer)
{
    struct json_item item = json_doc_at(doc, pointer);
    return item.kind == JSON_KIND_NUMBER || item.kind == JSON_KIND_BOOL ? item.number : 0;
}

static enum status take_time(const struct json_doc *doc, utc_t *out, struct why *why)
{
    struct json_item tst = json_doc_at(doc, "/tst");
    bool zoned;
    if (tst.kind != JSON_KIND_TEXT || utc_parse(tst.text, tst.text_len, out, &zoned) != STATUS_OK)
        return why_say(why, STATUS_INVALID,
                       "\"tst\" is missing or is no time like 2026-03-01T12:00:00.123456Z");
    return STATUS_OK;
}

static enum status take_all(struct capture_line *out, struct why *why)
{
    struct json_item topic = json_doc_at(&out->doc, "/topic"), payload = json_doc_at(&out->doc, "/payload");
    struct message *m = &out->message;
    enum status st = take_time(&out->doc, &m->now.utc, why);
    if (st != STATUS_OK)
        return st;
    if (topic.kind != JSON_KIND_TEXT || topic.text_len == 0 || topic.text_len > MESSAGE_TOPIC_MAX)
        return why_say(why, STATUS_INVALID, "\"topic\" is missing, empty or longer than %d bytes",
                       MESSAGE_TOPIC_MAX);
    if (payload.kind != JSON_KIND_TEXT && payload.kind != JSON_KIND_NULL && payload.kind != JSON_KIND_NONE)
        return why_say(why, STATUS_INVALID,
                       "\"payload\" must be text or null, as mosquitto_sub -F %%j writes it");
    m->topic = topic.text;
    m->topic_len = (uint32_t)topic.text_len;
    m->payload = payload.kind == JSON_KIND_TEXT ? payload.text : "";
    m->payload_len = payload.kind == JSON_KIND_TEXT ? (uint32_t)payload.text_len : 0;
    m->qos = (int)number_at(&out->doc, "/qos");
    m->retain = number_at(&out->doc, "/retain") != 0;
    m->dup = number_at(&out->doc, "/dup") != 0;
    return STATUS_OK;
}

enum status capture_parse(const char *line, size_t n, struct capture_line *out, struct why *why)
{
    *out = (struct capture_line){ 0 };
    enum status st = json_doc_parse(line, n, &out->doc, why);
    if (st == STATUS_OK && (st = take_all(out, why)) != STATUS_OK)
        capture_fini(out);
    return st;
}

void capture_fini(struct capture_line *line)
{
    json_doc_fini(&line->doc);
}

void capture_format(const struct message *m, struct text *out)
{
    char tst[UTC_TEXT_MAX];
    utc_format(m->now.utc, tst, sizeof tst);
    json_open(out, '{');
    json_key(out, "tst");
    json_string(out, tst);
    json_key(out, "topic");
    json_string_n(out, m->topic, m->topic_len);
    json_key(out, "qos");
    json_int(out, m->qos);
    json_key(out, "retain");
    json_int(out, m->retain);
    json_key(out, "payloadlen");
    json_int(out, m->payload_len);
    json_key(out, "payload");
    if (m->payload_len == 0)
        json_null(out);
    else
        json_string_n(out, m->payload, m->payload_len);
    json_close(out, '}');
}
