#include "engine/alarm.h"
#include "engine/approach.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SHELF_MOST_MIN (24 * 60)

static int timer_id(const struct alarms *a, int slot, enum alarm_timer which)
{
    return a->first_timer + slot * ALARM_TIMERS + (int)which;
}

static void timer_set(struct alarms *a, int slot, enum alarm_timer which, mono_t due)
{
    timers_set(a->timers, timer_id(a, slot, which), due);
}

void alarm_forget(struct alarms *a, int slot)
{
    struct alarm *alarm = &a->items[slot];
    for (int i = 0; i < ALARM_TIMERS; i++)
        timer_set(a, slot, (enum alarm_timer)i, MONO_NEVER);
    memset(alarm, 0, sizeof *alarm);
    struct alert *pub = &alarm->pub;
    pub->index = slot;
    pub->value = pub->limit = NAN;
    pub->forecast = FORECAST_NONE;
    pub->since = pub->raised_at = pub->due = pub->shelved_until = pub->out_until = UTC_NONE;
    pub->leader = -1;
}

void alarms_init(struct alarms *a, const struct site *site, struct timers *timers, int first_timer,
                 struct arena *arena)
{
    *a = (struct alarms){ .site = site, .timers = timers, .first_timer = first_timer };
    a->items = arena_take(arena, (size_t)site->alert_count, sizeof *a->items);
    for (int i = 0; i < site->alert_count; i++)
        alarm_forget(a, i);
}

static const struct alert_settings *settings(const struct alarms *a, int slot)
{
    return &a->site->alerts[slot].settings;
}

static void emit(struct alarms *a, int slot, enum alert_change change, bool announce, struct now now,
                 struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    if (a->explain != NULL)
        a->explain(a->context, slot, &alarm->pub, now);
    if (fx->count == EFFECTS_MAX) {
        fx->lost++;
        return;
    }
    struct effect *e = &fx->items[fx->count++];
    e->kind = EFFECT_ALERT;
    e->t = now.utc;
    e->u.alert.change = change;
    e->u.alert.announce = announce && (a->admit == NULL || a->admit(a->context, slot, change, now, fx));
    e->u.alert.alert = alarm->pub;
    if (announce)
        alarm->hushed = alarm->pub.chattering && !e->u.alert.announce;
}

/* Each reminder comes after twice the time of the one before, up to the longest. */
static int64_t remind_after(const struct alert_settings *s, uint32_t reminders)
{
    int64_t span = s->renotify_ms;
    while (reminders-- > 0 && span < s->renotify_most_ms)
        span *= 2;
    return span > s->renotify_most_ms && s->renotify_most_ms > s->renotify_ms ? s->renotify_most_ms : span;
}

/* Reminders run in UNACK and LATUN, the new alarm in ACKED. */
static void tell_again_from(struct alarms *a, int slot, struct now now)
{
    const struct alarm *alarm = &a->items[slot];
    int64_t span = 0;
    if (alarm->pub.marks == 0) {
        if (alarm->pub.base == ALERT_UNACK || alarm->pub.base == ALERT_LATUN)
            span = remind_after(settings(a, slot), alarm->pub.reminders);
        else if (alarm->pub.base == ALERT_ACKED)
            span = settings(a, slot)->realarm_ms;
    }
    timer_set(a, slot, ALARM_TELL, span > 0 ? mono_add(now.mono, span) : MONO_NEVER);
}

static void enter(struct alarms *a, int slot, enum alert_base base, struct now now)
{
    struct alert *pub = &a->items[slot].pub;
    pub->base = base;
    pub->since = now.utc;
    if (base == ALERT_NORM) {
        pub->raises = pub->reminders = 0;
        pub->leader = -1;
    }
    tell_again_from(a, slot, now);
}

static bool announced_alone(struct alarms *a, int slot, struct now now)
{
    struct alert *pub = &a->items[slot].pub;
    pub->leader = a->leader == NULL ? -1 : a->leader(a->context, slot, now);
    return pub->leader < 0;
}

