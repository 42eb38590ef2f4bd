#include "cli/calc.h"
#include "base/number.h"
#include "water/heat.h"
#include "water/heat_fit.h"
#include "water/trend.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#define COLUMNS_MAX 3
#define LINE_MAX    512

struct table {
    double *cells; /* row by row; free() */
    size_t rows, columns;
};

static bool is_separator(char c)
{
    return c == ',' || c == ';' || c == '\t';
}

/* The number of fields that are numbers, from the left; *fields: of all. */
static size_t parse_row(const char *line, double *cells, size_t *fields)
{
    size_t good = 0;
    *fields = 0;
    for (const char *s = line;; s++) {
        const char *end = s;
        while (*end != '\0' && !is_separator(*end))
            end++;
        const char *from = s, *to = end;
        while (from < to && isspace((unsigned char)*from))
            from++;
        while (to > from && isspace((unsigned char)to[-1]))
            to--;
        if (*fields < COLUMNS_MAX && *fields == good &&
            number_parse(from, (size_t)(to - from), NUMBER_PLAIN, &cells[good]) == STATUS_OK)
            good++;
        (*fields)++;
        if (*end == '\0')
            return good;
        s = end;
    }
}

static bool is_blank(const char *line)
{
    while (isspace((unsigned char)*line))
        line++;
    return *line == '\0' || *line == '#';
}

static const char *after_bom(const char *line)
{
    return strncmp(line, "\xEF\xBB\xBF", 3) == 0 ? line + 3 : line;
}

/* Reads rows of that many columns; the first line may be a heading. */
static enum status read_table(FILE *in, size_t columns, size_t rows_most, struct table *t, struct why *why)
{
    char line[LINE_MAX];
    size_t number = 0, fields;
    t->columns = columns;
    t->rows = 0;
    t->cells = calloc(rows_most * columns + COLUMNS_MAX, sizeof *t->cells);
    if (t->cells == NULL)
        return why_say(why, STATUS_FULL, "no memory for %zu rows", rows_most);
    while (fgets(line, sizeof line, in) != NULL) {
        number++;
        if (strchr(line, '\n') == NULL && strlen(line) == sizeof line - 1)
            return why_say(why, STATUS_INVALID, "line %zu is too long", number);
        const char *text = number == 1 ? after_bom(line) : line;
        if (is_blank(text))
            continue;
        double cells[COLUMNS_MAX];
        size_t good = parse_row(text, cells, &fields);
        if (good == 0 && t->rows == 0 && number == 1 && isalpha((unsigned char)text[0]))
            continue;
        if (good != columns || fields != columns)
            return why_say(why, STATUS_INVALID, "line %zu is not %zu numbers with commas between them",
                           number, columns);
        if (t->rows == rows_most)
            return why_say(why, STATUS_INVALID, "more than %zu rows: thin them out", rows_most);
        memcpy(t->cells + t->rows++ * columns, cells, columns * sizeof *cells);
    }
    return STATUS_OK;
}

static double *take_scratch(size_t count, struct why *why)
{
    double *scratch = calloc(count, sizeof *scratch);
    if (scratch == NULL)
        (void)why_say(why, STATUS_FULL, "no memory for %zu pairs", count);
    return scratch;
}

static enum status eval_cool(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    double t0 = calc_number(args, "t0"), room = calc_number(args, "room"), tau = calc_number(args, "tau"),
           value;
    if (calc_given(args, "limit") == calc_given(args, "hours"))
        return why_say(why, STATUS_INVALID,
                       "give either limit (for the hours until then) or hours (for the temperature)");
    if (calc_given(args, "limit")) {
        enum status st = heat_time_to(t0, room, tau, calc_number(args, "limit"), &value, why);
        if (st == STATUS_OK)
            calc_put(results, "hours", value, "h");
        return st;
    }
    enum status st = heat_after(t0, room, tau, calc_number(args, "hours"), &value, why);
    if (st == STATUS_OK)
        calc_put(results, "temp", value, "°C");
    return st;
}

