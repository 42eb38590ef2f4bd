/* What the store knows of a stretch of time, gathered into a page. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/store_journal.h"
#include "base/nearest.h"
#include "cli/report_spells.h"

#define GAP_STEPS      2.2               /* times the usual distance of points: further apart is a gap */
#define WORK_BACK_MS   (2 * MS_PER_DAY)  /* service windows that began before the span reach into it */
#define SAME_CHANGE_MS (3 * MS_PER_HOUR) /* a step seen so near to a noted change is that change */
#define NAMES_MAX      512

void *reporting_grow(struct reporting *r, void *list, int count, size_t size)
{
    bool full = count == 0 || (count & (count - 1)) == 0;
    void *more = full ? realloc(list, (count > 0 ? 2 * (size_t)count : 1) * size) : list;
    if (more == NULL) {
        r->no_memory = true;
        return list;
    }
    memset((char *)more + (size_t)count * size, 0, size);
    return more;
}

/* --- places --- */

static int find_place(const struct site *site, const char *word)
{
    char full[64];
    int place = site_place_find(site, word, strlen(word));
    if (place >= 0)
        return place;
    snprintf(full, sizeof full, "tank/%.40s", word);
    return site_place_find(site, full, strlen(full));
}

static int unknown_place(const struct reporting *r, const char *word)
{
    const char *names[NAMES_MAX];
    size_t count = 0;
    for (int i = 0; i < r->site->place_count && count + 2 < NAMES_MAX; i++) {
        names[count++] = r->site->places[i].text;
        names[count++] = r->site->places[i].id;
    }
    const char *near = nearest_of(word, names, count);
    return options_fail(r->options, 2, "there is no place \"%.40s\"%s%s%s", word,
                        near != NULL ? "; did you mean \"" : " in the configuration",
                        near != NULL ? near : "", near != NULL ? "\"?" : "");
}

static void add_place(struct reporting *r, int place)
{
    for (int i = 0; i < r->page.place_count; i++)
        if (r->sheets[i].place == place)
            return;
    r->sheets[r->page.place_count++] = (struct report_place){ .place = place };
}

/* Tanks first, as configured; then what is around them. */
static void add_all(struct reporting *r)
{
    for (int i = 0; i < r->site->tank_count; i++)
        add_place(r, r->site->tanks[i].place);
    for (int i = 0; i < r->site->place_count; i++)
        add_place(r, i);
}

int reporting_places(struct reporting *r, const char *const *words, int count)
{
    r->sheets = calloc((size_t)r->site->place_count + 1, sizeof *r->sheets);
    r->page.places = r->sheets;
    r->page.whole = count == 0;
    if (r->sheets == NULL)
        return options_fail(r->options, 3, "no memory");
    if (count == 0)
        add_all(r);
    for (int i = 0; i < count; i++) {
        int place = find_place(r->site, words[i]);
        if (place < 0)
            return unknown_place(r, words[i]);
        add_place(r, place);
    }
    return OPTIONS_GO_ON;
}

bool reporting_is_asked(const struct reporting *r, const char *place)
{
    for (int i = 0; i < r->page.place_count; i++)
        if (strcmp(r->site->places[r->sheets[i].place].text, place) == 0)
            return true;
    return r->page.whole;
}

/* --- readings --- */

static int64_t break_of(const struct reporting *r, int place, const struct report_series *s, int64_t width_ms)
{
    int stream = site_stream_of(r->site, place, s->quantity);
    double gap_s = quantity_info(s->quantity)->gate.gap_suspect_s;
    if (stream >= 0) {
        const struct probe_value *value = site_stream_value(r->site, stream);
        gap_s = fmax(value->gate.gap_suspect_s, value->stale_s);
    }
    double step_ms = fmax((double)s->tally.usual_step_ms, (double)width_ms) * GAP_STEPS;
    return (int64_t)fmax(step_ms, gap_s * (double)MS_PER_S);
}

static void take_band(const struct reporting *r, int place, struct report_series *s)
{
    int tank = r->site->places[place].tank;
    s->band = (struct span){ NAN, NAN };
    s->day_range = NAN;
    if (tank < 0)
        return;
    s->band = r->site->tanks[tank].band[s->quantity];
    s->day_range = r->site->tanks[tank].day_range[s->quantity];
}