/* One whose leader has ended meanwhile speaks for itself from now on. */
static void remind(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    bool loud = announced_alone(a, slot, now);
    alarm->pub.reminders++;
    if (loud && alarm->pub.active)
        alarm->told = true;
    tell_again_from(a, slot, now);
    emit(a, slot, CHANGE_REMIND, loud, now, fx);
}

static void raise_alert(struct alarms *a, int slot, enum alert_change change, struct now now,
                        struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    bool loud = alarm->pub.marks == 0 && announced_alone(a, slot, now);
    alarm->pub.reminders = 0;
    enter(a, slot, ALERT_UNACK, now);
    alarm->pub.raised_at = now.utc;
    alarm->pub.raises++;
    if (loud)
        alarm->told = true;
    emit(a, slot, alarm->pub.marks == 0 ? change : CHANGE_STATE, loud, now, fx);
}

static void clear_alert(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    bool quiet = alarm->pub.marks != 0;
    bool loud = !quiet && alarm->told;
    if (!quiet)
        alarm->told = false;
    emit(a, slot, quiet ? CHANGE_STATE : CHANGE_CLEAR, loud, now, fx);
}

static void rise(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    struct alert *pub = &a->items[slot].pub;
    pub->active = true;
    if (pub->marks == 0) /* what somebody said of an earlier time is not said of this one */
        pub->who[0] = pub->why[0] = '\0';
    raise_alert(a, slot, CHANGE_RAISE, now, fx);
}

static bool is_owed(const struct alarm *alarm)
{
    return alarm->pub.base == ALERT_UNACK || alarm->pub.base == ALERT_RTNUN || alarm->pub.base == ALERT_LATUN;
}

/* Nobody was told of it: it was listed under a leader, and whoever acknowledged that one has seen it. */
static bool seen_with_leader(const struct alarms *a, const struct alarm *alarm)
{
    return alarm->pub.leader >= 0 && !alarm->told && !is_owed(&a->items[alarm->pub.leader]);
}

static void fall(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    bool latching = settings(a, slot)->latching;
    alarm->pub.active = false;
    alarm->pub.due = UTC_NONE;
    alarm->pub.forecast = FORECAST_NONE;
    if (alarm->pub.base == ALERT_ACKED || (alarm->pub.marks == 0 && seen_with_leader(a, alarm)))
        enter(a, slot, latching ? ALERT_LATAK : ALERT_NORM, now);
    else
        enter(a, slot, latching ? ALERT_LATUN : ALERT_RTNUN, now);
    clear_alert(a, slot, now, fx);
}

enum tri alarm_compare(double v, double limit, double deadband, bool high)
{
    if (isnan(v) || isnan(limit))
        return TRI_UNKNOWN;
    double over = high ? v - limit : limit - v;
    double back = high ? limit - deadband - v : v - (limit + deadband);
    return over > 0 ? TRI_YES : back >= 0 ? TRI_NO : TRI_KEEP;
}

void alarm_freeze(struct alarms *a, int slot)
{
    struct alarm *alarm = &a->items[slot];
    alarm->condition = TRI_UNKNOWN;
    alarm->pub.unknown = true;
    timer_set(a, slot, ALARM_DELAY, MONO_NEVER);
}

void alarm_judge(struct alarms *a, int slot, enum tri condition, double value, double limit, struct now now,
                 struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    if (!settings(a, slot)->enabled)
        return;
    if (condition == TRI_UNKNOWN) {
        alarm_freeze(a, slot);
        return;
    }
    alarm->pub.unknown = false;
    alarm->pub.value = value;
    alarm->pub.limit = limit;
    if (condition == TRI_KEEP || condition == alarm->condition)
        return;
    alarm->condition = condition;
    bool wanted = condition == TRI_YES;
    if (wanted == alarm->pub.active) {
        timer_set(a, slot, ALARM_DELAY, MONO_NEVER);
        return;
    }
    int64_t delay = wanted ? settings(a, slot)->on_delay_ms : settings(a, slot)->off_delay_ms;
    if (delay > 0)
        timer_set(a, slot, ALARM_DELAY, mono_add(now.mono, delay));
    else if (wanted)
        rise(a, slot, now, fx);
    else
        fall(a, slot, now, fx);
}

