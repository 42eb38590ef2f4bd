/* lentic replay: a capture through the daemon's own engine, with the capture's clock. */
#include <assert.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "app/publisher.h"
#include "app/pump.h"
#include "cli/options.h"
#include "cli/replay_leap.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "wire/capture.h"
#include "wire/encode.h"

#define LINE_MOST      (256 * 1024)
#define CLOCK_FLOOR_MS INT64_C(1577836800000) /* 2020-01-01: before it the recording box had no clock yet */
#define UNSET_STEP_MS  1
#define NO_LEAP        (-1)

enum emit { EMIT_READINGS = 1, EMIT_ALERTS = 2, EMIT_EVENTS = 4, EMIT_PUBLISHES = 8, EMIT_ANSWERS = 16 };

/* A reading whose spike verdict is open waits for it, so that one line tells all. */
struct waiting {
    bool held;
    utc_t since;
    struct reading reading;
};

struct replay {
    struct site *site;
    struct pump pump;
    struct publisher publisher;
    struct notebook journal; /* outlives a cut, as the store does */
    struct waiting *waiting; /* by stream */
    unsigned emit;
    struct now now;
    char buf[ENCODE_DOCUMENT_MAX];
    uint64_t lines, faulty, messages, cut_after;
    struct leap_queue leap;
    int64_t back_ms; /* elapsed time of the step back from a leap */
};

static const struct options replay_options;

/* --- what is printed --- */

static void print(struct text *out)
{
    fwrite(out->buf, 1, out->len, stdout);
    putchar('\n');
}

static void print_reading(struct replay *r, const struct reading *reading)
{
    struct text out = text_over(r->buf, sizeof r->buf);
    encode_reading(r->site, reading, &out);
    print(&out);
}

static void release(struct replay *r, int stream)
{
    struct waiting *w = &r->waiting[stream];
    if (w->held)
        print_reading(r, &w->reading);
    w->held = false;
}

static bool spike_open(const struct reading *reading)
{
    return !reading->late && !reading->revised && !isnan(reading->value) &&
           verdict_get(reading->tests, TEST_GROSS) != FLAG_FAIL;
}

static void take_reading(struct replay *r, const struct reading *reading)
{
    struct waiting *w = &r->waiting[reading->stream];
    if (reading->revised && w->held && w->reading.t.ms == reading->t.ms) {
        w->reading = *reading;
        release(r, reading->stream);
    } else if (spike_open(reading)) {
        release(r, reading->stream);
        *w = (struct waiting){ true, r->now.utc, *reading };
    } else {
        print_reading(r, reading);
    }
}

static void on_effect(void *context, const struct effect *e)
{
    struct replay *r = context;
    struct text out = text_over(r->buf, sizeof r->buf);
    if (e->kind == EFFECT_JOURNAL)
        notebook_add(&r->journal, &e->u.journal);
    if (r->emit & EMIT_PUBLISHES)
        publisher_effect(&r->publisher, &r->pump, e);
    if (e->kind == EFFECT_READING && (r->emit & EMIT_READINGS)) {
        take_reading(r, &e->u.reading);
    } else if (e->kind == EFFECT_ALERT && (r->emit & EMIT_ALERTS)) {
        encode_alert(r->site, &e->u.alert.alert, e->u.alert.change, e->u.alert.announce, e->t, &out);
        print(&out);
    } else if (e->kind == EFFECT_EVENT && (r->emit & EMIT_EVENTS)) {
        encode_event(r->site, &e->u.event, e->t, &out);
        print(&out);
    }
}

static bool on_publish(void *context, const char *topic, const char *payload, size_t n, bool retain,
                       uint32_t expiry_s)
{
    struct replay *r = context;
    struct message m = { .topic = topic,
                         .topic_len = (uint32_t)strlen(topic),
                         .payload = payload,
                         .payload_len = (uint32_t)n,
                         .qos = 1,
                         .retain = retain,
                         .now = r->now };
    static char line[2 * ENCODE_DOCUMENT_MAX];
    struct text out = text_over(line, sizeof line);
    (void)expiry_s;
    capture_format(&m, &out);
    print(&out);
    return true;
}

static void on_answer(void *context, const struct message *m, const char *json, size_t n)
{
    struct replay *r = context;
    (void)m;
    char topic[300];
    if (r->emit & EMIT_ANSWERS)
        printf("%.*s\n", (int)n, json);
    snprintf(topic, sizeof topic, "%s/done", r->site->publish.base);
    if (r->emit & EMIT_PUBLISHES)
        on_publish(r, topic, json, n, false, 0);
}

static void on_trace(void *context, const char *stage, const char *text)
{
    (void)context;
    printf("%-16s %s\n", stage, text);
}

/* --- the capture's clock --- */

/* Elapsed time follows the capture, but for steps of the recording box's clock: backwards it stands still,
 * and the first setting of a clock that was never set takes no time. A leap that was taken back took what is
 * left of the time between the lines before and behind it, half of it each way. */
