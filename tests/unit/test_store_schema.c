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
static bool migrated_until(struct room *room, int writes)
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
            schema_open(room->path, new_steps, 3, &db, NULL) != STATUS_OK ||
            schema_migrate(db, room->path, new_steps, 3, NULL) != STATUS_OK)
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
        done = migrated_until(room, n);
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
 * or as a difference, before the year 2020 and settled already. */
static void recent_readings_come_along(void **state)
{
    static const char put[] =
        "INSERT INTO probe(id, name, place, quantity, unit, settled_ms) VALUES"
        " (1, 'probes/a1#/t', 'tank/a1', 'temp', '°C', 0), (2, 'probes/a1#/ec', 'tank/a1', 'ec', 'uS/cm', "
        "5000);"
        "INSERT INTO recent(t_ms, probe, raw, value, flag, tests, marks) VALUES"
        " (1772366400123, 1, 242500, NULL, 1, 0, 33), (1772366400123, 2, 413.0, 417.25, 3, -4096, 1),"
        " (1772366400124, 1, 85.0, NULL, 4, 571547921, 25), (1772366400125, 1, NULL, NULL, 9, 2449473809, 0),"
        " (1000, 1, 0.1, NULL, 2, -1, 35), (1001, 2, 7.0, NULL, 1, 0, 0);";
    static const char all[] =
        "SELECT group_concat(x, ';') FROM (SELECT probe || ' ' || t_ms || ' ' ||"
        " coalesce(raw, 'none') || ' ' || coalesce(value, 'none') || ' ' || flag || ' ' ||"
        " CASE WHEN tests > 0 THEN tests ELSE (571543825 | -tests) - (571543825 & -tests)"
        " END || ' ' || marks AS x FROM stored ORDER BY t_ms, probe)";
    struct room *room = *state;
    sqlite3_stmt *stmt;
    char before[800];
    struct sqlite3 *db = opened(room, schema_steps, schema_step_count);
    assert_int_equal(schema_migrate(db, room->path, schema_steps, 5, NULL), STATUS_OK);
    assert_int_equal(schema_run(db, put), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, all, -1, &stmt, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(stmt), SQLITE_ROW);
    snprintf(before, sizeof before, "%s", (const char *)sqlite3_column_text(stmt, 0));
    sqlite3_finalize(stmt);
    assert_non_null(
        strstr(before, "1 1772366400123 24.25 24.25 1 571543825 1;2 1772366400123 413.0 417.25 3"));
    assert_int_equal(schema_migrate(db, room->path, schema_steps, schema_step_count, NULL), STATUS_OK);
    assert_int_equal(sqlite3_prepare_v2(db, all, -1, &stmt, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(stmt), SQLITE_ROW);
    assert_string_equal((const char *)sqlite3_column_text(stmt, 0), before);
    sqlite3_finalize(stmt);
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
        cmocka_unit_test_setup_teardown(recent_readings_come_along, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(aside_names_never_collide, room_setup, room_teardown),
        cmocka_unit_test_setup_teardown(views_speak_to_people, room_setup, room_teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
