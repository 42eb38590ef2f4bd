/* Strict numbers: the whole token or nothing, no locale, finite, in the range of a double. */
#ifndef LENTIC_BASE_NUMBER_H
#define LENTIC_BASE_NUMBER_H

#include <stddef.h>
#include <stdint.h>
#include <stdbool.h>
#include "base/status.h"

enum number_grammar {
    NUMBER_PLAIN, /* a bare payload or a command line word: leading plus, ".5" and "25." are accepted */
    NUMBER_JSON,  /* RFC 8259 number */
    NUMBER_COMMA, /* as NUMBER_PLAIN with a decimal comma instead of the point (opt-in per probe) */
};

/* Parses all n bytes of s. STATUS_INVALID (and *out untouched) when any byte is left over, when the token is
 * not of the grammar, or when the value is not finite. Hexadecimal, "nan" and "inf" are never numbers. */
enum status number_parse(const char *s, size_t n, enum number_grammar grammar, double *out) LENTIC_CHECKED;

/* Writes v with that many decimals (0..9), never "-0", no exponent, no locale. Returns the length, or 0 when
 * v is not finite or buf is too small (then buf is the empty string). */
size_t number_format(char *buf, size_t cap, double v, int decimals);

/* Writes the shortest form that reads back as the same double, as a JSON number (never "1e+06" with a plus).
 * Returns the length, or 0 when v is not finite or buf is too small. */
size_t number_exact(char *buf, size_t cap, double v);

/* Nothing but digits, perhaps behind a minus, that 64 bits can hold. */
bool number_whole(const char *s, size_t n, int64_t *out);

/* v rounded to that many decimals. */
double number_round(double v, int decimals);

#endif
