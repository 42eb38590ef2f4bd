/* The life of alerts: every cell of the tables by hand, then random series against a second implementation
 * that is written from the tables, with the state cut out and put back anywhere. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "engine/alarm.h"

#define T0      INT64_C(1772366400000)
#define SLOTS   3
#define LOG_MAX 200000

enum { PLAIN, LATCHING, OTHER };

struct rig {
    struct site site;
    struct alert_slot slots[SLOTS];
    struct arena arena;
    struct timers timers;
    struct alarms alarms;
    struct effects fx;
    int64_t ms;   /* since T0 */
    int64_t zero; /* the boot clock's reading at T0 */
};

static struct alert_settings usual(bool latching)
{
    return (struct alert_settings){ .enabled = true,
                                    .priority = PRIORITY_MEDIUM,
                                    .latching = latching,
                                    .deadband = 0.2,
                                    .on_delay_ms = 120000,
                                    .off_delay_ms = 300000,
                                    .renotify_ms = 3600000,
                                    .realarm_ms = 7200000 };
}

static void rig_boot(struct rig *r, int64_t zero)
{
    arena_fini(&r->arena);
    r->arena = (struct arena){ 0 };
    r->zero = zero;
    timers_init(&r->timers, SLOTS * ALARM_TIMERS, &r->arena);
    alarms_init(&r->alarms, &r->site, &r->timers, 0, &r->arena);
}

static void rig_init(struct rig *r)
{
    static const char *const names[SLOTS] = { "temp-low", "leak", "temp-high" };
    memset(r, 0, sizeof *r);
    for (int i = 0; i < SLOTS; i++)
        r->slots[i] = (struct alert_slot){
            .quantity = Q_TEMP, .settings = usual(i == LATCHING), .name = names[i], .ref = names[i]
        };
    r->site = (struct site){ .alerts = r->slots, .alert_count = SLOTS };
    rig_boot(r, 1000);
}

static struct now now_at(const struct rig *r, int64_t ms)
{
    return (struct now){ { T0 + ms }, { r->zero + ms }, true };
}

static struct now here(const struct rig *r)
{
    return now_at(r, r->ms);
}

static void run_timers(struct rig *r, int64_t until, bool inclusive)
{
    for (;;) {
        mono_t due = timers_next(&r->timers);
        int id = timers_take(&r->timers, (mono_t){ r->zero + until }, inclusive);
        if (id < 0)
            return;
        alarm_due(&r->alarms, id / ALARM_TIMERS, (enum alarm_timer)(id % ALARM_TIMERS),
                  now_at(r, due.ms - r->zero), &r->fx);
    }
}

/* Lets time pass to t seconds: the timers before it, and those at it. */
static void wait_to(struct rig *r, int64_t s)
{
    r->ms = s * 1000;
    run_timers(r, r->ms, true);
}

static void judge(struct rig *r, int slot, enum tri condition)
{
    alarm_judge(&r->alarms, slot, condition, 21.5, 22, here(r), &r->fx);
}

static const struct alarm *at(const struct rig *r, int slot)
{
    return &r->alarms.items[slot];
}

static struct command by(const char *who, double minutes)
{
    struct command c = { .place = -1, .alert = -1, .minutes = minutes };
    (void)snprintf(c.who, sizeof c.who, "%s", who);
    (void)snprintf(c.why, sizeof c.why, "seen");
    return c;
}

typedef enum status verb(struct alarms *a, int slot, const struct command *c, struct now now,
                         struct effects *fx, struct why *why);

static enum status person(struct rig *r, int slot, verb *v, double minutes)
{
    struct why why = { "" };
    struct command c = by("mara", minutes);
    enum status st = v(&r->alarms, slot, &c, here(r), &r->fx, &why);
    if (st != STATUS_OK)
        assert_true(strlen(why.text) > 10);
    return st;
}

/* What was told since the last look, like "raise clear ack"; a ! is one that was announced. */
static const char *told(struct rig *r)
{
    static char line[4096];
    line[0] = '\0';
    struct text out = text_over(line, sizeof line);
    for (size_t i = 0; i < r->fx.count; i++) {
        const struct effect *e = &r->fx.items[i];
        text_printf(&out, "%s%s%s", i > 0 ? " " : "", alert_change_name(e->u.alert.change),
                    e->u.alert.announce ? "!" : "");
    }
    r->fx.count = 0;
    return line;
}

/* --- the tables, by hand --- */

static void rises(struct rig *r, int slot)
{
    judge(r, slot, TRI_YES);
    wait_to(r, r->ms / 1000 + 120);
}

static void falls(struct rig *r, int slot)
{
    judge(r, slot, TRI_NO);
    wait_to(r, r->ms / 1000 + 300);
}

/* Brings a fresh alert into a base state by the shortest way. */
static void bring(struct rig *r, int slot, enum alert_base base)
{
    arena_fini(&r->arena);
    rig_init(r);
    if (base == ALERT_NORM)
        return;
    rises(r, slot);
    if (base == ALERT_ACKED)
        assert_int_equal(person(r, slot, alarm_ack, NAN), STATUS_OK);
    if (base == ALERT_RTNUN || base == ALERT_LATUN || base == ALERT_LATAK)
        falls(r, slot);
    if (base == ALERT_LATAK)
        assert_int_equal(person(r, slot, alarm_ack, NAN), STATUS_OK);
    assert_int_equal(at(r, slot)->pub.base, base);
    r->fx.count = 0;
}

