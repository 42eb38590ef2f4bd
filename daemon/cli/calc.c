#include "cli/calc.h"
#include "base/nearest.h"
#include "base/number.h"
#include "cli/verbs.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <string.h>

enum { EXIT_DONE = 0, EXIT_NO = 1, EXIT_USAGE = 2 };

struct given {
    size_t count;
    double number;
    const char *words[CALC_REPEAT_MAX];
};

struct calc_args {
    const struct calc_formula *formula;
    struct given given[CALC_INPUTS_MAX];
    bool has_concentration_kind;
    enum unit_kind concentration_kind;
    FILE *in;
};

struct result {
    const char *key, *unit;
    double value;
    bool is_flag;
};

struct calc_results {
    struct result rows[CALC_RESULTS_MAX];
    size_t count;
    struct why note;
};

static const struct calc_formula *const tables[] = { calc_water_formulas, calc_mix_formulas,
                                                     calc_data_formulas };
#define TABLE_COUNT (sizeof tables / sizeof *tables)

/* The index-th formula of all tables, NULL behind the last. */
static const struct calc_formula *formula_at(size_t index)
{
    for (size_t t = 0; t < TABLE_COUNT; t++)
        for (const struct calc_formula *f = tables[t]; f->name != NULL; f++)
            if (index-- == 0)
                return f;
    return NULL;
}

#define NAMES_MAX 64

static const struct calc_formula *formula_find(const char *name, struct why *why)
{
    const char *names[NAMES_MAX];
    size_t count = 0;
    for (const struct calc_formula *f; count < NAMES_MAX && (f = formula_at(count)) != NULL; count++) {
        if (strcmp(f->name, name) == 0)
            return f;
        names[count] = f->name;
    }
    const char *near = nearest_of(name, names, count);
    if (near != NULL)
        (void)why_say(why, STATUS_INVALID, "there is no formula \"%.40s\"; did you mean \"%s\"?", name, near);
    else
        (void)why_say(why, STATUS_INVALID, "there is no formula \"%.40s\"; --list tells all", name);
    return NULL;
}

static size_t input_count(const struct calc_formula *f)
{
    size_t n = 0;
    while (n < CALC_INPUTS_MAX && f->inputs[n].key != NULL)
        n++;
    return n;
}

/* The input's index, or the count of inputs when there is none of that name. */
static size_t input_find(const struct calc_formula *f, const char *key, size_t n)
{
    size_t i = 0;
    for (; i < input_count(f); i++)
        if (strlen(f->inputs[i].key) == n && memcmp(f->inputs[i].key, key, n) == 0)
            break;
    return i;
}

static enum status say_unknown_key(const struct calc_formula *f, const char *key, size_t n, struct why *why)
{
    const char *keys[CALC_INPUTS_MAX];
    char word[41] = "";
    memcpy(word, key, n < sizeof word ? n : sizeof word - 1);
    for (size_t i = 0; i < input_count(f); i++)
        keys[i] = f->inputs[i].key;
    const char *near = nearest_of(word, keys, input_count(f));
    if (near != NULL)
        return why_say(why, STATUS_INVALID, "there is no input \"%s\"; did you mean \"%s\"?", word, near);
    return why_say(why, STATUS_INVALID, "there is no input \"%s\"; lentic calc %s --help tells what it takes",
                   word, f->name);
}

/* Length of the number that text begins with; an exponent counts only when digits follow it ("4e" is 4 with a
 * unit). */
static size_t number_length(const char *s, size_t n)
{
    size_t at = 0;
    if (at < n && (s[at] == '+' || s[at] == '-'))
        at++;
    while (at < n && (isdigit((unsigned char)s[at]) || s[at] == '.'))
        at++;
    size_t e = at;
    if (e < n && (s[e] == 'e' || s[e] == 'E')) {
        e++;
        if (e < n && (s[e] == '+' || s[e] == '-'))
            e++;
        size_t digits = e;
        while (e < n && isdigit((unsigned char)s[e]))
            e++;
        if (e > digits)
            at = e;
    }
    return at;
}

enum status calc_parse(const char *text, size_t n, enum unit_kind kind, const char *own_unit, double *out,
                       struct why *why)
{
    double x;
    struct unit own, sent;
    size_t len = number_length(text, n);
    if (number_parse(text, len, NUMBER_PLAIN, &x) != STATUS_OK)
        return why_say(why, STATUS_INVALID, "\"%.*s\" is not a number", n > 40 ? 40 : (int)n, text);
    enum status st = unit_find_n(own_unit, strlen(own_unit), kind, &own, why);
    if (st == STATUS_OK && len < n)
        st = unit_find_n(text + len, n - len, kind, &sent, why);
    else
        sent = own;
    if (st != STATUS_OK)
        return STATUS_INVALID;
    *out = unit_same(sent, own) ? x : unit_from_stored(own, unit_to_stored(sent, x));
    return STATUS_OK;
}

static bool has_unit(const char *text)
{
    return number_length(text, strlen(text)) < strlen(text);
}

