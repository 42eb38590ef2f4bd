/* Versions: copied first, all or nothing, newer ones and strangers refused. */
#include "store_fixture.h"

#include <signal.h>
#include <sqlite3.h>
#include <sys/wait.h>
#include <unistd.h>

#include "adapters/store_schema.h"

static const struct schema_step old_steps[] = { { 1, "CREATE TABLE a(x); INSERT INTO a VALUES(7)" } };
static const struct schema_step new_steps[] = {
    { 1, "CREATE TABLE a(x)" },
    { 2, "ALTER TABLE a ADD COLUMN y" },
    { 99, "UPDATE a SET y = x + 1" },
};
static const struct schema_step bad_steps[] = {
    { 1, "CREATE TABLE a(x)" },
    { 2, "ALTER TABLE a ADD COLUMN y" },
    { 3, "UPDATE nowhere SET y = 1" },
};

static struct sqlite3 *opened(struct room *room, const struct schema_step *steps, int count)
{
    struct sqlite3 *db;
    struct why why;
    assert_int_equal(schema_open(room->path, steps, count, &db, &why), STATUS_OK);
    return db;
}

static void made_old(struct room *room)
{
    struct sqlite3 *db = opened(room, old_steps, 1);
    assert_int_equal(schema_migrate(db, room->path, old_steps, 1, NULL), STATUS_OK);
    sqlite3_close(db);
}

static void steps_climb_after_a_copy(void **state)
{
    struct room *room = *state;
    char copy[128];
    made_old(room);
    snprintf(copy, sizeof copy, "%s.before-v2", room->path);
    struct sqlite3 *db = opened(room, new_steps, 3);
    assert_int_equal(schema_migrate(db, room->path, new_steps, 3, NULL), STATUS_OK);
    assert_int_equal(schema_number(db, "SELECT y FROM a", -1), 8);
    assert_int_equal(schema_number(db, "PRAGMA user_version", -1), 99);
    sqlite3_close(db);
    assert_int_equal(sqlite3_open(copy, &db), SQLITE_OK);
    assert_int_equal(schema_number(db, "PRAGMA user_version", -1), 1);
    assert_int_equal(schema_number(db, "SELECT x FROM a", -1), 7);
    sqlite3_close(db);
}

static void a_failing_step_leaves_the_old_whole(void **state)
{
    struct room *room = *state;
    struct why why;
    made_old(room);
    struct sqlite3 *db = opened(room, bad_steps, 3);
    assert_int_not_equal(schema_migrate(db, room->path, bad_steps, 3, &why), STATUS_OK);
    assert_int_equal(schema_number(db, "PRAGMA user_version", -1), 1);
    assert_int_equal(schema_number(db, "SELECT count(*) FROM pragma_table_info('a')", -1), 1);
    sqlite3_close(db);
    db = opened(room, new_steps, 3);
    assert_int_equal(schema_migrate(db, room->path, new_steps, 3, &why), STATUS_OK);
    sqlite3_close(db);
}

static void without_a_copy_nothing_is_changed(void **state)
{
    struct room *room = *state;
    struct why why;
    char part[128], file[160];
    made_old(room);
    snprintf(part, sizeof part, "%s.before-v2.part", room->path);
    snprintf(file, sizeof file, "%s/in-the-way", part);
    assert_int_equal(mkdir(part, 0700), 0);
    assert_int_equal(mkdir(file, 0700), 0);
    struct sqlite3 *db = opened(room, new_steps, 3);
    assert_int_equal(schema_migrate(db, room->path, new_steps, 3, &why), STATUS_IO);
    assert_non_null(strstr(why.text, "nothing was changed"));
    assert_int_equal(schema_number(db, "PRAGMA user_version", -1), 1);
    sqlite3_close(db);
    rmdir(file);
    rmdir(part);
}

/* Between SQLite and the file: dies before the n-th thing that is written, cut, synced or deleted. */
static int writes_left;
static const sqlite3_io_methods *true_methods;
static sqlite3_vfs *true_vfs;

static void count_down(void)
{
    if (--writes_left < 0)
        raise(SIGKILL);
}

