/* A colony on one time line with its water's moves. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "adapters/clock.h"
#include "adapters/store_journal.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"
#include "plan/batch.h"
#include "plan/colony.h"

#define ENTRIES_MAX 4096
#define TEMP_DAYS   14
#define SAME_MS     (3 * MS_PER_HOUR) /* a change noted and its step seen */

struct colony_job {
    const struct options *options;
    const char *conf;
    double since_s;
    bool json;
    struct site *site;
    int tank;
    const char *place;
    struct store_reader *reader;
    struct journal_entry *entries;
    int count;
    struct colony_move moves[COLONY_MOVES];
    int move_count;
    double temp_c;
    utc_t from, now;
    struct colony colony;
};

/* --- reading --- */

static void keep_entry(void *context, const struct journal_entry *e)
{
    struct colony_job *job = context;
    if (job->count < ENTRIES_MAX)
        job->entries[job->count++] = *e;
}

static struct colony_move *new_move(struct colony_job *job, utc_t t)
{
    if (job->move_count == COLONY_MOVES)
        memmove(job->moves, job->moves + 1, (size_t)--job->move_count * sizeof *job->moves);
    struct colony_move *move = &job->moves[job->move_count++];
    move->t = t;
    move->aside = false;
    return move;
}

static void keep_step(void *context, const struct event_row *row)
{
    struct colony_job *job = context;
    if (strcmp(row->place, job->place) != 0 || isnan(row->value))
        return;
    snprintf(new_move(job, row->t)->what, sizeof job->moves->what, "%+.0f µS/cm step", row->value);
}

static bool is_seen_already(const struct colony_job *job, utc_t t)
{
    for (int i = 0; i < job->move_count; i++)
        if (llabs(job->moves[i].t.ms - t.ms) <= SAME_MS && strstr(job->moves[i].what, "step") != NULL)
            return true;
    return false;
}

static void keep_batch(void *context, const struct journal_entry *e)
{
    *(struct journal_entry *)context = *e;
}

/* "batch 4, which was not as it should be"; empty: nothing was wrong, or nothing is known. */
static void put_batch(const struct colony_job *job, int64_t id, struct text *out)
{
    struct journal_query query = JOURNAL_QUERY_ALL;
    struct batch_check check;
    static struct journal_entry batch;
    journal_clear(&batch);
    query.id = id;
    if (id != 0 && store_reader_journal(job->reader, &query, keep_batch, &batch) == STATUS_OK &&
        batch_check(job->site, &batch, &check) == STATUS_OK && check.off)
        text_printf(out, "batch %lld, which was not as it should be", (long long)id);
}

/* A change that made no step stands aside, unless its batch was bad. */
static void keep_change(void *context, const struct journal_entry *e)
{
    struct colony_job *job = context;
    char buf[80];
    struct text bad = text_over(buf, sizeof buf);
    put_batch(job, e->batch, &bad);
    if (bad.len == 0 && is_seen_already(job, e->at))
        return;
    struct colony_move *move = new_move(job, e->at);
    move->aside = bad.len == 0;
    struct text what = text_over(move->what, sizeof move->what);
    text_put(&what, "change");
    if (!isnan(e->litres))
        text_printf(&what, " of %.3g L", e->litres);
    if (bad.len > 0)
        text_printf(&what, ", %s", buf);
}

/* Limits of the water that were left: heat, cold, swings, ammonia. Alerts about probes are no moves of water.
 */
static void keep_alert(void *context, const struct alert_row *row)
{
    static const char *const endings[] = { "-low", "-high", "-swing", "-fast", "ammonia", "waste" };
    struct colony_job *job = context;
    size_t n = strlen(row->kind);
    if (strcmp(row->place, job->place) != 0 || strcmp(row->change, "raise") != 0)
        return;
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
        size_t m = strlen(endings[i]);
        if (n < m || strcmp(row->kind + n - m, endings[i]) != 0)
            continue;
        snprintf(new_move(job, row->t)->what, sizeof job->moves->what, "%s (%.4g %s)", row->kind, row->value,
                 row->unit);
        return;
    }
}

static int by_time(const void *a, const void *b)
{
    const struct colony_move *x = a, *y = b;
    return (x->t.ms > y->t.ms) - (x->t.ms < y->t.ms);
}

