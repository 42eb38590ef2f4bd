/* A site, an engine, a store in a folder of its own and a notify command that writes what it gets into a
 * file. */
#ifndef LENTIC_TESTS_COURIER_RIG_H
#define LENTIC_TESTS_COURIER_RIG_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <dirent.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "adapters/clock.h"
#include "app/courier.h"
#include "engine_tank.h"

#define NOON INT64_C(1772366400000) /* 2026-03-01T12:00:00Z, a Sunday */

struct courier_rig {
    struct engine_tank room;
    struct pump pump;
    struct store *store;
    struct courier courier;
    struct now now;
    char dir[64], db[96], out[96], script[320];
    const char *command[4];
};

static inline void rig_on_effect(void *context, const struct effect *e)
{
    courier_effect(&((struct courier_rig *)context)->courier, e);
}

static inline void rig_script(struct courier_rig *r, const char *script)
{
    snprintf(r->script, sizeof r->script, script, r->out);
}

static inline void rig_boot(struct courier_rig *r)
{
    struct why why = { "" };
    struct pump_sinks sinks = { .context = r, .effect = rig_on_effect };
    assert_int_equal(store_open(&r->room.site, &r->store, &why), STATUS_OK);
    pump_init(&r->pump, &r->room.site, &sinks, r->now);
    courier_init(&r->courier, &r->room.site, r->store, r->now);
}

static inline void rig_shut(struct courier_rig *r)
{
    courier_fini(&r->courier);
    pump_fini(&r->pump);
    store_close(r->store);
}

static inline void rig_make(struct courier_rig *r)
{
    memset(r, 0, sizeof *r);
    clock_set_timezone("UTC");
    strcpy(r->dir, "/tmp/lentic-courier-XXXXXX");
    assert_non_null(mkdtemp(r->dir));
    snprintf(r->db, sizeof r->db, "%s/store.db", r->dir);
    snprintf(r->out, sizeof r->out, "%s/out", r->dir);
    rig_script(r, "cat >> %s");
    engine_tank_init(&r->room);
    r->room.site.entry_count = 0;
    r->room.site.store = (struct store_settings){ .path = r->db, .commit_s = 30, .commit_rows = 1000 };
    r->command[0] = "/bin/sh";
    r->command[1] = "-c";
    r->command[2] = r->script;
    r->room.site.notify = (struct notify_settings){ .command = r->command,
                                                    .command_timeout_s = 10,
                                                    .quiet_from_min = -1,
                                                    .quiet_to_min = -1,
                                                    .summary_min = -1 };
    site_derive_streams(&r->room.site);
    site_derive_alerts(&r->room.site);
    r->now = (struct now){ { NOON }, { 1000 }, true };
}

static inline void rig_remove(struct courier_rig *r)
{
    DIR *dir = opendir(r->dir);
    char path[400];
    for (struct dirent *f = dir != NULL ? readdir(dir) : NULL; f != NULL; f = readdir(dir)) {
        snprintf(path, sizeof path, "%s/%s", r->dir, f->d_name);
        unlink(path);
    }
    closedir(dir);
    rmdir(r->dir);
    site_fini(&r->room.site);
}

/* The courier does what is due now, and what that leads to. */
static inline void rig_settle(struct courier_rig *r)
{
    for (int i = 0; i < 200; i++) {
        courier_advance(&r->courier, &r->pump, r->now);
        struct pollfd fd = { .fd = courier_fd(&r->courier), .events = POLLIN };
        if (r->courier.carrying)
            poll(&fd, 1, 5000);
        else if (r->courier.next_look.ms > r->now.mono.ms)
            break;
    }
    assert_false(r->courier.carrying);
}

static inline void rig_wait(struct courier_rig *r, int64_t ms)
{
    r->now.utc.ms += ms;
    r->now.mono.ms += ms;
    pump_advance(&r->pump, r->now);
    rig_settle(r);
}

/* What people got since the last look. */
static inline const char *rig_got(struct courier_rig *r)
{
    static char text[65536];
    FILE *f = fopen(r->out, "r");
    size_t n = f == NULL ? 0 : fread(text, 1, sizeof text - 1, f);
    text[n] = '\0';
    if (f != NULL)
        fclose(f);
    unlink(r->out);
    return text;
}

/* The service's own alert of that kind becomes active or ends: its delays pass. */
static inline void rig_alert(struct courier_rig *r, enum alert_kind kind, bool wrong)
{
    pump_service(&r->pump, kind, wrong, "so the test says", r->now);
    for (int i = 0; i < 5; i++)
        rig_wait(r, MS_PER_MIN);
}

#endif
