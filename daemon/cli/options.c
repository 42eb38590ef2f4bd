#include "cli/options.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/nearest.h"
#include "base/number.h"
#include "base/span.h"
#include "show/width.h"

#define NAMES_MAX     64
#define COLUMNS_LEAST 40
#define COLUMNS_USUAL 80
#define COLUMNS_MOST  100 /* longer lines are hard to read */
#define PARAGRAPH_MAX 4096
#define HELP_INDENT   27                 /* of what stands beside an option */
#define WHOLE_MOST    9007199254740992.0 /* 2^53: beyond it a double skips whole numbers */

static const struct option *option_find(const struct options *o, const char *name, size_t n)
{
    for (size_t i = 0; i < o->count; i++)
        if (strlen(o->items[i].name) == n && memcmp(o->items[i].name, name, n) == 0)
            return &o->items[i];
    return NULL;
}

static enum status say_unknown(const struct options *o, const char *name, size_t n, struct why *why)
{
    const char *names[NAMES_MAX] = { "help" };
    size_t count = 1;
    char word[64];
    for (size_t i = 0; i < o->count && count < NAMES_MAX; i++)
        names[count++] = o->items[i].name;
    (void)snprintf(word, sizeof word, "%.*s", (int)n, name);
    const char *near = nearest_of(word, names, count);
    if (near == NULL)
        return why_say(why, STATUS_INVALID, "there is no option --%s; --help lists them", word);
    return why_say(why, STATUS_INVALID, "there is no option --%s; did you mean --%s?", word, near);
}

static enum status number_of(const struct option *option, const char *value, double *v, struct why *why)
{
    const char *form = option->kind == OPTION_SPAN    ? "a time such as 90s, 30m, 6h or 2d"
                       : option->kind == OPTION_WHOLE ? "a whole number"
                                                      : "a number";
    enum status st = option->kind == OPTION_SPAN ? span_parse(value, v)
                                                 : number_parse(value, strlen(value), NUMBER_PLAIN, v);
    if (st != STATUS_OK || (option->kind == OPTION_WHOLE && (floor(*v) != *v || fabs(*v) > WHOLE_MOST)))
        return why_say(why, STATUS_INVALID, "--%s takes %s, not \"%.40s\"", option->name, form, value);
    bool bounded = option->least < option->most;
    if (bounded && (*v < option->least || *v > option->most))
        return why_say(why, STATUS_INVALID, "--%s %.40s is out of range: %.10g to %.10g%s", option->name,
                       value, option->least, option->most, option->kind == OPTION_SPAN ? " s" : "");
    return STATUS_OK;
}

static enum status take_value(const struct option *option, const char *value, struct why *why)
{
    double v = NAN;
    enum status st;
    switch (option->kind) {
    case OPTION_FLAG:
        *(bool *)option->into = true;
        return STATUS_OK;
    case OPTION_TEXT:
        *(const char **)option->into = value;
        return STATUS_OK;
    case OPTION_LIST: {
        struct option_list *list = option->into;
        if (list->count == OPTION_LIST_MAX)
            return why_say(why, STATUS_INVALID, "--%s is given more than %d times", option->name,
                           OPTION_LIST_MAX);
        list->items[list->count++] = value;
        return STATUS_OK;
    }
    case OPTION_NUMBER:
    case OPTION_SPAN:
    case OPTION_WHOLE:
        st = number_of(option, value, &v, why);
        if (st == STATUS_OK && option->kind == OPTION_WHOLE)
            *(long long *)option->into = (long long)v;
        else if (st == STATUS_OK)
            *(double *)option->into = v;
        return st;
    }
    return STATUS_INVALID;
}

/* -o, as every tool has it, where there is an --out. */
static bool is_out(const struct options *o, const char *word)
{
    return strcmp(word, "-o") == 0 && option_find(o, "out", 3) != NULL;
}

/* One option at argv[*i]; *i moves on to a value in the next word. */
static enum status take_option(const struct options *o, int argc, char **argv, int *i, struct why *why)
{
    const char *name = is_out(o, argv[*i]) ? "out" : argv[*i] + 2;
    const char *equals = strchr(name, '=');
    size_t n = equals != NULL ? (size_t)(equals - name) : strlen(name);
    const struct option *option = option_find(o, name, n);
    if (option == NULL)
        return n == 4 && memcmp(name, "help", 4) == 0 ? STATUS_NONE : say_unknown(o, name, n, why);
    if (option->kind == OPTION_FLAG) {
        if (equals != NULL)
            return why_say(why, STATUS_INVALID, "--%s takes no value", option->name);
        return take_value(option, NULL, why);
    }
    if (equals != NULL)
        return take_value(option, equals + 1, why);
    if (*i + 1 >= argc)
        return why_say(why, STATUS_INVALID, "--%s needs a value: %s", option->name, option->argument);
    return take_value(option, argv[++*i], why);
}

