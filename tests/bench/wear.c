/* How many bytes a reading costs the disk: the store alone, 200 probes, 10 readings a second of simulated
 * time, commits, settling, rollups, deletes and checkpoints included. The kernel's count (/proc/self/io) is
 * taken with dirty pages written back every 30 s of simulated time, as it does by itself. FOLDER must be on
 * the disk that counts (not tmpfs); the store in it is made and stays. As many days of raw readings are kept
 * as were there before, so that one goes for each that comes, as in a store of years; fewer than a day's
 * rows: none goes.
 *
 *   bench_wear FOLDER [ROWS BEFORE (1000000)] [HOURS (24)] [COMMIT_S (60)]
 */
#include <fcntl.h>
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#include "adapters/store.h"

#define TANKS         40
#define PROBES        (TANKS * 5)
#define PER_S         10
#define WRITTEN_BACK  (30 * PER_S)
#define T0            INT64_C(1772323200000) /* 2026-03-01T00:00:00Z */
#define TESTS_SETTLED 0x22111111u
#define TESTS_OPEN    0x22112111u /* the spike verdict waits for the next reading */

/* Where the bytes go: blocks that the log and the store make dirty between two write-backs, seen in place of
 * the C library by SQLite, and for the log by what the store was doing. The kernel writes whole blocks. */
#define BLOCK       4096
#define BLOCKS_MOST (1 << 20)

enum part { PART_COMMITS, PART_TENDING, PART_STATE, PART_STORE, PART_COUNT };

static struct {
    pthread_mutex_t lock;
    enum part doing; /* of the main thread, which alone writes to the log */
    uint8_t dirty[2][BLOCKS_MOST];
    long long blocks[PART_COUNT];
} parts = { .lock = PTHREAD_MUTEX_INITIALIZER };

/* 0 the log, 1 the store, -1 another file */
static int kind_of(int fd)
{
    char link[64], path[512];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, sizeof path - 1);
    path[n > 0 ? n : 0] = 0;
    return n > 4 && strcmp(path + n - 4, "-wal") == 0  ? 0
           : n > 3 && strcmp(path + n - 3, ".db") == 0 ? 1
                                                       : -1;
}

ssize_t pwrite64(int fd, const void *bytes, size_t n, off_t at)
{
    int kind = kind_of(fd);
    pthread_mutex_lock(&parts.lock);
    for (off_t block = at / BLOCK; kind >= 0 && block <= (at + (off_t)n - 1) / BLOCK; block++)
        if (block < BLOCKS_MOST && parts.dirty[kind][block] == 0) {
            parts.dirty[kind][block] = 1;
            parts.blocks[kind == 0 ? parts.doing : PART_STORE]++;
        }
    pthread_mutex_unlock(&parts.lock);
    return syscall(SYS_pwrite64, fd, bytes, n, at);
}

ssize_t pwrite(int fd, const void *bytes, size_t n, off_t at)
{
    return pwrite64(fd, bytes, n, at);
}

int fdatasync(int fd)
{
    int kind = kind_of(fd);
    pthread_mutex_lock(&parts.lock);
    if (kind >= 0)
        memset(parts.dirty[kind], 0, BLOCKS_MOST);
    pthread_mutex_unlock(&parts.lock);
    return (int)syscall(SYS_fdatasync, fd);
}

struct room {
    struct site site;
    struct place places[TANKS];
    struct stream streams[PROBES];
    struct probe_entry entry;
    struct probe_value values[5];
    char ids[TANKS][16], places_text[TANKS][24], names[PROBES][24], path[400];
};

