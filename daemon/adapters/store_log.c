#include "adapters/store_log.h"

#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#define CACHE_SMALL "PRAGMA cache_size=-64; PRAGMA synchronous=NORMAL; PRAGMA busy_timeout=0"

struct store_log {
    char path[512], log[520];
    sqlite3 *db; /* of the thread alone */
    pthread_t thread;
    pthread_mutex_t lock, writer;
    pthread_cond_t changed;
    uint64_t asked, reached;
    bool carry_over, stopping;
    bool fresh; /* below writer */
};

/* Locks of the store are on the store and its -shm: opening and closing the log touches none of them. */
static bool sync_log(const struct store_log *sync)
{
    int fd = open(sync->log, O_RDWR | O_CLOEXEC);
    bool done = fd >= 0 && fdatasync(fd) == 0;
    if (fd >= 0)
        close(fd);
    return done;
}

static bool open_own(struct store_log *sync)
{
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX;
    if (sync->db != NULL)
        return true;
    if (sqlite3_open_v2(sync->path, &sync->db, flags, NULL) == SQLITE_OK &&
        sqlite3_exec(sync->db, CACHE_SMALL, NULL, NULL, NULL) == SQLITE_OK)
        return true;
    sqlite3_close(sync->db);
    sync->db = NULL;
    return false;
}

/* SQLite syncs a restarted log's new head, so that it cannot stand before pages of the old log. Cut to
 * nothing and synced, there are none, and the writer need not wait for that sync. Most of the log is carried
 * over beforehand, while others go on writing: meanwhile they may restart the log by themselves, and sync it.
 */
static void carry_over(struct store_log *sync)
{
    bool cut = false;
    pthread_mutex_lock(&sync->writer);
    sync->fresh = false;
    pthread_mutex_unlock(&sync->writer);
    if (!open_own(sync) ||
        sqlite3_wal_checkpoint_v2(sync->db, NULL, SQLITE_CHECKPOINT_PASSIVE, NULL, NULL) != SQLITE_OK)
        return; /* the next commit asks again */
    pthread_mutex_lock(&sync->writer);
    cut = sqlite3_wal_checkpoint_v2(sync->db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL) == SQLITE_OK &&
          sync_log(sync);
    sync->fresh = cut;
    pthread_mutex_unlock(&sync->writer);
}

/* Below lock. */
static void rest(struct store_log *sync)
{
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec++;
    (void)pthread_cond_timedwait(&sync->changed, &sync->lock, &until);
}

static void *run(void *context)
{
    struct store_log *sync = context;
    pthread_mutex_lock(&sync->lock);
    while (!sync->stopping || sync->reached < sync->asked) {
        uint64_t asked = sync->asked;
        bool carry = sync->carry_over && !sync->stopping;
        if (asked == sync->reached && !carry) {
            pthread_cond_wait(&sync->changed, &sync->lock);
            continue;
        }
        bool late = asked != sync->reached;
        pthread_mutex_unlock(&sync->lock);
        bool done = !late || sync_log(sync);
        if (carry)
            carry_over(sync);
        pthread_mutex_lock(&sync->lock);
        if (!done)
            rest(sync); /* then it is tried again */
        if (done || sync->stopping)
            sync->reached = asked;
        sync->carry_over = sync->carry_over && !carry;
        pthread_cond_broadcast(&sync->changed);
    }
    pthread_mutex_unlock(&sync->lock);
    return NULL;
}

/* Signals are for the main thread. */
static bool start_thread(struct store_log *sync)
{
    sigset_t all, before;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    bool started = pthread_create(&sync->thread, NULL, run, sync) == 0;
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return started;
}

/* A step of the wall clock must not make it rest for years. */
static void init_changed(struct store_log *sync)
{
    pthread_condattr_t attr;
    pthread_condattr_init(&attr);
    pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
    pthread_cond_init(&sync->changed, &attr);
    pthread_condattr_destroy(&attr);
}

struct store_log *store_log_start(const char *path)
{
    struct store_log *sync = calloc(1, sizeof *sync);
    if (sync == NULL)
        return NULL;
    (void)snprintf(sync->path, sizeof sync->path, "%s", path);
    (void)snprintf(sync->log, sizeof sync->log, "%s-wal", path);
    pthread_mutex_init(&sync->lock, NULL);
    pthread_mutex_init(&sync->writer, NULL);
    init_changed(sync);
    if (start_thread(sync))
        return sync;
    free(sync);
    return NULL;
}

void store_log_stop(struct store_log *sync)
{
    if (sync == NULL)
        return;
    pthread_mutex_lock(&sync->lock);
    sync->stopping = true;
    pthread_cond_broadcast(&sync->changed);
    pthread_mutex_unlock(&sync->lock);
    pthread_join(sync->thread, NULL);
    sqlite3_close(sync->db);
    pthread_cond_destroy(&sync->changed);
    pthread_mutex_destroy(&sync->writer);
    pthread_mutex_destroy(&sync->lock);
    free(sync);
}

uint64_t store_log_ask(struct store_log *sync)
{
    pthread_mutex_lock(&sync->lock);
    uint64_t ticket = ++sync->asked;
    pthread_cond_broadcast(&sync->changed);
    pthread_mutex_unlock(&sync->lock);
    return ticket;
}

bool store_log_reached(struct store_log *sync, uint64_t ticket)
{
    pthread_mutex_lock(&sync->lock);
    bool yes = sync->reached >= ticket;
    pthread_mutex_unlock(&sync->lock);
    return yes;
}

void store_log_wait(struct store_log *sync, uint64_t ticket)
{
    pthread_mutex_lock(&sync->lock);
    while (sync->reached < ticket)
        pthread_cond_wait(&sync->changed, &sync->lock);
    pthread_mutex_unlock(&sync->lock);
}

void store_log_carry_over(struct store_log *sync)
{
    pthread_mutex_lock(&sync->lock);
    sync->carry_over = true;
    pthread_cond_broadcast(&sync->changed);
    pthread_mutex_unlock(&sync->lock);
}

bool store_log_try(struct store_log *sync, bool *fresh)
{
    if (pthread_mutex_trylock(&sync->writer) != 0)
        return false;
    *fresh = sync->fresh;
    return true;
}

void store_log_enter(struct store_log *sync, bool *fresh)
{
    pthread_mutex_lock(&sync->writer);
    *fresh = sync->fresh;
}

void store_log_leave(struct store_log *sync)
{
    pthread_mutex_unlock(&sync->writer);
}
