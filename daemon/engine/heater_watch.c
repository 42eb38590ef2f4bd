/* The minute's look at a tank's heater: learn when all is well, judge always. */
#include "engine/state.h"

#include <math.h>

#define LEARN_EVERY_MS MS_PER_HOUR

static const struct window *window_of(const struct engine *e, int place, enum quantity q)
{
    int s = speaking_stream(e, place, q);
    return s < 0 || !e->streams[s].seen ? NULL : &e->streams[s].day;
}

static void set(struct engine *e, int place, enum alert_kind kind, enum tri condition,
                const struct heater_view *view, double limit, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, kind, Q_COUNT);
    if (slot >= 0)
        alarm_judge(&e->alarms, slot, condition, view->temp_c, limit, now, fx);
}

static enum tri condition_for(enum heater_cause cause, enum heater_cause wanted)
{
    if (cause == wanted)
        return TRI_YES;
    return cause == HEATER_UNKNOWN ? TRI_KEEP : TRI_NO;
}

static bool time_to_learn(const struct tank_state *t, enum heater_cause cause, struct now now)
{
    if (cause == HEATER_DEAD || cause == HEATER_STUCK || cause == HEATER_WEAK || t->in_service)
        return false;
    return !utc_is_set(t->heater.learnt_at) || now.utc.ms - t->heater.learnt_at.ms >= LEARN_EVERY_MS ||
           now.utc.ms < t->heater.learnt_at.ms;
}

void heater_watch(struct engine *e, int tank, struct now now, struct effects *fx)
{
    const struct tank *site = &e->site->tanks[tank];
    struct tank_state *t = &e->tanks[tank];
    int stream = site_stream_of(e->site, site->place, Q_TEMP);
    if (stream < 0 || slot_find(e->site, site->place, KIND_HEATER_DEAD, Q_COUNT) < 0)
        return;
    const struct window *temp = window_of(e, site->place, Q_TEMP);
    if (temp == NULL || isnan(value_now(e, site->place, Q_TEMP)))
        return;
    const struct window *room = window_of(e, e->site->room_place, Q_TEMP);
    struct heater_view view;
    heater_look(&t->heater, site, temp, room, now.utc, &view);
    enum heater_cause cause = heater_judge(&t->heater, &view);
    t->heater.cause = (int32_t)cause;
    set(e, site->place, KIND_HEATER_DEAD, condition_for(cause, HEATER_DEAD), &view, view.band_lo_c, now, fx);
    set(e, site->place, KIND_HEATER_WEAK, condition_for(cause, HEATER_WEAK), &view, view.band_lo_c, now, fx);
    set(e, site->place, KIND_HEATER_STUCK, condition_for(cause, HEATER_STUCK), &view, view.band_hi_c, now,
        fx);
    if (time_to_learn(t, cause, now))
        heater_learn(&t->heater, temp, room, now.utc);
}
