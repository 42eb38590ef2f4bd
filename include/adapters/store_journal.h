/* The journal in the store: entries and their figures. Nothing is deleted: what was corrected names its
 * successor, what was withdrawn keeps who, when and why. */
#ifndef LENTIC_ADAPTERS_STORE_JOURNAL_H
#define LENTIC_ADAPTERS_STORE_JOURNAL_H

#include "adapters/store.h"
#include "adapters/store_query.h"

/* For the daemon. What still waits to be committed counts as well. */
enum status store_journal_find(struct store *store, int64_t id,
                               struct journal_entry *out) LENTIC_CHECKED; /* STATUS_NONE, STATUS_IO */
int64_t store_journal_last(struct store *store);                          /* highest number; 0: none */
enum status store_each_journal(struct store *store, utc_t from, enum journal_kind kind,
                               void (*each)(void *context, const struct journal_entry *e),
                               void *context) LENTIC_CHECKED;

/* For the command line, oldest first. Empty text, 0 and JOURNAL_KIND_COUNT: any. */
struct journal_query {
    const char *place; /* NULL: any */
    const char *water; /* NULL: any */
    enum journal_kind kind;
    int64_t id, batch; /* one entry; entries made from that batch */
    utc_t from, to;    /* by when it happened, [from, to) */
    bool also_void;    /* also what was corrected or withdrawn */
};
#define JOURNAL_QUERY_ALL                                                                                    \
    ((struct journal_query){ .kind = JOURNAL_KIND_COUNT, .from = { 0 }, .to = UTC_CEIL })
enum status store_reader_journal(struct store_reader *reader, const struct journal_query *query,
                                 void (*each)(void *context, const struct journal_entry *e),
                                 void *context) LENTIC_CHECKED;

#endif
