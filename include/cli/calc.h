/* `lentic calc`: every formula in the keeper's hand, driven by one table. A new formula is one row and one
 * function. */
#ifndef LENTIC_CLI_CALC_H
#define LENTIC_CLI_CALC_H

#include <stdbool.h>
#include <stdio.h>
#include "base/status.h"
#include "water/units.h"

#define CALC_INPUTS_MAX  12
#define CALC_RESULTS_MAX 8
#define CALC_REPEAT_MAX  3

/* Exit code as in cli/verbs.h. in: CSV for the formulas that read data. */
int calc_run(int argc, char **argv, FILE *in, FILE *out, FILE *err);

enum calc_form {
    CALC_NUMBER,        /* a number, with a unit suffix or in the row's own unit */
    CALC_CONCENTRATION, /* a number in any one unit of concentration or conductivity, the same kind for all */
    CALC_WORD,          /* text; the function judges it */
};

struct calc_input {
    const char *key;
    enum calc_form form;
    enum unit_kind kind;
    const char *unit; /* meant when there is no suffix; a spelling of the kind; "" for bare numbers */
    bool optional;
    const char *range; /* for people */
};

struct calc_args;
struct calc_results;

struct calc_formula {
    const char *name;
    const char *does; /* one line */
    struct calc_input inputs[CALC_INPUTS_MAX];
    const char *results; /* for people: "co2 mg/L, hco3 mg/L" */
    const char *source;
    /* STATUS_REFUSED ends in exit code 1, anything else but STATUS_OK in 2. */
    enum status (*eval)(const struct calc_args *args, struct calc_results *results, struct why *why);
};

/* The tables, by subject; each ends with a row whose name is NULL. */
extern const struct calc_formula calc_water_formulas[];
extern const struct calc_formula calc_mix_formulas[];
extern const struct calc_formula calc_data_formulas[];

/* What was given, in the unit of the input's row; NaN, NULL or 0 when it was not. */
bool calc_given(const struct calc_args *args, const char *key);
double calc_number(const struct calc_args *args, const char *key);
const char *calc_word(const struct calc_args *args, const char *key, size_t index); /* index < calc_count */
size_t calc_count(const struct calc_args *args, const char *key);
FILE *calc_data(const struct calc_args *args);
const char *calc_concentration_unit(const struct calc_args *args); /* stored unit of what was given, or "" */

/* Parses "177.5", "75.2F", "0.38 mS/cm" of n bytes; a bare number is in own_unit. The result is in own_unit.
 */
enum status calc_parse(const char *text, size_t n, enum unit_kind kind, const char *own_unit, double *out,
                       struct why *why) LENTIC_CHECKED;

void calc_put(struct calc_results *results, const char *key, double value, const char *unit);
void calc_put_flag(struct calc_results *results, const char *key, bool value);
void calc_note(struct calc_results *results, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