static int dying_write(sqlite3_file *file, const void *bytes, int n, sqlite3_int64 at)
{
    count_down();
    return true_methods->xWrite(file, bytes, n, at);
}

static int dying_truncate(sqlite3_file *file, sqlite3_int64 size)
{
    count_down();
    return true_methods->xTruncate(file, size);
}

static int dying_sync(sqlite3_file *file, int flags)
{
    count_down();
    return true_methods->xSync(file, flags);
}

static int dying_delete(sqlite3_vfs *vfs, const char *name, int sync_folder)
{
    (void)vfs;
    count_down();
    return true_vfs->xDelete(true_vfs, name, sync_folder);
}

/* The main file and its logs differ in how they are locked, not in how they are written. */
static int dying_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *file, int flags, int *out)
{
    static sqlite3_io_methods dying[2];
    (void)vfs;
    int code = true_vfs->xOpen(true_vfs, name, file, flags, out);
    if (file->pMethods == NULL)
        return code;
    sqlite3_io_methods *mine = &dying[(flags & SQLITE_OPEN_MAIN_DB) != 0];
    true_methods = file->pMethods;
    *mine = *true_methods;
    mine->xWrite = dying_write;
    mine->xTruncate = dying_truncate;
    mine->xSync = dying_sync;
    file->pMethods = mine;
    return code;
}

/* A process that brings the store to its new version and dies in it. True: it came to the end. */
static bool migrated_until(struct room *room, const struct schema_step *steps, int count, int writes)
{
    int status;
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        static sqlite3_vfs vfs;
        struct sqlite3 *db;
        true_vfs = sqlite3_vfs_find(NULL);
        vfs = *true_vfs;
        vfs.zName = "dying";
        vfs.xOpen = dying_open;
        vfs.xDelete = dying_delete;
        writes_left = writes;
        if (sqlite3_vfs_register(&vfs, 1) != SQLITE_OK ||
            schema_open(room->path, steps, count, &db, NULL) != STATUS_OK ||
            schema_migrate(db, room->path, steps, count, NULL) != STATUS_OK)
            _exit(1);
        _exit(0);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status) || WEXITSTATUS(status) == 0);
    return !WIFSIGNALED(status);
}

static void killed_at_any_write_the_store_is_old_or_new(void **state)
{
    struct room *room = *state;
    char copy[128];
    int n = 0, whole = 0;
    snprintf(copy, sizeof copy, "%s.before-v2", room->path);
    for (bool done = false; !done; n++) {
        assert_true(n < 200);
        made_old(room);
        done = migrated_until(room, new_steps, 3, n);
        struct sqlite3 *db = opened(room, new_steps, 3);
        int64_t version = schema_number(db, "PRAGMA user_version", -1);
        assert_true(version == 1 || version == 99);
        whole += version == 99;
        assert_int_equal(schema_migrate(db, room->path, new_steps, 3, NULL), STATUS_OK);
        assert_int_equal(schema_number(db, "SELECT y FROM a", -1), 8);
        assert_int_equal(schema_number(db, "SELECT count(*) FROM a", -1), 1);
        sqlite3_close(db);
        assert_int_equal(sqlite3_open(copy, &db), SQLITE_OK);
        assert_int_equal(schema_number(db, "SELECT x FROM a", -1), 7);
        sqlite3_close(db);
        room_remove(room);
        room_make(room);
        snprintf(copy, sizeof copy, "%s.before-v2", room->path);
    }
    assert_true(n > 10 && whole > 0 && whole < n);
    print_message("killed at %d places, %d of them after the commit\n", n - 1, whole - 1);
}

