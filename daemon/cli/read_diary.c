#include "cli/read_diary.h"

#include "adapters/store_journal.h"

static void take_entry(void *context, const struct journal_entry *e)
{
    diary_take(context, e);
}

bool read_diary(const struct site *site, struct diary *diary)
{
    struct store_reader *reader = NULL;
    struct journal_query query = JOURNAL_QUERY_ALL;
    bool read = site->store.path != NULL && store_reader_open(site->store.path, &reader, NULL) == STATUS_OK;
    for (int i = 0; i < DIARY_KINDS && read; i++) {
        query.kind = diary_kind(i);
        query.from = diary_from(diary, query.kind);
        read = store_reader_journal(reader, &query, take_entry, diary) == STATUS_OK;
    }
    if (reader != NULL)
        store_reader_close(reader);
    return read;
}
