/* The journal as the pump needs it: the entry that a correction or a withdrawal names, the batch a change was
 * made from. The daemon asks the store; where there is none (replay, tests) the pump remembers its own. */
#ifndef LENTIC_APP_NOTEBOOK_H
#define LENTIC_APP_NOTEBOOK_H

#include "model/command.h"
#include "model/site.h"

#define NOTEBOOK_BATCH_MS (14 * MS_PER_DAY) /* a mixed water is used up or stale by then */

struct notebook_source {
    void *context;
    /* STATUS_NONE: no such entry. STATUS_IO: cannot be read now. */
    enum status (*find)(void *context, int64_t id, struct journal_entry *out);
    /* The last batch of that water that counts, mixed in (at - NOTEBOOK_BATCH_MS, at]; 0: none. */
    int64_t (*latest_batch)(void *context, const char *water, utc_t at);
    /* All entries of that kind since then, oldest first, also those that count no longer. */
    void (*each)(void *context, enum journal_kind kind, utc_t from,
                 void (*one)(void *context, const struct journal_entry *e), void *one_context);
    /* The highest number given so far. */
    int64_t (*last)(void *context);
};

/* In memory. */
struct notebook {
    struct journal_entry *items;
    size_t count, cap;
};
void notebook_fini(struct notebook *book);
void notebook_add(struct notebook *book, const struct journal_entry *e); /* when memory is short: forgotten */
struct notebook_source notebook_source_of(struct notebook *book);

/* The number of the next entry, at least least. */
int64_t notebook_number(const struct notebook_source *source, int64_t least);

/* Makes the numbered note of a command whole: the old entry's part of a correction, the batch. now: of the
 * message. STATUS_REFUSED or STATUS_INVALID with one sentence. */
enum status notebook_join(const struct notebook_source *source, const struct site *site, struct command *c,
                          utc_t now, struct why *why) LENTIC_CHECKED;

#endif