static void newer_and_foreign_files_are_refused(void **state)
{
    struct room *room = *state;
    struct why why;
    struct sqlite3 *db = opened(room, new_steps, 3);
    assert_int_equal(schema_migrate(db, room->path, new_steps, 3, NULL), STATUS_OK);
    assert_int_equal(schema_run(db, "PRAGMA user_version=99"), SQLITE_OK);
    sqlite3_close(db);
    assert_int_equal(schema_open(room->path, old_steps, 1, &db, &why), STATUS_REFUSED);
    assert_null(db);
    assert_non_null(strstr(why.text, "version 99"));
    struct store *store;
    assert_int_equal(store_open(&room->site, &store, &why), STATUS_REFUSED);
    assert_null(store);
    unlink(room->path);
    assert_int_equal(sqlite3_open(room->path, &db), SQLITE_OK);
    assert_int_equal(schema_run(db, "CREATE TABLE t(x)"), SQLITE_OK);
    sqlite3_close(db);
    assert_int_equal(schema_open(room->path, old_steps, 1, &db, &why), STATUS_REFUSED);
    assert_non_null(strstr(why.text, "another program"));
    /* Not touched: still without a log of its own. */
    assert_int_equal(sqlite3_open(room->path, &db), SQLITE_OK);
    assert_int_equal(
        schema_number(db, "SELECT count(*) FROM pragma_journal_mode WHERE journal_mode = 'wal'", -1), 0);
    sqlite3_close(db);
}

static void a_new_file_is_laid_out_for_small_writes(void **state)
{
    struct room *room = *state;
    struct sqlite3 *db = opened(room, schema_steps, schema_step_count);
    assert_int_equal(schema_migrate(db, room->path, schema_steps, schema_step_count, NULL), STATUS_OK);
    assert_int_equal(schema_number(db, "PRAGMA auto_vacuum", -1), 2);
    assert_int_equal(
        schema_number(db, "SELECT count(*) FROM pragma_journal_mode WHERE journal_mode = 'wal'", -1), 1);
    assert_int_equal(schema_check(db, room->path, false, NULL), STATUS_OK);
    static const char *const views[] = { "readings",      "quarter_hours", "days", "alerts_now",
                                         "alert_history", "events",        "notes" };
    for (size_t i = 0; i < sizeof views / sizeof *views; i++) {
        char sql[64];
        snprintf(sql, sizeof sql, "SELECT count(*) FROM %s", views[i]);
        assert_int_equal(schema_number(db, sql, -1), 0);
    }
    sqlite3_close(db);
}

static void aside_names_never_collide(void **state)
{
    struct room *room = *state;
    char aside[160], expected[160];
    for (int i = 1; i <= 2; i++) {
        FILE *f = fopen(room->path, "w");
        assert_non_null(f);
        fclose(f);
        assert_int_equal(schema_set_aside(room->path, "damaged", aside, sizeof aside, NULL), STATUS_OK);
        snprintf(expected, sizeof expected, "%s.damaged-%d", room->path, i);
        assert_string_equal(aside, expected);
    }
    assert_int_equal(schema_set_aside(room->path, "damaged", aside, sizeof aside, NULL), STATUS_IO);
}

static void views_speak_to_people(void **state)
{
    struct room *room = *state;
    struct store *store = store_made(room);
    struct reading r = reading_at(0, 0, 24.25);
    store_put_reading(store, &r);
    committed(store, 1, 1);
    struct sqlite3 *db = opened(room, schema_steps, schema_step_count);
    assert_int_equal(
        schema_number(db,
                      "SELECT count(*) FROM readings WHERE time = '2026-03-01T12:00:00.000Z' AND"
                      " place = 'tank/a1' AND quantity = 'temp' AND value = 24.25 AND unit = '°C'"
                      " AND quality = 'good' AND probe = 'probes/a1#/t'",
                      -1),
        1);
    sqlite3_close(db);
    store_close(store);
}

/* Rows as versions 1 to 5 wrote them: with a value of its own, unknown, scaled or not, verdicts as they are
 * or as a difference, recent and settled, decades and stretches apart, and one that is in both tables,
 * because it was about to move. */