/* The water's, over the last two weeks. */
static double mean_temp(const struct colony_job *job, struct store_reader *reader)
{
    struct history_point p;
    int count = 0;
    utc_t from = { job->now.ms - TEMP_DAYS * MS_PER_DAY };
    if (store_reader_history(reader, job->place, "temp", from, job->now, &p, 1, &count) == STATUS_OK &&
        count == 1)
        return p.value;
    int water = job->site->tanks[job->tank].water;
    return water < 0 ? (double)NAN : job->site->waters[water].target[Q_TEMP];
}

static int read_store(struct colony_job *job)
{
    struct store_reader *reader;
    struct why why;
    struct journal_query query = JOURNAL_QUERY_ALL;
    enum status st = store_reader_open(job->site->store.path, &reader, &why);
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "%s", why.text);
    query.place = job->place;
    query.kind = JOURNAL_ANIMALS;
    query.from = job->from;
    st = store_reader_journal(reader, &query, keep_entry, job);
    if (st == STATUS_OK)
        st = store_reader_events(reader, "change-seen", job->from, job->now, keep_step, job);
    job->reader = reader;
    query.kind = JOURNAL_CHANGE;
    if (st == STATUS_OK)
        st = store_reader_journal(reader, &query, keep_change, job);
    if (st == STATUS_OK)
        st = store_reader_alert_changes(reader, job->from, job->now, keep_alert, job);
    job->temp_c = mean_temp(job, reader);
    store_reader_close(reader);
    qsort(job->moves, (size_t)job->move_count, sizeof *job->moves, by_time);
    return st == STATUS_OK ? OPTIONS_GO_ON : options_fail(job->options, 3, "the store cannot be read");
}

/* --- telling --- */

static const char *date(utc_t t, char *buf, size_t cap)
{
    time_t s = (time_t)(t.ms / MS_PER_S);
    struct tm tm;
    if (localtime_r(&s, &tm) == NULL || strftime(buf, cap, "%Y-%m-%d", &tm) == 0)
        snprintf(buf, cap, "?");
    return buf;
}

static void print_line(const struct colony_job *job)
{
    char when[16], words[512];
    int m = 0;
    for (int i = 0; i <= job->count; i++) {
        for (; m < job->move_count && (i == job->count || job->moves[m].t.ms <= job->entries[i].at.ms); m++)
            printf("  %s  water: %s\n", date(job->moves[m].t, when, sizeof when), job->moves[m].what);
        if (i == job->count)
            break;
        struct text t = text_over(words, sizeof words);
        journal_words(&job->entries[i], &t);
        printf("  %s  %s\n", date(job->entries[i].at, when, sizeof when), words);
    }
}

static void print_heads(const struct colony_job *job)
{
    const struct colony *c = &job->colony;
    char when[16];
    printf("tank %s", job->site->tanks[job->tank].name);
    if (c->counted)
        printf(": %.0f adults, as counted on %s with what came and went since", c->adults,
               date(c->counted_at, when, sizeof when));
    else
        printf(": never counted (lentic note %s 40 adults)", job->site->tanks[job->tank].id);
    printf("\n  over %.0f days: %.0f born, %.0f died, %.0f came, %.0f went\n", c->days, c->born, c->dead,
           c->in, c->out);
}

static void print_coincidences(const struct colony *c)
{
    char when[16];
    for (int i = 0; i < c->coincidence_count; i++) {
        const struct colony_coincidence *k = &c->coincidences[i];
        printf("  %.0f deaths within 3 days after: %s (%s)", k->deaths, k->move->what,
               date(k->move->t, when, sizeof when));
        if (!isnan(k->usual))
            printf("; otherwise %.1f in 3 days", k->usual);
        putchar('\n');
    }
    if (c->coincidence_count > 0)
        printf("  that is coincidence in time, no proof of a cause\n");
}

static void print_broods(const struct colony_job *job)
{
    const struct colony *c = &job->colony;
    char early[16], likely[16], late[16], seen[16];
    for (int i = 0; i < c->brood_count; i++) {
        const struct colony_brood *b = &c->broods[i];
        printf("  %.0f carrying eggs since %s%s: likely to hatch about %s (%s to %s) at %.1f °C\n",
               b->females, date(b->seen, seen, sizeof seen), b->bounded ? "" : " or before",
               date(b->likely, likely, sizeof likely), date(b->early, early, sizeof early),
               date(b->late, late, sizeof late), job->temp_c);
    }
    if (c->brood_count > 0)
        printf("  (by degree-days after Tropea et al. 2015, PLoS ONE 10:e0119468, and keepers' records)\n");
    if (c->brood_count == 0 && c->berried > 0 && c->no_forecast.text[0] != '\0')
        printf("  %s\n", c->no_forecast.text);
}

