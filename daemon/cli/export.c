/* lentic export: everything of a span, for other programs. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/store_export.h"
#include "base/nearest.h"
#include "base/number.h"
#include "base/text.h"
#include "cli/stretch.h"
#include "cli/sums.h"
#include "cli/verbs.h"
#include "config/load.h"

struct job {
    const struct options *options;
    struct stretch_asked stretch;
    const char *what, *out, *quantity, *path;
    char place[48];
    bool lines;
    enum export_what kind;
    utc_t from, to;
    FILE *file;
    long rows;
};

static void put_csv_text(FILE *f, const char *s)
{
    if (strpbrk(s, "\",\r\n") == NULL) {
        fputs(s, f);
        return;
    }
    putc('"', f);
    for (; *s != '\0'; s++)
        fprintf(f, *s == '"' ? "\"\"" : "%c", *s);
    putc('"', f);
}

static void put_csv(FILE *f, const struct export_cell *c)
{
    char number[40];
    if (c->kind == EXPORT_TEXT)
        put_csv_text(f, c->text);
    else if (c->kind == EXPORT_WHOLE)
        fprintf(f, "%lld", c->whole);
    else if (c->kind == EXPORT_NUMBER && number_exact(number, sizeof number, c->number) > 0)
        fputs(number, f);
}

static void write_csv(struct job *job, const struct export_row *row)
{
    for (int i = 0; job->rows == 0 && i < row->count; i++)
        fprintf(job->file, "%s%s", row->names[i], i + 1 < row->count ? "," : "\r\n");
    for (int i = 0; i < row->count; i++) {
        put_csv(job->file, &row->cells[i]);
        fputs(i + 1 < row->count ? "," : "\r\n", job->file);
    }
}

static void write_line(struct job *job, const struct export_row *row)
{
    char buf[16384];
    struct text t = text_over(buf, sizeof buf);
    json_open(&t, '{');
    for (int i = 0; i < row->count; i++) {
        const struct export_cell *c = &row->cells[i];
        json_key(&t, row->names[i]);
        if (c->kind == EXPORT_TEXT)
            json_string(&t, c->text);
        else if (c->kind == EXPORT_WHOLE)
            json_int(&t, c->whole);
        else if (c->kind == EXPORT_NUMBER)
            json_number(&t, c->number, -1);
        else
            json_null(&t);
    }
    json_close(&t, '}');
    fprintf(job->file, "%s\n", buf);
}

static void write_row(void *context, const struct export_row *row)
{
    struct job *job = context;
    if (job->lines)
        write_line(job, row);
    else
        write_csv(job, row);
    job->rows++;
}

static int read_what(struct job *job, const char **operands, int count)
{
    const char *names[EXPORT_COUNT];
    const char *word = count > 0 ? operands[0] : export_name(EXPORT_READINGS);
    if (count > 1)
        return options_fail(job->options, 2, "takes one word of what to export, not \"%.40s\" too",
                            operands[1]);
    for (int i = 0; i < EXPORT_COUNT; i++) {
        names[i] = export_name((enum export_what)i);
        if (strcmp(word, names[i]) == 0) {
            job->kind = (enum export_what)i;
            return OPTIONS_GO_ON;
        }
    }
    const char *near = nearest_of(word, names, EXPORT_COUNT);
    return options_fail(job->options, 2,
                        "knows no \"%.40s\"%s%s: readings, quarter-hours, days, alerts, events or notes",
                        word, near != NULL ? "; did you mean " : "", near != NULL ? near : "");
}

static int read_place(struct job *job, const char *place)
{
    if (place == NULL)
        return OPTIONS_GO_ON;
    bool full = strchr(place, '/') != NULL || strcmp(place, "room") == 0;
    snprintf(job->place, sizeof job->place, "%s%s", full ? "" : "tank/", place);
    return OPTIONS_GO_ON;
}

static int write_all(struct job *job)
{
    struct why why;
    struct store_reader *reader;
    enum status st = store_reader_open(job->path, &reader, &why);
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "%s", why.text);
    job->file = job->out == NULL ? stdout : fopen(job->out, "wx");
    if (job->file == NULL) {
        store_reader_close(reader);
        return options_fail(job->options, 3, "%s cannot be written anew: is it there already?", job->out);
    }
    st = store_reader_export(reader, job->kind, job->place[0] != '\0' ? job->place : NULL, job->quantity,
                             job->from, job->to, write_row, job);
    store_reader_close(reader);
    bool written = fflush(job->file) == 0 && !ferror(job->file);
    if (job->out != NULL)
        written = fclose(job->file) == 0 && written;
    if (st != STATUS_OK)
        return options_fail(job->options, 3, "store %s cannot be read", job->path);
    if (!written)
        return options_fail(job->options, 3, "the output cannot be written: is the disk full?");
    if (job->out != NULL)
        printf("%ld rows in %s\n", job->rows, job->out);
    return job->rows > 0 ? 0 : options_fail(job->options, 1, "there is nothing for that span");
}

int export_main(int argc, char **argv)
{
    struct job job = { .stretch.conf = SUMS_CONF };
    const char *place = NULL;
    const struct option items[] = {
        { "place", "PLACE", "only this place: a1, source/ro, room", OPTION_TEXT, &place, 0, 0 },
        { "quantity", "NAME", "only this quantity: temp, ec, ...", OPTION_TEXT, &job.quantity, 0, 0 },
        STRETCH_TIME_OPTIONS(job.stretch),
        { "json-lines", NULL, "one JSON object a line instead of CSV", OPTION_FLAG, &job.lines, 0, 0 },
        { "out", "FILE", "a new file instead of the standard output", OPTION_TEXT, &job.out, 0, 0 },
        STRETCH_STORE_OPTIONS(job.stretch),
    };
    const struct options options = {
        .verb = "export",
        .operands = "[readings|quarter-hours|days|alerts|events|notes]",
        .about =
            "Everything the store knows of a span, for other programs, while the service goes on writing.\n"
            "CSV as RFC 4180 with a line of titles; times in UTC.",
        .items = items,
        .count = sizeof items / sizeof *items,
        .more = "  lentic export --days 7 > week.csv\n"
                "  lentic export alerts --from 2026-01-01 --json-lines --out alerts.jsonl\n"
                "  lentic export quarter-hours --place a1 --quantity ec --days 365\n\n"
                "Readings come place by place, hand tests behind them (no probe; with uncertainty, kit, "
                "entry in the\n"
                "journal); a bad reading (flag 4) keeps its raw value, so that nothing is hidden. Exit code "
                "1: there is nothing for that span.",
    };
    job.options = &options;
    struct site *site = NULL;
    const char **operands = calloc((size_t)argc + 1, sizeof *operands);
    int count = 0;
    if (operands == NULL)
        return options_fail(&options, 3, "no memory");
    int code = options_read(&options, argc, argv, operands, &count);
    if (code == OPTIONS_GO_ON)
        code = read_what(&job, operands, count);
    if (code == OPTIONS_GO_ON)
        code = read_place(&job, place);
    enum quantity known;
    if (code == OPTIONS_GO_ON && job.quantity != NULL)
        code = sums_quantity(&options, job.quantity, &known);
    if (code == OPTIONS_GO_ON)
        code = stretch_store(&options, &job.stretch, &job.path, &site);
    if (code == OPTIONS_GO_ON)
        code = stretch_read(&options, &job.stretch, &job.from, &job.to);
    if (code == OPTIONS_GO_ON)
        code = write_all(&job);
    site_free(site);
    free(operands);
    return code;
}
