#include "base/status.h"

#include <stdio.h>
#include <string.h>

#undef why_say

/* Steps back to the start of the UTF-8 character that contains byte at, so that a cut never halves one. */
static size_t character_start(const char *s, size_t at)
{
    while (at > 0 && ((unsigned char)s[at] & 0xC0) == 0x80)
        at--;
    return at;
}

enum status why_say(struct why *why, enum status st, const char *format, ...)
{
    if (why == NULL)
        return st;
    va_list args;
    va_start(args, format);
    int n = vsnprintf(why->text, sizeof why->text, format, args);
    va_end(args);
    if (n < 0)
        why->text[0] = '\0';
    else if ((size_t)n >= sizeof why->text)
        strcpy(why->text + character_start(why->text, sizeof why->text - sizeof "..."), "...");
    return st;
}