struct cell {
    enum alert_base from;
    bool latching;
    enum { RISES, FALLS, ACKNOWLEDGE, RESET } what;
    enum alert_base to;
    const char *told; /* NULL: refused */
};

static void every_cell_of_the_table(void **state)
{
    (void)state;
    static const struct cell cells[] = {
        { ALERT_NORM, false, RISES, ALERT_UNACK, "raise!" },
        { ALERT_NORM, false, FALLS, ALERT_NORM, "" },
        { ALERT_NORM, false, ACKNOWLEDGE, ALERT_NORM, NULL },
        { ALERT_NORM, false, RESET, ALERT_NORM, NULL },
        { ALERT_UNACK, false, RISES, ALERT_UNACK, "" },
        { ALERT_UNACK, false, FALLS, ALERT_RTNUN, "clear!" },
        { ALERT_UNACK, true, FALLS, ALERT_LATUN, "clear!" },
        { ALERT_UNACK, false, ACKNOWLEDGE, ALERT_ACKED, "ack" },
        { ALERT_UNACK, false, RESET, ALERT_UNACK, NULL },
        { ALERT_ACKED, false, FALLS, ALERT_NORM, "clear!" },
        { ALERT_ACKED, true, FALLS, ALERT_LATAK, "clear!" },
        { ALERT_ACKED, false, ACKNOWLEDGE, ALERT_ACKED, NULL },
        { ALERT_ACKED, false, RESET, ALERT_ACKED, NULL },
        { ALERT_RTNUN, false, RISES, ALERT_UNACK, "raise!" },
        { ALERT_RTNUN, false, FALLS, ALERT_RTNUN, "" },
        { ALERT_RTNUN, false, ACKNOWLEDGE, ALERT_NORM, "ack" },
        { ALERT_RTNUN, false, RESET, ALERT_RTNUN, NULL },
        { ALERT_LATUN, true, RISES, ALERT_UNACK, "raise!" },
        { ALERT_LATUN, true, FALLS, ALERT_LATUN, "" },
        { ALERT_LATUN, true, ACKNOWLEDGE, ALERT_LATAK, "ack" },
        { ALERT_LATUN, true, RESET, ALERT_LATUN, NULL },
        { ALERT_LATAK, true, RISES, ALERT_UNACK, "raise!" },
        { ALERT_LATAK, true, FALLS, ALERT_LATAK, "" },
        { ALERT_LATAK, true, ACKNOWLEDGE, ALERT_LATAK, NULL },
        { ALERT_LATAK, true, RESET, ALERT_NORM, "reset" },
    };
    static struct rig r;
    for (size_t i = 0; i < sizeof cells / sizeof *cells; i++) {
        const struct cell *c = &cells[i];
        int slot = c->latching ? LATCHING : PLAIN;
        enum status st = STATUS_OK;
        bring(&r, slot, c->from);
        if (c->what == RISES)
            rises(&r, slot);
        else if (c->what == FALLS)
            falls(&r, slot);
        else
            st = person(&r, slot, c->what == RESET ? alarm_reset : alarm_ack, NAN);
        assert_int_equal(st, c->told == NULL ? STATUS_REFUSED : STATUS_OK);
        assert_int_equal(at(&r, slot)->pub.base, c->to);
        assert_string_equal(told(&r), c->told == NULL ? "" : c->told);
    }
    arena_fini(&r.arena);
}

static int make(void **state)
{
    struct rig *r = calloc(1, sizeof *r);
    rig_init(r);
    *state = r;
    return 0;
}

static int unmake(void **state)
{
    struct rig *r = *state;
    arena_fini(&r->arena);
    free(r);
    return 0;
}

/* --- comparator and delays --- */

static void the_limit_itself_is_inside(void **state)
{
    (void)state;
    assert_int_equal(alarm_compare(26.0, 26, 0.5, true), TRI_KEEP);
    assert_int_equal(alarm_compare(26.01, 26, 0.5, true), TRI_YES);
    assert_int_equal(alarm_compare(25.51, 26, 0.5, true), TRI_KEEP);
    assert_int_equal(alarm_compare(25.5, 26, 0.5, true), TRI_NO);
    assert_int_equal(alarm_compare(20.0, 20, 0.5, false), TRI_KEEP);
    assert_int_equal(alarm_compare(19.99, 20, 0.5, false), TRI_YES);
    assert_int_equal(alarm_compare(20.49, 20, 0.5, false), TRI_KEEP);
    assert_int_equal(alarm_compare(20.5, 20, 0.5, false), TRI_NO);
    assert_int_equal(alarm_compare(20.0, 20, 0, false), TRI_NO);
    assert_int_equal(alarm_compare(NAN, 20, 0.5, false), TRI_UNKNOWN);
    assert_int_equal(alarm_compare(20, NAN, 0.5, false), TRI_UNKNOWN);
}