static const char rows_of_version_5[] =
    "INSERT INTO probe(id, name, place, quantity, unit, settled_ms, purged_ms) VALUES"
    " (1, 'probes/a1#/t', 'tank/a1', 'temp', '°C', 0, 0),"
    " (2, 'probes/a1#/ec', 'tank/a1', 'ec', 'uS/cm', 5000, 4000);"
    "INSERT INTO recent(t_ms, probe, raw, value, flag, tests, marks) VALUES"
    " (1772366400123, 1, 242500, NULL, 1, 0, 33), (1772366400123, 2, 413.0, 417.25, 3, -4096, 1),"
    " (1772366400124, 1, 85.0, NULL, 4, 571547921, 25), (1772366400125, 1, NULL, NULL, 9, 2449473809, 0),"
    " (1000, 1, 0.1, NULL, 2, -1, 35), (1001, 2, 7.0, NULL, 1, 0, 0);"
    "INSERT INTO reading(probe, t_ms, raw, value, flag, tests, marks) VALUES"
    " (1, -62000000000000, 1.5, NULL, 1, 0, 1), (2, 1001, 7.0, NULL, 1, 0, 0), (2, 4999, 7.5, 8.5, 1, 0, 1),"
    " (2, 5000, 8.0, NULL, 3, -4096, 41), (1, 1577836799999, 2.0, NULL, 1, 0, 1),"
    " (1, 1577836800000, 242500, NULL, 1, 0, 33), (2, 1577836800000, 413.0, NULL, 4, 571547921, 17),"
    " (1, 1577837848575, NULL, NULL, 9, 2449473809, 0), (1, 1577837848576, 3.0, NULL, 1, 0, 1),"
    " (1, 1772366000000, 4.0, NULL, 1, 0, 8);";

static void said(struct sqlite3 *db, const char *sql, char *buf, size_t cap)
{
    sqlite3_stmt *stmt;
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &stmt, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(stmt), SQLITE_ROW);
    snprintf(buf, cap, "%s", (const char *)sqlite3_column_text(stmt, 0));
    sqlite3_finalize(stmt);
}

/* What the view tells, with verdicts as they are, for they are stored differently from version to version. */
static void all_stored(struct sqlite3 *db, char *buf, size_t cap)
{
    said(db,
         "SELECT group_concat(x, ';') FROM (SELECT probe || ' ' || t_ms || ' ' ||"
         " coalesce(raw, 'none') || ' ' || coalesce(value, 'none') || ' ' || flag || ' ' ||"
         " CASE WHEN tests > 0 THEN tests ELSE (571543825 | -tests) - (571543825 & -tests)"
         " END || ' ' || marks AS x FROM stored ORDER BY t_ms, probe)",
         buf, cap);
}

/* version: 5, or what became of it in 6 */
static void made_of_version(int version, struct room *room, char *stored, size_t cap)
{
    struct sqlite3 *db = opened(room, schema_steps, schema_step_count);
    assert_int_equal(schema_migrate(db, room->path, schema_steps, 5, NULL), STATUS_OK);
    assert_int_equal(schema_run(db, rows_of_version_5), SQLITE_OK);
    all_stored(db, stored, cap);
    assert_int_equal(schema_migrate(db, room->path, schema_steps, version, NULL), STATUS_OK);
    sqlite3_close(db);
}

static void readings_come_along_from(int version, struct room *room)
{
    char before[1600], after[1600];
    made_of_version(version, room, before, sizeof before);
    assert_non_null(
        strstr(before, "1 1772366400123 24.25 24.25 1 571543825 1;2 1772366400123 413.0 417.25 3"));
    assert_non_null(strstr(before, "1 -62000000000000 1.5 1.5 1"));
    struct sqlite3 *db = opened(room, schema_steps, schema_step_count);
    assert_int_equal(schema_migrate(db, room->path, schema_steps, schema_step_count, NULL), STATUS_OK);
    all_stored(db, after, sizeof after);
    assert_string_equal(after, before);
    said(db,
         "SELECT group_concat(probe || ' ' || t_ms, ';') FROM (SELECT * FROM reading ORDER BY key LIMIT 3)",
         after, sizeof after);
    assert_string_equal(after, "1 -62000000000000;2 1001;2 4999");
    assert_int_equal(schema_number(db, "SELECT count(*) FROM reading", -1), 10);
    assert_int_equal(schema_number(db, "SELECT rolled_ms FROM probe WHERE id = 2", -1), 5000);
    assert_int_equal(schema_number(db, "SELECT value FROM meta WHERE name = 'purged_ms'", -1), 4000);
    assert_int_equal(schema_number(db, "SELECT count(*) FROM readings", -1), 15);
    assert_int_equal(schema_check(db, room->path, true, NULL), STATUS_OK);
    sqlite3_close(db);
    struct store *store = store_made(room);
    struct reading late = reading_at(1, 0, 1), twice = reading_at(1, 0, 9);
    late.t.ms = 4998;
    twice.t.ms = 4999; /* is there */
    store_put_reading(store, &late);
    store_put_reading(store, &twice);
    committed(store, 1, 1);
    assert_int_equal(store_counts(store).stored, 1);
    store_close(store);
}

