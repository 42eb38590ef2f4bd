/* lentic past for programs: CSV and JSON, row by row. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/store_tests.h"
#include "base/number.h"
#include "base/text.h"
#include "cli/past.h"

#define READINGS_HEAD "t,place,quantity,unit,value,raw,flag,probe,sd,kit,lot,entry\n"
#define POINTS_HEAD   "t,place,quantity,unit,mean,lo,hi,n,flag\n"

struct writer {
    const struct past_job *job;
    long rows;
    bool json;
};

static void put_json_number(const char *key, double v)
{
    char number[40];
    printf(",\"%s\":%s", key, number_exact(number, sizeof number, v) > 0 ? number : "null");
}

static void put_csv_number(double v)
{
    char number[40];
    printf(",%s", number_exact(number, sizeof number, v) > 0 ? number : "");
}

static void put_csv_text(const char *s)
{
    fputs(",\"", stdout);
    for (; *s != 0; s++)
        printf(*s == '"' ? "\"\"" : "%c", *s);
    putchar('"');
}

/* What every row begins with; before the first of a table its columns. */
static void begin_row(struct writer *w, utc_t t, const char *columns)
{
    char when[UTC_TEXT_MAX];
    const struct quantity_info *info = quantity_info(w->job->quantity);
    utc_format(t, when, sizeof when);
    if (w->json)
        printf("%s{\"t\":\"%s\"", w->rows > 0 ? ",\n" : "", when);
    else
        printf("%s%s,%s,%s,%s", w->rows == 0 ? columns : "", when, w->job->place, info->name, info->unit);
    w->rows++;
}

static void write_reading(void *context, const struct reading *r, const char *probe)
{
    struct writer *w = context;
    begin_row(w, r->t, READINGS_HEAD);
    if (w->json) {
        char buf[1024];
        struct text name = text_over(buf, sizeof buf);
        json_string(&name, probe);
        put_json_number("value", r->value);
        put_json_number("raw", r->sent);
        printf(",\"flag\":%d,\"probe\":%s}", (int)r->flag, buf);
    } else {
        put_csv_number(r->value);
        put_csv_number(r->sent);
        printf(",%d", (int)r->flag);
        put_csv_text(probe);
        fputs(",,,,\n", stdout);
    }
}

static void put_json_text(const char *key, const char *value)
{
    char buf[256];
    struct text t = text_over(buf, sizeof buf);
    if (value[0] == '\0')
        text_put(&t, "null");
    else
        json_string(&t, value);
    printf(",\"%s\":%s", key, buf);
}

/* In the columns of the readings; in JSON a list of their own. */
static void write_test(void *context, const struct test_row *row)
{
    struct writer *w = context;
    begin_row(w, row->t, READINGS_HEAD);
    if (w->json) {
        put_json_number("value", row->value);
        put_json_number("sd", row->sd);
        put_json_text("kit", row->kit);
        put_json_text("lot", row->lot);
        put_json_text("who", row->who);
        printf(",\"entry\":%lld}", (long long)row->entry);
    } else {
        put_csv_number(row->value);
        fputs(",,1,", stdout);
        put_csv_number(row->sd);
        put_csv_text(row->kit);
        put_csv_text(row->lot);
        printf(",%lld\n", (long long)row->entry);
    }
}

static enum status write_tests(struct writer *w)
{
    const struct past_job *job = w->job;
    return store_reader_tests(job->reader, job->place, quantity_info(job->quantity)->name, job->from, job->to,
                              write_test, w);
}

static void write_point(struct writer *w, const struct history_point *p)
{
    begin_row(w, p->t, POINTS_HEAD);
    if (w->json) {
        put_json_number("mean", p->value);
        put_json_number("lo", p->lo);
        put_json_number("hi", p->hi);
        printf(",\"n\":%d,\"flag\":%d}", p->n, (int)p->flag);
    } else {
        put_csv_number(p->value);
        put_csv_number(p->lo);
        put_csv_number(p->hi);
        printf(",%d,%d\n", p->n, (int)p->flag);
    }
}

static enum status write_rows(struct writer *w)
{
    const struct past_job *job = w->job;
    int count = 0;
    if (job->points == 0)
        return store_reader_readings(job->reader, job->place, quantity_info(job->quantity)->name, job->from,
                                     job->to, write_reading, w);
    struct history_point *points = calloc((size_t)job->points, sizeof *points);
    enum status st = points != NULL ? past_points(job, job->points, points, &count) : STATUS_IO;
    for (int i = 0; i < count; i++)
        write_point(w, &points[i]);
    free(points);
    return st;
}

static int finish(const struct past_job *job, enum status st, const struct writer *w)
{
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "store %s cannot be read", job->path);
    return w->rows > 0 ? 0 : past_nothing(job);
}

int past_print_csv(const struct past_job *job)
{
    struct writer w = { .job = job };
    enum status st = write_rows(&w);
    if (st == STATUS_OK && job->points == 0)
        st = write_tests(&w);
    return finish(job, st, &w);
}

int past_print_json(const struct past_job *job)
{
    struct writer w = { .job = job, .json = true };
    char from[UTC_TEXT_MAX], to[UTC_TEXT_MAX];
    const struct quantity_info *info = quantity_info(job->quantity);
    printf("{\"place\":\"%s\",\"quantity\":\"%s\",\"unit\":\"%s\",\"from\":\"%s\",\"to\":\"%s\",\"%s\":[\n",
           job->place, info->name, info->unit, utc_format(job->from, from, sizeof from),
           utc_format(job->to, to, sizeof to), job->points > 0 ? "points" : "readings");
    enum status st = write_rows(&w);
    printf("%s],\"tests\":[\n", w.rows > 0 ? "\n" : "");
    struct writer tests = { .job = job, .json = true };
    if (st == STATUS_OK)
        st = write_tests(&tests);
    printf("%s]}\n", tests.rows > 0 ? "\n" : "");
    w.rows += tests.rows;
    return finish(job, st, &w);
}
