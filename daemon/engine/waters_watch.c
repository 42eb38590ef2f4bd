/* Every ten minutes: what tanks of one water do together, and what the sources give. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "engine/series.h"
#include "engine/source_watch.h"

#define LOOK_EVERY_MIN    10
#define BATCH_SPAN_MS     MS_PER_DAY
#define BATCH_LEAST_TANKS 2
#define AWAY_SHARE        0.015 /* of the target */

/* --- a bad batch --- */

/* A change that moved the tank away from its water's target to where it was not before. +1 up, -1 down. */
static int strayed(const struct engine *e, int tank, utc_t now, int64_t span_ms)
{
    const struct solids_step *step = solids_last_step(&e->tanks[tank].solids);
    const struct water *water = &e->site->waters[e->site->tanks[tank].water];
    double target = water->target[Q_EC];
    if (step == NULL || isnan(target) || !utc_within(step->t, now, span_ms))
        return 0;
    double away = fabs(step->after - target) - fabs(step->before - target);
    if (away < AWAY_SHARE * target || !solids_step_is_new(e, tank, step))
        return 0;
    return step->after > step->before ? 1 : -1;
}

static int water_place(const struct site *site, int water)
{
    for (int p = 0; p < site->place_count; p++)
        if (site->places[p].kind == PLACE_WATER && strcmp(site->places[p].id, site->waters[water].id) == 0)
            return p;
    return -1;
}

int batch_of(const struct engine *e, int tank)
{
    int water = e->site->tanks[tank].water, place = water < 0 ? -1 : water_place(e->site, water);
    int slot = place < 0 ? -1 : slot_find(e->site, place, KIND_BATCH, Q_COUNT);
    if (slot < 0 || !e->alarms.items[slot].pub.active)
        return -1;
    utc_t latest = { e->alarms.items[slot].pub.raised_at.ms + BATCH_SPAN_MS };
    return strayed(e, tank, latest, 2 * BATCH_SPAN_MS) != 0 ? slot : -1;
}

/* By the usual change of that tank: how far the new water was from the target, as a share; NaN. */
static double batch_error(const struct engine *e, int tank)
{
    const struct solids_step *step = solids_last_step(&e->tanks[tank].solids);
    const struct tank *t = &e->site->tanks[tank];
    double target = e->site->waters[t->water].target[Q_EC], share = t->change_l_week / t->volume_l;
    return (step->before + (step->after - step->before) / share) / target - 1;
}

static void say_batch(const struct engine *e, int water, int way, utc_t now, char *buf, size_t cap)
{
    struct text out = text_over(buf, cap);
    double errors[SERIES_HOURS];
    int count = 0;
    for (int i = 0; i < e->site->tank_count; i++) {
        if (e->site->tanks[i].water != water || strayed(e, i, now, BATCH_SPAN_MS) != way)
            continue;
        text_printf(&out, "%s%s %+.0f µS/cm", out.len > 0 ? ", " : "", e->site->tanks[i].id,
                    e->tanks[i].last_step_ec);
        if (count < SERIES_HOURS)
            errors[count++] = batch_error(e, i);
    }
    text_printf(&out, " within a day, away from the target %.0f µS/cm", e->site->waters[water].target[Q_EC]);
    double error = series_median(errors, count, 1);
    if (!isnan(error))
        text_printf(&out, "; by the usual change the new water was about %.0f %% too %s", fabs(100 * error),
                    error > 0 ? "strong" : "weak");
}

static void watch_batch(struct engine *e, int place, int water, struct now now, struct effects *fx)
{
    int up = 0, down = 0, slot = slot_find(e->site, place, KIND_BATCH, Q_COUNT);
    if (slot < 0)
        return;
    for (int i = 0; i < e->site->tank_count; i++) {
        int way = e->site->tanks[i].water == water ? strayed(e, i, now.utc, BATCH_SPAN_MS) : 0;
        up += way > 0;
        down += way < 0;
    }
    int most = up > down ? up : down;
    struct alert *pub = &e->alarms.items[slot].pub;
    bool joined = pub->active && most > pub->value;
    if (most >= BATCH_LEAST_TANKS)
        say_batch(e, water, up > down ? 1 : -1, now.utc, pub->evidence, sizeof pub->evidence);
    alarm_judge(&e->alarms, slot, most >= BATCH_LEAST_TANKS ? TRI_YES : TRI_NO, most, BATCH_LEAST_TANKS, now,
                fx);
    if (joined)
        alarm_update(&e->alarms, slot, now, fx);
}

void waters_watch(struct engine *e, struct now now, struct effects *fx)
{
    if ((now.utc.ms / MS_PER_MIN) % LOOK_EVERY_MIN != 0)
        return;
    for (int p = 0; p < e->site->place_count; p++) {
        const struct place *place = &e->site->places[p];
        if (place->kind == PLACE_SOURCE)
            source_watch(e, p, now, fx);
    }
    for (int w = 0; w < e->site->water_count; w++)
        if (water_place(e->site, w) >= 0)
            watch_batch(e, water_place(e->site, w), w, now, fx);
}
