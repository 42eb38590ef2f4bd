/* Statuses and the sentence that goes with one.
 *
 * Errors are three kinds: a bug (assert), bad data (a stored and counted verdict, never a status) and the
 * environment or a refused request (a status, which the caller must check). */
#ifndef LENTIC_BASE_STATUS_H
#define LENTIC_BASE_STATUS_H

#include <stdarg.h>

enum status {
    STATUS_OK = 0,
    STATUS_REFUSED, /* the request cannot be met as asked; the sentence says why and what is nearest */
    STATUS_INVALID, /* the input is not of the right form or out of its valid range */
    STATUS_FULL,    /* no room left in a bounded thing */
    STATUS_NONE,    /* nothing there */
    STATUS_IO,      /* the environment failed; retrying may help */
};

/* Must be checked by the caller. */
#define LENTIC_CHECKED __attribute__((warn_unused_result))

/* One sentence for a person: what, where, what to do. Always terminated; cut with "..." when too long. */
struct why {
    char text[640];
};

/* Writes the sentence (printf rules) and returns st, so that `return why_say(why, STATUS_INVALID, ...)` reads
 * as one step. why may be NULL. */
enum status why_say(struct why *why, enum status st, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#ifdef __clang_analyzer__ /* sees one file at a time: here it learns which status comes back */
#define why_say(why, st, ...) ((why_say)(why, st, __VA_ARGS__), (st))
#endif

#endif