static void readings_come_along(void **state)
{
    readings_come_along_from(5, *state);
    room_remove(*state);
    room_make(*state);
    readings_come_along_from(6, *state);
}

static void killed_on_the_way_from_version_5_nothing_is_lost(void **state)
{
    struct room *room = *state;
    char before[1600], after[1600];
    int n = 0, whole = 0, times = 0;
    for (bool done = false; !done; n += 3, times++) {
        assert_true(n < 3000);
        made_of_version(5, room, before, sizeof before);
        done = migrated_until(room, schema_steps, schema_step_count, n);
        struct sqlite3 *db = opened(room, schema_steps, schema_step_count);
        int64_t version = schema_number(db, "PRAGMA user_version", -1);
        assert_true(version == 5 || version == schema_steps[schema_step_count - 1].version);
        whole += version != 5;
        all_stored(db, after, sizeof after);
        assert_string_equal(after, before);
        assert_int_equal(schema_migrate(db, room->path, schema_steps, schema_step_count, NULL), STATUS_OK);
        all_stored(db, after, sizeof after);
        assert_string_equal(after, before);
        sqlite3_close(db);
        room_remove(room);
        room_make(room);
    }
    assert_true(whole > 0 && whole < times);
    print_message("killed at %d places, up to write %d\n", times - 1, n);
}

/* Damage that is found while the file is still of an older version: salvaged in its own layout, then brought
 * up, so that no reading is lost that can be read. */
static void damage_before_the_upgrade_costs_only_what_is_damaged(void **state)
{
    struct room *room = *state;
    struct store *store;
    struct why why;
    char before[1600], after[1600];
    made_of_version(5, room, before, sizeof before);
    struct sqlite3 *db = opened(room, schema_steps, schema_step_count);
    assert_int_equal(schema_run(db, "PRAGMA wal_checkpoint(TRUNCATE)"), SQLITE_OK);
    int64_t page = schema_number(db, "SELECT rootpage FROM sqlite_master WHERE name = 'event'", 0);
    sqlite3_close(db);
    FILE *f = fopen(room->path, "r+");
    assert_non_null(f);
    assert_int_equal(fseek(f, (long)(page - 1) * 2048, SEEK_SET), 0);
    for (int i = 0; i < 2048; i++)
        fputc(0xA5, f);
    fclose(f);
    assert_int_equal(store_open(&room->site, &store, &why), STATUS_OK);
    assert_non_null(strstr(why.text, "damaged-1"));
    store_close(store);
    db = opened(room, schema_steps, schema_step_count);
    assert_int_equal(schema_number(db, "PRAGMA user_version", -1),
                     schema_steps[schema_step_count - 1].version);
    all_stored(db, after, sizeof after);
    assert_string_equal(after, before);
    assert_int_equal(schema_check(db, room->path, true, NULL), STATUS_OK);
    sqlite3_close(db);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(steps_climb_after_a_copy, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(a_failing_step_leaves_the_old_whole, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(without_a_copy_nothing_is_changed, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(killed_at_any_write_the_store_is_old_or_new, room_setup,
                                        room_teardown),
        cmocka_unit_test_setup_teardown(newer_and_foreign_files_are_refused, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(a_new_file_is_laid_out_for_small_writes, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(readings_come_along, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(killed_on_the_way_from_version_5_nothing_is_lost, room_setup,
                                        room_teardown),
        cmocka_unit_test_setup_teardown(damage_before_the_upgrade_costs_only_what_is_damaged, room_setup,
                                        room_teardown),
        cmocka_unit_test_setup_teardown(aside_names_never_collide, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(views_speak_to_people, room_setup, room_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
