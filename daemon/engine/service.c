/* Service windows: work on a tank is going on. What it will disturb is suppressed by design; the window ends
 * by itself, and what the work changed is measured, told, and left out where the keeper means the tank's own
 * ways. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "base/text.h"

#define USUAL_MIN 60.0
#define SETTLE_MS (2 * MS_PER_HOUR) /* the tank finds back to its own ways */
#define STEP_MS   (15 * MS_PER_MIN) /* means before and after */

/* Heater faults and silence still mean something, but only once the work is done. Leaks are never suppressed,
 * and an hour's work neither feigns nor hides what has crept for days. */
static bool is_disturbed(const struct alert_slot *slot)
{
    switch (slot->kind) {
    case KIND_LEAK:
    case KIND_TOPOFF_STOPPED:
    case KIND_TOPOFF_MINERALS:
    case KIND_WASTE:
    case KIND_DRIFTING:
        return false;
    default:
        return true;
    }
}

static void suppress_all(struct engine *e, int tank, const char *who, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place;
    for (int i = e->site->first_alert[place]; i < e->site->first_alert[place + 1]; i++)
        if (is_disturbed(&e->site->alerts[i]))
            alarm_suppress(&e->alarms, i, true, who, e->tanks[tank].service_why, now, fx);
}

/* The most urgent first, a known cause before its symptoms: it leads, and what else the work left behind is
 * listed under it. */
static int urgency(const struct alert_slot *slot)
{
    return 2 * (int)slot->settings.priority + !kind_info(slot->kind)->symptom;
}

static void release_all(struct engine *e, int tank, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place;
    for (int u = 2 * PRIORITY_COUNT; u >= 0; u--)
        for (int i = e->site->first_alert[place]; i < e->site->first_alert[place + 1]; i++)
            if (urgency(&e->site->alerts[i]) == u)
                alarm_suppress(&e->alarms, i, false, "", "service window ended", now, fx);
}

/* --- the windows of the last day --- */

static void keep_span(struct tank_state *t, utc_t begin)
{
    if (t->span_count == SERVICE_SPANS) {
        memmove(t->spans, t->spans + 1, (SERVICE_SPANS - 1) * sizeof *t->spans);
        t->span_count--;
    }
    t->spans[t->span_count++] = (struct service_span){ begin, UTC_NONE };
}

static utc_t end_of(const struct service_span *span)
{
    return utc_is_set(span->end) ? span->end : UTC_CEIL;
}

bool service_disturbs(const struct engine *e, int tank, utc_t t, int64_t span_ms)
{
    const struct tank_state *state = tank < 0 ? NULL : &e->tanks[tank];
    for (int i = 0; state != NULL && i < state->span_count; i++)
        if (state->spans[i].begin.ms <= t.ms && t.ms - span_ms < end_of(&state->spans[i]).ms)
            return true;
    return false;
}

/* The bin in which the work began is spoilt already. */
static double mean_before(const struct window *w, const struct service_span *span)
{
    return window_mean_over(w, (utc_t){ span->begin.ms - w->bin_ms }, STEP_MS);
}

/* What the work moved, from the mean before to the mean once the tank has settled; 0 while not known. */
static double settled_step(const struct window *w, const struct service_span *span)
{
    utc_t settled = { end_of(span).ms + SETTLE_MS + STEP_MS };
    double step = window_mean_over(w, settled, STEP_MS) - mean_before(w, span);
    return isnan(step) ? 0 : step;
}

static bool in_work(const struct tank_state *t, int64_t begin_ms, int64_t bin_ms)
{
    for (int i = 0; i < t->span_count; i++)
        if (begin_ms + bin_ms > t->spans[i].begin.ms && begin_ms < end_of(&t->spans[i]).ms + SETTLE_MS)
            return true;
    return false;
}

double service_range(const struct engine *e, int tank, const struct window *w, utc_t to, int64_t span_ms)
{
    const struct tank_state *t = &e->tanks[tank];
    struct window_range range = window_range(w, to, span_ms);
    double steps[SERVICE_SPANS], lo = NAN, hi = NAN, whole = range.mean_hi - range.mean_lo;
    if (!utc_is_set(to) || !service_disturbs(e, tank, to, span_ms + SETTLE_MS))
        return whole;
    for (int i = 0; i < t->span_count; i++)
        steps[i] = settled_step(w, &t->spans[i]);
    for (int64_t ms = to.ms; ms > to.ms - span_ms; ms -= w->bin_ms) {
        const struct window_bin *bin = window_at(w, (utc_t){ ms });
        if (bin == NULL || in_work(t, bin->index * w->bin_ms, w->bin_ms))
            continue;
        double v = window_calm_mean(w, (utc_t){ bin->index * w->bin_ms });
        for (int i = 0; i < t->span_count; i++)
            v += ms < t->spans[i].begin.ms ? steps[i] : 0;
        lo = fmin(lo, v);
        hi = fmax(hi, v);
    }
    /* Where a thermostat switches widely, the step is partly its swing: with the work it was never more. */
    return hi - lo > whole ? whole : hi - lo;
}

