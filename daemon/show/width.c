#include "show/width.h"

#include <stdint.h>
#include <string.h>

struct letter {
    uint32_t code; /* 0: not UTF-8 or a control character */
    int bytes;
    int columns;
};

static int bytes_of(unsigned char c)
{
    if (c < 0x80)
        return 1;
    if (c >= 0xC2 && c < 0xE0)
        return 2;
    if (c >= 0xE0 && c < 0xF0)
        return 3;
    return c >= 0xF0 && c < 0xF5 ? 4 : 0;
}

static int columns_of(uint32_t c)
{
    if ((c >= 0x300 && c <= 0x36F) || (c >= 0x200B && c <= 0x200F) || (c >= 0xFE00 && c <= 0xFE0F))
        return 0;
    bool wide = (c >= 0x1100 && c <= 0x115F) || (c >= 0x2E80 && c <= 0xA4CF) ||
                (c >= 0xAC00 && c <= 0xD7A3) || (c >= 0xF900 && c <= 0xFAFF) ||
                (c >= 0xFE30 && c <= 0xFE6F) || (c >= 0xFF00 && c <= 0xFF60) ||
                (c >= 0x1F300 && c <= 0x1FAFF);
    return wide ? 2 : 1;
}

static struct letter letter_at(const char *s)
{
    static const unsigned char mask[] = { 0, 0x7F, 0x1F, 0x0F, 0x07 };
    const struct letter bad = { 0, 1, 1 };
    int n = bytes_of((unsigned char)*s);
    if (n == 0)
        return bad;
    uint32_t code = (unsigned char)*s & mask[n];
    for (int i = 1; i < n; i++) {
        if (((unsigned char)s[i] & 0xC0) != 0x80)
            return bad;
        code = code << 6 | ((unsigned char)s[i] & 0x3F);
    }
    /* C1 controls and the marks that turn the direction of writing are controls as well. */
    if (code < 0x20 || (code >= 0x7F && code < 0xA0) || (code >= 0x202A && code <= 0x202E) ||
        (code >= 0x2066 && code <= 0x2069))
        return (struct letter){ 0, n, 1 };
    return (struct letter){ code, n, columns_of(code) };
}

int width_of(const char *s)
{
    int columns = 0;
    while (*s != 0) {
        struct letter l = letter_at(s);
        columns += l.columns;
        s += l.bytes;
    }
    return columns;
}

static void put_letter(struct text *out, const char *s, struct letter l)
{
    if (l.code == 0)
        text_put(out, "?");
    else
        text_put_n(out, s, (size_t)l.bytes);
}

void width_put_clean(struct text *out, const char *s)
{
    while (*s != 0) {
        struct letter l = letter_at(s);
        put_letter(out, s, l);
        s += l.bytes;
    }
}

static void blanks(struct text *out, int n)
{
    for (; n > 0; n--)
        text_put(out, " ");
}

void width_put(struct text *out, const char *s, int columns, bool right)
{
    int have = width_of(s), used = 0;
    bool cut = have > columns;
    if (columns <= 0)
        return;
    if (right && !cut)
        blanks(out, columns - have);
    while (*s != 0) {
        struct letter l = letter_at(s);
        if (cut && used + l.columns > columns - 1)
            break;
        put_letter(out, s, l);
        used += l.columns;
        s += l.bytes;
    }
    if (cut) {
        text_put(out, "…");
        used++;
    }
    if (!right || cut)
        blanks(out, columns - used);
}

void width_wrap(struct text *out, const char *s, int columns, int indent, int used)
{
    bool begun = false; /* a word stands on this line */
    while (*s != 0) {
        char word[512];
        size_t n = strcspn(s, " ");
        size_t kept = n < sizeof word ? n : sizeof word - 1;
        memcpy(word, s, kept);
        word[kept] = 0;
        s += n;
        s += strspn(s, " ");
        int width = width_of(word);
        if (begun && used + 1 + width > columns) {
            text_put(out, "\n");
            blanks(out, indent);
            used = indent;
            begun = false;
        }
        if (begun)
            text_put(out, " ");
        used += width + (begun ? 1 : 0);
        width_put_clean(out, word);
        begun = true;
    }
    text_put(out, "\n");
}
