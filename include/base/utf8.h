/* UTF-8 as RFC 3629 has it: shortest forms only, no surrogates, nothing beyond U+10FFFF. */
#ifndef LENTIC_BASE_UTF8_H
#define LENTIC_BASE_UTF8_H

#include <stddef.h>

/* Bytes of the character at s, 0 when there is none of n bytes or fewer. n > 0. */
size_t utf8_bytes(const char *s, size_t n);

#endif