static void clock_follow(struct replay *r, utc_t tst, int64_t leap_ms)
{
    int64_t step = tst.ms - r->now.utc.ms;
    bool was_set = r->now.utc.ms >= CLOCK_FLOOR_MS, is_set = tst.ms >= CLOCK_FLOOR_MS;
    if (step < 0) {
        step = r->back_ms;
        r->back_ms = 0;
    } else if (leap_ms >= 0) {
        step = r->back_ms = leap_ms;
    } else if (!was_set && is_set) {
        step = UNSET_STEP_MS;
    }
    r->now = (struct now){ tst, mono_add(r->now.mono, step), is_set };
}

static void boot(struct replay *r, bool tracing)
{
    struct pump_sinks sinks = { .context = r,
                                .effect = on_effect,
                                .answer = on_answer,
                                .trace = tracing ? on_trace : NULL,
                                .journal = notebook_source_of(&r->journal) };
    pump_init(&r->pump, r->site, &sinks, r->now);
    publisher_init(&r->publisher, r->site, on_publish, r, NULL, r->now);
}

static void begin(struct replay *r, utc_t first, bool tracing)
{
    r->now = (struct now){ first, { 0 }, first.ms >= CLOCK_FLOOR_MS };
    boot(r, tracing);
    r->waiting = calloc((size_t)r->site->stream_count + 1, sizeof *r->waiting);
}

/* As if the machine had been started anew between two messages: another boot clock, a fresh engine, the state
 * from bytes. */
static void restart(struct replay *r, bool tracing)
{
    size_t room = engine_save_room(r->pump.engine);
    uint8_t *bytes = malloc(room);
    size_t n = bytes == NULL ? 0 : engine_save(r->pump.engine, bytes, room, r->now);
    if (n == 0)
        fprintf(stderr, "lentic replay: the state could not be saved at the cut\n");
    pump_fini(&r->pump);
    publisher_fini(&r->publisher);
    r->now.mono = (mono_t){ 0 };
    boot(r, tracing);
    engine_restore(r->pump.engine, bytes, n, r->now);
    free(bytes);
}

static void step(struct replay *r, struct message *m, bool tracing, int64_t leap_ms)
{
    if (r->pump.engine == NULL)
        begin(r, m->now.utc, tracing);
    clock_follow(r, m->now.utc, leap_ms);
    m->now = r->now;
    pump_message(&r->pump, m);
    if (r->emit & EMIT_PUBLISHES)
        publisher_tanks(&r->publisher, &r->pump, r->now);
    if (++r->messages == r->cut_after)
        restart(r, tracing);
}

/* --- reading the file --- */

/* Runs the first held line; the others are looked at anew. */
static void let_through(struct replay *r, int64_t leap_ms, bool tracing);

static void take_capture(struct replay *r, struct capture_line *capture, bool tracing)
{
    utc_t next = capture->message.now.utc;
    enum leap_verdict verdict;
    while ((verdict = leap_judge(&r->leap, next)) == LEAP_ELAPSED || verdict == LEAP_FALSE)
        let_through(r, verdict == LEAP_FALSE ? leap_each_way_ms(&r->leap, next) : NO_LEAP, tracing);
    if (verdict == LEAP_WAIT) {
        r->leap.held[r->leap.count++] = *capture;
        return;
    }
    r->leap.before = next;
    step(r, &capture->message, tracing, NO_LEAP);
    capture_fini(capture);
}

static void let_through(struct replay *r, int64_t leap_ms, bool tracing)
{
    assert(r->leap.count > 0);
    struct capture_line first = r->leap.held[0];
    int rest = r->leap.count - 1;
    struct capture_line *others = malloc((size_t)(rest + 1) * sizeof *others);
    if (others == NULL)
        abort();
    memcpy(others, r->leap.held + 1, (size_t)rest * sizeof *others);
    r->leap.count = 0;
    r->leap.before = first.message.now.utc;
    step(r, &first.message, tracing, leap_ms);
    capture_fini(&first);
    for (int i = 0; i < rest; i++)
        take_capture(r, &others[i], tracing);
    free(others);
}

static void take_line(struct replay *r, const char *line, size_t n, bool tracing)
{
    struct capture_line capture;
    struct why why = { "" };
    r->lines++;
    if (n == 0)
        return;
    if (capture_parse(line, n, &capture, &why) != STATUS_OK) {
        r->faulty++;
        fprintf(stderr, "lentic replay: line %" PRIu64 ": %s\n", r->lines, why.text);
        return;
    }
    take_capture(r, &capture, tracing);
}

static int read_capture(struct replay *r, const char *path, bool tracing)
{
    bool standard_input = strcmp(path, "-") == 0;
    gzFile file = standard_input ? gzdopen(0, "rb") : gzopen(path, "rb");
    char *line = malloc(LINE_MOST);
    if (file == NULL || line == NULL) {
        free(line);
        return options_fail(&replay_options, 2, "cannot read the capture %s", path);
    }
    while (gzgets(file, line, LINE_MOST) != NULL)
        take_line(r, line, strcspn(line, "\r\n"), tracing);
    int error = 0;
    const char *text = gzerror(file, &error);
    if (error != Z_OK && error != Z_STREAM_END)
        fprintf(stderr, "lentic replay: %s: %s\n", path, text);
    gzclose(file);
    free(line);
    return error == Z_OK || error == Z_STREAM_END ? 0 : 2;
}

