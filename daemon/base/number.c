#include "base/number.h"

#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Longer tokens are refused: no sender needs more, and it keeps the copy on the stack. */
#define TOKEN_MAX 1000

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static size_t digits(const char *s, size_t n, size_t at)
{
    size_t start = at;
    while (at < n && is_digit(s[at]))
        at++;
    return at - start;
}

/* Skips a sign and at least one digit after an 'e'. Returns the index behind, or 0 when malformed. */
static size_t exponent_end(const char *s, size_t n, size_t at)
{
    at++;
    if (at < n && (s[at] == '+' || s[at] == '-'))
        at++;
    size_t count = digits(s, n, at);
    return count > 0 ? at + count : 0;
}

static bool has_form(const char *s, size_t n, enum number_grammar grammar)
{
    bool json = grammar == NUMBER_JSON;
    char point = grammar == NUMBER_COMMA ? ',' : '.';
    size_t at = 0;
    if (at < n && (s[at] == '-' || (s[at] == '+' && !json)))
        at++;
    size_t whole = digits(s, n, at);
    if (json && (whole == 0 || (whole > 1 && s[at] == '0')))
        return false;
    at += whole;
    size_t fraction = 0;
    if (at < n && s[at] == point) {
        fraction = digits(s, n, at + 1);
        if (json && fraction == 0)
            return false;
        at += 1 + fraction;
    }
    if (whole + fraction == 0)
        return false;
    if (at < n && (s[at] == 'e' || s[at] == 'E'))
        at = exponent_end(s, n, at);
    return at == n;
}

/* glibc hands out its built-in "C" locale here, without allocating. */
static locale_t plain_locale(void)
{
    return newlocale(LC_ALL_MASK, "C", (locale_t)0);
}

static double read_plain(const char *text)
{
    return strtod_l(text, NULL, plain_locale());
}

static int print_plain(char *buf, size_t cap, char conversion, int precision, double v)
{
    locale_t before = uselocale(plain_locale());
    int n = conversion == 'f' ? snprintf(buf, cap, "%.*f", precision, v)
                              : snprintf(buf, cap, "%.*g", precision, v);
    uselocale(before);
    return n;
}

enum status number_parse(const char *s, size_t n, enum number_grammar grammar, double *out)
{
    if (n == 0 || n >= TOKEN_MAX || !has_form(s, n, grammar))
        return STATUS_INVALID;
    char token[TOKEN_MAX];
    memcpy(token, s, n);
    token[n] = '\0';
    char *comma = memchr(token, ',', n);
    if (comma != NULL)
        *comma = '.';
    double v = read_plain(token);
    if (!isfinite(v))
        return STATUS_INVALID;
    *out = v;
    return STATUS_OK;
}

static size_t hand_out(char *buf, size_t cap, const char *text)
{
    size_t n = strlen(text);
    if (n >= cap) {
        if (cap > 0)
            buf[0] = '\0';
        return 0;
    }
    memcpy(buf, text, n + 1);
    return n;
}

static bool is_zero(const char *text)
{
    return strpbrk(text, "123456789") == NULL;
}

static int clamp_decimals(int decimals)
{
    return decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
}

size_t number_format(char *buf, size_t cap, double v, int decimals)
{
    char text[DBL_MAX_10_EXP + 32];
    if (!isfinite(v))
        return hand_out(buf, cap, "");
    print_plain(text, sizeof text, 'f', clamp_decimals(decimals), v);
    bool negative_zero = text[0] == '-' && is_zero(text);
    return hand_out(buf, cap, negative_zero ? text + 1 : text);
}

bool number_whole(const char *s, size_t n, int64_t *out)
{
    bool negative = n > 0 && s[0] == '-';
    size_t at = negative;
    int64_t v = 0;
    for (; at < n && s[at] >= '0' && s[at] <= '9'; at++)
        if (__builtin_mul_overflow(v, 10, &v) ||
            __builtin_sub_overflow(v, s[at] - '0', &v)) /* downwards: there is one more below zero */
            return false;
    if (at < n || at == negative || (!negative && v == INT64_MIN))
        return false;
    *out = negative ? v : -v;
    return true;
}

/* "1e+06" becomes "1e6", "1e-07" becomes "1e-7". */
static void shorten_exponent(char *text)
{
    char *e = strchr(text, 'e');
    if (e == NULL)
        return;
    char *to = e + 1;
    char *from = e + 1;
    if (*from == '-')
        to++;
    from++;
    while (*from == '0' && from[1] != '\0')
        from++;
    memmove(to, from, strlen(from) + 1);
}

size_t number_exact(char *buf, size_t cap, double v)
{
    char text[40];
    if (!isfinite(v))
        return hand_out(buf, cap, "");
    /* Up to 15 digits are exact in a normal double and %g drops the zeros behind; subnormals have fewer. */
    int precision = fabs(v) < DBL_MIN ? 1 : DBL_DIG;
    do
        print_plain(text, sizeof text, 'g', precision++, v);
    while (precision <= DBL_DECIMAL_DIG && read_plain(text) != v);
    shorten_exponent(text);
    return hand_out(buf, cap, text);
}

double number_round(double v, int decimals)
{
    char text[DBL_MAX_10_EXP + 32];
    if (number_format(text, sizeof text, v, decimals) == 0)
        return v;
    return read_plain(text);
}