static void a_delay_matures_on_the_clock(void **state)
{
    struct rig *r = *state;
    judge(r, PLAIN, TRI_YES);
    wait_to(r, 119);
    assert_string_equal(told(r), "");
    r->ms = 500000; /* nothing came for long: the raise still carries its own time */
    run_timers(r, r->ms, true);
    assert_int_equal(r->fx.count, 1);
    assert_int_equal(r->fx.items[0].t.ms, T0 + 120000);
    assert_int_equal(at(r, PLAIN)->pub.since.ms, T0 + 120000);
}

static void the_deadband_cancels_neither_delay(void **state)
{
    struct rig *r = *state;
    judge(r, PLAIN, TRI_YES);
    wait_to(r, 60);
    judge(r, PLAIN, TRI_KEEP);
    wait_to(r, 120);
    assert_string_equal(told(r), "raise!");
    judge(r, PLAIN, TRI_NO);
    wait_to(r, 300);
    judge(r, PLAIN, TRI_KEEP);
    wait_to(r, 420);
    assert_string_equal(told(r), "clear!");
}

static void the_other_side_cancels_a_delay(void **state)
{
    struct rig *r = *state;
    judge(r, PLAIN, TRI_YES);
    wait_to(r, 60);
    judge(r, PLAIN, TRI_NO);
    wait_to(r, 100);
    judge(r, PLAIN, TRI_YES);
    wait_to(r, 219);
    assert_string_equal(told(r), "");
    wait_to(r, 220);
    assert_string_equal(told(r), "raise!");
    judge(r, PLAIN, TRI_NO);
    wait_to(r, 519);
    judge(r, PLAIN, TRI_YES);
    wait_to(r, 2000);
    assert_string_equal(told(r), "");
    assert_true(at(r, PLAIN)->pub.active);
}

static void silence_freezes_and_cancels_both_delays(void **state)
{
    struct rig *r = *state;
    judge(r, PLAIN, TRI_YES);
    wait_to(r, 60);
    alarm_freeze(&r->alarms, PLAIN);
    wait_to(r, 3000);
    assert_string_equal(told(r), "");
    assert_true(at(r, PLAIN)->pub.unknown);
    assert_false(at(r, PLAIN)->pub.active);
    rises(r, PLAIN); /* 3120 */
    judge(r, PLAIN, TRI_NO);
    wait_to(r, 3200);
    judge(r, PLAIN, TRI_UNKNOWN);
    wait_to(r, 5000);
    assert_string_equal(told(r), "raise!");
    assert_int_equal(at(r, PLAIN)->pub.base, ALERT_UNACK);
    assert_true(at(r, PLAIN)->pub.active);
    judge(r, PLAIN, TRI_YES); /* heard again, still outside: nothing to tell */
    assert_string_equal(told(r), "");
    assert_false(at(r, PLAIN)->pub.unknown);
    judge(r, PLAIN, TRI_NO);
    wait_to(r, 5299);
    assert_true(at(r, PLAIN)->pub.active);
    wait_to(r, 5300);
    assert_string_equal(told(r), "clear!");
}

/* Timers before t, the input at t, timers at t. */
static void order_at_one_instant(void **state)
{
    struct rig *r = *state;
    judge(r, PLAIN, TRI_YES);
    r->ms = 120000;
    run_timers(r, r->ms, false);
    judge(r, PLAIN, TRI_NO);
    run_timers(r, r->ms, true);
    assert_string_equal(told(r), "");
    judge(r, OTHER, TRI_YES);
    r->ms = 240001;
    run_timers(r, r->ms, false);
    judge(r, OTHER, TRI_NO);
    assert_string_equal(told(r), "raise!");
}

static void without_delays_at_once(void **state)
{
    struct rig *r = *state;
    r->slots[PLAIN].settings.on_delay_ms = r->slots[PLAIN].settings.off_delay_ms = 0;
    judge(r, PLAIN, TRI_YES);
    judge(r, PLAIN, TRI_NO);
    assert_string_equal(told(r), "raise! clear!");
}

static void a_disabled_alert_stays_quiet(void **state)
{
    struct rig *r = *state;
    r->slots[PLAIN].settings.enabled = false;
    rises(r, PLAIN);
    assert_string_equal(told(r), "");
    assert_int_equal(at(r, PLAIN)->pub.base, ALERT_NORM);
}

/* --- reminders --- */

static void reminders_until_acknowledged_then_realarm(void **state)
{
    struct rig *r = *state;
    rises(r, PLAIN); /* 120 s */
    wait_to(r, 120 + 3599);
    assert_string_equal(told(r), "raise!");
    wait_to(r, 120 + 7200);
    assert_string_equal(told(r), "remind! remind!");
    assert_int_equal(at(r, PLAIN)->pub.reminders, 2);
    assert_int_equal(person(r, PLAIN, alarm_ack, NAN), STATUS_OK);
    wait_to(r, 120 + 7200 + 7199);
    assert_string_equal(told(r), "ack");
    wait_to(r, 120 + 7200 + 7200);
    assert_string_equal(told(r), "realarm!");
    assert_int_equal(at(r, PLAIN)->pub.base, ALERT_UNACK);
    falls(r, PLAIN);
    wait_to(r, 100000);
    assert_string_equal(told(r), "clear!"); /* RTNUN owes no reminders */
    assert_int_equal(person(r, PLAIN, alarm_ack, NAN), STATUS_OK);
    assert_int_equal(at(r, PLAIN)->pub.reminders, 0);
}

