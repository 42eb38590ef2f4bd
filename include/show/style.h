/* Colours of the terminal: always on top of words, never instead of them. */
#ifndef LENTIC_SHOW_STYLE_H
#define LENTIC_SHOW_STYLE_H

#include <stdbool.h>
#include "base/text.h"

enum style { STYLE_PLAIN, STYLE_STRONG, STYLE_FAINT, STYLE_ALARM, STYLE_WARN, STYLE_NOTE, STYLE_WELL };

/* Writes nothing when not coloured. STYLE_PLAIN ends what was begun. */
void style_put(struct text *out, bool coloured, enum style style);

#endif
