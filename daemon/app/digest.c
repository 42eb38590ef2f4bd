#include "app/digest.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "adapters/clock.h"
#include "engine/calibrate.h"
#include "wire/encode.h"

#define ALERTS_MOST 64
#define LINE_ROOM   240
#define TAIL_ROOM   320 /* kept free behind the lines */
#define LATE_MS     (2 * MS_PER_MIN)

const char *digest_clock(utc_t t, char *buf, size_t cap)
{
    static const char *const days[] = { "Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat" };
    int minute = clock_local_minute(t);
    snprintf(buf, cap, "%s %02d:%02d", days[clock_local_weekday(t)], minute / 60 % 24, minute % 60);
    return buf;
}

/* --- a digest being written: the same lines as text and as JSON --- */

struct writer {
    struct text text, json;
    int left_out;
};

static struct writer begin(struct outbox_item *out, const char *name, enum priority priority, utc_t now,
                           int count, const char *lead)
{
    *out = (struct outbox_item){ .at = now, .priority = priority };
    snprintf(out->ref, sizeof out->ref, "%s", strcmp(name, "summary") == 0 ? "summary" : "digest");
    struct writer w = { text_over(out->text, sizeof out->text), text_over(out->json, sizeof out->json), 0 };
    text_printf(&w.text, "%s\n", lead);
    json_open(&w.json, '{');
    json_key(&w.json, "t");
    json_time(&w.json, now);
    json_key(&w.json, "digest");
    json_string(&w.json, name);
    json_key(&w.json, "count");
    json_int(&w.json, count);
    json_key(&w.json, "lines");
    json_open(&w.json, '[');
    return w;
}

/* A line is in both or in none. */
static void put_line(struct writer *w, const char *line)
{
    size_t n = strlen(line);
    if (w->text.len + n + TAIL_ROOM > w->text.cap || w->json.len + 2 * n + TAIL_ROOM > w->json.cap) {
        w->left_out++;
        return;
    }
    text_printf(&w->text, "- %s\n", line);
    json_string(&w->json, line);
}

static void end(struct writer *w, int left_out)
{
    left_out += w->left_out;
    if (left_out > 0)
        text_printf(&w->text, "And %d more: lentic alerts --all lists them.\n", left_out);
    json_close(&w->json, ']');
    json_key(&w->json, "left_out");
    json_int(&w->json, left_out);
    json_close(&w->json, '}');
}

/* --- what was held in the quiet hours --- */

void digest_held_add(void *context, const struct outbox_item *item)
{
    struct digest_held *held = context;
    struct held_line *line = NULL;
    for (int i = 0; i < held->count && line == NULL; i++)
        if (strcmp(held->lines[i].ref, item->ref) == 0)
            line = &held->lines[i];
    if (line == NULL) {
        if (held->count == (int)(sizeof held->lines / sizeof *held->lines)) {
            held->left_out++;
            return;
        }
        line = &held->lines[held->count++];
        *line = (struct held_line){ .times = 0 };
        snprintf(line->ref, sizeof line->ref, "%s", item->ref);
    }
    snprintf(line->line, sizeof line->line, "%.*s", (int)strcspn(item->text, "\n"), item->text);
    line->at = item->at;
    line->times++;
}

void digest_held(const struct digest_held *held, utc_t now, struct outbox_item *out)
{
    char line[LINE_ROOM], when[DIGEST_CLOCK_MAX];
    struct writer w =
        begin(out, "quiet-hours", PRIORITY_LOW, now, held->count, "From the quiet hours, low priority:");
    for (int i = 0; i < held->count; i++) {
        const struct held_line *h = &held->lines[i];
        struct text t = text_over(line, sizeof line);
        text_printf(&t, "%s %s", digest_clock(h->at, when, sizeof when), h->line);
        if (h->times > 1)
            text_printf(&t, " (%d messages, this is the last)", h->times);
        put_line(&w, line);
    }
    end(&w, held->left_out);
}

/* --- alerts as lines --- */

/* "tank/a1: temperature below the band: 20.3 °C, lower limit 21.0 °C". */
static void alert_line(const struct site *site, const struct alert *a, utc_t now, char *line, size_t cap)
{
    char words[ENCODE_TEXT_MAX];
    struct text said = text_over(words, sizeof words), t = text_over(line, cap);
    encode_alert_text(site, a, CHANGE_STATE, now, digest_clock, &said);
    size_t n = strcspn(words, "\n");
    n -= n > 0 && words[n - 1] == '.';
    text_put_n(&t, words, n);
    if (a->evidence[0] != '\0')
        text_printf(&t, ": %.120s", a->evidence);
}