void alarm_end(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    alarm_judge(a, slot, TRI_NO, NAN, NAN, now, fx);
    if (!alarm->pub.active || alarm->condition != TRI_NO)
        return;
    timer_set(a, slot, ALARM_DELAY, MONO_NEVER);
    fall(a, slot, now, fx);
}

void alarm_update(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    emit(a, slot, CHANGE_UPDATE, false, now, fx);
}

/* --- suppression: three marks over the base state --- */

static void set_mark(struct alarms *a, int slot, unsigned mark, enum alert_change change, struct now now,
                     struct effects *fx)
{
    a->items[slot].pub.marks |= mark;
    tell_again_from(a, slot, now);
    emit(a, slot, change, false, now, fx);
}

/* What is listed under a leader is acknowledged with it; what goes on after the leader is over is not. */
static void settle_followers(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    const struct alert *leader = &a->items[slot].pub;
    for (int i = 0; i < a->site->alert_count; i++) {
        struct alert *pub = &a->items[i].pub;
        if (i == slot || pub->leader != slot || a->items[i].told || pub->marks != 0 ||
            !is_owed(&a->items[i]) || (pub->active && !leader->active))
            continue;
        enter(a, i, pub->active ? ALERT_ACKED : pub->base == ALERT_LATUN ? ALERT_LATAK : ALERT_NORM, now);
        snprintf(pub->who, sizeof pub->who, "%s", leader->who);
        snprintf(pub->why, sizeof pub->why, "with %s", a->site->alerts[slot].ref);
        emit(a, i, CHANGE_ACK, false, now, fx);
    }
}

static void settle_unmarked(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    if (alarm->pub.active) {
        a->unmarking = true;
        raise_alert(a, slot, CHANGE_RAISE, now, fx);
        a->unmarking = false;
        return;
    }
    bool latched = alarm->pub.base == ALERT_LATUN || alarm->pub.base == ALERT_LATAK;
    if (!latched && alarm->pub.base != ALERT_NORM)
        enter(a, slot, ALERT_NORM, now);
    else
        tell_again_from(a, slot, now);
    if (alarm->told)
        clear_alert(a, slot, now, fx);
    if (alarm->pub.base == ALERT_NORM)
        settle_followers(a, slot, now, fx);
}

static void clear_mark(struct alarms *a, int slot, unsigned mark, enum alert_change change, struct now now,
                       struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    alarm->pub.marks &= ~mark;
    emit(a, slot, change, false, now, fx);
    if (alarm->pub.marks == 0)
        settle_unmarked(a, slot, now, fx);
}

static void keep_signature(struct alarm *alarm)
{
    memcpy(alarm->aside_who, alarm->pub.who, sizeof alarm->aside_who);
    memcpy(alarm->aside_why, alarm->pub.why, sizeof alarm->aside_why);
}

static void give_signature_back(struct alarm *alarm)
{
    memcpy(alarm->pub.who, alarm->aside_who, sizeof alarm->pub.who);
    memcpy(alarm->pub.why, alarm->aside_why, sizeof alarm->pub.why);
}

void alarm_suppress(struct alarms *a, int slot, bool on, const char *who, const char *why, struct now now,
                    struct effects *fx)
{
    struct alert *pub = &a->items[slot].pub;
    if (((pub->marks & ALERT_BY_DESIGN) != 0) == on || (on && !settings(a, slot)->enabled))
        return;
    if (on)
        keep_signature(&a->items[slot]);
    snprintf(pub->who, sizeof pub->who, "%s", who);
    snprintf(pub->why, sizeof pub->why, "%s", why);
    if (!on && pub->marks != ALERT_BY_DESIGN)
        give_signature_back(&a->items[slot]);
    if (on)
        set_mark(a, slot, ALERT_BY_DESIGN, CHANGE_SUPPRESS, now, fx);
    else
        clear_mark(a, slot, ALERT_BY_DESIGN, CHANGE_UNSUPPRESS, now, fx);
}