enum status options_parse(const struct options *o, int argc, char **argv, const char **operands,
                          int *operand_count, struct why *why)
{
    bool ended = false;
    *operand_count = 0;
    for (int i = 1; i < argc; i++) {
        const char *word = argv[i];
        if (ended || word[0] != '-' || word[1] == '\0') {
            if (o->operands == NULL)
                return why_say(why, STATUS_INVALID, "nothing is expected here, but there is \"%.60s\"", word);
            operands[(*operand_count)++] = word;
        } else if (strcmp(word, "--") == 0) {
            ended = true;
        } else if (strcmp(word, "-h") == 0) {
            return STATUS_NONE;
        } else if (word[1] != '-' && !is_out(o, word)) {
            return why_say(why, STATUS_INVALID, "options begin with two dashes: \"%.60s\"", word);
        } else {
            enum status st = take_option(o, argc, argv, &i, why);
            if (st != STATUS_OK)
                return st;
        }
    }
    return STATUS_OK;
}

int options_columns(void)
{
    struct winsize size;
    const char *said = getenv("COLUMNS");
    int n = said != NULL ? atoi(said) : 0;
    if (isatty(STDOUT_FILENO) == 1 && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        n = size.ws_col;
    return n < COLUMNS_LEAST ? COLUMNS_USUAL : n > COLUMNS_MOST ? COLUMNS_MOST : n;
}

static void print_wrapped(const char *s, int indent, int used)
{
    char buf[PARAGRAPH_MAX];
    struct text out = text_over(buf, sizeof buf);
    width_wrap(&out, s, options_columns(), indent, used);
    fputs(buf, stdout);
}

/* Examples are indented and stay as they are; lines that follow one another are one paragraph, but exit codes
 * begin their own. */
static bool is_paragraph(const char *line)
{
    return *line != ' ' && *line != '\n' && *line != '\0';
}

static void print_paragraphs(const char *s)
{
    while (*s != '\0') {
        char words[PARAGRAPH_MAX] = "";
        struct text t = text_over(words, sizeof words);
        bool prose = is_paragraph(s);
        do {
            size_t n = strcspn(s, "\n");
            text_put(&t, t.len > 0 ? " " : "");
            text_put_n(&t, s, n);
            s += n + (s[n] == '\n');
        } while (prose && is_paragraph(s) && strncmp(s, "Exit code", 9) != 0);
        if (prose)
            print_wrapped(words, 0, 0);
        else
            puts(words);
    }
}

static void print_option(const char *left, const char *help, int n)
{
    char words[PARAGRAPH_MAX];
    (void)snprintf(words, sizeof words, "%.*s", n, help);
    printf("  %-24s ", left);
    print_wrapped(words, HELP_INDENT,
                  (int)strlen(left) > 24 ? HELP_INDENT + (int)strlen(left) - 24 : HELP_INDENT);
}

static void print_help(const struct options *o)
{
    printf("lentic %s [OPTION]...%s%s\n\n", o->verb, o->operands != NULL ? " " : "",
           o->operands != NULL ? o->operands : "");
    print_paragraphs(o->about);
    printf("\n");
    for (size_t i = 0; i < o->count; i++) {
        const struct option *option = &o->items[i];
        char left[64];
        (void)snprintf(left, sizeof left, "--%s%s%s", option->name, option->argument != NULL ? " " : "",
                       option->argument != NULL ? option->argument : "");
        const char *line = option->help;
        for (bool first = true; line != NULL; first = false) {
            const char *end = strchr(line, '\n');
            int n = end != NULL ? (int)(end - line) : (int)strlen(line);
            print_option(first ? left : "", line, n);
            line = end != NULL ? end + 1 : NULL;
        }
    }
    printf("  %-24s this text\n", "--help");
    if (o->more != NULL) {
        printf("\n");
        print_paragraphs(o->more);
    }
}

int options_read(const struct options *o, int argc, char **argv, const char **operands, int *operand_count)
{
    struct why why = { "" };
    switch (options_parse(o, argc, argv, operands, operand_count, &why)) {
    case STATUS_OK:
        return OPTIONS_GO_ON;
    case STATUS_NONE:
        print_help(o);
        return 0;
    default:
        return options_fail(o, 2, "%s", why.text);
    }
}

int options_fail(const struct options *o, int code, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    (void)fprintf(stderr, "lentic %s: ", o->verb);
    (void)vfprintf(stderr, format, args);
    (void)fputc('\n', stderr);
    va_end(args);
    return code;
}
