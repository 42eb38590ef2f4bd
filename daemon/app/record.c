/* The journal in the store, as the pump asks for it. */
#include "app/daemon.h"

#include <string.h>

#include "adapters/log.h"
#include "adapters/store_journal.h"

#define RECALL_MS (366 * MS_PER_DAY) /* of hand tests: older ones are history only */

static enum status find(void *context, int64_t id, struct journal_entry *out)
{
    struct daemon *d = context;
    return store_journal_find(d->store, id, out);
}

struct search {
    const char *water;
    utc_t at, best;
    int64_t id;
};

static void look_at_batch(void *context, const struct journal_entry *e)
{
    struct search *s = context;
    if (!journal_counts(e) || strcmp(e->water, s->water) != 0 || e->at.ms > s->at.ms || e->at.ms < s->best.ms)
        return;
    s->best = e->at;
    s->id = e->id;
}

static int64_t latest_batch(void *context, const char *water, utc_t at)
{
    struct daemon *d = context;
    struct search s = { .water = water, .at = at, .best = { at.ms - NOTEBOOK_BATCH_MS } };
    if (store_each_journal(d->store, s.best, JOURNAL_BATCH, look_at_batch, &s) != STATUS_OK)
        log_change(LOG_AT_WARNING, "journal",
                   "the journal cannot be read: a change is not tied to its batch");
    return s.id;
}

static void each(void *context, enum journal_kind kind, utc_t from,
                 void (*one)(void *context, const struct journal_entry *e), void *one_context)
{
    struct daemon *d = context;
    if (store_each_journal(d->store, from, kind, one, one_context) != STATUS_OK)
        log_change(LOG_AT_WARNING, "journal",
                   "the journal cannot be read: learnt figures and the plan may lack entries");
}

/* Records that the store has already are run again after a restart: the engine gives them the numbers they
 * had. */
static int64_t last(void *context)
{
    struct daemon *d = context;
    return d->seq < d->safe ? 0 : store_journal_last(d->store);
}

struct notebook_source daemon_journal(struct daemon *d)
{
    return (struct notebook_source){ d, find, latest_batch, each, last };
}

static void recall(void *context, const struct journal_entry *e)
{
    struct daemon *d = context;
    engine_recall(d->pump.engine, e);
}

void daemon_recall_journal(struct daemon *d)
{
    utc_t from = { d->now.utc.ms - RECALL_MS };
    if (store_each_journal(d->store, from, JOURNAL_TEST, recall, d) != STATUS_OK)
        log_say(LOG_AT_WARNING,
                "the journal could not be read from the store; hand tests count as far as the "
                "state held them");
}