void alarm_chatters(struct alarms *a, int slot, mono_t calm_at)
{
    a->items[slot].pub.chattering = true;
    timer_set(a, slot, ALARM_CALM, calm_at);
}

/* How it stands is told once; its state and its reminders are not touched. */
static void calm_down(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    alarm->pub.chattering = false;
    if (a->remark != NULL)
        a->remark(a->context, slot, ALARM_CALM, now, fx);
    if (alarm->pub.marks == 0 && (alarm->hushed || alarm->pub.base == ALERT_UNACK))
        emit(a, slot, CHANGE_UPDATE, true, now, fx);
    alarm->hushed = false;
}

/* It is switched off in the configuration: nothing of it stands any longer. */
static void retire(struct alarms *a, int slot, struct now now, struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    bool loud = alarm->told && alarm->pub.marks == 0;
    for (int i = 0; i < ALARM_TIMERS; i++)
        timer_set(a, slot, (enum alarm_timer)i, MONO_NEVER);
    alarm->pub.marks = 0;
    alarm->pub.active = alarm->pub.unknown = alarm->pub.chattering = alarm->told = false;
    alarm->pub.due = UTC_NONE;
    alarm->pub.forecast = FORECAST_NONE;
    alarm->pub.shelved_until = alarm->pub.out_until = UTC_NONE;
    alarm->condition = TRI_UNKNOWN;
    enter(a, slot, ALERT_NORM, now);
    snprintf(alarm->pub.who, sizeof alarm->pub.who, "%s", "");
    snprintf(alarm->pub.why, sizeof alarm->pub.why, "switched off in the configuration");
    emit(a, slot, CHANGE_CLEAR, loud, now, fx);
    settle_followers(a, slot, now, fx);
}

void alarm_restored(struct alarms *a, int slot, struct now now)
{
    const struct alarm *alarm = &a->items[slot];
    if (settings(a, slot)->enabled)
        return;
    if (alarm->pub.base != ALERT_NORM || alarm->pub.marks != 0)
        timer_set(a, slot, ALARM_DELAY, now.mono);
}

void alarm_due(struct alarms *a, int slot, enum alarm_timer which, struct now now, struct effects *fx)
{
    struct alarm *alarm = &a->items[slot];
    switch (which) {
    case ALARM_DELAY:
        if (!settings(a, slot)->enabled)
            retire(a, slot, now, fx);
        else if (alarm->condition == TRI_YES)
            rise(a, slot, now, fx);
        else
            fall(a, slot, now, fx);
        break;
    case ALARM_TELL:
        if (alarm->pub.base == ALERT_ACKED)
            raise_alert(a, slot, CHANGE_REALARM, now, fx);
        else
            remind(a, slot, now, fx);
        break;
    case ALARM_SHELF:
        alarm->pub.shelved_until = UTC_NONE;
        timer_set(a, slot, ALARM_SHELF_SOON, MONO_NEVER);
        clear_mark(a, slot, ALERT_SHELVED, CHANGE_UNSHELVE, now, fx);
        break;
    case ALARM_OUT:
        alarm->pub.out_until = UTC_NONE;
        clear_mark(a, slot, ALERT_OUT_OF_SERVICE, CHANGE_BACK, now, fx);
        break;
    case ALARM_SHELF_SOON:
        if (a->remark != NULL && alarm->pub.active)
            a->remark(a->context, slot, which, now, fx);
        break;
    case ALARM_CALM:
        calm_down(a, slot, now, fx);
        break;
    case ALARM_TIMERS:
        break;
    }
}

/* --- what people do --- */

static void sign(struct alarms *a, int slot, const struct command *c)
{
    struct alert *pub = &a->items[slot].pub;
    snprintf(pub->who, sizeof pub->who, "%s", c->who);
    snprintf(pub->why, sizeof pub->why, "%s", c->why);
    if (pub->marks & ALERT_BY_DESIGN)
        keep_signature(&a->items[slot]);
}

