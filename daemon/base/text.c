#include "base/text.h"

#include "base/utf8.h"

#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"

#define NUMBER_TEXT_MAX 352 /* the largest double with nine decimals */

struct text text_over(char *buf, size_t cap)
{
    struct text t = { buf, cap, 0, cap == 0 };
    if (cap > 0)
        buf[0] = '\0';
    return t;
}

void text_clear(struct text *t)
{
    *t = text_over(t->buf, t->cap);
}

/* Drops the front part of a character whose rest did not fit. */
static size_t whole_characters(const char *s, size_t n)
{
    while (n > 0 && ((unsigned char)s[n] & 0xC0) == 0x80)
        n--;
    return n;
}

void text_put_n(struct text *t, const char *s, size_t n)
{
    /* Nothing may follow a piece that was left out. */
    if (t->cut)
        return;
    size_t room = t->cap - 1 - t->len;
    if (n > room) {
        t->cut = true;
        n = whole_characters(s, room);
    }
    if (n > 0)
        memcpy(t->buf + t->len, s, n);
    t->len += n;
    t->buf[t->len] = '\0';
}

void text_put(struct text *t, const char *s)
{
    text_put_n(t, s, strlen(s));
}

/* The end of buf[from..end) without a last character whose rest did not fit. */
static size_t without_half_character(const char *buf, size_t from, size_t end)
{
    size_t start = end;
    while (start > from && end - start < 3 && ((unsigned char)buf[start - 1] & 0xC0) == 0x80)
        start--;
    if (start == from)
        return end;
    unsigned char lead = (unsigned char)buf[start - 1];
    size_t want = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : lead >= 0xC0 ? 2 : 1;
    return start - 1 + want > end ? start - 1 : end;
}

void text_printf(struct text *t, const char *format, ...)
{
    if (t->cut)
        return;
    size_t room = t->cap - t->len;
    va_list args;
    va_start(args, format);
    int n = vsnprintf(t->buf + t->len, room, format, args);
    va_end(args);
    if (n >= 0 && (size_t)n < room) {
        t->len += (size_t)n;
        return;
    }
    t->cut = true;
    t->len = n < 0 ? t->len : without_half_character(t->buf, t->len, t->cap - 1);
    t->buf[t->len] = '\0';
}

/* A comma is due when a value stands right before. */
static void put_comma(struct text *t)
{
    char last = t->len > 0 ? t->buf[t->len - 1] : '\0';
    if (last != '\0' && strchr("\"}]0123456789el", last) != NULL)
        text_put(t, ",");
}

void json_open(struct text *t, char bracket)
{
    put_comma(t);
    text_put_n(t, &bracket, 1);
}

void json_close(struct text *t, char bracket)
{
    text_put_n(t, &bracket, 1);
}

void json_key(struct text *t, const char *key)
{
    json_string(t, key);
    text_put(t, ":");
}

static void put_escaped(struct text *t, unsigned char c)
{
    static const char from[] = "\"\\\n\r\t\b\f";
    static const char to[] = "\"\\nrtbf";
    const char *found = c != '\0' ? strchr(from, c) : NULL;
    if (found != NULL)
        text_put_n(t, (const char[]){ '\\', to[found - from] }, 2);
    else if (c < 0x20)
        text_printf(t, "\\u%04x", c);
    else
        text_put_n(t, (const char *)&c, 1);
}

void json_string_n(struct text *t, const char *s, size_t n)
{
    put_comma(t);
    text_put(t, "\"");
    for (size_t at = 0; at < n;) {
        size_t bytes = utf8_bytes((const char *)(const unsigned char *)s + at, n - at);
        if (bytes == 1)
            put_escaped(t, (unsigned char)s[at]);
        else if (bytes > 1)
            text_put_n(t, s + at, bytes);
        else
            text_put(t, "\xEF\xBF\xBD");
        at += bytes > 0 ? bytes : 1;
    }
    text_put(t, "\"");
}

void json_word(struct text *t, const char *literal)
{
    put_comma(t);
    text_put(t, literal);
}

void json_number(struct text *t, double v, int decimals)
{
    char buf[NUMBER_TEXT_MAX];
    size_t n = decimals < 0 ? number_exact(buf, sizeof buf, v) : number_format(buf, sizeof buf, v, decimals);
    json_word(t, n > 0 ? buf : "null");
}

void json_int(struct text *t, long long v)
{
    put_comma(t);
    text_printf(t, "%lld", v);
}

void json_bool(struct text *t, bool v)
{
    json_word(t, v ? "true" : "false");
}

void json_time(struct text *t, utc_t v)
{
    char buf[UTC_TEXT_MAX];
    utc_format(v, buf, sizeof buf);
    if (buf[0] != '\0')
        json_string(t, buf);
    else
        json_null(t);
}

void json_put_number(struct text *t, const char *key, double v, int decimals)
{
    json_key(t, key);
    json_number(t, v, decimals);
}

void json_put_int(struct text *t, const char *key, int64_t v)
{
    json_key(t, key);
    json_int(t, v);
}

void json_put_text(struct text *t, const char *key, const char *s)
{
    json_key(t, key);
    if (s != NULL && s[0] != '\0')
        json_string(t, s);
    else
        json_null(t);
}

void json_put_given(struct text *t, const char *key, const char *s)
{
    if (s == NULL)
        return;
    json_key(t, key);
    json_string(t, s);
}

void json_put_time(struct text *t, const char *key, utc_t at)
{
    json_key(t, key);
    json_time(t, at);
}

void json_put_bool(struct text *t, const char *key, bool v)
{
    json_key(t, key);
    json_bool(t, v);
}
