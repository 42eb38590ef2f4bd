#include "wire/commands.h"

#include <math.h>
#include <string.h>

#include "wire/notes.h"
#include "wire/request.h"

#define MEMBERS                                                                                              \
    "place tank kind id minutes who why what quantity value at probe points gain offset undo from device"

static void find_alert(struct request *r, struct command *c, const char *ref, size_t n)
{
    c->alert = site_alert_find(r->site, ref, n);
    if (c->alert < 0)
        r->st = why_say(r->why, STATUS_INVALID, "there is no alert \"%.*s\"", (int)(n > 90 ? 90 : n), ref);
    else
        c->place = r->site->alerts[c->alert].place;
}

static void get_alert(struct request *r, struct command *c)
{
    struct json_item id, kind;
    char ref[PLACE_TEXT_MAX + KIND_TEXT_MAX + 2];
    bool by_id = request_text_at(r, "id", &id);
    bool by_kind = request_text_at(r, "kind", &kind);
    if (by_id && (by_kind || c->place >= 0)) {
        r->st =
            why_say(r->why, STATUS_INVALID, "\"id\" alone names the alert: leave \"place\" and \"kind\" out");
    } else if (by_id) {
        find_alert(r, c, id.text, id.text_len);
    } else if (by_kind && c->place < 0) {
        r->st = why_say(r->why, STATUS_INVALID, "\"kind\" needs \"place\" or \"tank\" beside it");
    } else if (by_kind) {
        struct text out = text_over(ref, sizeof ref);
        text_printf(&out, "%s/%s", r->site->places[c->place].text, kind.text);
        find_alert(r, c, ref, out.len);
    }
}

static void get_value(struct request *r, struct command *c)
{
    struct json_item item;
    if (request_text_at(r, "quantity", &item)) {
        c->quantity = quantity_find(item.text, item.text_len);
        if (c->quantity == Q_COUNT)
            r->st = why_say(r->why, STATUS_INVALID, "there is no quantity \"%.40s\"", item.text);
    }
    request_number(r, "value", -1e9, 1e9, &c->value);
    if (r->st != STATUS_OK || isnan(c->value))
        return;
    if (c->quantity == Q_COUNT) {
        r->st = why_say(r->why, STATUS_INVALID, "\"value\" needs \"quantity\" beside it");
        return;
    }
    const struct quantity_info *q = quantity_info(c->quantity);
    if (c->value < q->hard_lo || c->value > q->hard_hi)
        r->st = why_say(r->why, STATUS_INVALID, "%s of %g %s cannot be: %g to %g %s is possible", q->title,
                        c->value, q->unit, q->hard_lo, q->hard_hi, q->unit);
}

/* --- calibrations --- */

static void get_probe(struct request *r, struct command *c)
{
    struct json_item item;
    if (!request_text_at(r, "probe", &item))
        return;
    for (int i = 0; i < r->site->stream_count && c->stream < 0; i++)
        if (strlen(r->site->streams[i].name) == item.text_len &&
            memcmp(r->site->streams[i].name, item.text, item.text_len) == 0)
            c->stream = i;
    if (c->stream < 0) {
        r->st = why_say(r->why, STATUS_INVALID, "there is no probe \"%.80s\"", item.text);
        return;
    }
    c->place = r->site->streams[c->stream].place;
    c->quantity = r->site->streams[c->stream].quantity;
}

/* False behind the last point. */
static bool get_point(struct request *r, int i, struct calib_point *point)
{
    char name[24];
    struct text out = text_over(name, sizeof name);
    text_printf(&out, "points/%d", i);
    if (request_member(r, name).kind == JSON_KIND_NONE)
        return false;
    *point = (struct calib_point){ NAN, NAN, NAN };
    text_put(&out, "/raw");
    request_number(r, name, -1e6, 1e6, &point->raw);
    out = text_over(name, sizeof name);
    text_printf(&out, "points/%d/is", i);
    request_number(r, name, -1e6, 1e6, &point->is);
    out = text_over(name, sizeof name);
    text_printf(&out, "points/%d/temp", i);
    request_number(r, name, 0, 60, &point->temp_c);
    if (r->st == STATUS_OK && isnan(point->is))
        r->st = why_say(r->why, STATUS_INVALID, "each point needs \"is\": the buffer, standard or reference");
    return true;
}

static void get_points(struct request *r, struct command *c)
{
    struct calib_point beyond;
    if (request_member(r, "points").kind == JSON_KIND_NONE)
        return;
    while (c->point_count < CALIB_POINTS_MAX && get_point(r, c->point_count, &c->points[c->point_count]))
        c->point_count++;
    if (r->st != STATUS_OK)
        return;
    if (c->point_count == 0 || get_point(r, CALIB_POINTS_MAX, &beyond))
        r->st = why_say(
            r->why, STATUS_INVALID,
            "\"points\" is a list of one to three, like [{\"raw\": 171.5, \"is\": 4.01, \"temp\": 22}]");
}