static void print_json(const struct colony_job *job)
{
    const struct colony *c = &job->colony;
    static char buf[65536];
    struct text t = text_over(buf, sizeof buf);
    json_open(&t, '{');
    json_key(&t, "tank");
    json_string(&t, job->site->tanks[job->tank].id);
    sums_member(&t, "adults", c->counted ? c->adults : (double)NAN);
    sums_member(&t, "shrimplets", c->shrimplets);
    sums_member(&t, "berried", c->berried);
    sums_member(&t, "born", c->born);
    sums_member(&t, "dead", c->dead);
    sums_member(&t, "in", c->in);
    sums_member(&t, "out", c->out);
    sums_member(&t, "days", c->days);
    json_key(&t, "coincidences");
    json_open(&t, '[');
    for (int i = 0; i < c->coincidence_count; i++) {
        json_open(&t, '{');
        json_key(&t, "t");
        json_time(&t, c->coincidences[i].move->t);
        json_key(&t, "what");
        json_string(&t, c->coincidences[i].move->what);
        sums_member(&t, "deaths", c->coincidences[i].deaths);
        sums_member(&t, "usual", c->coincidences[i].usual);
        json_close(&t, '}');
    }
    json_close(&t, ']');
    json_key(&t, "broods");
    json_open(&t, '[');
    for (int i = 0; i < c->brood_count; i++) {
        json_open(&t, '{');
        sums_member(&t, "females", c->broods[i].females);
        json_key(&t, "early");
        json_time(&t, c->broods[i].early);
        json_key(&t, "likely");
        json_time(&t, c->broods[i].likely);
        json_key(&t, "late");
        json_time(&t, c->broods[i].late);
        json_close(&t, '}');
    }
    json_close(&t, ']');
    json_close(&t, '}');
    (void)sums_print_json(&t);
}

static int answer(struct colony_job *job, const char *id)
{
    int code = sums_tank(job->options, job->site, id, &job->tank);
    if (code != OPTIONS_GO_ON)
        return code;
    int stock = job->site->tanks[job->tank].stock;
    job->place = job->site->places[job->site->tanks[job->tank].place].text;
    code = read_store(job);
    if (code != OPTIONS_GO_ON)
        return code;
    colony_eval(job->entries, job->count, job->moves, job->move_count,
                stock < 0 ? "" : job->site->stocks[stock].id, job->temp_c, job->now, &job->colony);
    if (job->json) {
        print_json(job);
        return job->count > 0 ? 0 : 1;
    }
    if (job->count == 0)
        return options_fail(job->options, 1, "no animals are noted there; lentic note %s 40 adults 3 berried",
                            id);
    print_heads(job);
    print_broods(job);
    print_coincidences(&job->colony);
    print_line(job);
    return 0;
}

int colony_main(int argc, char **argv)
{
    static struct colony_job job = { .conf = SUMS_CONF, .since_s = 180 * 86400.0 };
    const char *id;
    const struct option items[] = {
        { "since", "SPAN", "how far back (180d)", OPTION_SPAN, &job.since_s, 86400, 3.2e9 },
        { "json", NULL, "print one JSON object", OPTION_FLAG, &job.json, 0, 0 },
        { "conf", "FILE", "configuration (" SUMS_CONF ")", OPTION_TEXT, &job.conf, 0, 0 },
    };
    const struct options o = {
        "colony",
        "TANK",
        "Counts, births, deaths and moves of a tank on one time line with what its water did; when eggs may "
        "hatch.",
        items,
        sizeof items / sizeof *items,
        "  lentic note a1 40 adults 3 berried; lentic note a1 2 dead; lentic note a1 20 born\n"
        "  lentic colony a1"
    };
    job.options = &o;
    int code = sums_read(&o, argc, argv, &id);
    if (code == OPTIONS_GO_ON)
        code = sums_site(&o, job.conf, &job.site);
    if (code != OPTIONS_GO_ON)
        return code;
    job.now = clock_now().utc;
    job.from = (utc_t){ job.now.ms - (int64_t)(job.since_s * (double)MS_PER_S) };
    job.entries = calloc(ENTRIES_MAX, sizeof *job.entries);
    code = job.entries == NULL ? options_fail(&o, 3, "no memory") : answer(&job, id);
    free(job.entries);
    site_free(job.site);
    return code;
}
