/* Inside of `lentic note`: what a keeper types, and the journal read back. */
#ifndef LENTIC_CLI_NOTE_H
#define LENTIC_CLI_NOTE_H

#include "adapters/store_journal.h"
#include "cli/options.h"
#include "model/journal.h"

#define NOTE_PLACES_MAX 128

/* What was typed: one entry, for each of the places. */
struct note_typed {
    struct journal_entry entry; /* place empty */
    int places[NOTE_PLACES_MAX];
    int place_count;
};

/* "a3 test gh=6 kh=3 kit=drops-1", "a1 a2 change 6L", "rack/b topoff 0.8L", "soft batch 60L epsom=4.5
 * ec=228", "a3 2 dead", "a3 fed 0.2g spinach". Words that are nothing else are text. Places may come as
 * "a1,a2"; a rack or circuit stands for its tanks. The kind may be left out where the rest tells it.
 * STATUS_INVALID with one sentence. */
enum status note_words(const struct site *site, const char *const *words, int count, struct note_typed *out,
                       struct why *why) LENTIC_CHECKED;

struct note_list_ask {
    const struct options *options; /* for messages */
    const struct site *site;
    struct store_reader *reader;
    const char *const *places; /* as typed; count 0: all */
    int place_count;
    utc_t from, to;
    bool also_void, json;
};

/* Each returns the exit code: 1 when nothing is there, 3 when the store cannot be read. */
int note_list(const struct note_list_ask *ask);
int note_batch(const struct note_list_ask *ask,
               int64_t id); /* the batch, its check, and what was made from it */

#endif
