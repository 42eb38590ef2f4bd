/* lentic calibrate: walks a person through a calibration; the service does the sums. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "adapters/store_query.h"
#include "base/number.h"
#include "base/text.h"
#include "cli/sums.h"
#include "cli/talk.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "model/command.h"
#include "model/steady.h"
#include "wire/decode.h"

#define HEAR_EVERY_MS 250
#define PATIENCE_S    600.0
#define JSON_ROOM     900

struct wish {
    const struct options *options;
    const struct site *site;
    int stream;
    struct option_list is;
    double temp_c, gain, offset, patience_s;
    const char *from, *who, *why;
    bool undo, list, json;
};

/* What the probe sends, gathered by the receiving thread. */
struct ear {
    const struct site *site;
    struct topics *topics;
    struct arena arena;
    int stream, temp_stream;
    struct steady steady;
    double temp_c; /* of the same document or place; NaN */
    bool news;
};

static void hear(void *context, const struct message *m)
{
    struct ear *ear = context;
    struct sample samples[DECODE_MAX];
    int left_out;
    int count = m->retain ? 0 : decode_message(ear->topics, ear->site, m, samples, DECODE_MAX, &left_out);
    for (int i = 0; i < count; i++) {
        if (samples[i].kind != SAMPLE_VALUE)
            continue;
        if (samples[i].stream == ear->temp_stream)
            ear->temp_c = samples[i].raw;
        if (samples[i].stream == ear->stream) {
            steady_add(&ear->steady, clock_now().mono.ms, samples[i].raw);
            ear->news = true;
        }
    }
}

/* --- which probe --- */

static int find_probe(const struct options *o, const struct site *site, const char **operands, int count,
                      int *stream)
{
    *stream = -1;
    for (int i = 0; count == 1 && i < site->stream_count; i++)
        if (strcmp(site->streams[i].name, operands[0]) == 0)
            *stream = i;
    if (count == 1 && *stream < 0)
        return options_fail(o, 2,
                            "there is no probe \"%.80s\"; say its topic, or place and quantity: tank/a1 ph",
                            operands[0]);
    if (count != 2)
        return count == 1 ? OPTIONS_GO_ON : options_fail(o, 2, "which probe? For example: tank/a1 ph");
    int place = site_place_find(site, operands[0], strlen(operands[0]));
    enum quantity q = quantity_find(operands[1], strlen(operands[1]));
    if (place < 0)
        return options_fail(o, 2, "there is no place \"%.60s\"", operands[0]);
    if (q == Q_COUNT)
        return options_fail(o, 2, "there is no quantity \"%.40s\"", operands[1]);
    *stream = site_stream_of(site, place, q);
    if (*stream < 0)
        return options_fail(o, 2, "%s has no probe of %s", operands[0], operands[1]);
    int twin = site->streams[*stream].twin;
    if (twin >= 0)
        return options_fail(o, 2, "%s has more than one probe of %s; name one: %s or %s", operands[0],
                            operands[1], site->streams[*stream].name, site->streams[twin].name);
    return OPTIONS_GO_ON;
}

/* --- waiting for rest --- */

static const char *raw_unit(const struct wish *w)
{
    return site_stream_value(w->site, w->stream)->millivolts
               ? "mV"
               : quantity_info(w->site->streams[w->stream].quantity)->unit;
}

static void show(const struct wish *w, const struct steady_view *v, double last)
{
    (void)fprintf(
        stderr,
        "  %.3f %s; the last %d readings span %.3f over %lld s (rest: %d readings, %d s, span %.3f)\n", last,
        raw_unit(w), v->count, v->span, (long long)(v->took_ms / 1000), STEADY_COUNT, STEADY_LEAST_MS / 1000,
        v->most);
}