static enum status fit_rows(const struct table *t, struct calc_results *results, struct why *why)
{
    struct heat_sample *samples = calloc(t->rows + 1, sizeof *samples);
    double *scratch = take_scratch(HEAT_FIT_SCRATCH(t->rows), why);
    struct heat_fit fit;
    enum status st = samples != NULL && scratch != NULL ? STATUS_OK : STATUS_FULL;
    for (size_t i = 0; st == STATUS_OK && i < t->rows; i++)
        samples[i] = (struct heat_sample){ t->cells[3 * i], t->cells[3 * i + 1], t->cells[3 * i + 2] };
    if (st == STATUS_OK)
        st = heat_fit_tau(samples, t->rows, scratch, &fit, why);
    if (st == STATUS_OK) {
        calc_put(results, "tau", fit.tau_h, "h");
        calc_put_flag(results, "reliable", fit.reliable);
    }
    free(scratch);
    free(samples);
    return st;
}

static enum status eval_fit_tau(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    struct table t;
    enum status st = read_table(calc_data(args), 3, HEAT_FIT_MAX, &t, why);
    if (st == STATUS_OK)
        st = fit_rows(&t, results, why);
    free(t.cells);
    return st;
}

static enum status trend_rows(const struct table *t, struct calc_results *results, struct why *why)
{
    double *scratch = take_scratch(TREND_SCRATCH(t->rows), why);
    double *axes = take_scratch(2 * t->rows + 1, why);
    struct trend trend;
    enum status st = scratch != NULL && axes != NULL ? STATUS_OK : STATUS_FULL;
    for (size_t i = 0; st == STATUS_OK && i < t->rows; i++) {
        axes[i] = t->cells[2 * i];
        axes[t->rows + i] = t->cells[2 * i + 1];
    }
    if (st == STATUS_OK)
        st = trend_fit(axes, axes + t->rows, t->rows, scratch, &trend, why);
    if (st == STATUS_OK) {
        calc_put(results, "slope", trend.slope, "per h");
        calc_put(results, "intercept", trend.intercept, "");
    }
    free(axes);
    free(scratch);
    return st;
}

static enum status eval_trend(const struct calc_args *args, struct calc_results *results, struct why *why)
{
    struct table t;
    enum status st = read_table(calc_data(args), 2, TREND_POINTS_MAX, &t, why);
    if (st == STATUS_OK)
        st = trend_rows(&t, results, why);
    free(t.cells);
    return st;
}

#define NUMBER(key, kind, unit, range)                                                                       \
    {                                                                                                        \
        key, CALC_NUMBER, kind, unit, false, range                                                           \
    }
#define OPTIONAL(key, kind, unit, range)                                                                     \
    {                                                                                                        \
        key, CALC_NUMBER, kind, unit, true, range                                                            \
    }

const struct calc_formula calc_data_formulas[] = {
    { "cool",
      "cooling towards the room: hours to a limit, or the temperature after some hours",
      { NUMBER("t0", UNIT_TEMP, "Cel", "at the start, -20 to 60"),
        NUMBER("room", UNIT_TEMP, "Cel", "-20 to 200"),
        NUMBER("tau", UNIT_TIME, "h", "time constant, 0.01 to 1000"),
        OPTIONAL("limit", UNIT_TEMP, "Cel", "between t0 and room"),
        OPTIONAL("hours", UNIT_TIME, "h", "instead, 0 or more") },
      "hours h, or temp °C",
      "Newton's law of cooling, closed form",
      eval_cool },
    { .name = "fit-tau",
      .does = "time constant of a tank; CSV on standard input: hours,temp,room in h and °C, without heating",
      .results = "tau h, reliable",
      .source = "Newton's law of cooling, median start and bisquare weights; 4 to 1000 rows, outliers and a "
                "late heater allowed",
      .eval = eval_fit_tau },
    { .name = "trend",
      .does = "slope that outliers do not bend; CSV on standard input: hours,value",
      .results = "slope per h, intercept (median of value - slope * hours)",
      .source = "Theil 1950, Sen 1968: median of the slopes of all pairs; 2 to 2000 rows",
      .eval = eval_trend },
    { .name = NULL },
};