static int alerts_of(const struct pump *pump, struct alert *alerts)
{
    return engine_report_alerts(pump->engine, -1, alerts, ALERTS_MOST);
}

static bool in_flood(const struct site *site, const struct alert *a, utc_t after)
{
    return a->marks == 0 && a->base == ALERT_UNACK && a->leader < 0 && !a->chattering &&
           site->alerts[a->index].settings.priority != PRIORITY_HIGH &&
           (!utc_is_set(after) || a->raised_at.ms > after.ms);
}

int digest_flood(const struct site *site, const struct pump *pump, utc_t after, const char *lead, utc_t now,
                 struct outbox_item *out)
{
    struct alert alerts[ALERTS_MOST];
    char line[LINE_ROOM];
    int count = 0, all = alerts_of(pump, alerts);
    for (int i = 0; i < all; i++)
        count += in_flood(site, &alerts[i], after);
    struct writer w = begin(out, "flood", PRIORITY_MEDIUM, now, count, lead);
    for (int i = 0; i < all; i++) {
        if (!in_flood(site, &alerts[i], after))
            continue;
        alert_line(site, &alerts[i], now, line, sizeof line);
        put_line(&w, line);
    }
    end(&w, 0);
    return count;
}

/* --- the daily summary --- */

enum part { PART_STANDING, PART_ACTIVE, PART_OWED, PART_CHATTER, PART_SHELVED, PART_OUT, PART_COUNT };

static const char *const part_titles[PART_COUNT] = {
    [PART_STANDING] = "active for over a day",
    [PART_ACTIVE] = "active",
    [PART_OWED] = "over, waits for somebody",
    [PART_CHATTER] = "comes and goes",
    [PART_SHELVED] = "put aside",
    [PART_OUT] = "out of service",
};

static enum part part_of(const struct alert *a, struct now now)
{
    if (a->marks & ALERT_OUT_OF_SERVICE)
        return PART_OUT;
    if (a->marks & ALERT_SHELVED)
        return PART_SHELVED;
    if (a->marks & ALERT_BY_DESIGN)
        return PART_COUNT; /* its service window is listed */
    if (a->chattering || a->habitual)
        return PART_CHATTER;
    if (!a->active)
        return PART_OWED;
    return now.utc.ms - a->raised_at.ms > ENGINE_STANDING_MS ? PART_STANDING : PART_ACTIVE;
}

static void put_person(const struct alert *a, struct text *line)
{
    char when[DIGEST_CLOCK_MAX];
    utc_t until = a->marks & ALERT_OUT_OF_SERVICE ? a->out_until : a->shelved_until;
    if (utc_is_set(until))
        text_printf(line, ", until %s", digest_clock(until, when, sizeof when));
    else
        text_put(line, ", until further notice");
    if (a->who[0] != '\0')
        text_printf(line, ", by %s", a->who);
    if (a->why[0] != '\0')
        text_printf(line, " (%.60s)", a->why);
}

static void put_part(const struct site *site, const struct alert *alerts, int count, enum part part,
                     struct now now, struct writer *w)
{
    char line[LINE_ROOM], words[LINE_ROOM], span[40];
    for (int i = 0; i < count; i++) {
        const struct alert *a = &alerts[i];
        if (part_of(a, now) != part)
            continue;
        struct text t = text_over(line, sizeof line);
        if (part == PART_SHELVED || part == PART_OUT) {
            text_printf(&t, "%s: %s", part_titles[part], site->alerts[a->index].ref);
            put_person(a, &t);
        } else {
            alert_line(site, a, now.utc, words, sizeof words);
            text_printf(&t, "%s (%s): %.170s", part_titles[part],
                        span_format(now.utc.ms - a->raised_at.ms, span, sizeof span), words);
        }
        put_line(w, line);
    }
}

static void put_services(const struct site *site, const struct pump *pump, struct now now, struct writer *w)
{
    char line[LINE_ROOM], when[DIGEST_CLOCK_MAX];
    for (int i = 0; i < site->tank_count; i++) {
        struct tank_report r;
        engine_report_tank(pump->engine, i, now, &r);
        if (!r.in_service)
            continue;
        snprintf(line, sizeof line, "service window: tank/%s, until %s", site->tanks[i].id,
                 digest_clock(r.service_until, when, sizeof when));
        put_line(w, line);
    }
}

/* --- work that is due --- */

#define HAND_OLD_MS   (30 * MS_PER_DAY) /* a test by hand that nobody has repeated since */
#define CALIB_SOON_MS (7 * MS_PER_DAY)

