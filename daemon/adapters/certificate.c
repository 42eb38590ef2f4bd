#include "adapters/certificate.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "adapters/files.h"

#define FILE_MAX    ((size_t)1 << 20)
#define DER_MAX     16384
#define TAG_INTEGER 0x02
#define TAG_UTC     0x17
#define TAG_TIME    0x18
#define TAG_LIST    0x30
#define TAG_VERSION 0xA0

struct der {
    const uint8_t *at, *end;
};

/* Takes the next element; its content in *inside. Tag -1: none, or longer than what holds it. */
static int take(struct der *d, struct der *inside)
{
    if (d->end - d->at < 2)
        return -1;
    int tag = *d->at++;
    size_t len = *d->at++;
    if (len & 0x80) {
        size_t octets = len & 0x7f;
        if (octets == 0 || octets > 3 || (size_t)(d->end - d->at) < octets)
            return -1;
        for (len = 0; octets > 0; octets--)
            len = len << 8 | *d->at++;
    }
    if (len > (size_t)(d->end - d->at))
        return -1;
    *inside = (struct der){ d->at, d->at + len };
    d->at += len;
    return tag;
}

/* YYMMDDHHMMSSZ (RFC 5280 4.1.2.5.1: 50 and above is of the last century) or YYYYMMDDHHMMSSZ. */
static utc_t time_of(int tag, struct der text)
{
    char digits[32], rfc[UTC_TEXT_MAX + 8];
    size_t n = (size_t)(text.end - text.at);
    bool zoned;
    utc_t t;
    if ((tag != TAG_UTC || n != 13) && (tag != TAG_TIME || n != 15))
        return UTC_NONE;
    snprintf(digits, sizeof digits, "%s%.*s",
             n == 15             ? ""
             : text.at[0] >= '5' ? "19"
                                 : "20",
             (int)n, (const char *)text.at);
    snprintf(rfc, sizeof rfc, "%.4s-%.2s-%.2sT%.2s:%.2s:%.2s%s", digits, digits + 4, digits + 6, digits + 8,
             digits + 10, digits + 12, digits + 14);
    return utc_parse(rfc, strlen(rfc), &t, &zoned) == STATUS_OK ? t : UTC_NONE;
}

utc_t certificate_der_ends(const uint8_t *der, size_t n)
{
    struct der all = { der, der + n }, certificate, fields, part, validity, begin, end;
    if (take(&all, &certificate) != TAG_LIST || take(&certificate, &fields) != TAG_LIST)
        return UTC_NONE;
    int tag = take(&fields, &part);
    if (tag == TAG_VERSION)
        tag = take(&fields, &part);
    if (tag != TAG_INTEGER || take(&fields, &part) != TAG_LIST || take(&fields, &part) != TAG_LIST ||
        take(&fields, &validity) != TAG_LIST || take(&validity, &begin) < 0)
        return UTC_NONE;
    tag = take(&validity, &end);
    return tag < 0 ? UTC_NONE : time_of(tag, end);
}

static int value_of(char c)
{
    static const char alphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    const char *at = c != '\0' ? strchr(alphabet, c) : NULL;
    return at != NULL ? (int)(at - alphabet) : -1;
}

static size_t decode_base64(const char *text, size_t n, uint8_t *out, size_t cap)
{
    uint32_t bits = 0;
    int have = 0;
    size_t len = 0;
    for (size_t i = 0; i < n; i++) {
        int v = value_of(text[i]);
        if (v < 0)
            continue;
        bits = bits << 6 | (uint32_t)v;
        have += 6;
        if (have < 8)
            continue;
        have -= 8;
        if (len == cap)
            return 0;
        out[len++] = (uint8_t)(bits >> have);
    }
    return len;
}

struct ends {
    utc_t earliest, latest;
};

static void note_end(struct ends *ends, utc_t t)
{
    if (!utc_is_set(t))
        return;
    if (!utc_is_set(ends->earliest) || t.ms < ends->earliest.ms)
        ends->earliest = t;
    if (!utc_is_set(ends->latest) || t.ms > ends->latest.ms)
        ends->latest = t;
}

static struct ends ends_of(const char *path)
{
    static const char begin[] = "-----BEGIN CERTIFICATE-----", end[] = "-----END CERTIFICATE-----";
    uint8_t der[DER_MAX];
    char *text = NULL;
    size_t n = 0;
    struct ends ends = { UTC_NONE, UTC_NONE };
    if (files_read(path, FILE_MAX, &text, &n, NULL) != STATUS_OK)
        return ends;
    for (char *at = text; (at = strstr(at, begin)) != NULL;) {
        at += sizeof begin - 1;
        char *stop = strstr(at, end);
        if (stop == NULL)
            break;
        note_end(&ends, certificate_der_ends(der, decode_base64(at, (size_t)(stop - at), der, sizeof der)));
        at = stop;
    }
    free(text);
    return ends;
}

utc_t certificate_ends(const char *path)
{
    return ends_of(path).earliest;
}

utc_t certificate_last_ends(const char *path)
{
    return ends_of(path).latest;
}
