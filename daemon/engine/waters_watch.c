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
#define MOVES_MS          (2 * MS_PER_HOUR)
#define MOVES_MEAN_MS     (15 * MS_PER_MIN)

/* --- a bad batch --- */

static bool is_astray(const struct engine *e, int tank, const struct solids_step *step, utc_t now,
                      int64_t span_ms)
{
    double target = e->site->waters[e->site->tanks[tank].water].target[Q_EC];
    if (isnan(target) || !utc_within(step->t, now, span_ms))
        return false;
    double away = fabs(step->after - target) - fabs(step->before - target);
    return away >= AWAY_SHARE * target && solids_step_is_new(e, tank, step);
}

/* The last change that moved the tank away from its water's target to where it was not before; a top-off may
 * have followed. NULL: none. */
static const struct solids_step *astray(const struct engine *e, int tank, utc_t now, int64_t span_ms)
{
    const struct solids *s = &e->tanks[tank].solids;
    for (int i = s->step_count - 1; i >= 0; i--)
        if (is_astray(e, tank, &s->steps[i], now, span_ms))
            return &s->steps[i];
    return NULL;
}

/* +1 up, -1 down, 0: it did not. */
static int strayed(const struct engine *e, int tank, utc_t now, int64_t span_ms)
{
    const struct solids_step *step = astray(e, tank, now, span_ms);
    return step == NULL ? 0 : step->after > step->before ? 1 : -1;
}

static int water_place(const struct site *site, int water)
{
    for (int p = 0; p < site->place_count; p++)
        if (site->places[p].kind == PLACE_WATER && strcmp(site->places[p].id, site->waters[water].id) == 0)
            return p;
    return -1;
}

/* What a batch did to a tank shows in its last readings before it is known for a step. */
static int moves(const struct engine *e, int tank, utc_t until)
{
    int stream = speaking_stream(e, e->site->tanks[tank].place, Q_EC);
    double target = e->site->waters[e->site->tanks[tank].water].target[Q_EC];
    if (stream < 0 || !e->streams[stream].seen || e->streams[stream].value_t.ms > until.ms)
        return 0;
    const struct window *w = &e->streams[stream].day;
    utc_t now = e->streams[stream].value_t;
    double before = window_mean_over(w, (utc_t){ now.ms - MOVES_MS }, MOVES_MS / 2);
    double after = window_mean_over(w, now, MOVES_MEAN_MS);
    bool away = fabs(after - target) - fabs(before - target) >= AWAY_SHARE * target;
    return !away ? 0 : after > before ? 1 : -1;
}

static int way_of_batch(const struct engine *e, int water, utc_t latest, int64_t span_ms)
{
    int sum = 0;
    for (int i = 0; i < e->site->tank_count; i++)
        sum += e->site->tanks[i].water == water ? strayed(e, i, latest, span_ms) : 0;
    return sum > 0 ? 1 : sum < 0 ? -1 : 0;
}

int batch_of(const struct engine *e, int tank)
{
    int water = e->site->tanks[tank].water, place = water < 0 ? -1 : water_place(e->site, water);
    int slot = place < 0 ? -1 : slot_find(e->site, place, KIND_BATCH, Q_COUNT);
    if (slot < 0 || !e->alarms.items[slot].pub.active)
        return -1;
    utc_t latest = { e->alarms.items[slot].pub.raised_at.ms + BATCH_SPAN_MS };
    int way = way_of_batch(e, water, latest, 2 * BATCH_SPAN_MS);
    bool reached = strayed(e, tank, latest, 2 * BATCH_SPAN_MS) == way || moves(e, tank, latest) == way;
    return way != 0 && reached ? slot : -1;
}

/* By the usual change of that tank: how far the new water was from the target, as a share; NaN. */
static double batch_error(const struct engine *e, int tank, utc_t now)
{
    const struct solids_step *step = astray(e, tank, now, BATCH_SPAN_MS);
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
        const struct solids_step *step = astray(e, i, now, BATCH_SPAN_MS);
        text_printf(&out, "%s%s %+.0f µS/cm", out.len > 0 ? ", " : "", e->site->tanks[i].id,
                    step->after - step->before);
        if (count < SERIES_HOURS)
            errors[count++] = batch_error(e, i, now);
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