static void put_hand_tests(const struct site *site, const struct pump *pump, struct now now, struct writer *w)
{
    char line[LINE_ROOM], span[40];
    for (int i = 0; i < site->tank_count; i++) {
        struct tank_report r;
        engine_report_tank(pump->engine, i, now, &r);
        for (int q = 0; q < Q_COUNT; q++) {
            if (r.values[q].origin != ORIGIN_HAND || !utc_is_set(r.values[q].t))
                continue;
            int64_t age_ms = now.utc.ms - r.values[q].t.ms;
            if (age_ms < HAND_OLD_MS)
                continue;
            snprintf(line, sizeof line, "due: test %s in tank/%s by hand, last %s ago",
                     quantity_info((enum quantity)q)->title, site->tanks[i].id,
                     span_format(age_ms, span, sizeof span));
            put_line(w, line);
        }
    }
}

/* Overdue ones are alerts already. */
static void put_calibrations(const struct site *site, const struct pump *pump, struct now now,
                             struct writer *w)
{
    char line[LINE_ROOM], span[40];
    for (int i = 0; i < site->stream_count; i++) {
        struct probe_report r;
        const struct stream *s = &site->streams[i];
        double every_d = site->plan.calibrate_every_d[s->quantity];
        engine_report_probe(pump->engine, i, now, &r);
        if (isnan(every_d) || !utc_is_set(r.calib.since))
            continue;
        int64_t left_ms = r.calib.since.ms + (int64_t)(every_d * (double)MS_PER_DAY) - now.utc.ms;
        if (left_ms < 0 || left_ms > CALIB_SOON_MS)
            continue;
        snprintf(line, sizeof line, "due in %s: calibrate the %s probe of %s",
                 span_format(left_ms, span, sizeof span), quantity_info(s->quantity)->title,
                 site->places[s->place].text);
        put_line(w, line);
    }
}

void digest_summary(const struct site *site, const struct pump *pump, struct now now, struct outbox_item *out)
{
    struct alert alerts[ALERTS_MOST];
    struct engine_load load = engine_load(pump->engine, now);
    char lead[200];
    int count = alerts_of(pump, alerts);
    snprintf(lead, sizeof lead,
             count == 0 ? "Nothing stands. %u alerts were raised in the last day."
                        : "%u alerts were raised in the last day. What stands now:",
             load.raises_day);
    struct writer w = begin(out, "summary", PRIORITY_LOW, now.utc, count, lead);
    for (int part = 0; part < PART_COUNT; part++)
        put_part(site, alerts, count, (enum part)part, now, &w);
    put_services(site, pump, now, &w);
    put_hand_tests(site, pump, now, &w);
    put_calibrations(site, pump, now, &w);
    end(&w, 0);
}

/* --- the message --- */

static const char *message_kind(const char *ref)
{
    bool own = strcmp(ref, "test") == 0 || strcmp(ref, "digest") == 0 || strcmp(ref, "summary") == 0 ||
               strcmp(ref, "shelf") == 0;
    return own ? ref : "alert";
}

static void compose_json(const struct site *site, const struct outbox_item *item, utc_t now, struct text *out)
{
    json_open(out, '{');
    json_key(out, "message");
    json_string(out, message_kind(item->ref));
    json_key(out, "site");
    json_string(out, site->id);
    json_key(out, "name");
    json_string(out, site->name);
    json_key(out, "ref");
    json_string(out, item->ref);
    json_key(out, "priority");
    json_string(out, priority_name(item->priority));
    json_key(out, "t");
    json_time(out, item->at);
    json_key(out, "late_s");
    json_int(out, (now.ms - item->at.ms) / MS_PER_S);
    json_key(out, "title");
    json_string_n(out, item->text, strcspn(item->text, "\n"));
    json_key(out, "text");
    json_string(out, item->text);
    json_key(out, "body");
    json_word(out, item->json);
    json_close(out, '}');
    text_put(out, "\n");
}

void digest_compose(const struct site *site, const struct outbox_item *item, utc_t now, struct text *out)
{
    char written[DIGEST_CLOCK_MAX], sent[DIGEST_CLOCK_MAX];
    if (site->notify.format == NOTIFY_AS_JSON) {
        compose_json(site, item, now, out);
        return;
    }
    text_printf(out, "%s\n%s, %s", item->text, site->name, digest_clock(item->at, written, sizeof written));
    if (now.ms - item->at.ms > LATE_MS)
        text_printf(out, " (could be delivered only at %s)", digest_clock(now, sent, sizeof sent));
    text_put(out, "\n");
}