/* --- what the work changed, told a while after its end --- */

static void put_step(const struct engine *e, int place, enum quantity q, const struct service_span *span,
                     utc_t now, double *step, struct text *out)
{
    const struct quantity_info *info = quantity_info(q);
    const struct window *w = day_window(e, place, q);
    char from[32], to[32], by[32];
    if (w == NULL)
        return;
    double before = mean_before(w, span), after = window_mean_over(w, now, STEP_MS);
    *step = after - before;
    if (!(fabs(*step) > info->deadband))
        return;
    number_format(from, sizeof from, before, info->decimals);
    number_format(to, sizeof to, after, info->decimals);
    number_format(by, sizeof by, fabs(*step), info->decimals);
    text_printf(out, "%s%s %s %s%s%s, from %s to %s", out->len > 0 ? "; " : "", info->title,
                *step < 0 ? "fell by" : "rose by", by, info->unit[0] != '\0' ? " " : "", info->unit, from,
                to);
}

void service_learn(struct engine *e, int tank, struct now now, struct effects *fx)
{
    static const enum quantity watched[] = { Q_TEMP, Q_EC, Q_TDS, Q_PH };
    struct tank_state *t = &e->tanks[tank];
    char said[160];
    struct text out = text_over(said, sizeof said);
    double step = NAN, ec = NAN;
    if (t->span_count == 0 || t->in_service)
        return;
    for (unsigned i = 0; i < sizeof watched / sizeof *watched; i++) {
        put_step(e, e->site->tanks[tank].place, watched[i], &t->spans[t->span_count - 1], now.utc, &step,
                 &out);
        if (watched[i] == Q_EC)
            ec = step;
    }
    if (out.len > 0)
        event_add(fx, now, EVENT_SERVICE_STEP, e->site->tanks[tank].place, isnan(ec) ? Q_COUNT : Q_EC, ec,
                  "since the work %s", said);
}

/* --- begin and end --- */

void service_begin(struct engine *e, int tank, const struct command *c, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    double minutes = isnan(c->minutes) ? USUAL_MIN : c->minutes;
    int64_t span = (int64_t)llround(minutes * (double)MS_PER_MIN);
    if (!t->in_service)
        keep_span(t, now.utc);
    t->in_service = true;
    t->service_until = (utc_t){ now.utc.ms + span };
    snprintf(t->service_why, sizeof t->service_why, "service: %s%s%.48s",
             c->what[0] != '\0' ? c->what : "work on the tank", c->why[0] != '\0' ? ", " : "", c->why);
    tank_timer_set(e, tank, TANK_SERVICE, mono_add(now.mono, span));
    tank_timer_set(e, tank, TANK_STEP, MONO_NEVER);
    suppress_all(e, tank, c->who, now, fx);
    event_add(fx, now, EVENT_SERVICE_BEGIN, e->site->tanks[tank].place, Q_COUNT, minutes,
              "%s%s%s; ends by itself in %.0f min", t->service_why, c->who[0] != '\0' ? ", by " : "", c->who,
              minutes);
    tank_changed(fx, now, tank);
}

void service_end(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    t->in_service = false;
    t->service_until = now.utc;
    t->service_ends = true;
    if (t->span_count > 0)
        t->spans[t->span_count - 1].end = now.utc;
    if (t->span_count > 0)
        solids_served(&t->solids, t->spans[t->span_count - 1].begin, now.utc);
    tank_timer_set(e, tank, TANK_SERVICE, MONO_NEVER);
    tank_timer_set(e, tank, TANK_STEP, mono_add(now.mono, STEP_MS));
    release_all(e, tank, now, fx);
    t->service_ends = false;
    t->service_until = UTC_NONE;
    event_add(fx, now, EVENT_SERVICE_END, e->site->tanks[tank].place, Q_COUNT, NAN, "service window ended");
    tank_changed(fx, now, tank);
}