static void a_latch_reminds(void **state)
{
    struct rig *r = *state;
    bring(r, LATCHING, ALERT_LATUN);
    wait_to(r, r->ms / 1000 + 3600);
    assert_string_equal(told(r), "remind!");
    assert_int_equal(person(r, LATCHING, alarm_ack, NAN), STATUS_OK);
    wait_to(r, r->ms / 1000 + 100000);
    assert_string_equal(told(r), "ack");
}

static void no_reminders_when_switched_off(void **state)
{
    struct rig *r = *state;
    r->slots[PLAIN].settings.renotify_ms = r->slots[PLAIN].settings.realarm_ms = 0;
    rises(r, PLAIN);
    wait_to(r, 1000000);
    assert_int_equal(person(r, PLAIN, alarm_ack, NAN), STATUS_OK);
    wait_to(r, 2000000);
    assert_string_equal(told(r), "raise! ack");
}

/* --- the three marks --- */

static void while_marked_nothing_is_announced_and_nothing_taken(void **state)
{
    struct rig *r = *state;
    rises(r, PLAIN);
    (void)told(r);
    assert_int_equal(person(r, PLAIN, alarm_shelve, 600), STATUS_OK);
    wait_to(r, 120 + 4 * 3600);
    assert_int_equal(person(r, PLAIN, alarm_ack, NAN), STATUS_REFUSED);
    assert_int_equal(person(r, PLAIN, alarm_reset, NAN), STATUS_REFUSED);
    falls(r, PLAIN);
    rises(r, PLAIN);
    assert_string_equal(told(r), "shelve state state"); /* recorded, with no reminder between */
    assert_string_equal(alert_state_name(at(r, PLAIN)->pub.base, at(r, PLAIN)->pub.marks), "SHLVD");
}

static void the_end_of_a_shelf(void **state)
{
    struct rig *r = *state;
    rises(r, PLAIN);
    assert_int_equal(person(r, PLAIN, alarm_ack, NAN), STATUS_OK);
    assert_int_equal(person(r, PLAIN, alarm_shelve, 60), STATUS_OK);
    assert_int_equal(at(r, PLAIN)->pub.shelved_until.ms, T0 + 120000 + 3600000);
    (void)told(r);
    wait_to(r, 120 + 3600); /* still active: told anew, though it was acknowledged */
    assert_string_equal(told(r), "unshelve raise!");
    assert_int_equal(at(r, PLAIN)->pub.base, ALERT_UNACK);
    assert_false(utc_is_set(at(r, PLAIN)->pub.shelved_until));
    assert_int_equal(person(r, PLAIN, alarm_shelve, 60), STATUS_OK);
    falls(r, PLAIN);
    (void)told(r);
    assert_int_equal(person(r, PLAIN, alarm_unshelve, NAN), STATUS_OK);
    assert_string_equal(told(r), "unshelve clear!"); /* its clear was owed */
    assert_int_equal(at(r, PLAIN)->pub.base, ALERT_NORM);
}

static void what_rose_and_fell_unseen_leaves_nothing(void **state)
{
    struct rig *r = *state;
    assert_int_equal(person(r, PLAIN, alarm_shelve, 60), STATUS_OK);
    rises(r, PLAIN);
    falls(r, PLAIN);
    wait_to(r, 3600);
    assert_string_equal(told(r), "shelve state state unshelve");
    assert_int_equal(at(r, PLAIN)->pub.base, ALERT_NORM);
}

static void a_latch_is_kept_under_a_mark(void **state)
{
    struct rig *r = *state;
    rises(r, LATCHING);
    alarm_suppress(&r->alarms, LATCHING, true, "ada", "service", here(r), &r->fx);
    falls(r, LATCHING);
    alarm_suppress(&r->alarms, LATCHING, false, "", "done", here(r), &r->fx);
    assert_string_equal(told(r), "raise! suppress state unsuppress clear!");
    assert_int_equal(at(r, LATCHING)->pub.base, ALERT_LATUN);
    wait_to(r, r->ms / 1000 + 3600);
    assert_string_equal(told(r), "remind!");
}

