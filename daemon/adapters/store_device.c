#include "adapters/store_device.h"

#include <sqlite3.h>

#include "adapters/store_inside.h"

enum status store_put_device(struct store *store, int stream, const char *device, utc_t since)
{
    static const char sql[] = "INSERT OR REPLACE INTO device(id, since_ms, probe, device)"
                              " VALUES((SELECT id FROM device WHERE probe = ?2 AND since_ms = ?1),?1,?2,?3)";
    sqlite3_stmt *s = NULL;
    bool ok = store_begin(store, true) && sqlite3_prepare_v2(store->db, sql, -1, &s, NULL) == SQLITE_OK;
    if (ok) {
        sqlite3_bind_int64(s, 1, since.ms);
        sqlite3_bind_int64(s, 2, store_probe(store, stream));
        sqlite3_bind_text(s, 3, device, -1, SQLITE_STATIC);
        ok = store_step(s);
    }
    sqlite3_finalize(s);
    return store_end(store, ok) ? STATUS_OK : STATUS_IO;
}

enum status store_each_device(struct store *store,
                              void (*each)(void *context, int stream, const char *device, utc_t since),
                              void *context)
{
    sqlite3_stmt *s;
    int code;
    if (store->db == NULL ||
        sqlite3_prepare_v2(store->db, "SELECT probe, device, since_ms FROM device ORDER BY since_ms", -1, &s,
                           NULL) != SQLITE_OK)
        return STATUS_IO;
    while ((code = sqlite3_step(s)) == SQLITE_ROW)
        for (int i = 0; i < store->site->stream_count; i++)
            if (store->probe_id[i] == sqlite3_column_int64(s, 0))
                each(context, i, (const char *)sqlite3_column_text(s, 1),
                     (utc_t){ sqlite3_column_int64(s, 2) });
    sqlite3_finalize(s);
    return code == SQLITE_DONE ? STATUS_OK : STATUS_IO;
}
