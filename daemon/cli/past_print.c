#include "cli/past.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#include "adapters/store_tests.h"
#include "base/nearest.h"
#include "base/number.h"
#include "base/text.h"
#include "show/sparkline.h"
#include "show/table.h"

#define CHART_ROWS   4
#define TABLE_POINTS 24
#define SERIES_MAX   512

static void local_time(utc_t t, char *buf, size_t cap, const char *form)
{
    time_t s = (time_t)(t.ms / MS_PER_S);
    struct tm tm;
    if (localtime_r(&s, &tm) == NULL || strftime(buf, cap, form, &tm) == 0)
        snprintf(buf, cap, "?");
}

/* --- nothing there --- */

struct series {
    struct series_row rows[SERIES_MAX];
    int count;
};

static void keep_series(void *context, const struct series_row *row)
{
    struct series *series = context;
    if (series->count < SERIES_MAX)
        series->rows[series->count++] = *row;
}

static void tell_span(const struct series_row *row)
{
    char first[64], last[64];
    if (!utc_is_set(row->last)) {
        fprintf(stderr, "Its probe is known but has never sent a reading.\n");
        return;
    }
    local_time(row->first, first, sizeof first, "%Y-%m-%d %H:%M");
    local_time(row->last, last, sizeof last, "%Y-%m-%d %H:%M %Z");
    fprintf(stderr, "There are readings from %s to %s.\n", first, last);
}

static void tell_quantities(const struct series *series, const char *place)
{
    const char *lead = "It has";
    for (int i = 0; i < series->count; i++)
        if (strcmp(series->rows[i].place, place) == 0) {
            fprintf(stderr, "%s %s", lead, series->rows[i].quantity);
            lead = ",";
        }
    fprintf(stderr, ".\n");
}

static void tell_places(const struct series *series, const char *place)
{
    const char *places[SERIES_MAX] = { NULL };
    int count = 0;
    for (int i = 0; i < series->count; i++)
        if (count == 0 || strcmp(places[count - 1], series->rows[i].place) != 0)
            places[count++] = series->rows[i].place;
    const char *near = nearest_of(place, places, (size_t)count);
    if (near != NULL)
        fprintf(stderr, "Did you mean %s?\n", near);
    else if (count > 0)
        fprintf(stderr, "The store knows %d places, the first is %s.\n", count, places[0]);
    else
        fprintf(stderr, "The store knows no probe yet.\n");
}

int past_nothing(const struct past_job *job)
{
    const char *quantity = quantity_info(job->quantity)->name;
    static struct series series;
    bool place_known = false;
    series.count = 0;
    if (store_reader_series(job->reader, keep_series, &series) != STATUS_OK)
        return options_fail(job->options, 3, "store %s cannot be read", job->path);
    for (int i = 0; i < series.count; i++) {
        if (strcmp(series.rows[i].place, job->place) != 0)
            continue;
        place_known = true;
        if (strcmp(series.rows[i].quantity, quantity) == 0) {
            options_fail(job->options, 1, "no %s of %s in that span", quantity, job->place);
            tell_span(&series.rows[i]);
            return 1;
        }
    }
    if (place_known) {
        options_fail(job->options, 1, "%s has never had a probe or a hand test of %s", job->place, quantity);
        tell_quantities(&series, job->place);
    } else {
        options_fail(job->options, 1, "there is no history of %s", job->place);
        tell_places(&series, job->place);
    }
    return 1;
}

/* --- for people --- */

static int columns_of_terminal(void)
{
    struct winsize size;
    const char *columns = getenv("COLUMNS");
    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        return size.ws_col;
    int n = columns != NULL ? atoi(columns) : 0;
    return n >= 40 && n <= 1000 ? n : 80;
}

enum status past_points(const struct past_job *job, int points, struct history_point *out, int *count)
{
    return store_reader_history(job->reader, job->place, quantity_info(job->quantity)->name, job->from,
                                job->to, out, points, count);
}

/* Each value to its own column of time, so that gaps stay gaps. */
static void print_chart(const struct past_job *job, const struct history_point *points, int count,
                        int columns)
{
    const struct quantity_info *info = quantity_info(job->quantity);
    double values[1024];
    char buf[16384], first[48], last[48];
    struct text out = text_over(buf, sizeof buf);
    for (int i = 0; i < columns; i++)
        values[i] = NAN;
    for (int i = 0; i < count; i++) {
        double share = (double)(points[i].t.ms - job->from.ms) / (double)(job->to.ms - job->from.ms);
        int at = (int)(share * columns);
        if (at >= 0 && at < columns && !isnan(points[i].value))
            values[at] = points[i].value;
    }
    struct sparkline s = { values, columns, CHART_ROWS, info->decimals, info->unit };
    sparkline_put(&out, &s);
    local_time(job->from, first, sizeof first, "%d %b %H:%M");
    local_time(job->to, last, sizeof last, "%d %b %H:%M");
    int left = columns - (int)strlen(first) - (int)strlen(last);
    text_printf(&out, "%*s%s%*s%s\n\n", sparkline_axis_width(&s), "", first, left > 1 ? left : 1, "", last);
    fputs(buf, stdout);
}