static void room_make(struct room *room, const char *folder, double commit_s, long before)
{
    static const enum quantity kinds[5] = { Q_TEMP, Q_EC, Q_PH, Q_LEVEL, Q_DO };
    for (int i = 0; i < TANKS; i++) {
        snprintf(room->ids[i], sizeof room->ids[i], "t%d", i);
        snprintf(room->places_text[i], sizeof room->places_text[i], "tank/t%d", i);
        room->places[i] = (struct place){ PLACE_TANK, room->ids[i], room->places_text[i], "x", i };
    }
    for (int i = 0; i < PROBES; i++) {
        snprintf(room->names[i], sizeof room->names[i], "probes/t%d#/%d", i / 5, i % 5);
        room->streams[i] = (struct stream){ 0, i % 5, i / 5, kinds[i % 5], room->names[i], -1, -1 };
    }
    snprintf(room->path, sizeof room->path, "%s/wear.db", folder);
    room->entry.values = room->values;
    room->entry.value_count = 5;
    room->site.places = room->places;
    room->site.place_count = TANKS;
    room->site.entries = &room->entry;
    room->site.entry_count = 1;
    room->site.streams = room->streams;
    room->site.stream_count = PROBES;
    long days = before / (PER_S * 86400L);
    room->site.store = (struct store_settings){
        .path = room->path, .commit_s = commit_s, .commit_rows = 1000, .keep_raw_days = (int)days
    };
}

static double sent(long n)
{
    switch (n % 5) {
    case 0: /* a sensor in steps of 1/16 degree */
        return 24 + round(sin((double)n / 50000) * 16) / 16;
    case 1:
        return (double)(400 + (n * 7919) % 9);
    case 2:
        return 6.5 + (double)((n * 31) % 11) / 100;
    case 3:
        return 200 + (double)((n * 13) % 40) / 10;
    default:
        return 8.1 + (double)((n * 17) % 5) / 10;
    }
}

static struct reading reading_of(long n, verdict_t tests)
{
    struct reading r = { .stream = (int)(n % PROBES),
                         .t = { T0 + n * (1000 / PER_S) },
                         .sent = sent(n),
                         .tests = tests,
                         .flag = FLAG_GOOD,
                         .basis = TIME_RECEIVED };
    r.value = n % 5 == 2 ? r.sent * 1.01 : r.sent; /* one of five is calibrated */
    return r;
}

static void put(struct store *store, long n)
{
    struct reading r = reading_of(n, TESTS_OPEN);
    store_put_reading(store, &r);
    if (n < PROBES)
        return;
    r = reading_of(n - PROBES, TESTS_SETTLED);
    r.revised = true;
    store_put_reading(store, &r);
}

static void write_back(const char *path)
{
    static const char *const suffix[] = { "", "-wal", "-shm" };
    for (int i = 0; i < 3; i++) {
        char file[420];
        snprintf(file, sizeof file, "%s%s", path, suffix[i]);
        int fd = open(file, O_RDWR | O_CLOEXEC);
        if (fd >= 0) {
            (void)fdatasync(fd);
            close(fd);
        }
    }
}

static long long written(void)
{
    long long bytes = 0;
    char line[128];
    FILE *f = fopen("/proc/self/io", "r");
    while (f != NULL && fgets(line, sizeof line, f) != NULL)
        if (sscanf(line, "write_bytes: %lld", &bytes) == 1)
            break;
    if (f != NULL)
        fclose(f);
    return bytes;
}

static double ms_since(const struct timespec *from)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - from->tv_sec) * 1e3 + (double)(now.tv_nsec - from->tv_nsec) / 1e6;
}

/* The longest piece of work, in ms; below 0 when the store failed. */
static double second_passes(struct store *store, long n)
{
    struct now now = { { T0 + n * (1000 / PER_S) }, { 1000 + n * (1000 / PER_S) }, true };
    uint64_t safe;
    double worst = 0;
    struct timespec from;
    bool more = true;
    parts.doing = PART_COMMITS;
    clock_gettime(CLOCK_MONOTONIC, &from);
    while (store_commit(store, (uint64_t)n, now, false, &safe) != STATUS_OK) {
        if (store_counts(store).failing)
            return -1;
        nanosleep(&(struct timespec){ .tv_nsec = 1000000 }, NULL); /* the log is being cut; time stands */
        now.mono.ms += 20;
    }
    parts.doing = PART_TENDING;
    while (more) {
        worst = fmax(worst, ms_since(&from));
        clock_gettime(CLOCK_MONOTONIC, &from);
        more = store_tend(store, now);
    }
    return fmax(worst, ms_since(&from));
}

/* The engine's state, which the service keeps in the store: of 200 probes and 40 tanks the whole is 5.2 MB
 * once all windows are full (three weeks of readings, the last two days every five minutes at least), the
 * daily one without those of two days 3.1 MB, without the probes 0.35 MB; here one with news every three
 * hours. */