/* The first suffix settles the kind for all concentrations of the call. */
static enum status parse_concentration(struct calc_args *args, const char *text, double *out, struct why *why)
{
    static const enum unit_kind kinds[] = { UNIT_EC, UNIT_MASS_CONC, UNIT_GH, UNIT_AMOUNT };
    size_t n = strlen(text);
    if (!has_unit(text))
        return calc_parse(text, n, UNIT_NONE, "", out, why);
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        enum unit_kind kind = kinds[k];
        if (calc_parse(text, n, kind, "", out, why) != STATUS_OK)
            continue;
        if (args->has_concentration_kind && args->concentration_kind != kind)
            return why_say(why, STATUS_INVALID,
                           "\"%.40s\" does not go with a value in %s: give all in one unit", text,
                           unit_stored_name(args->concentration_kind));
        args->has_concentration_kind = true;
        args->concentration_kind = kind;
        return STATUS_OK;
    }
    return why_say(why, STATUS_INVALID,
                   "\"%.40s\" is not a number with a unit of conductivity, hardness or concentration", text);
}

static enum status take_value(struct calc_args *args, size_t index, const char *value, struct why *why)
{
    const struct calc_input *input = &args->formula->inputs[index];
    struct given *given = &args->given[index];
    struct why cause = { "" };
    enum status st = STATUS_OK;
    size_t most = input->form == CALC_WORD && strcmp(input->key, "cal") == 0 ? CALC_REPEAT_MAX : 1;
    if (given->count == most)
        return why_say(why, STATUS_INVALID, "%s is given more than %s", input->key,
                       most == 1 ? "once" : "three times");
    given->words[given->count++] = value;
    if (input->form == CALC_NUMBER)
        st = calc_parse(value, strlen(value), input->kind, input->unit, &given->number, &cause);
    else if (input->form == CALC_CONCENTRATION)
        st = parse_concentration(args, value, &given->number, &cause);
    if (st != STATUS_OK)
        return why_say(why, STATUS_INVALID, "%s: %s", input->key, cause.text);
    return STATUS_OK;
}

static enum status take_pair(struct calc_args *args, const char *pair, struct why *why)
{
    const char *equals = strchr(pair, '=');
    if (equals == NULL)
        return why_say(why, STATUS_INVALID, "\"%.40s\" is not of the form key=value", pair);
    size_t n = (size_t)(equals - pair);
    size_t index = input_find(args->formula, pair, n);
    if (index == input_count(args->formula))
        return say_unknown_key(args->formula, pair, n, why);
    return take_value(args, index, equals + 1, why);
}

static enum status check_complete(const struct calc_args *args, struct why *why)
{
    const struct calc_formula *f = args->formula;
    for (size_t i = 0; i < input_count(f); i++)
        if (!f->inputs[i].optional && args->given[i].count == 0)
            return why_say(why, STATUS_INVALID, "%s needs %s= (%s); lentic calc %s --help tells all", f->name,
                           f->inputs[i].key, f->inputs[i].range, f->name);
    return STATUS_OK;
}

static const struct given *given_of(const struct calc_args *args, const char *key)
{
    static const struct given nothing;
    size_t i = input_find(args->formula, key, strlen(key));
    return i < input_count(args->formula) ? &args->given[i] : &nothing;
}

bool calc_given(const struct calc_args *args, const char *key)
{
    return given_of(args, key)->count > 0;
}

double calc_number(const struct calc_args *args, const char *key)
{
    const struct given *given = given_of(args, key);
    return given->count > 0 ? given->number : (double)NAN;
}

const char *calc_word(const struct calc_args *args, const char *key, size_t index)
{
    return given_of(args, key)->words[index];
}

size_t calc_count(const struct calc_args *args, const char *key)
{
    return given_of(args, key)->count;
}

FILE *calc_data(const struct calc_args *args)
{
    return args->in;
}

const char *calc_concentration_unit(const struct calc_args *args)
{
    return args->has_concentration_kind ? unit_stored_name(args->concentration_kind) : "";
}

void calc_put(struct calc_results *results, const char *key, double value, const char *unit)
{
    results->rows[results->count++] = (struct result){ key, unit, value, false };
}

void calc_put_flag(struct calc_results *results, const char *key, bool value)
{
    results->rows[results->count++] = (struct result){ key, "", value ? 1.0 : 0.0, true };
}

void calc_note(struct calc_results *results, const char *format, ...)
{
    va_list list;
    va_start(list, format);
    vsnprintf(results->note.text, sizeof results->note.text, format, list);
    va_end(list);
}

static void print_plain(FILE *out, const struct calc_results *results)
{
    for (size_t i = 0; i < results->count; i++) {
        const struct result *r = &results->rows[i];
        if (r->is_flag)
            fprintf(out, "%s %s\n", r->key, r->value != 0.0 ? "true" : "false");
        else
            fprintf(out, "%s %.6g%s%s\n", r->key, r->value + 0.0, r->unit[0] != '\0' ? " " : "", r->unit);
    }
}

