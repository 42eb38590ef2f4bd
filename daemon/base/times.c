#include "base/times.h"

#include <inttypes.h>
#include <stdio.h>

#define DAYS_PER_ERA 146097 /* 400 Gregorian years */

struct civil {
    int year, month, day;
};

/* Years are counted from March, so that the leap day is the last day of a year; 400 of them make an era. */
static int64_t days_of_civil(struct civil c)
{
    int64_t year = c.month <= 2 ? c.year - 1 : c.year;
    int64_t era = (year >= 0 ? year : year - 399) / 400;
    int64_t year_of_era = year - era * 400;
    int64_t month = (c.month + 9) % 12;
    int64_t day_of_year = (153 * month + 2) / 5 + c.day - 1;
    int64_t day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * DAYS_PER_ERA + day_of_era - 719468;
}

static struct civil civil_of_days(int64_t days)
{
    days += 719468;
    int64_t era = (days >= 0 ? days : days - (DAYS_PER_ERA - 1)) / DAYS_PER_ERA;
    int64_t day_of_era = days - era * DAYS_PER_ERA;
    int64_t year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    int64_t month = (5 * day_of_year + 2) / 153;
    struct civil c = { 0, (int)(month < 10 ? month + 3 : month - 9),
                       (int)(day_of_year - (153 * month + 2) / 5 + 1) };
    c.year = (int)(year_of_era + era * 400 + (c.month <= 2));
    return c;
}

static int days_in_month(int year, int month)
{
    static const int days[] = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return month == 2 && leap ? 29 : days[month - 1];
}

/* The years that four digits can write. */
static bool can_be_written(utc_t t)
{
    return t.ms >= INT64_C(-62167219200000) && t.ms < INT64_C(253402300800000);
}

const char *utc_format(utc_t t, char *buf, size_t cap)
{
    if (!can_be_written(t)) {
        if (cap > 0)
            buf[0] = '\0';
        return buf;
    }
    int64_t days = (t.ms >= 0 ? t.ms : t.ms - (MS_PER_DAY - 1)) / MS_PER_DAY;
    int64_t rest = t.ms - days * MS_PER_DAY;
    struct civil c = civil_of_days(days);
    snprintf(buf, cap, "%04d-%02d-%02dT%02d:%02d:%02d.%03dZ", c.year, c.month, c.day,
             (int)(rest / MS_PER_HOUR), (int)(rest / MS_PER_MIN % 60), (int)(rest / MS_PER_S % 60),
             (int)(rest % MS_PER_S));
    return buf;
}

struct cursor {
    const char *s;
    size_t n, at;
};

static char peek(const struct cursor *c)
{
    return c->at < c->n ? c->s[c->at] : '\0';
}

static bool take(struct cursor *c, const char *any_of)
{
    char have = peek(c);
    for (const char *p = any_of; have != '\0' && *p != '\0'; p++)
        if (*p == have) {
            c->at++;
            return true;
        }
    return false;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool take_number(struct cursor *c, int width, int lo, int hi, int *out)
{
    int v = 0;
    for (int i = 0; i < width; i++) {
        if (!is_digit(peek(c)))
            return false;
        v = v * 10 + (c->s[c->at++] - '0');
    }
    *out = v;
    return v >= lo && v <= hi;
}

static bool take_date(struct cursor *c, struct civil *date)
{
    return take_number(c, 4, 0, 9999, &date->year) && take(c, "-") &&
           take_number(c, 2, 1, 12, &date->month) && take(c, "-") &&
           take_number(c, 2, 1, days_in_month(date->year, date->month), &date->day);
}

/* Digits behind the third are cut, not rounded: the next second must not be reached. */
static bool take_fraction(struct cursor *c, int *ms)
{
    *ms = 0;
    if (!take(c, "."))
        return true;
    int weight = 100;
    size_t start = c->at;
    while (is_digit(peek(c))) {
        *ms += (c->s[c->at++] - '0') * weight;
        weight /= 10;
    }
    return c->at > start;
}

static bool take_clock(struct cursor *c, int64_t *ms)
{
    int hour, minute, second, fraction;
    if (!take_number(c, 2, 0, 23, &hour) || !take(c, ":") || !take_number(c, 2, 0, 59, &minute) ||
        !take(c, ":") || !take_number(c, 2, 0, 60, &second) || !take_fraction(c, &fraction))
        return false;
    if (second == 60) {
        second = 59;
        fraction = 999;
    }
    *ms = hour * MS_PER_HOUR + minute * MS_PER_MIN + second * MS_PER_S + fraction;
    return true;
}

/* "Z", "+01:00", "+0100", and "Z+0100": that Z is only a letter in the sender's format, the digits count. */
static bool take_offset(struct cursor *c, int64_t *ms, bool *zoned)
{
    *ms = 0;
    *zoned = take(c, "Zz");
    bool west = peek(c) == '-';
    if (!take(c, "+-"))
        return true;
    *zoned = true;
    int hour, minute;
    if (!take_number(c, 2, 0, 23, &hour))
        return false;
    (void)take(c, ":");
    if (!take_number(c, 2, 0, 59, &minute))
        return false;
    *ms = (hour * MS_PER_HOUR + minute * MS_PER_MIN) * (west ? -1 : 1);
    return true;
}

enum status utc_parse(const char *s, size_t n, utc_t *out, bool *zoned)
{
    struct cursor c = { s, n, 0 };
    struct civil date;
    int64_t clock_ms, offset_ms;
    bool named;
    if (!take_date(&c, &date) || !take(&c, "Tt ") || !take_clock(&c, &clock_ms) ||
        !take_offset(&c, &offset_ms, &named) || c.at != n)
        return STATUS_INVALID;
    *out = (utc_t){ days_of_civil(date) * MS_PER_DAY + clock_ms - offset_ms };
    *zoned = named;
    return STATUS_OK;
}

/* "2 h 40 min", or "2 h" when nothing is left over. */
static void write_span(char *buf, size_t cap, const char *sign, uint64_t amount, uint64_t per_big,
                       const char *big, const char *small)
{
    uint64_t whole = amount / per_big;
    uint64_t rest = amount % per_big;
    if (whole == 0)
        snprintf(buf, cap, "%s%" PRIu64 " %s", sign, rest, small);
    else if (rest == 0)
        snprintf(buf, cap, "%s%" PRIu64 " %s", sign, whole, big);
    else
        snprintf(buf, cap, "%s%" PRIu64 " %s %" PRIu64 " %s", sign, whole, big, rest, small);
}

static uint64_t in_units(uint64_t ms, int64_t unit_ms)
{
    return (ms + (uint64_t)unit_ms / 2) / (uint64_t)unit_ms;
}

const char *span_format(int64_t ms, char *buf, size_t cap)
{
    uint64_t span = ms < 0 ? -(uint64_t)ms : (uint64_t)ms;
    const char *sign = ms < 0 ? "-" : "";
    uint64_t seconds = in_units(span, MS_PER_S);
    uint64_t minutes = in_units(span, MS_PER_MIN);
    if (seconds == 0)
        sign = "";
    if (seconds < 60)
        write_span(buf, cap, sign, seconds, 60, "min", "s");
    else if (minutes < 24 * 60)
        write_span(buf, cap, sign, minutes, 60, "h", "min");
    else
        write_span(buf, cap, sign, in_units(span, MS_PER_HOUR), 24, "d", "h");
    return buf;
}