/* OPTIONS_GO_ON with the point, or the exit code. */
static int wait_for_rest(struct talk *talk, struct ear *ear, const struct wish *w, struct calib_point *point)
{
    const struct probe_value *value = site_stream_value(w->site, w->stream);
    struct steady_view view = { .steady = false };
    for (double waited = 0; !view.steady; waited += HEAR_EVERY_MS / 1000.0) {
        if (!talk_pass(talk, HEAR_EVERY_MS))
            return options_fail(w->options, 1, "interrupted; nothing was changed");
        if (waited > w->patience_s)
            return options_fail(w->options, 1,
                                "the probe did not come to rest within %.0f s; nothing was changed",
                                w->patience_s);
        pthread_mutex_lock(&talk->lock);
        bool news = ear->news;
        double last = ear->steady.count > 0 ? ear->steady.v[ear->steady.count - 1] : (double)NAN;
        view = steady_view(&ear->steady, steady_noise(value->quantity, value->millivolts, last));
        point->raw = view.mean;
        point->temp_c = isnan(w->temp_c) ? ear->temp_c : w->temp_c;
        ear->news = false;
        pthread_mutex_unlock(&talk->lock);
        if (news)
            show(w, &view, last);
    }
    (void)fprintf(stderr, "  at rest: %.3f %s\n", point->raw, raw_unit(w));
    return OPTIONS_GO_ON;
}

static int ask_to_place(const struct wish *w, const char *what, bool first)
{
    char line[64];
    enum quantity q = w->site->streams[w->stream].quantity;
    const char *where = q == Q_PH   ? "buffer pH"
                        : q == Q_EC ? "the standard of"
                                    : "water with the reference at";
    if (first && isatty(STDIN_FILENO) != 1)
        return OPTIONS_GO_ON;
    (void)fprintf(stderr, "Rinse the probe, put it into %s %s%s%s, stir, then press Enter.\n", where, what,
                  q == Q_PH ? "" : " ", q == Q_PH ? "" : quantity_info(q)->unit);
    return fgets(line, sizeof line, stdin) != NULL
               ? OPTIONS_GO_ON
               : options_fail(w->options, 1, "nobody pressed Enter; nothing was changed");
}

static int gather(struct talk *talk, struct ear *ear, const struct wish *w, struct calib_point *points)
{
    for (int i = 0; i < w->is.count; i++) {
        if (number_parse(w->is.items[i], strlen(w->is.items[i]), NUMBER_PLAIN, &points[i].is) != STATUS_OK)
            return options_fail(w->options, 2, "--is takes a number, not \"%.40s\"", w->is.items[i]);
        int code = ask_to_place(w, w->is.items[i], i == 0);
        pthread_mutex_lock(&talk->lock);
        ear->steady.count = 0;
        pthread_mutex_unlock(&talk->lock);
        if (code == OPTIONS_GO_ON)
            code = wait_for_rest(talk, ear, w, &points[i]);
        if (code != OPTIONS_GO_ON)
            return code;
    }
    return OPTIONS_GO_ON;
}

/* --- the request --- */

static void put_given(struct text *out, const char *key, double v)
{
    if (isnan(v))
        return;
    json_key(out, key);
    json_number(out, v, -1);
}

static void put_points(struct text *out, const struct calib_point *points, int count)
{
    if (count == 0)
        return;
    json_key(out, "points");
    json_open(out, '[');
    for (int i = 0; i < count; i++) {
        json_open(out, '{');
        put_given(out, "raw", points[i].raw);
        put_given(out, "is", points[i].is);
        put_given(out, "temp", points[i].temp_c);
        json_close(out, '}');
    }
    json_close(out, ']');
}

