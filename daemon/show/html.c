#include "show/html.h"

#include <string.h>

#include "base/number.h"
#include "base/utf8.h"

static void put_byte(struct text *out, char c)
{
    static const char special[] = "&<>\"'";
    static const char *const entities[] = { "&amp;", "&lt;", "&gt;", "&quot;", "&#39;" };
    const char *found = c != '\0' ? strchr(special, c) : NULL;
    if (found != NULL)
        text_put(out, entities[found - special]);
    else
        text_put_n(out, (unsigned char)c < 0x20 || c == 0x7f ? " " : &c, 1);
}

void html_put(struct text *out, const char *s)
{
    size_t n = strlen(s);
    for (size_t at = 0; at < n;) {
        size_t bytes = utf8_bytes(s + at, n - at);
        if (bytes == 1)
            put_byte(out, s[at]);
        else if (bytes > 1)
            text_put_n(out, s + at, bytes);
        else
            text_put(out, "\xEF\xBF\xBD");
        at += bytes > 0 ? bytes : 1;
    }
}

void html_element(struct text *out, const char *tag, const char *of, const char *s)
{
    if (of != NULL)
        text_printf(out, "<%s class=\"%s\">", tag, of);
    else
        text_printf(out, "<%s>", tag);
    html_put(out, s);
    text_printf(out, "</%s>", tag);
}

void html_number(struct text *out, double v, int decimals)
{
    char number[64];
    text_put(out, number_format(number, sizeof number, v, decimals) > 0 ? number : "–");
}