static void the_last_of_three_marks_ends_it(void **state)
{
    struct rig *r = *state;
    rises(r, PLAIN);
    assert_int_equal(person(r, PLAIN, alarm_shelve, 60), STATUS_OK);
    alarm_suppress(&r->alarms, PLAIN, true, "ada", "service", here(r), &r->fx);
    alarm_suppress(&r->alarms, PLAIN, true, "ada", "service", here(r), &r->fx); /* no-op */
    assert_string_equal(alert_state_name(at(r, PLAIN)->pub.base, at(r, PLAIN)->pub.marks), "DSUPR");
    assert_int_equal(person(r, PLAIN, alarm_out, NAN), STATUS_OK);
    assert_string_equal(alert_state_name(at(r, PLAIN)->pub.base, at(r, PLAIN)->pub.marks), "OOSRV");
    wait_to(r, 120 + 3600);
    alarm_suppress(&r->alarms, PLAIN, false, "", "done", here(r), &r->fx);
    assert_string_equal(told(r), "raise! shelve suppress out unshelve unsuppress");
    assert_int_equal(person(r, PLAIN, alarm_back, NAN), STATUS_OK);
    assert_string_equal(told(r), "back raise!");
}

static void a_shelf_has_an_end_and_limits(void **state)
{
    struct rig *r = *state;
    assert_int_equal(person(r, PLAIN, alarm_shelve, NAN), STATUS_INVALID);
    assert_int_equal(person(r, PLAIN, alarm_shelve, 0), STATUS_INVALID);
    assert_int_equal(person(r, PLAIN, alarm_shelve, 1440.1), STATUS_INVALID);
    assert_int_equal(person(r, PLAIN, alarm_shelve, 1440), STATUS_OK);
    assert_int_equal(person(r, PLAIN, alarm_unshelve, NAN), STATUS_OK);
    assert_int_equal(person(r, PLAIN, alarm_unshelve, NAN), STATUS_REFUSED);
    assert_int_equal(person(r, PLAIN, alarm_back, NAN), STATUS_REFUSED);
    assert_int_equal(person(r, PLAIN, alarm_out, 0), STATUS_INVALID);
    assert_string_equal(told(r), "shelve unshelve");
}

/* A second "out of service", now without an end, must not show the end of the first. */
static void out_of_service_shows_its_own_end(void **state)
{
    struct rig *r = *state;
    assert_int_equal(person(r, PLAIN, alarm_out, 60), STATUS_OK);
    assert_int_equal(at(r, PLAIN)->pub.out_until.ms, T0 + 3600000);
    assert_int_equal(person(r, PLAIN, alarm_out, NAN), STATUS_OK);
    assert_false(utc_is_set(at(r, PLAIN)->pub.out_until));
    wait_to(r, 100000);
    assert_int_equal(at(r, PLAIN)->pub.marks, ALERT_OUT_OF_SERVICE);
}

static void who_and_why_are_kept(void **state)
{
    struct rig *r = *state;
    rises(r, PLAIN);
    assert_int_equal(person(r, PLAIN, alarm_ack, NAN), STATUS_OK);
    assert_string_equal(at(r, PLAIN)->pub.who, "mara");
    assert_string_equal(at(r, PLAIN)->pub.why, "seen");
    assert_string_equal(r->fx.items[r->fx.count - 1].u.alert.alert.who, "mara");
}

/* --- one leads --- */

static int leads_plain(void *context, int slot, struct now now)
{
    (void)now;
    const struct rig *r = context;
    return slot != PLAIN && at(r, PLAIN)->pub.active ? PLAIN : -1;
}

static void followers_are_listed_not_announced(void **state)
{
    struct rig *r = *state;
    r->alarms.leader = leads_plain;
    r->alarms.context = r;
    rises(r, PLAIN);
    rises(r, OTHER);
    assert_string_equal(told(r), "raise! raise");
    assert_int_equal(at(r, OTHER)->pub.leader, PLAIN);
    falls(r, OTHER);
    assert_string_equal(told(r), "clear"); /* what was not told needs no end */
    rises(r, OTHER);
    falls(r, PLAIN);
    (void)told(r);
    wait_to(r, r->ms / 1000 + 3600);
    assert_string_equal(told(r), "remind!"); /* its leader is gone: it speaks for itself */
    falls(r, OTHER);
    rises(r, PLAIN);
    assert_string_equal(told(r), "clear! raise!");
}

/* --- a restart --- */

static size_t save_all(struct rig *r, uint8_t *bytes, size_t cap)
{
    struct pack w = pack_writer(bytes, cap);
    for (int i = 0; i < SLOTS; i++)
        alarm_visit(&r->alarms, i, &w, here(r));
    assert_false(w.bad);
    return w.at;
}

/* The boot clock begins anew; the wall clock goes on. */
static void restart(struct rig *r, int64_t down_ms, int64_t zero)
{
    uint8_t bytes[8192];
    size_t n = save_all(r, bytes, sizeof bytes);
    r->ms += down_ms;
    rig_boot(r, zero);
    struct pack p = pack_reader(bytes, n);
    for (int i = 0; i < SLOTS; i++)
        alarm_visit(&r->alarms, i, &p, here(r));
    assert_false(p.bad);
}

static void missed_reminders_become_one(void **state)
{
    struct rig *r = *state;
    rises(r, PLAIN);
    (void)told(r);
    restart(r, 5 * 3600000, -777);
    run_timers(r, r->ms, true);
    assert_string_equal(told(r), "remind!");
    wait_to(r, r->ms / 1000 + 3600);
    assert_string_equal(told(r), "remind!");
}