static bool keep_points(struct reporting *r, struct report_series *s, const struct history_point *points,
                        int count)
{
    s->points = calloc((size_t)count + 1, sizeof *s->points);
    if (s->points == NULL) {
        r->no_memory = true;
        return false;
    }
    for (int i = 0; i < count; i++)
        s->points[i] = (struct tally_point){ points[i].t,  points[i].value, points[i].lo,
                                             points[i].hi, points[i].n,     points[i].good };
    s->count = count;
    return true;
}

/* Hand tests have marks of their own. */
static int without_tests(struct history_point *points, int count)
{
    int kept = 0;
    for (int i = 0; i < count; i++)
        if (!points[i].tested)
            points[kept++] = points[i];
    return kept;
}

static enum status take_quantity(struct reporting *r, struct store_reader *reader, struct report_place *p,
                                 enum quantity q)
{
    static struct history_point points[CURVE_POINTS_MAX];
    int count = 0, stream = site_stream_of(r->site, p->place, q);
    int64_t width_ms = (r->to.ms - r->from.ms) / CURVE_POINTS_MAX;
    enum status st = store_reader_history(reader, r->site->places[p->place].text, quantity_info(q)->name,
                                          r->from, r->to, points, CURVE_POINTS_MAX, &count);
    count = without_tests(points, count);
    if (st != STATUS_OK || (count == 0 && stream < 0))
        return st;
    struct report_series *s = &p->series[p->series_count++];
    *s = (struct report_series){ .quantity = q, .probed = true };
    take_band(r, p->place, s);
    if (!keep_points(r, s, points, count))
        return STATUS_IO;
    tally_of(s->points, count, width_ms, s->band, &s->tally);
    s->break_ms = break_of(r, p->place, s, width_ms);
    s->now = s->tally.last;
    s->now_t = s->tally.last_t;
    return STATUS_OK;
}

static enum status take_readings(struct reporting *r, struct store_reader *reader)
{
    enum status st = STATUS_OK;
    for (int i = 0; i < r->page.place_count && st == STATUS_OK; i++)
        for (int q = 0; q < Q_COUNT && st == STATUS_OK; q++)
            st = take_quantity(r, reader, &r->sheets[i], (enum quantity)q);
    return st;
}

/* --- alerts --- */

static void on_change(void *context, const struct alert_row *row)
{
    reporting_take_change(context, row);
}

/* --- journal and what was seen --- */

static void take_tests(struct reporting *r, const struct journal_entry *e, int place)
{
    for (int i = 0; i < e->item_count; i++) {
        enum quantity q = quantity_find(e->items[i].name, strlen(e->items[i].name));
        if (e->items[i].role != JOURNAL_VALUE || q == Q_COUNT)
            continue;
        struct report_test *t = REPORTING_APPEND(r, tests, test_count);
        if (t == NULL)
            return;
        *t = (struct report_test){ .place = place, .t = e->at, .quantity = q, .value = e->items[i].amount };
        t->sd = e->items[i].sd;
        snprintf(t->kit, sizeof t->kit, "%s", e->kit);
        snprintf(t->who, sizeof t->who, "%s", e->who);
    }
}

static void take_note(struct reporting *r, const struct journal_entry *e, int place)
{
    struct report_note *n = REPORTING_APPEND(r, notes, note_count);
    if (n == NULL)
        return;
    struct text words = text_over(n->words, sizeof n->words);
    n->place = place;
    n->id = e->id;
    n->t = e->at;
    if (place < 0 && e->place[0] != '\0')
        text_printf(&words, "%s: ", e->place);
    journal_words(e, &words);
    snprintf(n->who, sizeof n->who, "%s", e->who);
}