static void print_json(FILE *out, const struct calc_results *results)
{
    fputc('{', out);
    for (size_t i = 0; i < results->count; i++) {
        const struct result *r = &results->rows[i];
        char number[40];
        number_exact(number, sizeof number, r->value + 0.0);
        const char *value = number;
        if (r->is_flag)
            value = r->value != 0.0 ? "true" : "false";
        fprintf(out, "%s\"%s\":%s", i > 0 ? "," : "", r->key, value);
    }
    fputs("}\n", out);
}

static void print_formula(FILE *out, const struct calc_formula *f)
{
    fprintf(out, "%s: %s\n", f->name, f->does);
    for (size_t i = 0; i < input_count(f); i++) {
        const struct calc_input *in = &f->inputs[i];
        fprintf(out, "    %s%s%s %s%s%s\n", in->optional ? "[" : "", in->key, in->optional ? "]" : "",
                in->unit, in->unit[0] != '\0' ? ", " : "", in->range);
    }
    fprintf(out, "    gives %s\n    source: %s\n", f->results, f->source);
}

static void print_usage(FILE *out)
{
    fputs("usage: lentic calc NAME key=value ... [--json]\n"
          "       lentic calc NAME --help    what NAME takes and gives\n"
          "       lentic calc --list         every formula with inputs, units, range and source\n"
          "Values may carry a unit (temp=75.2F ec=0.38mS/cm kh=71mg/L f=25%); results are in °C, µS/cm, "
          "mg/L, °dH, L, g, h.\n"
          "Exit code: 0 done, 1 the question has no answer (it says why and what is nearest), 2 usage.\n"
          "names:",
          out);
    for (size_t i = 0; formula_at(i) != NULL; i++)
        fprintf(out, " %s", formula_at(i)->name);
    fputc('\n', out);
}

static int fail(FILE *err, const char *name, enum status st, const struct why *why)
{
    fprintf(err, "lentic calc%s%s: %s\n", name[0] != '\0' ? " " : "", name, why->text);
    return st == STATUS_REFUSED ? EXIT_NO : EXIT_USAGE;
}

static enum status check_results(const struct calc_results *results, struct why *why)
{
    for (size_t i = 0; i < results->count; i++)
        if (!isfinite(results->rows[i].value))
            return why_say(why, STATUS_INVALID, "these inputs give no number for %s", results->rows[i].key);
    return STATUS_OK;
}

struct options {
    bool json, help, list;
    const char *name;
};

/* Sorts out options and the formula's name; what is left are pairs. */
static enum status parse_options(int argc, char **argv, struct options *o, struct why *why)
{
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--json") == 0)
            o->json = true;
        else if (strcmp(argv[i], "--help") == 0 || strcmp(argv[i], "-h") == 0)
            o->help = true;
        else if (strcmp(argv[i], "--list") == 0)
            o->list = true;
        else if (strncmp(argv[i], "--", 2) == 0)
            return why_say(why, STATUS_INVALID, "unknown option \"%.40s\"; known are --json --list --help",
                           argv[i]);
        else if (o->name == NULL)
            o->name = argv[i];
    }
    return STATUS_OK;
}

static enum status eval_formula(struct calc_args *args, int argc, char **argv, struct calc_results *results,
                                struct why *why)
{
    enum status st = STATUS_OK;
    bool name_seen = false;
    for (int i = 1; st == STATUS_OK && i < argc; i++) {
        if (strncmp(argv[i], "--", 2) == 0)
            continue;
        if (name_seen)
            st = take_pair(args, argv[i], why);
        name_seen = true;
    }
    if (st == STATUS_OK)
        st = check_complete(args, why);
    if (st == STATUS_OK)
        st = args->formula->eval(args, results, why);
    if (st == STATUS_OK)
        st = check_results(results, why);
    return st;
}

int calc_run(int argc, char **argv, FILE *in, FILE *out, FILE *err)
{
    struct options o = { 0 };
    struct why why = { "" };
    enum status st = parse_options(argc, argv, &o, &why);
    if (st != STATUS_OK)
        return fail(err, "", st, &why);
    for (size_t i = 0; o.list && formula_at(i) != NULL; i++)
        print_formula(out, formula_at(i));
    if (o.list)
        return EXIT_DONE;
    if (o.name == NULL) {
        print_usage(o.help ? out : err);
        return o.help ? EXIT_DONE : EXIT_USAGE;
    }
    struct calc_args args = { .formula = formula_find(o.name, &why), .in = in };
    if (args.formula == NULL)
        return fail(err, "", STATUS_INVALID, &why);
    if (o.help) {
        print_formula(out, args.formula);
        return EXIT_DONE;
    }
    struct calc_results results = { 0 };
    st = eval_formula(&args, argc, argv, &results, &why);
    if (st != STATUS_OK)
        return fail(err, args.formula->name, st, &why);
    if (o.json)
        print_json(out, &results);
    else
        print_plain(out, &results);
    if (results.note.text[0] != '\0')
        fprintf(err, "lentic calc %s: note: %s\n", args.formula->name, results.note.text);
    return ferror(out) ? EXIT_USAGE : EXIT_DONE;
}

int calc_main(int argc, char **argv)
{
    return calc_run(argc, argv, stdin, stdout, stderr);
}
