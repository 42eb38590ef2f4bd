/* Long options of the verbs, read by one table each: "--name value", "--name=value", "--flag", "--" ends
 * them; "-o FILE" is short for "--out FILE" where there is one. What is wrong is told by the option's name,
 * with the nearest known one. "-h" and "--help" print the table. */
#ifndef LENTIC_CLI_OPTIONS_H
#define LENTIC_CLI_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>
#include "base/status.h"

enum option_kind {
    OPTION_FLAG,   /* into: bool */
    OPTION_TEXT,   /* into: const char *, points into argv */
    OPTION_NUMBER, /* into: double, from least to most */
    OPTION_WHOLE,  /* into: long long, from least to most; up to 2^53 */
    OPTION_SPAN,   /* into: double, seconds: "90", "30s", "15m", "6h", "2d", "1w"; from least to most */
    OPTION_LIST,   /* into: struct option_list, may be repeated */
};

#define OPTION_LIST_MAX 64

struct option_list {
    const char *items[OPTION_LIST_MAX]; /* point into argv */
    int count;
};

struct option {
    const char *name;     /* without dashes */
    const char *argument; /* shown in the help, "FILE"; NULL for flags */
    const char *help;     /* one line; "\n" begins another */
    enum option_kind kind;
    void *into;         /* holds the default, left alone when the option is not given */
    double least, most; /* of numbers; both 0: any */
};

struct options {
    const char *verb;     /* "past" */
    const char *operands; /* "TANK..." as shown in the usage line; NULL: none are taken */
    const char *about;    /* what the verb does, one or a few lines */
    const struct option *items;
    size_t count;
    const char *more; /* examples and notes shown below the options; NULL */
};

/* Operands stay in argv's order in operands[0..*operand_count-1], which has room for argc pointers.
 * argv[0] is the verb. STATUS_INVALID with one sentence. STATUS_NONE: --help was asked for; print it. */
enum status options_parse(const struct options *o, int argc, char **argv, const char **operands,
                          int *operand_count, struct why *why) LENTIC_CHECKED;

#define OPTIONS_GO_ON (-1)

/* What a verb calls first: options_parse, the help on standard output or the fault on standard error.
 * Returns OPTIONS_GO_ON, or the exit code to end with (0 after the help, 2 after a fault). */
int options_read(const struct options *o, int argc, char **argv, const char **operands, int *operand_count);

/* Width of help and such: the terminal's, 80 where there is none, at most 100. */
int options_columns(void);

/* "lentic VERB: sentence" on standard error. Returns code, so that `return options_fail(o, 3, ...)` ends a
 * verb in one step. */
int options_fail(const struct options *o, int code, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