static int send(struct talk *talk, const struct wish *w, const struct calib_point *points)
{
    char json[JSON_ROOM], sentence[TALK_ANSWER_MAX];
    struct text out = text_over(json, sizeof json);
    json_open(&out, '{');
    json_put_given(&out, "probe", w->site->streams[w->stream].name);
    put_points(&out, points, w->is.count);
    put_given(&out, "gain", w->gain);
    put_given(&out, "offset", w->offset);
    if (w->undo) {
        json_key(&out, "undo");
        json_bool(&out, true);
    }
    json_put_given(&out, "from", w->from);
    json_put_given(&out, "who", w->who);
    json_put_given(&out, "why", w->why);
    json_close(&out, '}');
    int code = talk_command(talk, "calibrate", json, sentence);
    if (w->json) {
        out = text_over(json, sizeof json);
        json_open(&out, '{');
        json_key(&out, "ok");
        json_bool(&out, code == 0);
        json_put_given(&out, "probe", w->site->streams[w->stream].name);
        json_put_given(&out, "text", sentence);
        json_close(&out, '}');
        puts(json);
    } else if (code == 0) {
        printf("%s: %s\n", w->site->streams[w->stream].name, sentence);
    } else {
        return options_fail(w->options, code, "%s%s", code == 1 ? "refused: " : "", sentence);
    }
    return code;
}

static int calibrate(const struct wish *w)
{
    const struct stream *s = &w->site->streams[w->stream];
    struct ear ear = { .site = w->site, .stream = w->stream, .temp_stream = s->temp_stream, .temp_c = NAN };
    struct calib_point points[CALIB_POINTS_MAX];
    struct talk talk;
    const char *filters[2] = { site_stream_entry(w->site, w->stream)->filter, NULL };
    int count = 1;
    if (s->temp_stream >= 0 && strcmp(filters[0], site_stream_entry(w->site, s->temp_stream)->filter) != 0)
        filters[count++] = site_stream_entry(w->site, s->temp_stream)->filter;
    ear.topics = topics_init(w->site, &ear.arena);
    int code = talk_open(&talk, w->options, w->site, filters, count, hear, &ear);
    if (code == OPTIONS_GO_ON)
        code = gather(&talk, &ear, w, points);
    if (code == OPTIONS_GO_ON)
        code = send(&talk, w, points);
    talk_close(&talk);
    arena_fini(&ear.arena);
    return code;
}

/* --- history --- */

static void print_row(void *context, const struct calibration_row *row)
{
    const struct wish *w = context;
    const struct calib *c = &row->calib;
    char when[UTC_TEXT_MAX];
    if (strcmp(row->probe, w->site->streams[w->stream].name) != 0)
        return;
    utc_format(c->since, when, sizeof when);
    if (w->json)
        printf("{\"t\":\"%s\",\"kind\":\"%s\",\"gain\":%.9g,\"offset\":%.9g,\"offset_mv\":%.9g,\"slope_"
               "acid\":%.9g,"
               "\"slope_base\":%.9g,\"pivot_ph\":%.9g,\"undone\":%s}\n",
               when, c->kind == CALIB_ELECTRODE ? "electrode" : "linear", c->gain, c->offset, c->offset_mv,
               c->slope_fraction[0], c->slope_fraction[1], c->pivot_ph, row->undone ? "true" : "false");
    else if (c->kind == CALIB_ELECTRODE)
        printf("%.16sZ  slope %.1f %% acid, %.1f %% base, offset %.1f mV, bend at pH %.2f%s\n", when,
               100 * c->slope_fraction[0], 100 * c->slope_fraction[1], c->offset_mv, c->pivot_ph,
               row->undone ? "  (taken back)" : "");
    else
        printf("%.16sZ  value = %.5f x raw %+.4f%s\n", when, c->gain, c->offset,
               row->undone ? "  (taken back)" : "");
}

static int list(struct wish *w)
{
    const struct stream *s = &w->site->streams[w->stream];
    struct store_reader *reader;
    struct why why = { "" };
    if (store_reader_open(w->site->store.path, &reader, &why) != STATUS_OK)
        return options_fail(w->options, 3, "%s", why.text);
    enum status st = store_reader_calibrations(reader, w->site->places[s->place].text,
                                               quantity_info(s->quantity)->name, print_row, w);
    store_reader_close(reader);
    return st == STATUS_OK ? 0 : options_fail(w->options, 3, "the calibrations could not be read");
}

