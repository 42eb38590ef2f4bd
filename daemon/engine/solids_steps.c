/* Steps: a change of dissolved solids that came within the hour and stays. */
#include "engine/series.h"

#include <math.h>
#include <string.h>

#define BIN_MIN       5
#define AFTER_BINS    7  /* 35 min */
#define MIDDLE_BINS   8  /* 40 min in which it may come */
#define BEFORE_BINS   12 /* an hour */
#define ROW_BINS      (BEFORE_BINS + MIDDLE_BINS + AFTER_BINS)
#define STEP_SHARE    0.01
#define STEP_LEAST    2.0 /* uS/cm */
#define STEP_SDS      4.5
#define STEP_HOUR_SDS 4.0  /* an hour's mean against the next: what thermostat and lamp do to a probe */
#define MEDIAN_SD     1.25 /* of a median, over that of a mean */
#define APART_MS      (ROW_BINS * BIN_MIN * MS_PER_MIN)
#define LEAN_SHARE    0.5 /* of the step: more is a slope */
#define SETTLES_MS    (35 * MS_PER_MIN)
#define SERVICE_NEAR  (20 * MS_PER_MIN)
#define USUAL_TIMES   1.5
#define ANSWER_SDS    2.0
#define FRESH_SD      0.03 /* of new water against its target, as this probe sees it: scales, jugs, its gain */
#define ANSWER_CREEP  0.02

const struct solids_step *solids_last_step(const struct solids *s)
{
    return s->step_count == 0 ? NULL : &s->steps[s->step_count - 1];
}

bool solids_step_is_usual(const struct solids *s, const struct solids_step *step)
{
    double most = 0, jump = log(step->after / step->before);
    for (int i = 0; i < s->step_count; i++) {
        double told = log(s->steps[i].after / s->steps[i].before);
        if (s->steps[i].announced && told * jump > 0)
            most = fmax(most, fabs(told));
    }
    return most > 0 && fabs(jump) < USUAL_TIMES * most;
}

static double known(double noise)
{
    return isnan(noise) ? 0 : noise;
}

static double sd_of_difference(const struct solids *s, int n_before, int n_after)
{
    return MEDIAN_SD * known(s->noise) * sqrt(1.0 / n_before + 1.0 / n_after);
}

/* What the new water takes anyway, since the tank stood above it before the climb. */
static double taken_anyway(const struct solids *s, const struct solids_view *view,
                           const struct solids_step *step, double share)
{
    double above = log(step->before / view->target_ec) - s->climb.rise;
    return above > 0 ? share * above : 0; /* also when no target is known */
}

/* What a change of that share should take from a climb, and what it took. A top-off by hand looks the same,
 * so there only a change counts that somebody spoke of. */
static void note_answer(struct solids *s, const struct solids_view *view, const struct solids_step *step,
                        double share)
{
    double expected = share * s->climb.rise;
    double took = -log(step->after / step->before) - taken_anyway(s, view, step, share);
    double sd = hypot(sd_of_difference(s, BEFORE_BINS, AFTER_BINS) / step->before, FRESH_SD * share);
    if (s->climb.rise < ANSWER_CREEP || !(expected > ANSWER_SDS * sd))
        return;
    if (step->announced || (!view->by_hand && step->after < step->before))
        s->answer = took / expected;
}

static void remember(struct solids *s, const struct solids_view *view, struct solids_step step)
{
    if (s->step_count == SOLIDS_STEPS) {
        memmove(s->steps, s->steps + 1, (SOLIDS_STEPS - 1) * sizeof *s->steps);
        s->step_count--;
    }
    s->steps[s->step_count++] = step;
    note_answer(s, view, &step, view->change_share);
}

/* A slope within the two parts that explains the difference between them. */
static bool leans(const double *row, double jump)
{
    struct slope before = series_slope(row, BEFORE_BINS, 4),
                 after = series_slope(row + BEFORE_BINS + MIDDLE_BINS, AFTER_BINS, 3);
    double distance = MIDDLE_BINS + (BEFORE_BINS + AFTER_BINS) / 2.0;
    double wb = pow(BEFORE_BINS, 3), wa = pow(AFTER_BINS, 3);
    if (isnan(before.per) || isnan(after.per))
        return false;
    return (before.per * wb + after.per * wa) / (wb + wa) * distance / jump > LEAN_SHARE;
}

static bool find_step(struct solids *s, const struct solids_view *view, utc_t now)
{
    double row[ROW_BINS];
    const struct solids_step *last = solids_last_step(s);
    if (last != NULL && utc_within(last->t, now, APART_MS))
        return false;
    solids_row(s, view->ec_day, view->temp_day, now, row, ROW_BINS);
    const double *late = row + BEFORE_BINS + MIDDLE_BINS;
    double before = series_median(row, BEFORE_BINS, 4), after = series_median(late, AFTER_BINS, 3);
    if (!(before > 0 && after > 0))
        return false;
    double least =
        fmax(fmax(STEP_SHARE * before, STEP_LEAST), STEP_SDS * sd_of_difference(s, BEFORE_BINS, AFTER_BINS));
    least = fmax(least, STEP_HOUR_SDS * sqrt(2.0) * known(s->hour_noise) * before);
    double unrest = series_median(late + AFTER_BINS / 2, AFTER_BINS - AFTER_BINS / 2, 1) -
                    series_median(late, AFTER_BINS / 2, 1);
    if (fabs(after - before) < least || fabs(unrest) > fmax(0.3 * fabs(after - before), 0.6 * least) ||
        leans(row, after - before))
        return false;
    remember(s, view, (struct solids_step){ { now.ms - SETTLES_MS }, before, after, false });
    return true;
}

void solids_told(struct solids *s, const struct solids_view *view, double share)
{
    struct solids_step *last = s->step_count == 0 ? NULL : &s->steps[s->step_count - 1];
    if (last == NULL || last->announced)
        return;
    last->announced = true;
    note_answer(s, view, last, share > 0 && share < 1 ? share : view->change_share);
}

void solids_served(struct solids *s, utc_t begin, utc_t end)
{
    s->service_begin = begin;
    s->service_end = end;
}

/* The step of a service window counts however small it is; one that was recognised already is only marked. */
static void learn_service(struct solids *s, const struct solids_view *view, utc_t now)
{
    struct solids_step *last = s->step_count == 0 ? NULL : &s->steps[s->step_count - 1];
    double row[288];
    if (!utc_is_set(s->service_end) || now.ms - s->service_end.ms < SETTLES_MS + BIN_MIN * MS_PER_MIN)
        return;
    utc_t begin = s->service_begin;
    s->service_begin = s->service_end = UTC_NONE;
    if (last != NULL && last->t.ms > begin.ms - SERVICE_NEAR) {
        last->announced = true;
        note_answer(s, view, last, view->change_share);
        return;
    }
    int begun = (int)((now.ms - begin.ms) / (BIN_MIN * MS_PER_MIN)) + 1;
    if (begun < 1 || begun + BEFORE_BINS > 288) /* below 1: the clock was set back since */
        return;
    solids_row(s, view->ec_day, view->temp_day, now, row, 288);
    double before = series_median(row + 288 - begun - BEFORE_BINS, BEFORE_BINS, 4);
    double after = series_median(row + 288 - AFTER_BINS, AFTER_BINS, 3);
    if (before > 0 && after > 0)
        remember(s, view, (struct solids_step){ { now.ms - SETTLES_MS }, before, after, true });
}

bool solids_look(struct solids *s, const struct solids_view *view, utc_t now)
{
    if (view->ec_day == NULL)
        return false;
    learn_service(s, view, now);
    return find_step(s, view, now);
}