static void a_shelf_that_ran_out_ends_at_the_start(void **state)
{
    struct rig *r = *state;
    rises(r, PLAIN);
    assert_int_equal(person(r, PLAIN, alarm_shelve, 30), STATUS_OK);
    (void)told(r);
    restart(r, 7200000, 0);
    run_timers(r, r->ms, true);
    assert_string_equal(told(r), "unshelve raise!");
    assert_int_equal(at(r, PLAIN)->pub.since.ms, T0 + r->ms);
}

static void a_short_restart_is_invisible(void **state)
{
    struct rig *r = *state;
    judge(r, PLAIN, TRI_YES);
    wait_to(r, 100);
    restart(r, 40000, 5);
    run_timers(r, r->ms, true);
    assert_string_equal(told(r), "raise!");
    assert_int_equal(at(r, PLAIN)->pub.since.ms, T0 + 120000);
}

static void damaged_state_is_refused(void **state)
{
    struct rig *r = *state;
    uint8_t bytes[8192];
    size_t n = save_all(r, bytes, sizeof bytes);
    bytes[0] = ALERT_LATAK + 1;
    struct pack p = pack_reader(bytes, n);
    alarm_visit(&r->alarms, 0, &p, here(r));
    assert_true(p.bad);
}

/* Forgetting takes the timers along: one left behind would end what never began. */
static void forgotten_is_forgotten(void **state)
{
    struct rig *r = *state;
    rises(r, PLAIN);
    judge(r, PLAIN, TRI_NO);
    assert_int_equal(person(r, PLAIN, alarm_shelve, 1), STATUS_OK);
    (void)told(r);
    alarm_forget(&r->alarms, PLAIN);
    wait_to(r, 100000);
    assert_string_equal(told(r), "");
    assert_int_equal(at(r, PLAIN)->pub.base, ALERT_NORM);
}

/* --- the second implementation: one table, one clock, no heap --- */

enum { NEVER = -1 };

struct twin {
    bool latching;
    int base, marks;
    bool active, unknown, told;
    int heard;                       /* last settled side: 1 over, 0 under, -1 not known */
    int64_t delay, tell, shelf, out; /* ms since T0, or NEVER */
    char *log;
    size_t len;
};

/* rises, falls, acknowledge, reset; -1: nothing or refused. */
static const int table[6][4] = {
    [ALERT_NORM] = { ALERT_UNACK, -1, -1, -1 },
    [ALERT_UNACK] = { -1, ALERT_RTNUN, ALERT_ACKED, -1 },
    [ALERT_ACKED] = { -1, ALERT_NORM, -1, -1 },
    [ALERT_RTNUN] = { ALERT_UNACK, -1, ALERT_NORM, -1 },
    [ALERT_LATUN] = { ALERT_UNACK, -1, ALERT_LATAK, -1 },
    [ALERT_LATAK] = { ALERT_UNACK, -1, -1, ALERT_NORM },
};

static void say(struct twin *w, int64_t ms, const char *what, bool announced)
{
    assert_true(w->len + 80 < LOG_MAX);
    w->len += (size_t)sprintf(w->log + w->len, "%lld %s%s %d/%d%s\n", (long long)ms, what,
                              announced ? "!" : "", w->base, w->marks, w->active ? " active" : "");
}

static void twin_tell_from(struct twin *w, int64_t ms)
{
    w->tell = NEVER;
    if (w->marks == 0 && (w->base == ALERT_UNACK || w->base == ALERT_LATUN))
        w->tell = ms + 3600000;
    if (w->marks == 0 && w->base == ALERT_ACKED)
        w->tell = ms + 7200000;
}

static void twin_move(struct twin *w, int base, int64_t ms)
{
    w->base = base;
    twin_tell_from(w, ms);
}

static void twin_raise(struct twin *w, int64_t ms, const char *word)
{
    twin_move(w, ALERT_UNACK, ms);
    w->told = w->told || w->marks == 0;
    say(w, ms, w->marks ? "state" : word, w->marks == 0);
}

static void twin_clear(struct twin *w, int64_t ms)
{
    bool owed = w->told && w->marks == 0;
    if (owed)
        w->told = false;
    say(w, ms, w->marks ? "state" : "clear", owed);
}

static void twin_delay_over(struct twin *w, int64_t ms)
{
    w->delay = NEVER;
    w->active = w->heard == 1;
    if (w->active) {
        twin_raise(w, ms, "raise");
        return;
    }
    int to = table[w->base][1];
    if (w->latching)
        to = to == ALERT_NORM ? ALERT_LATAK : ALERT_LATUN;
    twin_move(w, to, ms);
    twin_clear(w, ms);
}

static void twin_unmark(struct twin *w, int mark, int64_t ms, const char *word)
{
    w->marks &= ~mark;
    say(w, ms, word, false);
    if (w->marks != 0)
        return;
    if (w->active) {
        twin_raise(w, ms, "raise");
        return;
    }
    bool latched = w->base == ALERT_LATUN || w->base == ALERT_LATAK;
    twin_move(w, latched ? w->base : ALERT_NORM, ms);
    if (w->told)
        twin_clear(w, ms);
}

