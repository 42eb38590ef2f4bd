#include "show/style.h"

void style_put(struct text *out, bool coloured, enum style style)
{
    static const char *const codes[] = {
        [STYLE_PLAIN] = "\033[0m",    [STYLE_STRONG] = "\033[1m", [STYLE_FAINT] = "\033[2m",
        [STYLE_ALARM] = "\033[1;31m", [STYLE_WARN] = "\033[33m",  [STYLE_NOTE] = "\033[36m",
        [STYLE_WELL] = "\033[32m",
    };
    if (coloured)
        text_put(out, codes[style]);
}
