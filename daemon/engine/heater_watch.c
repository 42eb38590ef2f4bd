/* The minute's look at a tank's heater: learn when all is well, judge always. */
#include "engine/heater_learn.h"
#include "engine/state.h"

#include <math.h>

#define LEARN_EVERY_MS MS_PER_HOUR
#define WELL_SHARE     0.85
#define BACK_GAP_MS    (5 * MS_PER_MIN)
#define HABIT_MS       (2 * MS_PER_DAY)
#define SINKS_SPREADS  2.0
#define NO_POWER_W     1.0

const struct window *day_window(const struct engine *e, int place, enum quantity q)
{
    int s = speaking_stream(e, place, q);
    return s < 0 || !e->streams[s].seen ? NULL : &e->streams[s].day;
}

bool tank_is_heated(const struct engine *e, int tank)
{
    return slot_find(e->site, e->site->tanks[tank].place, KIND_HEATER_DEAD, Q_COUNT) >= 0;
}

/* Its plug is measured and gives less than half of what the heater takes when it is on. */
static bool is_unpowered(const struct engine *e, int tank)
{
    const struct tank *t = &e->site->tanks[tank];
    double power_w = value_now(e, t->place, Q_POWER);
    return power_w < (isnan(t->heater_w) ? NO_POWER_W : t->heater_w / 2);
}

bool heater_view_of(struct engine *e, int tank, utc_t now, struct heater_view *view)
{
    int place = e->site->tanks[tank].place;
    if (isnan(value_now(e, place, Q_TEMP)))
        return false;
    const struct window *room =
        isnan(value_now(e, e->site->room_place, Q_TEMP)) ? NULL : day_window(e, e->site->room_place, Q_TEMP);
    heater_look(&e->tanks[tank].heater, &e->site->tanks[tank], room, now, view);
    view->unpowered = is_unpowered(e, tank);
    view->least_c = e->site->tanks[tank].band[Q_TEMP].lo;
    view->most_c = e->site->tanks[tank].band[Q_TEMP].hi;
    return !isnan(view->temp_c);
}

static void set(struct engine *e, int place, enum alert_kind kind, enum heater_cause wanted,
                enum heater_cause cause, const struct heater_view *view, double limit, struct now now,
                struct effects *fx)
{
    int slot = slot_find(e->site, place, kind, Q_COUNT);
    enum tri condition = cause == wanted ? TRI_YES : cause == HEATER_UNKNOWN ? TRI_KEEP : TRI_NO;
    bool warms_again = heater_gives(view) && view->slope_c_h > 0;
    bool cools_again = heater_is_off(view) && view->slope_c_h < 0;
    /* Still out of the band, but on its way back. */
    if (condition == TRI_KEEP &&
        ((wanted == HEATER_DEAD && warms_again) || (wanted == HEATER_STUCK && cools_again)))
        condition = TRI_NO;
    alarm_judge(&e->alarms, slot, condition, view->temp_c, limit, now, fx);
}

/* History that a fault has spoilt teaches the wrong lesson. */
static bool in_trouble(const struct engine *e, int place)
{
    static const enum alert_kind faults[] = { KIND_HEATER_DEAD, KIND_HEATER_STUCK, KIND_HEATER_WEAK,
                                              KIND_OUT_OF_WATER };
    for (unsigned i = 0; i < sizeof faults / sizeof *faults; i++)
        if (alert_is_active(e, place, faults[i], Q_COUNT))
            return true;
    const struct tank *t = &e->site->tanks[e->site->places[place].tank];
    return alert_is_active(e, place, KIND_LOW, Q_TEMP) || alert_is_active(e, place, KIND_HIGH, Q_TEMP) ||
           alert_is_active(e, place, KIND_STUCK, Q_TEMP) ||
           alert_is_active(e, t->circuit, KIND_POWER_LOST, Q_COUNT) ||
           alert_is_active(e, t->rack, KIND_POWER_LOST, Q_COUNT) ||
           alert_is_active(e, e->site->room_place, KIND_ROOM_COLD, Q_COUNT) ||
           alert_is_active(e, e->site->room_place, KIND_ROOM_HOT, Q_COUNT);
}

/* The way back from a fault belongs to it; but where the tank stays for long is its new habit. */
static bool comes_back(const struct heater *h, enum heater_cause cause, utc_t now)
{
    return cause != HEATER_FINE && utc_within(h->trouble_at, now, BACK_GAP_MS) &&
           utc_within(h->learnt_at, now, HABIT_MS);
}