#define DAILY_BYTES (31 * 100000)
#define BRIEF_BYTES (350 * 1000)
#define STATE_OF_64 18 /* bytes that do not shrink: deflated like a real one of three weeks, to 0.30 */

static bool keep(struct store *store, const char *name, size_t n)
{
    static uint8_t bytes[DAILY_BYTES];
    static uint64_t chance = 88172645463325252u;
    for (size_t i = 0; i < n; i++) {
        chance ^= chance << 13;
        chance ^= chance >> 7;
        chance ^= chance << 17;
        bytes[i] = i % 64 < STATE_OF_64 ? (uint8_t)chance : 0;
    }
    parts.doing = PART_STATE;
    return store_save_state(store, name, bytes, n) == STATUS_OK;
}

static void print_parts(double bytes, double readings)
{
    double of[PART_COUNT], rest = bytes;
    for (int i = 0; i < PART_COUNT; i++) {
        of[i] = (double)parts.blocks[i] * BLOCK / readings;
        rest -= of[i];
    }
    printf(
        "of these: log %.0f (commits %.0f, settling, rollups and deletes %.0f, kept state %.0f), store %.0f, "
        "the -shm file %.0f\n",
        of[PART_COMMITS] + of[PART_TENDING] + of[PART_STATE], of[PART_COMMITS], of[PART_TENDING],
        of[PART_STATE], of[PART_STORE], rest);
}

static int run(struct store *store, const char *path, long before, long measured)
{
    long long start = 0;
    double worst = 0;
    clock_t cpu = 0;
    for (long n = 0; n < before + measured; n++) {
        if (n == before) {
            write_back(path);
            start = written();
            memset(parts.blocks, 0, sizeof parts.blocks);
            cpu = clock();
            worst = 0;
        }
        put(store, n);
        double ms = n % PER_S == PER_S - 1 ? second_passes(store, n) : 0;
        if (ms < 0) {
            fprintf(stderr, "bench_wear: %s\n", store_counts(store).reason);
            return 1;
        }
        worst = fmax(worst, ms);
        if (n >= before && n % WRITTEN_BACK == WRITTEN_BACK - 1)
            write_back(path);
        if (n % (PER_S * 86400L) == 0 && !keep(store, "daily", DAILY_BYTES))
            return 1;
        if (n % (PER_S * 3 * 3600L) == 0 && !keep(store, "brief", BRIEF_BYTES))
            return 1;
    }
    write_back(path);
    double bytes = (double)(written() - start) / (double)measured;
    struct store_counts counts = store_counts(store);
    printf(
        "%ld readings into %ld rows: %.0f bytes per reading, longest piece %.0f ms, %.2f CPU s per 100,000, "
        "store %.1f MB, log %.1f MB\n",
        measured, before, bytes, worst, (double)(clock() - cpu) / CLOCKS_PER_SEC * 1e5 / (double)measured,
        (double)counts.file_bytes / 1e6, (double)counts.wal_bytes / 1e6);
    print_parts(bytes, (double)measured);
    return 0;
}

int main(int argc, char **argv)
{
    static struct room room;
    struct store *store;
    struct why why;
    long before = argc > 2 ? atol(argv[2]) : 1000000;
    long hours = argc > 3 ? atol(argv[3]) : 24;
    double commit_s = argc > 4 ? atof(argv[4]) : 60;
    if (argc < 2 || before < 0 || hours < 1 || !(commit_s > 0)) {
        fputs("usage: bench_wear FOLDER [ROWS_BEFORE [HOURS [COMMIT_S]]]\n", stderr);
        return 2;
    }
    room_make(&room, argv[1], commit_s, before);
    if (access(room.path, F_OK) == 0) {
        fprintf(stderr, "bench_wear: %s is there already\n", room.path);
        return 2;
    }
    if (store_open(&room.site, &store, &why) != STATUS_OK) {
        fprintf(stderr, "bench_wear: %s\n", why.text);
        store_close(store);
        return 1;
    }
    int code = run(store, room.path, before, hours * 3600 * PER_S);
    store_close(store);
    return code;
}