static void twin_tell_over(struct twin *w, int64_t ms)
{
    if (w->base == ALERT_ACKED) {
        twin_raise(w, ms, "realarm");
        return;
    }
    twin_tell_from(w, ms);
    say(w, ms, "remind", true);
}

/* Every deadline up to then, the earliest first, equal ones in the order delay, tell, shelf, out. */
static void twin_run(struct twin *w, int64_t until, bool inclusive)
{
    for (;;) {
        int64_t *all[] = { &w->delay, &w->tell, &w->shelf, &w->out };
        int best = -1;
        for (int i = 0; i < 4; i++)
            if (*all[i] != NEVER && (best < 0 || *all[i] < *all[best]))
                best = i;
        if (best < 0 || *all[best] > until || (*all[best] == until && !inclusive))
            return;
        int64_t ms = *all[best];
        *all[best] = NEVER;
        if (best == 0)
            twin_delay_over(w, ms);
        else if (best == 1)
            twin_tell_over(w, ms);
        else
            twin_unmark(w, best == 2 ? ALERT_SHELVED : ALERT_OUT_OF_SERVICE, ms,
                        best == 2 ? "unshelve" : "back");
    }
}

static void twin_judge(struct twin *w, enum tri c, int64_t ms)
{
    w->unknown = c == TRI_UNKNOWN;
    if (c == TRI_UNKNOWN) {
        w->heard = -1;
        w->delay = NEVER;
        return;
    }
    if (c == TRI_KEEP || w->heard == (c == TRI_YES))
        return;
    w->heard = c == TRI_YES;
    if ((w->heard == 1) == w->active)
        w->delay = NEVER;
    else
        w->delay = ms + (w->heard == 1 ? 120000 : 300000);
}

static bool twin_person(struct twin *w, int column, int64_t ms)
{
    int to = w->marks ? -1 : table[w->base][column];
    if (to < 0)
        return false;
    twin_move(w, to, ms);
    say(w, ms, column == 2 ? "ack" : "reset", false);
    return true;
}

static void twin_mark(struct twin *w, int mark, int64_t ms, const char *word)
{
    w->marks |= mark;
    twin_tell_from(w, ms);
    say(w, ms, word, false);
}

/* --- random series --- */

static uint64_t dice;

static unsigned roll(unsigned sides)
{
    dice ^= dice << 13;
    dice ^= dice >> 7;
    dice ^= dice << 17;
    return (unsigned)((dice >> 33) % sides);
}

struct script {
    struct rig rig;
    struct twin twin;
    char *log; /* of the rig */
    size_t len;
    int slot;
};

static void collect(struct script *s)
{
    for (size_t i = 0; i < s->rig.fx.count; i++) {
        const struct effect *e = &s->rig.fx.items[i];
        const struct alert *a = &e->u.alert.alert;
        assert_true(s->len + 80 < LOG_MAX);
        s->len += (size_t)sprintf(s->log + s->len, "%lld %s%s %d/%d%s\n", (long long)(e->t.ms - T0),
                                  alert_change_name(e->u.alert.change), e->u.alert.announce ? "!" : "",
                                  (int)a->base, (int)a->marks, a->active ? " active" : "");
    }
    s->rig.fx.count = 0;
}

static bool suppressed(const struct twin *w)
{
    return (w->marks & ALERT_BY_DESIGN) != 0;
}

static void random_person(struct script *s, int64_t ms)
{
    struct rig *r = &s->rig;
    struct twin *w = &s->twin;
    double minutes = 1 + roll(90);
    switch (roll(6)) {
    case 0:
        assert_int_equal(person(r, s->slot, alarm_ack, NAN) == STATUS_OK, twin_person(w, 2, ms));
        break;
    case 1:
        assert_int_equal(person(r, s->slot, alarm_reset, NAN) == STATUS_OK, twin_person(w, 3, ms));
        break;
    case 2:
        assert_int_equal(person(r, s->slot, alarm_shelve, minutes), STATUS_OK);
        w->shelf = ms + (int64_t)minutes * 60000;
        twin_mark(w, ALERT_SHELVED, ms, "shelve");
        break;
    case 3: {
        bool on = !suppressed(w);
        alarm_suppress(&r->alarms, s->slot, on, "ada", "service", here(r), &r->fx);
        if (on)
            twin_mark(w, ALERT_BY_DESIGN, ms, "suppress");
        else
            twin_unmark(w, ALERT_BY_DESIGN, ms, "unsuppress");
        break;
    }
    case 4:
        minutes = roll(2) ? minutes : NAN;
        assert_int_equal(person(r, s->slot, alarm_out, minutes), STATUS_OK);
        w->out = isnan(minutes) ? NEVER : ms + (int64_t)minutes * 60000;
        twin_mark(w, ALERT_OUT_OF_SERVICE, ms, "out");
        break;
    default: {
        bool can_shelf = (w->marks & ALERT_SHELVED) != 0, can_back = (w->marks & ALERT_OUT_OF_SERVICE) != 0;
        bool shelf = roll(2);
        assert_int_equal(person(r, s->slot, shelf ? alarm_unshelve : alarm_back, NAN) == STATUS_OK,
                         shelf ? can_shelf : can_back);
        if (shelf && can_shelf) {
            w->shelf = NEVER;
            twin_unmark(w, ALERT_SHELVED, ms, "unshelve");
        } else if (!shelf && can_back) {
            w->out = NEVER;
            twin_unmark(w, ALERT_OUT_OF_SERVICE, ms, "back");
        }
    }
    }
}