/* It may be the beginning of a fault that no alert tells yet; but where the tank stays for long is its new
 * habit. */
static bool sinks(const struct heater *h, const struct heater_view *view, utc_t now)
{
    return view->below > SINKS_SPREADS && utc_within(h->learnt_at, now, HABIT_MS);
}

static bool time_to_learn(struct engine *e, int tank, enum heater_cause cause, const struct heater_view *view,
                          struct now now)
{
    struct tank_state *t = &e->tanks[tank];
    /* Before it knows the heater it may be its own judgement that is wrong, and learning mends it. */
    bool knows = t->heater.heating_seen;
    if (knows && (in_trouble(e, e->site->tanks[tank].place) || comes_back(&t->heater, cause, now.utc)))
        t->heater.trouble_at = now.utc;
    if (t->in_service || t->heater.trouble_at.ms == now.utc.ms || (knows && sinks(&t->heater, view, now.utc)))
        return false;
    return !utc_within(t->heater.learnt_at, now.utc, LEARN_EVERY_MS - 1);
}

/* A dead or weak heater is well again when it was seen to heat as it used to, not when the room has warmed
 * the tank. */
static bool gives_heat_again(const struct engine *e, int place, const struct heater *h,
                             const struct heater_view *view)
{
    double wanted = 0;
    if (alert_is_active(e, place, KIND_HEATER_DEAD, Q_COUNT))
        wanted = h->full_c_h / 2;
    if (alert_is_active(e, place, KIND_HEATER_WEAK, Q_COUNT))
        wanted = WELL_SHARE * h->full_c_h;
    return !(view->heat_c_h < wanted) || wanted == 0;
}

/* It has just begun or ended to give heat, against what is told of it: a dead one does not begin, a weak one
 * gives what it has all the time, one that is stuck does not pause, nor begin anew above its band. Somebody
 * has turned the dial. */
static bool contradicts(const struct engine *e, int place, const struct heater *h,
                        const struct heater_view *view, utc_t now)
{
    if (h->heating)
        return alert_is_active(e, place, KIND_HEATER_DEAD, Q_COUNT) ||
               alert_is_active(e, place, KIND_HEATER_WEAK, Q_COUNT) ||
               (h->began_above && heater_refuted_lately(h, now));
    return alert_is_active(e, place, KIND_HEATER_STUCK, Q_COUNT) && view->slope_c_h < 0;
}

void heater_watch(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    int place = e->site->tanks[tank].place;
    struct heater_view view;
    if (!tank_is_heated(e, tank) || !heater_view_of(e, tank, now.utc, &view))
        return;
    bool heated = t->heater.heating;
    enum heater_cause cause = heater_judge(&t->heater, &view, now.utc);
    if (heated != t->heater.heating && contradicts(e, place, &t->heater, &view, now.utc))
        heater_refute(&t->heater, now.utc);
    if (cause == HEATER_FINE && !gives_heat_again(e, place, &t->heater, &view))
        cause = HEATER_UNKNOWN;
    bool was_dead = alert_is_active(e, place, KIND_HEATER_DEAD, Q_COUNT);
    if (cause == HEATER_WEAK && was_dead)
        cause = HEATER_UNKNOWN; /* told already, and as the graver one */
    if (cause == HEATER_FINE)
        t->heater.held_min = 0;
    else if (cause == HEATER_DEAD && !was_dead && power_holds(e, tank, now))
        cause = HEATER_UNKNOWN;
    t->heater.cause = (int32_t)cause;
    set(e, place, KIND_HEATER_DEAD, HEATER_DEAD, cause, &view, view.band_lo_c, now, fx);
    if (was_dead && e->alarms.items[slot_find(e->site, place, KIND_HEATER_DEAD, Q_COUNT)].condition == TRI_NO)
        t->heater.weak_min = 0; /* nor is it news once that is over */
    set(e, place, KIND_HEATER_WEAK, HEATER_WEAK, cause, &view, view.band_lo_c, now, fx);
    set(e, place, KIND_HEATER_STUCK, HEATER_STUCK, cause, &view, view.band_hi_c, now, fx);
    if (time_to_learn(e, tank, cause, &view, now))
        heater_learn(&t->heater, day_window(e, place, Q_TEMP), day_window(e, e->site->room_place, Q_TEMP),
                     now.utc);
}
