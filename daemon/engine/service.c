/* Service windows: work on a tank is going on. What it will disturb is suppressed by design; the window ends
 * by itself. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SERVICE_USUAL_MIN 60.0

/* Work in the water disturbs everything measured in it; heater faults and silence still mean something, but
 * only once the work is done. Leaks are never suppressed. */
static void suppress_all(struct engine *e, int tank, bool on, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place;
    for (int i = e->site->first_alert[place]; i < e->site->first_alert[place + 1]; i++)
        if (e->site->alerts[i].kind != KIND_LEAK)
            alarm_suppress(&e->alarms, i, on, on ? e->tanks[tank].service_why : "service window ended", now,
                           fx);
}

void service_begin(struct engine *e, int tank, const struct command *c, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    double minutes = isnan(c->minutes) ? SERVICE_USUAL_MIN : c->minutes;
    int64_t span = (int64_t)llround(minutes * (double)MS_PER_MIN);
    t->in_service = true;
    t->service_until = (utc_t){ now.utc.ms + span };
    snprintf(t->service_why, sizeof t->service_why, "service: %s",
             c->what[0] != '\0' ? c->what : "work on the tank");
    tank_timer_set(e, tank, TANK_SERVICE, mono_add(now.mono, span));
    suppress_all(e, tank, true, now, fx);
    event_add(fx, now, EVENT_SERVICE_BEGIN, e->site->tanks[tank].place, Q_COUNT, minutes,
              "%s%s%s; ends by itself in %.0f min", t->service_why, c->who[0] != '\0' ? ", by " : "", c->who,
              minutes);
    tank_changed(fx, now, tank);
}

void service_end(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    t->in_service = false;
    t->service_until = UTC_NONE;
    tank_timer_set(e, tank, TANK_SERVICE, MONO_NEVER);
    suppress_all(e, tank, false, now, fx);
    event_add(fx, now, EVENT_SERVICE_END, e->site->tanks[tank].place, Q_COUNT, NAN, "service window ended");
    tank_changed(fx, now, tank);
}