static int check_wish(const struct wish *w)
{
    bool line = !isnan(w->gain) || !isnan(w->offset);
    int ways = (w->is.count > 0) + line + w->undo + w->list;
    if (ways != 1)
        return options_fail(w->options, 2,
                            "say one of --is (up to three times), --gain and --offset, --undo, --list");
    if (w->is.count > CALIB_POINTS_MAX)
        return options_fail(w->options, 2, "--is: one to three points, not %d", w->is.count);
    return OPTIONS_GO_ON;
}

int calibrate_main(int argc, char **argv)
{
    struct wish w = {
        .temp_c = NAN, .gain = NAN, .offset = NAN, .patience_s = PATIENCE_S, .who = getenv("USER")
    };
    const char *conf = SUMS_CONF, *operands[64];
    int count = 0;
    const struct option items[] = {
        { "is", "VALUE",
          "what it stands in: pH of the buffer, µS/cm at 25 °C of the standard,\nthe reference's value; "
          "again for the second and third point",
          OPTION_LIST, &w.is, 0, 0 },
        { "temp", "C", "temperature of buffer or standard; else that of the place's probe", OPTION_NUMBER,
          &w.temp_c, 0, 60 },
        { "gain", "X", "without points: value = gain x raw + offset", OPTION_NUMBER, &w.gain, 0.01, 100 },
        { "offset", "X", "see --gain", OPTION_NUMBER, &w.offset, -10000, 10000 },
        { "from", "TIME", "stored readings from then on as well, with zone: 2026-03-01T12:00:00Z",
          OPTION_TEXT, &w.from, 0, 0 },
        { "undo", NULL, "take the last one back", OPTION_FLAG, &w.undo, 0, 0 },
        { "list", NULL, "all calibrations of that probe, from the store", OPTION_FLAG, &w.list, 0, 0 },
        { "patience", "SPAN", "how long to wait for rest, default 10m", OPTION_SPAN, &w.patience_s, 1,
          86400 },
        { "who", "NAME", "who does it; default the user's name", OPTION_TEXT, &w.who, 0, 0 },
        { "why", "TEXT", "a note for the journal", OPTION_TEXT, &w.why, 0, 0 },
        { "json", NULL, "the result as JSON", OPTION_FLAG, &w.json, 0, 0 },
        { "conf", "FILE", "configuration", OPTION_TEXT, &conf, 0, 0 },
    };
    const struct options options = {
        .verb = "calibrate",
        .operands = "PLACE QUANTITY | PROBE",
        .about =
            "Calibrates a probe: waits until it has come to rest in each buffer, standard or beside the "
            "reference,\n"
            "and tells slope, offset, residual and what they mean. The old values stay as they were sent.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "  lentic calibrate tank/a1 ph --is 6.86 --is 4.01 --temp 22\n"
                "  lentic calibrate tank/a1 ec --is 1413\n"
                "  lentic calibrate tank/a1 temp --is 24.6\n"
                "Wear gloves and glasses with buffers; they and standards do not go back into the bottle or "
                "the tank.\n"
                "Exit codes: 0 done, 1 refused or no rest, 2 usage, 3 no broker, service or store.",
    };
    struct site *site = NULL;
    int code = argc > 60 ? 2 : options_read(&options, argc, argv, operands, &count);
    w.options = &options;
    if (code == OPTIONS_GO_ON)
        code = check_wish(&w);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&options, conf, &site);
    if (code != OPTIONS_GO_ON)
        return code;
    w.site = site;
    code = find_probe(&options, site, operands, count, &w.stream);
    if (code == OPTIONS_GO_ON)
        code = w.list ? list(&w) : calibrate(&w);
    site_free(site);
    return code;
}
