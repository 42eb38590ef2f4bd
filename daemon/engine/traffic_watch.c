/* Joins the measure of what is asked of people to the life of the alerts. */
#include "engine/state.h"

#include <math.h>

#define MIN_OF(ms) ((double)(ms) / (double)MS_PER_MIN)

static void say_chatter(const struct engine *e, int slot, struct now now, struct effects *fx)
{
    const struct alert_slot *s = &e->site->alerts[slot];
    const struct traffic_alert *a = &e->traffic.alerts[slot];
    char span[40];
    span_format(a->raised[0].ms - a->raised[TRAFFIC_CHATTER - 1].ms, span, sizeof span);
    event_add(
        fx, now, EVENT_CHATTER_BEGIN, s->place, s->quantity, TRAFFIC_CHATTER,
        "%s chatters: raised %d times within %s; told once more, then quiet until it is calm for %d min",
        s->ref, TRAFFIC_CHATTER, span, (int)MIN_OF(TRAFFIC_CALM_MS));
}

static void say_flood(struct engine *e, struct now now, struct effects *fx)
{
    event_add(
        fx, now, EVENT_FLOOD_BEGIN, e->site->service_place, Q_COUNT, e->traffic.flood_raises,
        "%u alerts were raised within %d min: one digest tells of them, only high priority is told by itself "
        "until it is calmer",
        e->traffic.flood_raises, (int)MIN_OF(TRAFFIC_FLOOD_MS));
}

/* Only what says how the water is, not why: a cause is a new one each time. What is grave is told each time,
 * but for pH, which plants lower every night. */
static bool can_be_habit(const struct alert_slot *s)
{
    return kind_info(s->kind)->symptom && (s->settings.priority < PRIORITY_HIGH || s->quantity == Q_PH);
}

static bool is_grave_limit(const struct alert_slot *s)
{
    return kind_info(s->kind)->symptom && !can_be_habit(s);
}

static void say_habit(const struct engine *e, int slot, struct now now, struct effects *fx)
{
    const struct alert_slot *s = &e->site->alerts[slot];
    char span[40];
    span_format(now.mono.ms - e->habits[slot].raised[HABIT_RAISES - 1].ms, span, sizeof span);
    event_add(fx, now, EVENT_HABIT, s->place, s->quantity, HABIT_RAISES,
              "%s has come %d times within %s: told every third day from now on, or when it is worse", s->ref,
              HABIT_RAISES, span);
}

static bool habit_lets_pass(struct engine *e, int slot, enum traffic_kind kind, struct now now,
                            struct effects *fx)
{
    struct habit *h = &e->habits[slot];
    struct alert *pub = &e->alarms.items[slot].pub;
    bool began = false;
    if (kind != TRAFFIC_OTHER && is_grave_limit(&e->site->alerts[slot]))
        habit_note(h, fabs(pub->value - pub->limit), now.mono);
    if (kind == TRAFFIC_OTHER || !can_be_habit(&e->site->alerts[slot]))
        return !h->quiet;
    if (kind == TRAFFIC_UNMARKED) {
        h->quiet = false;
        return true;
    }
    bool pass = habit_admits(h, fabs(pub->value - pub->limit), now.mono, &began);
    pub->habitual = h->is_one;
    if (began)
        say_habit(e, slot, now, fx);
    return pass;
}

bool traffic_watch_admit(void *engine, int slot, enum alert_change change, struct now now, struct effects *fx)
{
    struct engine *e = engine;
    enum traffic_kind kind = change != CHANGE_RAISE ? TRAFFIC_OTHER
                             : e->alarms.unmarking  ? TRAFFIC_UNMARKED
                                                    : TRAFFIC_RAISE;
    enum priority priority = e->site->alerts[slot].settings.priority;
    if (!habit_lets_pass(e, slot, kind, now, fx))
        return false;
    struct traffic_verdict v = traffic_admit(&e->traffic, slot, kind, priority, now.mono);
    mono_t calm_at = traffic_calm_at(&e->traffic, slot);
    if (calm_at.ms != MONO_NEVER.ms)
        alarm_chatters(&e->alarms, slot, calm_at);
    if (v.chatter_began)
        say_chatter(e, slot, now, fx);
    if (v.flood_began)
        say_flood(e, now, fx);
    if (e->traffic.flood)
        timers_set(&e->timers, e->flood_timer, traffic_flood_end_at(&e->traffic));
    return v.announce;
}

void traffic_watch_remark(void *engine, int slot, enum alarm_timer which, struct now now, struct effects *fx)
{
    struct engine *e = engine;
    const struct alert_slot *s = &e->site->alerts[slot];
    const struct alert *pub = &e->alarms.items[slot].pub;
    if (which == ALARM_CALM) {
        traffic_calm(&e->traffic, slot);
        event_add(fx, now, EVENT_CHATTER_END, s->place, s->quantity, NAN, "%s is calm again and %s", s->ref,
                  pub->active ? "stands" : "over");
    } else {
        event_add(fx, now, EVENT_SHELF_ENDS, s->place, s->quantity, MIN_OF(ALARM_SOON_MS),
                  "%s is active and no longer put aside in %d min (by %s: %s)", s->ref,
                  (int)MIN_OF(ALARM_SOON_MS), pub->who[0] != '\0' ? pub->who : "nobody named",
                  pub->why[0] != '\0' ? pub->why : "no reason given");
    }
}

void traffic_watch_flood_due(struct engine *e, struct now now, struct effects *fx)
{
    char span[40];
    span_format(now.mono.ms - e->traffic.flood_since.ms, span, sizeof span);
    event_add(fx, now, EVENT_FLOOD_END, e->site->service_place, Q_COUNT, e->traffic.flood_raises,
              "calmer again after %s with %u alerts: each is told by itself from now on", span,
              e->traffic.flood_raises);
    traffic_flood_end(&e->traffic);
}

void traffic_watch_restored(struct engine *e, struct now now)
{
    mono_t end = traffic_flood_end_at(&e->traffic);
    if (end.ms != MONO_NEVER.ms && end.ms < now.mono.ms)
        end = now.mono;
    timers_set(&e->timers, e->flood_timer, end);
    for (int i = 0; i < e->site->alert_count; i++) {
        bool marked = e->alarms.items[i].pub.chattering;
        if (marked != e->traffic.alerts[i].chattering) {
            traffic_forget(&e->traffic, i);
            e->alarms.items[i].pub.chattering = false;
            timers_set(&e->timers, i * ALARM_TIMERS + ALARM_CALM, MONO_NEVER);
        }
    }
}

static bool stands_long(const struct alert *pub, struct now now)
{
    return pub->active && now.utc.ms - pub->raised_at.ms > ENGINE_STANDING_MS;
}

struct engine_load engine_load(const struct engine *e, struct now now)
{
    struct engine_load load = { .chattering = traffic_chattering(&e->traffic),
                                .raises_day = traffic_raises_day(&e->traffic, now.mono),
                                .high_day = traffic_high_day(&e->traffic, now.mono),
                                .flood = e->traffic.flood };
    for (int i = 0; i < e->site->alert_count; i++) {
        const struct alert *pub = &e->alarms.items[i].pub;
        load.shelved += (pub->marks & ALERT_SHELVED) != 0;
        load.out_of_service += (pub->marks & ALERT_OUT_OF_SERVICE) != 0;
        load.active += pub->active && pub->marks == 0;
        load.standing += pub->marks == 0 && stands_long(pub, now);
    }
    return load;
}