static void finish(struct replay *r, double more_s, bool tracing)
{
    while (r->leap.count > 0)
        let_through(r, NO_LEAP, tracing);
    free(r->leap.held);
    if (r->pump.engine == NULL)
        return;
    clock_follow(r, (utc_t){ r->now.utc.ms + (int64_t)(more_s * 1000) }, NO_LEAP);
    pump_advance(&r->pump, r->now);
    for (int i = 0; i < r->site->stream_count; i++)
        release(r, i);
    pump_fini(&r->pump);
    publisher_fini(&r->publisher);
    notebook_fini(&r->journal);
    free(r->waiting);
}

/* --- the verb --- */

static const char *conf_path, *emit_names = "alerts";
static bool tracing;
static double more_s;

static long long cut_after;
static bool json;

static const struct option items[] = {
    { .name = "conf",
      .argument = "FILE",
      .help = "configuration (needed)",
      .kind = OPTION_TEXT,
      .into = &conf_path },
    { .name = "emit",
      .argument = "LIST",
      .help = "readings, alerts, events, answers (to commands), publishes or all, joined by commas",
      .kind = OPTION_TEXT,
      .into = &emit_names },
    { .name = "trace",
      .help = "print the walk of every message, stage by stage",
      .kind = OPTION_FLAG,
      .into = &tracing },
    { .name = "more",
      .argument = "SPAN",
      .help = "let so much time pass after the last line, like 30m",
      .kind = OPTION_SPAN,
      .into = &more_s,
      .least = 0,
      .most = 366 * 86400.0 },
    { .name = "cut",
      .argument = "N",
      .help = "restart the engine after the Nth message, as the daemon restarts: from its saved state",
      .kind = OPTION_WHOLE,
      .into = &cut_after,
      .least = 1,
      .most = 1e15 },
    { .name = "json",
      .help = "accepted for likeness with the other verbs: lines are JSON always",
      .kind = OPTION_FLAG,
      .into = &json },
};

static const struct options replay_options = {
    .verb = "replay",
    .operands = "CAPTURE",
    .about = "Runs a capture (lines of mosquitto_sub -F %j, also gzipped, - for standard input) through the "
             "daemon's\n"
             "engine with the capture's own clock and prints what the daemon would have done, one JSON "
             "object a line.",
    .items = items,
    .count = sizeof items / sizeof *items,
    .more = "A reading is printed when its spike verdict has settled. Commands in the capture act as they "
            "would live.\n"
            "Exit: 0 done, 2 usage, configuration or an unreadable capture.\n",
};

static bool parse_emit(const char *names, unsigned *out)
{
    static const struct {
        const char *name;
        unsigned bits;
    } known[] = {
        { "readings", EMIT_READINGS },
        { "alerts", EMIT_ALERTS },
        { "events", EMIT_EVENTS },
        { "publishes", EMIT_PUBLISHES },
        { "answers", EMIT_ANSWERS },
        { "all", 15 },
        { "none", 0 },
    };
    for (const char *at = names; *at != '\0';) {
        size_t n = strcspn(at, ","), i = 0, count = sizeof known / sizeof *known;
        while (i < count && !(strlen(known[i].name) == n && memcmp(known[i].name, at, n) == 0))
            i++;
        if (i == count)
            return false;
        *out |= known[i].bits;
        at += n + (at[n] == ',');
    }
    return true;
}

int replay_main(int argc, char **argv)
{
    const char *operands[64];
    int count = 0;
    static struct replay r;
    int code = argc > 60 ? 2 : options_read(&replay_options, argc, argv, operands, &count);
    if (code != OPTIONS_GO_ON)
        return code;
    if (conf_path == NULL || count != 1)
        return options_fail(&replay_options, 2,
                            "needs --conf FILE and one CAPTURE; see lentic replay --help");
    if (!parse_emit(emit_names, &r.emit))
        return options_fail(&replay_options, 2,
                            "--emit %s: known are readings, alerts, events, answers, publishes, all",
                            emit_names);
    struct site *site;
    if ((code = sums_site(&replay_options, conf_path, &site)) != OPTIONS_GO_ON)
        return code;
    if (tracing)
        r.emit = 0;
    r.site = site;
    r.cut_after = (uint64_t)cut_after;
    r.leap = (struct leap_queue){ calloc(LEAP_HELD_MAX, sizeof *r.leap.held), 0, UTC_NONE };
    if (r.leap.held == NULL)
        return options_fail(&replay_options, 2, "no memory");
    code = read_capture(&r, operands[0], tracing);
    finish(&r, more_s, tracing);
    site_free(site);
    if (r.faulty > 0)
        fprintf(stderr,
                "lentic replay: %" PRIu64 " of %" PRIu64 " lines could not be read and were left out\n",
                r.faulty, r.lines);
    return code;
}