static const char *flag_words(enum flag flag)
{
    switch (flag) {
    case FLAG_GOOD:
        return "good";
    case FLAG_SUSPECT:
        return "some suspect";
    case FLAG_FAIL:
        return "some failed";
    case FLAG_MISSING:
        return "some missing";
    case FLAG_NOT_EVALUATED:
    case FLAG_NONE:
        break;
    }
    return "";
}

struct cells {
    char time[32], mean[48], lo[48], hi[48], n[16];
};

static void fill_cells(const struct past_job *job, const struct history_point *p, struct cells *c,
                       const char **row)
{
    int decimals = quantity_info(job->quantity)->decimals;
    local_time(p->t, c->time, sizeof c->time, "%Y-%m-%d %H:%M:%S");
    const double numbers[] = { p->value, p->lo, p->hi };
    char *const texts[] = { c->mean, c->lo, c->hi };
    for (int i = 0; i < 3; i++)
        if (number_format(texts[i], sizeof c->mean, numbers[i], decimals) == 0)
            snprintf(texts[i], sizeof c->mean, "–");
    snprintf(c->n, sizeof c->n, "%d", p->n);
    row[0] = c->time;
    row[1] = c->mean;
    row[2] = c->lo;
    row[3] = c->hi;
    row[4] = c->n;
    row[5] = flag_words(p->flag);
}

static void print_table(const struct past_job *job, const struct history_point *points, int count)
{
    static const char *const titles[] = { "from", "mean", "lowest", "highest", "readings", "quality" };
    static const bool right[] = { false, true, true, true, true, false };
    struct cells *cells = calloc((size_t)count, sizeof *cells);
    const char **rows = calloc((size_t)count * 6, sizeof *rows);
    size_t room = 256 + (size_t)count * 256;
    char *buf = malloc(room);
    if (cells != NULL && rows != NULL && buf != NULL) {
        struct text out = text_over(buf, room);
        for (int i = 0; i < count; i++)
            fill_cells(job, &points[i], &cells[i], rows + 6 * i);
        table_put(&out, &(struct table){ 6, titles, right, rows, count });
        fputs(buf, stdout);
    }
    free(cells);
    free((void *)rows);
    free(buf);
}

/* --- hand tests, for people --- */

struct tests {
    struct text *out;
    const struct past_job *job;
    int count;
};

static void put_test(void *context, const struct test_row *row)
{
    struct tests *t = context;
    const struct quantity_info *info = quantity_info(t->job->quantity);
    char when[32], value[40];
    if (t->count++ == 0)
        text_put(t->out, "\nHand tests\n");
    local_time(row->t, when, sizeof when, "%Y-%m-%d %H:%M");
    number_format(value, sizeof value, row->value, info->decimals);
    text_printf(t->out, "  %s  %s", when, value);
    if (!isnan(row->sd) && row->sd > 0)
        text_printf(t->out, " ± %.2g", row->sd);
    text_printf(t->out, "%s%s", info->unit[0] != '\0' ? " " : "", info->unit);
    if (row->kit[0] != '\0')
        text_printf(t->out, ", kit %s", row->kit);
    if (row->lot[0] != '\0')
        text_printf(t->out, ", lot %s", row->lot);
    text_printf(t->out, "%s%s (entry %lld)\n", row->who[0] != '\0' ? ", by " : "", row->who,
                (long long)row->entry);
}

#define TESTS_ROOM (1u << 18)

static enum status print_tests(const struct past_job *job)
{
    char *buf = malloc(TESTS_ROOM);
    if (buf == NULL)
        return STATUS_IO;
    struct text out = text_over(buf, TESTS_ROOM);
    struct tests tests = { &out, job, 0 };
    enum status st = store_reader_tests(job->reader, job->place, quantity_info(job->quantity)->name,
                                        job->from, job->to, put_test, &tests);
    fputs(buf, stdout);
    if (out.cut)
        printf("... and more: --csv has them all\n");
    free(buf);
    return st;
}

int past_print_people(const struct past_job *job)
{
    const struct quantity_info *info = quantity_info(job->quantity);
    struct history_point chart[1024];
    char from[64], to[64];
    int wanted = job->points > 0 ? job->points : TABLE_POINTS, count = 0,
        columns = columns_of_terminal() - 16;
    columns = columns > 1000 ? 1000 : columns < 20 ? 20 : columns;
    struct history_point *points = calloc((size_t)wanted, sizeof *points);
    enum status st = points != NULL ? past_points(job, columns, chart, &count) : STATUS_IO;
    if (st == STATUS_OK && count > 0) {
        local_time(job->from, from, sizeof from, "%Y-%m-%d %H:%M");
        local_time(job->to, to, sizeof to, "%Y-%m-%d %H:%M %Z");
        printf("%s of %s%s%s, %s to %s\n\n", info->title, job->place, info->unit[0] != 0 ? " in " : "",
               info->unit, from, to);
        print_chart(job, chart, count, columns);
        st = past_points(job, wanted, points, &count);
        if (st == STATUS_OK)
            print_table(job, points, count);
        if (st == STATUS_OK)
            st = print_tests(job);
    }
    free(points);
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "store %s cannot be read", job->path);
    return count > 0 ? 0 : past_nothing(job);
}