static enum status refuse(const struct alarms *a, int slot, const char *verb, const char *because,
                          struct why *why)
{
    const struct alert *pub = &a->items[slot].pub;
    return why_say(why, STATUS_REFUSED, "%s is %s: %s is refused, %s", a->site->alerts[slot].ref,
                   alert_state_name(pub->base, pub->marks), verb, because);
}

enum status alarm_ack(struct alarms *a, int slot, const struct command *c, struct now now, struct effects *fx,
                      struct why *why)
{
    struct alarm *alarm = &a->items[slot];
    if (alarm->pub.marks != 0)
        return refuse(a, slot, "acknowledge", "it is put aside and announces nothing", why);
    switch (alarm->pub.base) {
    case ALERT_UNACK:
        enter(a, slot, ALERT_ACKED, now);
        break;
    case ALERT_RTNUN:
        enter(a, slot, ALERT_NORM, now);
        break;
    case ALERT_LATUN:
        enter(a, slot, ALERT_LATAK, now);
        break;
    default:
        return refuse(a, slot, "acknowledge", "nothing waits to be acknowledged", why);
    }
    sign(a, slot, c);
    emit(a, slot, CHANGE_ACK, false, now, fx);
    settle_followers(a, slot, now, fx);
    return STATUS_OK;
}

enum status alarm_reset(struct alarms *a, int slot, const struct command *c, struct now now,
                        struct effects *fx, struct why *why)
{
    struct alarm *alarm = &a->items[slot];
    if (alarm->pub.marks != 0 || alarm->pub.base != ALERT_LATAK)
        return refuse(a, slot, "reset", "only a latched alert that is acknowledged and gone can be reset",
                      why);
    enter(a, slot, ALERT_NORM, now);
    sign(a, slot, c);
    emit(a, slot, CHANGE_RESET, false, now, fx);
    return STATUS_OK;
}

enum status alarm_shelve(struct alarms *a, int slot, const struct command *c, struct now now,
                         struct effects *fx, struct why *why)
{
    if (!(c->minutes > 0 && c->minutes <= SHELF_MOST_MIN))
        return why_say(
            why, STATUS_INVALID,
            "shelving needs \"minutes\" over 0 and at most %d (24 h); out of service is for longer",
            SHELF_MOST_MIN);
    if (!settings(a, slot)->enabled)
        return refuse(a, slot, "shelving", "it is switched off in the configuration", why);
    int64_t span = (int64_t)llround(c->minutes * (double)MS_PER_MIN);
    sign(a, slot, c);
    a->items[slot].pub.shelved_until = (utc_t){ now.utc.ms + span };
    timer_set(a, slot, ALARM_SHELF, mono_add(now.mono, span));
    timer_set(a, slot, ALARM_SHELF_SOON,
              span > ALARM_SOON_MS ? mono_add(now.mono, span - ALARM_SOON_MS) : MONO_NEVER);
    set_mark(a, slot, ALERT_SHELVED, CHANGE_SHELVE, now, fx);
    return STATUS_OK;
}

enum status alarm_unshelve(struct alarms *a, int slot, const struct command *c, struct now now,
                           struct effects *fx, struct why *why)
{
    if (!(a->items[slot].pub.marks & ALERT_SHELVED))
        return refuse(a, slot, "unshelve", "it is not shelved", why);
    sign(a, slot, c);
    timer_set(a, slot, ALARM_SHELF, MONO_NEVER);
    alarm_due(a, slot, ALARM_SHELF, now, fx);
    return STATUS_OK;
}