static void get_calibration(struct request *r, struct command *c)
{
    struct json_item undo = request_member(r, "undo");
    get_probe(r, c);
    get_points(r, c);
    request_number(r, "gain", 0.01, 100, &c->gain);
    request_number(r, "offset", -10000, 10000, &c->offset);
    request_time(r, "from", &c->back_to);
    request_text(r, "device", c->device, sizeof c->device);
    if (undo.kind == JSON_KIND_BOOL)
        c->undo = undo.number != 0;
    else if (undo.kind != JSON_KIND_NONE && r->st == STATUS_OK)
        r->st = why_say(r->why, STATUS_INVALID, "\"undo\" must be true or false");
    /* A reference alone: one point with what the probe shows now. */
    if (c->verb == COMMAND_CALIBRATE && c->point_count == 0 && !isnan(c->value)) {
        c->points[0] = (struct calib_point){ NAN, c->value, NAN };
        c->point_count = 1;
    }
}

static void check_needs(struct request *r, const struct command *c)
{
    if (r->st != STATUS_OK || (c->verb != COMMAND_CALIBRATE && c->verb != COMMAND_EXCHANGE))
        return;
    if (c->verb == COMMAND_CALIBRATE && c->point_count == 0 && isnan(c->gain) && isnan(c->offset) && !c->undo)
        r->st = why_say(r->why, STATUS_INVALID,
                        "calibrate needs \"points\", a \"value\" to agree with, \"gain\" and \"offset\", or "
                        "\"undo\"");
    else if (c->verb == COMMAND_EXCHANGE && c->device[0] == '\0')
        r->st = why_say(r->why, STATUS_INVALID, "exchange needs \"device\": the id of the new one");
    else if (c->place < 0)
        r->st =
            why_say(r->why, STATUS_INVALID, "%s needs a place, like \"tank\": \"a1\"", command_name(c->verb));
}

static void read_members(struct request *r, struct command *c)
{
    request_refuse_unknown(r, MEMBERS);
    c->place = request_place(r);
    get_alert(r, c);
    request_number(r, "minutes", 0, 525600, &c->minutes);
    request_text(r, "who", c->who, sizeof c->who);
    request_text(r, "why", c->why, sizeof c->why);
    request_text(r, "what", c->what, sizeof c->what);
    get_value(r, c);
    request_time(r, "at", &c->at);
    get_calibration(r, c);
    check_needs(r, c);
}

static bool is_blank(const char *s, size_t n)
{
    while (n > 0 && (s[n - 1] == ' ' || s[n - 1] == '\t' || s[n - 1] == '\r' || s[n - 1] == '\n'))
        n--;
    return n == 0;
}

enum status commands_parse(const struct site *site, const char *verb, size_t verb_len, const char *payload,
                           size_t n, struct command *out, struct why *why)
{
    struct request r = { .site = site, .why = why, .st = STATUS_OK };
    *out = command_of(command_find(verb, verb_len));
    if (out->verb == COMMAND_COUNT)
        return why_say(
            why, STATUS_INVALID,
            "there is no command \"%.*s\"; known are ack reset shelve unshelve service out back note "
            "calibrate exchange test",
            (int)(verb_len > 40 ? 40 : verb_len), verb);
    if (is_blank(payload, n)) {
        payload = "{}";
        n = 2;
    }
    enum status st = json_doc_parse(payload, n, &r.doc, why);
    if (st == STATUS_OK && !json_doc_is_object(&r.doc))
        st = why_say(why, STATUS_INVALID, "a request is a JSON object, not a list");
    if (st == STATUS_OK && out->verb == COMMAND_NOTE)
        st = notes_read(&r, out);
    else if (st == STATUS_OK) {
        read_members(&r, out);
        st = r.st;
    }
    json_doc_fini(&r.doc);
    return st;
}

void commands_format_answer(const struct site *site, const struct command *c, enum status st,
                            const char *sentence, struct text *out)
{
    json_open(out, '{');
    json_key(out, "v");
    json_int(out, 1);
    json_key(out, "ok");
    json_bool(out, st == STATUS_OK);
    json_key(out, "command");
    if (c->verb < COMMAND_COUNT)
        json_string(out, command_name(c->verb));
    else
        json_null(out);
    json_key(out, "place");
    if (c->place >= 0)
        json_string(out, site->places[c->place].text);
    else
        json_null(out);
    json_key(out, "text");
    json_string(out, sentence);
    json_close(out, '}');
}