static void on_entry(void *context, const struct journal_entry *e)
{
    struct reporting *r = context;
    int place = site_place_find(r->site, e->place, strlen(e->place));
    if (e->place[0] != '\0' && !reporting_is_asked(r, e->place))
        return;
    if (e->kind == JOURNAL_TEST)
        take_tests(r, e, place);
    /* A test stands in its own table; words beside it belong to the journal. */
    if (e->kind != JOURNAL_TEST || e->text[0] != '\0')
        take_note(r, e, place);
    if (e->kind != JOURNAL_CHANGE || place < 0)
        return;
    struct report_change *change = REPORTING_APPEND(r, changes, change_count);
    if (change != NULL)
        *change = (struct report_change){ place, { e->at, true }, NAN };
}

static void on_change_seen(void *context, const struct event_row *row)
{
    struct reporting *r = context;
    int place = site_place_find(r->site, row->place, strlen(row->place));
    for (int i = 0; i < r->page.change_count; i++)
        if (r->page.changes[i].place == place && r->page.changes[i].mark.noted &&
            llabs(r->page.changes[i].mark.t.ms - row->t.ms) <= SAME_CHANGE_MS)
            return;
    struct report_change *change = place >= 0 ? REPORTING_APPEND(r, changes, change_count) : NULL;
    if (change != NULL)
        *change = (struct report_change){ place, { row->t, false }, row->value };
}

static void on_work_begin(void *context, const struct event_row *row)
{
    struct reporting *r = context;
    struct report_work *w = REPORTING_APPEND(r, work, work_count);
    if (w != NULL)
        *w = (struct report_work){ site_place_find(r->site, row->place, strlen(row->place)),
                                   { row->t, UTC_NONE } };
}

/* Ends the newest window of the place that began before. */
static void on_work_end(void *context, const struct event_row *row)
{
    struct reporting *r = context;
    int place = site_place_find(r->site, row->place, strlen(row->place));
    for (int i = r->page.work_count - 1; i >= 0; i--) {
        struct report_work *w = &r->page.work[i];
        if (w->place != place || w->stretch.from.ms > row->t.ms)
            continue;
        if (!utc_is_set(w->stretch.to))
            w->stretch.to = row->t;
        return;
    }
}

static enum status take_happenings(struct reporting *r, struct store_reader *reader)
{
    struct journal_query query = JOURNAL_QUERY_ALL;
    query.from = r->from;
    query.to = r->to;
    utc_t before = { r->from.ms - WORK_BACK_MS };
    enum status st = store_reader_journal(reader, &query, on_entry, r);
    if (st == STATUS_OK)
        st = store_reader_events(reader, "change-seen", r->from, r->to, on_change_seen, r);
    if (st == STATUS_OK)
        st = store_reader_events(reader, "service-begin", before, r->to, on_work_begin, r);
    if (st == STATUS_OK)
        st = store_reader_events(reader, "service-end", before, r->to, on_work_end, r);
    for (int i = 0; i < r->page.work_count; i++)
        if (!utc_is_set(r->page.work[i].stretch.to))
            r->page.work[i].stretch.to = r->to;
    return st;
}

/* --- calibrations --- */

struct calibrated {
    const char *probe;
    utc_t last, to;
};

static void on_calibration(void *context, const struct calibration_row *row)
{
    struct calibrated *c = context;
    if (!row->undone && strcmp(row->probe, c->probe) == 0 && row->calib.since.ms <= c->to.ms)
        c->last = row->calib.since;
}

static enum status take_calibration(struct reporting *r, struct store_reader *reader, const struct stream *s)
{
    struct calibrated c = { s->name, UTC_NONE, r->to };
    enum status st = store_reader_calibrations(reader, r->site->places[s->place].text,
                                               quantity_info(s->quantity)->name, on_calibration, &c);
    struct report_calibration *kept =
        st == STATUS_OK ? REPORTING_APPEND(r, calibrations, calibration_count) : NULL;
    if (kept != NULL)
        *kept = (struct report_calibration){ s->place, s->name, s->quantity,
                                             r->site->plan.calibrate_every_d[s->quantity], c.last };
    return st;
}

static enum status take_calibrations(struct reporting *r, struct store_reader *reader)
{
    enum status st = STATUS_OK;
    for (int i = 0; i < r->site->stream_count && st == STATUS_OK; i++) {
        const struct stream *s = &r->site->streams[i];
        if (!isnan(r->site->plan.calibrate_every_d[s->quantity]) &&
            reporting_is_asked(r, r->site->places[s->place].text))
            st = take_calibration(r, reader, s);
    }
    return st;
}