static void random_step(struct script *s, bool cuts)
{
    static const enum tri said[] = { TRI_YES, TRI_YES, TRI_NO, TRI_NO, TRI_KEEP, TRI_KEEP, TRI_UNKNOWN };
    struct rig *r = &s->rig;
    int64_t step = roll(3) ? 60000 * (int64_t)roll(4) : 60000 * (int64_t)roll(90); /* deadlines collide */
    r->ms += step;
    run_timers(r, r->ms, false);
    twin_run(&s->twin, r->ms, false);
    if (roll(4) > 0) {
        enum tri c = said[roll(7)];
        judge(r, s->slot, c);
        twin_judge(&s->twin, c, r->ms);
    } else {
        random_person(s, r->ms);
    }
    if (cuts && roll(3) == 0)
        restart(r, 0, (int64_t)roll(1000000) - 500000);
    run_timers(r, r->ms, true);
    twin_run(&s->twin, r->ms, true);
    collect(s);
}

static void compare_state(const struct script *s, uint64_t seed, int step)
{
    const struct alert *a = &at(&s->rig, s->slot)->pub;
    const struct twin *w = &s->twin;
    if (strcmp(s->log, w->log) != 0 || (int)a->base != w->base || (int)a->marks != w->marks ||
        a->active != w->active || a->unknown != w->unknown) {
        size_t same = 0, line = 0;
        for (; s->log[same] != '\0' && s->log[same] == w->log[same]; same++)
            if (s->log[same] == '\n')
                line = same + 1;
        fail_msg("seed %llu step %d: got\n%.300swanted\n%.300s", (unsigned long long)seed, step,
                 s->log + line, w->log + line);
    }
}

static void run_series(uint64_t seed, bool cuts)
{
    static struct script s;
    static char got[LOG_MAX], wanted[LOG_MAX];
    dice = seed * UINT64_C(0x9E3779B97F4A7C15);
    s.slot = roll(2) ? LATCHING : PLAIN;
    rig_init(&s.rig);
    got[0] = wanted[0] = '\0';
    s.log = got;
    s.len = 0;
    s.twin = (struct twin){ .latching = s.slot == LATCHING,
                            .heard = -1,
                            .delay = NEVER,
                            .tell = NEVER,
                            .shelf = NEVER,
                            .out = NEVER,
                            .log = wanted };
    for (int i = 0; i < 400; i++) {
        random_step(&s, cuts);
        compare_state(&s, seed, i);
    }
    assert_true(s.len > 1000);
    arena_fini(&s.rig.arena);
    s.rig.arena = (struct arena){ 0 };
}

static void random_series_equal_the_tables(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 150; seed++)
        run_series(seed, false);
}

static void cuts_anywhere_change_nothing(void **state)
{
    (void)state;
    for (uint64_t seed = 1001; seed <= 1100; seed++)
        run_series(seed, true);
}

#define WITH_RIG(test) cmocka_unit_test_setup_teardown(test, make, unmake)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_cell_of_the_table),
        cmocka_unit_test(the_limit_itself_is_inside),
        WITH_RIG(a_delay_matures_on_the_clock),
        WITH_RIG(the_deadband_cancels_neither_delay),
        WITH_RIG(the_other_side_cancels_a_delay),
        WITH_RIG(silence_freezes_and_cancels_both_delays),
        WITH_RIG(order_at_one_instant),
        WITH_RIG(without_delays_at_once),
        WITH_RIG(a_disabled_alert_stays_quiet),
        WITH_RIG(reminders_until_acknowledged_then_realarm),
        WITH_RIG(a_latch_reminds),
        WITH_RIG(no_reminders_when_switched_off),
        WITH_RIG(while_marked_nothing_is_announced_and_nothing_taken),
        WITH_RIG(the_end_of_a_shelf),
        WITH_RIG(what_rose_and_fell_unseen_leaves_nothing),
        WITH_RIG(a_latch_is_kept_under_a_mark),
        WITH_RIG(the_last_of_three_marks_ends_it),
        WITH_RIG(a_shelf_has_an_end_and_limits),
        WITH_RIG(out_of_service_shows_its_own_end),
        WITH_RIG(who_and_why_are_kept),
        WITH_RIG(followers_are_listed_not_announced),
        WITH_RIG(missed_reminders_become_one),
        WITH_RIG(a_shelf_that_ran_out_ends_at_the_start),
        WITH_RIG(a_short_restart_is_invisible),
        WITH_RIG(damaged_state_is_refused),
        WITH_RIG(forgotten_is_forgotten),
        cmocka_unit_test(random_series_equal_the_tables),
        cmocka_unit_test(cuts_anywhere_change_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