enum status alarm_out(struct alarms *a, int slot, const struct command *c, struct now now, struct effects *fx,
                      struct why *why)
{
    if (c->minutes <= 0)
        return why_say(why, STATUS_INVALID,
                       "\"minutes\" must be over 0, or left out for until further notice");
    if (!settings(a, slot)->enabled)
        return refuse(a, slot, "out of service", "it is switched off in the configuration", why);
    sign(a, slot, c);
    mono_t until = MONO_NEVER;
    a->items[slot].pub.out_until = UTC_NONE;
    if (!isnan(c->minutes)) {
        int64_t span = (int64_t)llround(c->minutes * (double)MS_PER_MIN);
        until = mono_add(now.mono, span);
        a->items[slot].pub.out_until = (utc_t){ now.utc.ms + span };
    }
    timer_set(a, slot, ALARM_OUT, until);
    set_mark(a, slot, ALERT_OUT_OF_SERVICE, CHANGE_OUT, now, fx);
    return STATUS_OK;
}

enum status alarm_back(struct alarms *a, int slot, const struct command *c, struct now now,
                       struct effects *fx, struct why *why)
{
    if (!(a->items[slot].pub.marks & ALERT_OUT_OF_SERVICE))
        return refuse(a, slot, "back in service", "it is not out of service", why);
    sign(a, slot, c);
    timer_set(a, slot, ALARM_OUT, MONO_NEVER);
    alarm_due(a, slot, ALARM_OUT, now, fx);
    return STATUS_OK;
}

/* --- state --- */

static void visit_timer(struct alarms *a, int slot, enum alarm_timer which, struct pack *p, struct now now)
{
    mono_t due = timers_due(a->timers, timer_id(a, slot, which));
    bool set = due.ms != MONO_NEVER.ms;
    pack_bool(p, &set);
    if (!set)
        return;
    pack_mono(p, &due, now);
    if (!p->reading || p->bad)
        return;
    /* Missed reminders become one, shelves that ran out end now; a delay that ran out keeps its own time. */
    if (which != ALARM_DELAY && due.ms < now.mono.ms)
        due = now.mono;
    timer_set(a, slot, which, due);
}

void alarm_visit(struct alarms *a, int slot, struct pack *p, struct now now)
{
    struct alarm *alarm = &a->items[slot];
    struct alert *pub = &alarm->pub;
    int32_t base = (int32_t)pub->base, condition = (int32_t)alarm->condition, leader = pub->leader;
    pack_i32(p, &base, 0, ALERT_LATAK);
    pack_u32(p, &pub->marks);
    pack_i32(p, &condition, TRI_UNKNOWN, TRI_YES);
    pack_bool(p, &pub->active);
    pack_bool(p, &pub->unknown);
    pack_bool(p, &pub->chattering);
    pack_bool(p, &alarm->told);
    pack_bool(p, &alarm->hushed);
    pack_utc(p, &pub->since);
    pack_utc(p, &pub->raised_at);
    pack_utc(p, &pub->due);
    approach_visit(&pub->forecast, a->site, p);
    pack_utc(p, &pub->shelved_until);
    pack_utc(p, &pub->out_until);
    pack_f64(p, &pub->value, -1e12, 1e12);
    pack_f64(p, &pub->limit, -1e12, 1e12);
    pack_u32(p, &pub->raises);
    pack_u32(p, &pub->reminders);
    pack_i32(p, &leader, -1, a->site->alert_count - 1);
    pack_text(p, pub->cause, sizeof pub->cause);
    pack_text(p, pub->evidence, sizeof pub->evidence);
    pack_text(p, pub->action, sizeof pub->action);
    pack_text(p, pub->also, sizeof pub->also);
    pack_text(p, pub->who, sizeof pub->who);
    pack_text(p, pub->why, sizeof pub->why);
    pack_text(p, alarm->aside_who, sizeof alarm->aside_who);
    pack_text(p, alarm->aside_why, sizeof alarm->aside_why);
    if (!p->bad) {
        pub->base = (enum alert_base)base;
        alarm->condition = (enum tri)condition;
        pub->leader = leader;
        pub->marks &= ALERT_SHELVED | ALERT_BY_DESIGN | ALERT_OUT_OF_SERVICE;
    }
    for (int i = 0; i < ALARM_TIMERS; i++)
        visit_timer(a, slot, (enum alarm_timer)i, p, now);
}
