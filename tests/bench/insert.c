/* The floor: the same rows into SQLite and nothing else, a thousand to a transaction, one prepared statement.
 * usage: insert FILE COUNT PROBES FIRST_MS STEP_MS
 * FILE is made. Prints: seconds, processor seconds. */
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <time.h>

#define ROWS_TOGETHER 1000

static void fail(const char *sentence)
{
    fprintf(stderr, "insert: %s\n", sentence);
    exit(3);
}

static void run(sqlite3 *db, const char *sql)
{
    if (sqlite3_exec(db, sql, NULL, NULL, NULL) != SQLITE_OK)
        fail(sqlite3_errmsg(db));
}

static double wall_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static double cpu_s(void)
{
    struct rusage use;
    getrusage(RUSAGE_SELF, &use);
    return (double)(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
           (double)(use.ru_utime.tv_usec + use.ru_stime.tv_usec) / 1e6;
}

static void insert(sqlite3 *db, long count, long probes, long long first_ms, long long step_ms)
{
    sqlite3_stmt *s;
    if (sqlite3_prepare_v2(db, "INSERT INTO reading VALUES(?,?,?,?,?,?,?)", -1, &s, NULL) != SQLITE_OK)
        fail(sqlite3_errmsg(db));
    for (long i = 0; i < count; i++) {
        if (i % ROWS_TOGETHER == 0)
            run(db, "BEGIN");
        sqlite3_bind_int64(s, 1, first_ms + i / probes * step_ms);
        sqlite3_bind_int64(s, 2, i % probes);
        sqlite3_bind_double(s, 3, 22.0 + 0.01 * (double)(i / probes % 5));
        sqlite3_bind_null(s, 4);
        sqlite3_bind_int(s, 5, 1);
        sqlite3_bind_int(s, 6, 0);
        sqlite3_bind_int(s, 7, 0);
        if (sqlite3_step(s) != SQLITE_DONE)
            fail(sqlite3_errmsg(db));
        sqlite3_reset(s);
        if (i % ROWS_TOGETHER == ROWS_TOGETHER - 1 || i == count - 1)
            run(db, "COMMIT");
    }
    sqlite3_finalize(s);
}

int main(int argc, char **argv)
{
    sqlite3 *db;
    if (argc != 6 || atol(argv[2]) < 1 || atol(argv[3]) < 1)
        fail("usage: insert FILE COUNT PROBES FIRST_MS STEP_MS");
    if (sqlite3_open(argv[1], &db) != SQLITE_OK)
        fail("the file cannot be made");
    run(db, "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;"
            "CREATE TABLE reading(t_ms INTEGER, probe INTEGER, raw REAL, value REAL, flag INTEGER,"
            " tests INTEGER, marks INTEGER, PRIMARY KEY(t_ms, probe)) WITHOUT ROWID");
    double wall = wall_s(), cpu = cpu_s();
    insert(db, atol(argv[2]), atol(argv[3]), atoll(argv[4]), atoll(argv[5]));
    printf("seconds %.3f cpu_s %.3f\n", wall_s() - wall, cpu_s() - cpu);
    sqlite3_close(db);
    return 0;
}
