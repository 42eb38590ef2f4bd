/* State blobs by name. A large one is deflated: it is written twice, to the log and to the store, and the
 * engine's takes a quarter then. */
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "adapters/store_inside.h"

#define DEFLATED_FROM 4096                /* bytes */
#define DEFLATED_MOST (UINT64_C(1) << 30) /* more no state is: untrusted input must not ask for it */

static const char magic[8] = "\xff"
                             "DEFLT1";

struct head {
    char magic[8];
    uint64_t length; /* inflated */
};

/* NULL: it is stored as it is. The caller frees. */
static uint8_t *deflated(const void *bytes, size_t n, size_t *out_n)
{
    uLongf room = compressBound((uLong)n);
    uint8_t *out = n >= DEFLATED_FROM && n <= DEFLATED_MOST ? malloc(sizeof(struct head) + room) : NULL;
    struct head head = { .length = n };
    if (out == NULL)
        return NULL;
    memcpy(head.magic, magic, sizeof magic);
    memcpy(out, &head, sizeof head);
    /* The main thread waits for it: the quickest level. */
    if (compress2(out + sizeof head, &room, bytes, (uLong)n, Z_BEST_SPEED) == Z_OK) {
        *out_n = sizeof head + room;
        return out;
    }
    free(out);
    return NULL;
}

/* What was stored; NULL when there is no memory, or it is damaged. */
static uint8_t *inflated(const uint8_t *bytes, size_t n, size_t *out_n)
{
    struct head head = { .length = 0 };
    bool is_deflated = n > sizeof head && memcmp(bytes, magic, sizeof magic) == 0;
    if (is_deflated)
        memcpy(&head, bytes, sizeof head);
    uLongf length = (uLongf)(is_deflated ? head.length : n);
    uint8_t *out = length > 0 && length <= DEFLATED_MOST ? malloc(length) : NULL;
    if (out != NULL && !is_deflated)
        memcpy(out, bytes, n);
    if (out != NULL && is_deflated &&
        (uncompress(out, &length, bytes + sizeof head, (uLong)(n - sizeof head)) != Z_OK ||
         length != head.length)) {
        free(out);
        return NULL;
    }
    *out_n = length;
    return out;
}

enum status store_save_state(struct store *store, const char *name, const void *bytes, size_t n)
{
    sqlite3_stmt *stmt = NULL;
    size_t packed_n = n;
    uint8_t *packed = deflated(bytes, n, &packed_n);
    const void *row = packed != NULL ? packed : bytes;
    bool ok = store_begin(store, false) &&
              sqlite3_prepare_v2(store->db, "INSERT OR REPLACE INTO state VALUES(?,?)", -1, &stmt, NULL) ==
                  SQLITE_OK;
    if (ok) {
        sqlite3_bind_text(stmt, 1, name, -1, SQLITE_STATIC);
        sqlite3_bind_blob64(stmt, 2, packed_n > 0 ? row : "", packed_n, SQLITE_STATIC);
        ok = store_step(stmt);
    }
    sqlite3_finalize(stmt);
    free(packed);
    return store_end(store, ok) ? STATUS_OK : STATUS_IO;
}

size_t store_load_state(struct store *store, const char *name, uint8_t **out)
{
    sqlite3_stmt *stmt;
    size_t n = 0;
    *out = NULL;
    if (store->db == NULL ||
        sqlite3_prepare_v2(store->db, "SELECT bytes FROM state WHERE name = ?", -1, &stmt, NULL) != SQLITE_OK)
        return 0;
    sqlite3_bind_text(stmt, 1, name, -1, SQLITE_STATIC);
    if (sqlite3_step(stmt) == SQLITE_ROW) {
        const uint8_t *bytes = sqlite3_column_blob(stmt, 0);
        size_t stored = (size_t)sqlite3_column_bytes(stmt, 0);
        *out = stored > 0 ? inflated(bytes, stored, &n) : NULL;
    }
    sqlite3_finalize(stmt);
    return *out != NULL ? n : 0;
}
