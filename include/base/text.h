/* Builds text in a caller's buffer without allocating. Overflow is remembered, never written. */
#ifndef LENTIC_BASE_TEXT_H
#define LENTIC_BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <string.h>
#include "base/times.h"

struct text {
    char *buf; /* the caller's; always terminated */
    size_t cap;
    size_t len;
    bool cut; /* something did not fit: what is there is incomplete */
};

struct text text_over(char *buf, size_t cap);
void text_clear(struct text *t);
void text_put(struct text *t, const char *s);
void text_put_n(struct text *t, const char *s, size_t n);
void text_printf(struct text *t, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* JSON pieces. Strings are escaped; bytes that are not UTF-8 become U+FFFD. Numbers that are not finite
 * become null. json_key starts a member. Keys and values put the comma that is due: when a value
 * stands right before. */
void json_open(struct text *t, char bracket);  /* '{' or '[' */
void json_close(struct text *t, char bracket); /* '}' or ']' */
void json_key(struct text *t, const char *key);
void json_string_n(struct text *t, const char *s, size_t n);
void json_number(struct text *t, double v, int decimals); /* decimals < 0: shortest exact form */
void json_int(struct text *t, long long v);
void json_bool(struct text *t, bool v);
void json_time(struct text *t, utc_t v);             /* null when not set */
void json_word(struct text *t, const char *literal); /* one of true, false, null */

/* Without a symbol of their own: the JSON library of wire/json exports the same names, and a program's symbol
 * would take the place of the library's within the library. */
static inline void json_string(struct text *t, const char *s)
{
    json_string_n(t, s, strlen(s));
}

static inline void json_null(struct text *t)
{
    json_word(t, "null");
}

/* Members of an object: json_key and what stands behind it. A text that is NULL or empty is null. */
void json_put_number(struct text *t, const char *key, double v, int decimals);
void json_put_int(struct text *t, const char *key, int64_t v);
void json_put_text(struct text *t, const char *key, const char *s);
void json_put_given(struct text *t, const char *key, const char *s); /* NULL: no member at all; empty: "" */
void json_put_time(struct text *t, const char *key, utc_t at);
void json_put_bool(struct text *t, const char *key, bool v);

#endif
