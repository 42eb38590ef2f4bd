/* Text of others into a page of HTML: what people named, wrote or configured can never become markup. */
#ifndef LENTIC_SHOW_HTML_H
#define LENTIC_SHOW_HTML_H

#include "base/text.h"

/* For text and for attributes in double quotes alike: & < > " ' are written as entities; control characters
 * become blanks, bytes that are not UTF-8 U+FFFD. */
void html_put(struct text *out, const char *s);

/* <tag>text</tag>, or <tag class="of">text</tag>; of NULL: no class. tag and of are ours, text is escaped. */
void html_element(struct text *out, const char *tag, const char *of, const char *s);

/* The number with its decimals; an en dash when it is not finite. */
void html_number(struct text *out, double v, int decimals);

#endif
