#include "engine/doubt.h"

#include <math.h>
#include <stdio.h>

#include "base/number.h"
#include "base/text.h"
#include "engine/state.h"

#define TWIN_SPAN_MS   (6 * MS_PER_HOUR)
#define TWIN_CALM      0.7
#define LOOK_EVERY_MIN 10

void doubt_judge(struct engine *e, int place, enum quantity q, enum doubt_ground ground, enum tri condition,
                 double value, double limit, const char *evidence, struct now now, struct effects *fx)
{
    int slot = slot_find(e->site, place, KIND_DRIFTING, q);
    int first = site_stream_of(e->site, place, q);
    if (slot < 0 || first < 0)
        return;
    int32_t *grounds = &e->streams[first].doubts;
    if (condition == TRI_YES)
        *grounds |= 1 << ground;
    else if (condition == TRI_NO)
        *grounds &= ~(1 << ground);
    if (condition == TRI_YES && evidence != NULL)
        snprintf(e->alarms.items[slot].pub.evidence, ALERT_EVIDENCE_MAX, "%s", evidence);
    if (condition == TRI_KEEP && *grounds == 0)
        alarm_judge(&e->alarms, slot, TRI_KEEP, value, limit, now, fx);
    else
        alarm_judge(&e->alarms, slot, *grounds != 0 ? TRI_YES : TRI_NO, value, limit, now, fx);
}

/* --- hand tests --- */

/* What a person found out needs no delay. */
static void end_without_ground(struct engine *e, int place, enum quantity q, struct now now,
                               struct effects *fx)
{
    int slot = slot_find(e->site, place, KIND_DRIFTING, q), first = site_stream_of(e->site, place, q);
    if (slot >= 0 && first >= 0 && e->streams[first].doubts == 0)
        alarm_end(&e->alarms, slot, now, fx);
}

void doubt_hand(struct engine *e, int place, const struct against *a, struct now now, struct effects *fx)
{
    char evidence[ALERT_EVIDENCE_MAX];
    struct text out = text_over(evidence, sizeof evidence);
    if (a->reason == AGAINST_RECIPE)
        return; /* no probe was asked */
    if (a->disagree) {
        against_words(a, &out);
        event_add(fx, now, EVENT_DOUBT, place, a->quantity, a->hand, "%s", evidence);
    }
    if (a->disagree && a->doubt == DOUBT_TEST)
        return;
    doubt_judge(e, place, a->quantity, DOUBT_HAND, a->disagree ? TRI_YES : TRI_NO, a->other, a->hand,
                evidence, now, fx);
    if (!a->disagree)
        end_without_ground(e, place, a->quantity, now, fx);
}

void doubt_untold(struct engine *e, int tank, enum quantity q, struct now now, struct effects *fx)
{
    int place = e->site->tanks[tank].place, first = site_stream_of(e->site, place, q);
    const struct hand_test *last = hand_last(e, tank, q);
    struct against a;
    if (first < 0 || (e->streams[first].doubts & 1 << DOUBT_HAND) == 0)
        return;
    if (last != NULL && against_probe(e, tank, q, last->value, last->sd, last->t, &a) && a.disagree &&
        a.doubt != DOUBT_TEST)
        return; /* the one before says so too */
    doubt_judge(e, place, q, DOUBT_HAND, TRI_NO, NAN, NAN, NULL, now, fx);
    end_without_ground(e, place, q, now, fx);
}

/* --- twins --- */

static void put_value(struct text *out, enum quantity q, double v)
{
    const struct quantity_info *info = quantity_info(q);
    char number[32];
    (void)number_format(number, sizeof number, v, info->decimals);
    text_printf(out, "%s%s%s", number, info->unit[0] != '\0' ? " " : "", info->unit);
}

/* How far it went from what it was a week before; NaN: not known. */
static double moved(const struct stream_state *s, utc_t now)
{
    double before = window_mean_over(&s->days, (utc_t){ now.ms - 7 * MS_PER_DAY }, 7 * MS_PER_DAY);
    return fabs(window_mean_over(&s->days, now, TWIN_SPAN_MS) - before);
}

static void tell_twins(const struct engine *e, int a, int b, double mean_a, double mean_b, utc_t now,
                       struct text *out)
{
    enum quantity q = e->site->streams[a].quantity;
    double moved_a = moved(&e->streams[a], now), moved_b = moved(&e->streams[b], now);
    text_printf(out, "over six hours %s shows ", e->site->streams[a].name);
    put_value(out, q, mean_a);
    text_printf(out, ", %s ", e->site->streams[b].name);
    put_value(out, q, mean_b);
    if (isnan(moved_a) || isnan(moved_b) || fabs(moved_a - moved_b) < fabs(mean_a - mean_b) / 3) {
        text_put(out, "; a hand test tells which is right");
        return;
    }
    text_printf(out, "; doubt %s: it moved by ", e->site->streams[moved_a > moved_b ? a : b].name);
    put_value(out, q, fmax(moved_a, moved_b));
    text_put(out, " since last week, the other by ");
    put_value(out, q, fmin(moved_a, moved_b));
}

static void compare_twins(struct engine *e, int a, struct now now, struct effects *fx)
{
    const struct stream *site = &e->site->streams[a];
    double limit = e->streams[a].gate.limits->twin_suspect, worst = 0, mean_a, mean_b = NAN;
    int b = -1;
    mean_a = window_mean_over(&e->streams[a].day, now.utc, TWIN_SPAN_MS);
    for (int s = site->twin; s >= 0 && s != a; s = e->site->streams[s].twin) {
        double mean = window_mean_over(&e->streams[s].day, now.utc, TWIN_SPAN_MS);
        if (e->streams[s].silent || !(fabs(mean - mean_a) > worst))
            continue;
        worst = fabs(mean - mean_a);
        mean_b = mean;
        b = s;
    }
    if (b < 0 || isnan(limit))
        return;
    char evidence[ALERT_EVIDENCE_MAX];
    struct text out = text_over(evidence, sizeof evidence);
    enum tri condition = worst > limit ? TRI_YES : worst < TWIN_CALM * limit ? TRI_NO : TRI_KEEP;
    if (condition == TRI_YES)
        tell_twins(e, a, b, mean_a, mean_b, now.utc, &out);
    doubt_judge(e, site->place, site->quantity, DOUBT_TWIN, condition, worst, limit, evidence, now, fx);
}

void doubt_twins(struct engine *e, int place, struct now now, struct effects *fx)
{
    if ((now.utc.ms / MS_PER_MIN) % LOOK_EVERY_MIN != place % LOOK_EVERY_MIN)
        return;
    for (int q = 0; q < Q_COUNT; q++) {
        int first = site_stream_of(e->site, place, (enum quantity)q);
        if (first >= 0 && e->site->streams[first].twin >= 0 && !e->streams[first].silent)
            compare_twins(e, first, now, fx);
    }
}

void doubt_calibrated(struct engine *e, int stream, struct now now, struct effects *fx)
{
    const struct stream *site = &e->site->streams[stream];
    e->streams[site_stream_of(e->site, site->place, site->quantity)].doubts = 0;
    int slot = slot_find(e->site, site->place, KIND_DRIFTING, site->quantity);
    if (slot >= 0)
        alarm_end(&e->alarms, slot, now, fx);
}
