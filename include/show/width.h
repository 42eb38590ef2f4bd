/* Terminal columns of UTF-8 text: combining marks take none, wide letters two. */
#ifndef LENTIC_SHOW_WIDTH_H
#define LENTIC_SHOW_WIDTH_H

#include <stdbool.h>
#include "base/text.h"

int width_of(const char *s);

/* Exactly `columns` columns: padded with blanks (in front when right), cut with an ellipsis when too long.
 * Control characters and bytes that are not UTF-8 become "?": text of others must not drive the terminal. */
void width_put(struct text *out, const char *s, int columns, bool right);

/* The same cleaning without padding or cutting. */
void width_put_clean(struct text *out, const char *s);

/* Words in lines of at most `columns` columns, each behind `indent` blanks, ended by a line feed. The first
 * line is taken to be begun already, `used` columns of it being filled. */
void width_wrap(struct text *out, const char *s, int columns, int indent, int used);

#endif