/* --- all of it --- */

static bool has_content(const struct reporting *r, const struct report_place *p)
{
    bool room = p->place == r->site->room_place;
    for (int i = 0; i < p->series_count; i++)
        if (p->series[i].count > 0)
            return true;
    for (int i = 0; i < r->page.spell_count; i++)
        if (r->page.spells[i].place == p->place)
            return true;
    for (int i = 0; i < r->page.test_count; i++)
        if (r->page.tests[i].place == p->place)
            return true;
    for (int i = 0; i < r->page.note_count; i++)
        if (r->page.notes[i].place == p->place || (room && r->page.notes[i].place < 0))
            return true;
    return false;
}

static void free_points(struct report_place *p)
{
    for (int i = 0; i < p->series_count; i++)
        free(p->series[i].points);
}

/* Of the whole room a tank always has its sheet, another place when there is something to say of it. */
static int drop_empty_sheets(struct reporting *r)
{
    int kept = 0;
    bool any = false;
    for (int i = 0; i < r->page.place_count; i++) {
        bool content = has_content(r, &r->sheets[i]);
        any = any || content;
        if (content || !r->page.whole || r->site->places[r->sheets[i].place].kind == PLACE_TANK)
            r->sheets[kept++] = r->sheets[i];
        else
            free_points(&r->sheets[i]);
    }
    r->page.place_count = kept;
    return any ? OPTIONS_GO_ON : 1;
}

struct reach {
    utc_t first, last;
};

static void on_series(void *context, const struct series_row *row)
{
    struct reach *reach = context;
    if (!utc_is_set(row->last))
        return;
    if (!utc_is_set(reach->last) || row->last.ms > reach->last.ms)
        reach->last = row->last;
    if (!utc_is_set(reach->first) || row->first.ms < reach->first.ms)
        reach->first = row->first;
}

static int tell_nothing(const struct reporting *r, struct store_reader *reader)
{
    struct reach reach = { UTC_NONE, UTC_NONE };
    char first[48], last[48];
    if (store_reader_series(reader, on_series, &reach) != STATUS_OK || !utc_is_set(reach.last))
        return options_fail(
            r->options, 1,
            "the store %s holds no reading yet: does the service hear the probes? (lentic probes)", r->store);
    return options_fail(
        r->options, 1,
        "there is nothing for that span; the store has readings from %s to %s (--from, --to, --days)",
        alerts_clock(reach.first, first, sizeof first), alerts_clock(reach.last, last, sizeof last));
}

int reporting_store(struct reporting *r)
{
    struct store_reader *reader;
    struct why why;
    enum status st = store_reader_open(r->store, &reader, &why);
    if (st != STATUS_OK)
        return options_fail(r->options, 3, "%s", why.text);
    st = take_readings(r, reader);
    if (st == STATUS_OK)
        st = store_reader_alert_changes(reader, (utc_t){ 0 }, r->to, on_change, r);
    if (st == STATUS_OK)
        st = take_happenings(r, reader);
    if (st == STATUS_OK)
        st = take_calibrations(r, reader);
    if (st == STATUS_OK && !reporting_take_standing(r))
        r->no_memory = true;
    int code = r->no_memory      ? options_fail(r->options, 3, "no memory")
               : st != STATUS_OK ? options_fail(r->options, 3, "the store %s cannot be read", r->store)
                                 : drop_empty_sheets(r);
    if (code == 1)
        code = tell_nothing(r, reader);
    store_reader_close(reader);
    return code;
}

void reporting_fini(struct reporting *r)
{
    for (int i = 0; i < r->page.place_count; i++)
        free_points(&r->sheets[i]);
    free(r->sheets);
    if (!r->page.standing_live)
        free(r->page.standing);
    free(r->page.spells);
    free(r->page.work);
    free(r->page.changes);
    free(r->page.tests);
    free(r->page.notes);
    free(r->page.calibrations);
    free(r->reports);
    alerts_heard_fini(&r->heard);
}
