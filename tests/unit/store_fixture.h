/* A small room and a folder of its own for tests of the store. */
#ifndef TEST_STORE_FIXTURE_H
#define TEST_STORE_FIXTURE_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <dirent.h>
#include <sys/stat.h>
#include <unistd.h>
#include <cmocka.h>

#include "adapters/store.h"

#define T0 INT64_C(1772366400000) /* 2026-03-01T12:00:00Z */

struct room {
    struct site site;
    struct place places[2];
    struct tank tanks[1];
    struct probe_entry entries[1];
    struct probe_value values[2];
    struct stream streams[2];
    struct alert_slot alerts[2];
    char dir[64], path[96];
};

static inline struct now at(int64_t s)
{
    return (struct now){ { T0 + s * 1000 }, { 5000000 + s * 1000 }, true };
}

static void room_make(struct room *room)
{
    memset(room, 0, sizeof *room);
    strcpy(room->dir, "/tmp/lentic-store-XXXXXX");
    assert_non_null(mkdtemp(room->dir));
    snprintf(room->path, sizeof room->path, "%s/store.db", room->dir);
    room->places[0] = (struct place){ PLACE_TANK, "a1", "tank/a1", "A1", 0 };
    room->places[1] = (struct place){ PLACE_ROOM, "room", "room", "room", -1 };
    room->values[0] = (struct probe_value){ .quantity = Q_TEMP };
    room->values[1] = (struct probe_value){ .quantity = Q_EC };
    room->entries[0] = (struct probe_entry){ .values = room->values, .value_count = 2 };
    room->streams[0] = (struct stream){ 0, 0, 0, Q_TEMP, "probes/a1#/t", -1, -1 };
    room->streams[1] = (struct stream){ 0, 1, 0, Q_EC, "probes/a1#/ec", -1, 0 };
    for (int i = 0; i < 2; i++)
        room->alerts[i].settings.priority = PRIORITY_HIGH;
    room->alerts[0].kind = KIND_LOW;
    room->alerts[0].quantity = Q_TEMP;
    room->alerts[0].name = "temp-low";
    room->alerts[0].ref = "tank/a1/temp-low";
    room->alerts[1].kind = KIND_HEATER_DEAD;
    room->alerts[1].quantity = Q_COUNT;
    room->alerts[1].name = "heater-dead";
    room->alerts[1].ref = "tank/a1/heater-dead";
    room->site.places = room->places;
    room->site.place_count = 2;
    room->site.tanks = room->tanks;
    room->site.tank_count = 1;
    room->site.entries = room->entries;
    room->site.entry_count = 1;
    room->site.streams = room->streams;
    room->site.stream_count = 2;
    room->site.alerts = room->alerts;
    room->site.alert_count = 2;
    room->site.store = (struct store_settings){
        .path = room->path, .commit_s = 30, .commit_rows = 1000, .keep_raw_days = 90
    };
}

static void room_remove(struct room *room)
{
    DIR *dir = opendir(room->dir);
    struct dirent *entry;
    chmod(room->dir, 0700);
    while (dir != NULL && (entry = readdir(dir)) != NULL) {
        char path[400];
        snprintf(path, sizeof path, "%s/%s", room->dir, entry->d_name);
        unlink(path);
    }
    closedir(dir);
    rmdir(room->dir);
}

/* For tests that want nothing but the room: *state is it. */
static inline int room_setup(void **state)
{
    struct room *room = malloc(sizeof *room);
    assert_non_null(room);
    room_make(room);
    *state = room;
    return 0;
}

static inline int room_teardown(void **state)
{
    room_remove(*state);
    free(*state);
    return 0;
}

static inline struct reading reading_at(int stream, int64_t s, double value)
{
    return (struct reading){ .stream = stream,
                             .t = { T0 + s * 1000 },
                             .sent = value,
                             .value = value,
                             .tests = 0x111111,
                             .flag = FLAG_GOOD,
                             .basis = TIME_RECEIVED };
}

static inline struct store *store_made(struct room *room)
{
    struct store *store;
    struct why why;
    assert_int_equal(store_open(&room->site, &store, &why), STATUS_OK);
    assert_string_equal(why.text, "");
    return store;
}

static inline void nap(void)
{
    nanosleep(&(struct timespec){ .tv_nsec = 2000000 }, NULL);
}

/* Waits while the log is being cut. */
static inline uint64_t committed(struct store *store, uint64_t seq, int64_t s)
{
    struct now now = at(s);
    uint64_t safe;
    for (int i = 0; store_commit(store, seq, now, true, &safe) != STATUS_OK; i++, now.mono.ms += 20) {
        assert_true(i < 5000 && !store_counts(store).failing);
        nap();
    }
    return safe;
}

/* All that can wait is done; also when the log was cut meanwhile, for which a piece does not wait. */
static inline int tended(struct store *store, int64_t s)
{
    uint64_t seq = store_inbox_position(store);
    int pieces = 0, before = -1;
    while (pieces != before) {
        before = pieces;
        while (store_tend(store, at(s)))
            pieces++;
        committed(store, seq + 1, s); /* waits until the log is cut */
        committed(store, seq, s);
    }
    return pieces;
}

/* Held and committed at once. */
static inline enum status put_now(struct store *store, utc_t t)
{
    uint64_t safe;
    return store_commit(store, store_inbox_position(store), at((t.ms - T0) / 1000), true, &safe);
}

static inline enum status store_put_alert(struct store *store, const struct alert *a,
                                          enum alert_change change, utc_t t, bool announce)
{
    store_hold_alert(store, a, change, t, announce);
    return put_now(store, t);
}

static inline enum status store_put_journal(struct store *store, const struct journal_entry *e, utc_t t)
{
    store_hold_journal(store, e, t);
    return put_now(store, t);
}

#endif
