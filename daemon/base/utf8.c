#include "base/utf8.h"

#include <stdbool.h>

size_t utf8_bytes(const char *from, size_t n)
{
    const unsigned char *s = (const unsigned char *)from;
    if (s[0] < 0x80)
        return 1;
    size_t want = s[0] >= 0xC2 && s[0] <= 0xDF   ? 2
                  : (s[0] & 0xF0) == 0xE0        ? 3
                  : s[0] >= 0xF0 && s[0] <= 0xF4 ? 4
                                                 : 0;
    if (want == 0 || n < want)
        return 0;
    for (size_t i = 1; i < want; i++)
        if ((s[i] & 0xC0) != 0x80)
            return 0;
    bool bad = (s[0] == 0xE0 && s[1] < 0xA0) || (s[0] == 0xED && s[1] > 0x9F) ||
               (s[0] == 0xF0 && s[1] < 0x90) || (s[0] == 0xF4 && s[1] > 0x8F);
    return bad ? 0 : want;
}
