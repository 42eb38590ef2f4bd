/* What a tank's own past tells of its dissolved solids, looked at once an hour. */
#include "engine/series.h"

#include <math.h>
#include <stdlib.h>

#include "water/median.h"

#define FINE_BINS      576 /* two days of 5 min */
#define SMOOTH_BINS    18  /* to either side: what is slower than three hours is no cycle of the heater */
#define SHARE_MOST     0.04
#define SHARE_LEAST    0.002
#define SHARE_SD_MOST  0.002
#define SHARE_FOLLOWS  0.2
#define BLOCK_H        4
#define REACH_BLOCKS   36    /* six days */
#define ALLOWED_DAY    0.001 /* share a day: what no keeper minds */
#define NOISE_H        168
#define TODAY_H        26
#define LEAST_H        12
#define SPAN_MOST_H    144
#define FASTER_SDS     1.0 /* of a slope, which are generous */
#define USUAL_LEAST_D  3   /* daily climbs behind a usual one */
#define USUAL_QUARTILE 0.75
#define SEEN_SHARE     0.5  /* of a sinking, that the readings themselves must show */
#define LEVEL_ALLOWED  0.05 /* mm a day */
#define HAND_WAIT_DAYS 7    /* who tops off by hand does it once a week at the least, mostly sooner */
#define TEETH_LEAST    3    /* rounds that show how long a tank waits */
#define TOOTH_SHARE    0.4  /* of the usual climb: smaller ones do not count */
#define TOOTH_NOISES   3.0
#define LEVEL_TOOTH_MM 1.5
#define LOWER_MM       2.5 /* than ever before: less is the float, or a hand that poured a little less */
#define LOW_MOST       0.05 /* of the depth under the highest: so low was a fault, and must not hide the next */

/* --- what temperature does to the reading --- */

struct pull {
    double ratio, weight;
};

static int compare_pull(const void *a, const void *b)
{
    double x = ((const struct pull *)a)->ratio, y = ((const struct pull *)b)->ratio;
    return (x > y) - (x < y);
}

static double weighted_median(struct pull *p, int n)
{
    double half = 0, sum = 0;
    for (int i = 0; i < n; i++)
        half += p[i].weight / 2;
    qsort(p, (size_t)n, sizeof *p, compare_pull);
    for (int i = 0; i < n; i++) {
        sum += p[i].weight;
        if (sum >= half)
            return p[i].ratio;
    }
    return 0;
}

/* The row less its mean over three hours around; NaN near its ends and where half is lacking. */
static void quicken(const double *x, int n, double *out)
{
    for (int i = 0; i < n; i++) {
        double sum = 0;
        int count = 0;
        out[i] = NAN;
        if (i < SMOOTH_BINS || i + SMOOTH_BINS >= n || isnan(x[i]))
            continue;
        for (int k = i - SMOOTH_BINS; k <= i + SMOOTH_BINS; k++)
            if (!isnan(x[k])) {
                sum += x[k];
                count++;
            }
        if (count > SMOOTH_BINS)
            out[i] = x[i] - sum / count;
    }
}

/* Thermostat and lamp move the water a little many times a day, and dissolved solids do not care: what the
 * reading does with them is the probe's. */
static void learn_temp_share(struct solids *s, const struct solids_view *view, utc_t now)
{
    static double ec[FINE_BINS], temp[FINE_BINS], quick_ec[FINE_BINS], quick_temp[FINE_BINS];
    static struct pull pulls[FINE_BINS];
    double squares = 0, left[SERIES_HOURS];
    int n = 0, kept = 0;
    series_take(view->ec_day, now, ec, FINE_BINS);
    series_take(view->temp_day, now, temp, FINE_BINS);
    for (int i = 0; i < FINE_BINS; i++)
        ec[i] = ec[i] > 0 ? log(ec[i]) : NAN;
    quicken(ec, FINE_BINS, quick_ec);
    quicken(temp, FINE_BINS, quick_temp);
    for (int i = 0; i < FINE_BINS; i++)
        if (!isnan(quick_ec[i]) && !isnan(quick_temp[i]) && quick_temp[i] != 0) {
            pulls[n++] = (struct pull){ quick_ec[i] / quick_temp[i], fabs(quick_temp[i]) };
            squares += quick_temp[i] * quick_temp[i];
        }
    if (n < FINE_BINS / 6)
        return;
    double share = weighted_median(pulls, n);
    for (int i = 0; i < FINE_BINS && kept < SERIES_HOURS; i++)
        if (!isnan(quick_ec[i]) && !isnan(quick_temp[i]))
            left[kept++] = fabs(quick_ec[i] - share * quick_temp[i]);
    double sd = 1.5 * median_of(left, (size_t)kept) / 0.6745 / sqrt(squares);
    if (!(sd < SHARE_SD_MOST))
        return;
    bool seen = fabs(share) > 4 * sd && fabs(share) > SHARE_LEAST;
    s->temp_share +=
        SHARE_FOLLOWS * ((seen ? fmin(fmax(share, -SHARE_MOST), SHARE_MOST) : 0) - s->temp_share);
}

/* --- creeps --- */

void solids_row(const struct solids *s, const struct window *ec, const struct window *temp, utc_t now,
                double *out, int n)
{
    static double temps[FINE_BINS];
    double last = NAN;
    series_take(ec, now, out, n);
    if (s->temp_share == 0 || temp == NULL || isnan(s->temp_ref_c))
        return;
    series_take(temp, now, temps, n);
    for (int i = 0; i < n; i++) {
        last = isnan(temps[i]) ? last : temps[i];
        out[i] /= 1 + s->temp_share * (last - s->temp_ref_c);
    }
}

/* Takes recognised steps out of a row of logarithms that ends at now. */
static void take_steps_out(const struct solids *s, double *x, int n, int64_t bin_ms, utc_t now, bool upward)
{
    for (int k = 0; k < s->step_count; k++) {
        const struct solids_step *step = &s->steps[k];
        double jump = log(step->after / step->before);
        if (!isfinite(jump) || (jump > 0) != upward)
            continue;
        for (int i = 0; i < n; i++)
            if (now.ms - (int64_t)(n - i) * bin_ms >= step->t.ms - bin_ms)
                x[i] -= jump;
    }
}

static double quartile(double *x, int n, double share)
{
    for (int i = 1; i < n; i++) /* few */
        for (int k = i; k > 0 && x[k] < x[k - 1]; k--) {
            double swap = x[k];
            x[k] = x[k - 1];
            x[k - 1] = swap;
        }
    return n == 0 ? NAN : x[(int)(share * (n - 1) + 0.5)];
}

/* The climb of a day on which nothing is done: the upper quartile of the daily climbs before this creep. */
static double usual_climb(const double *blocks, int n, double hours)
{
    double climbs[SERIES_HOURS / BLOCK_H];
    int day = 24 / BLOCK_H, last = n - (int)(hours / BLOCK_H), count = 0;
    for (int i = day; i < last; i++)
        if (!isnan(blocks[i]) && !isnan(blocks[i - day]))
            climbs[count++] = blocks[i] - blocks[i - day];
    return count < USUAL_LEAST_D * day ? NAN : quartile(climbs, count, USUAL_QUARTILE);
}

/* The whole creep tells a slow climb, its last days one that began lately. */
static void learn_slope(struct solids *s, const double *x, int n)
{
    static const int lately_h[] = { 50, TODAY_H };
    double hours = s->sink.rise > s->climb.rise ? s->sink.hours : s->climb.hours;
    int span = (int)fmin(fmax(hours, LEAST_H), SPAN_MOST_H);
    struct slope best = series_slope(x + n - span, span, LEAST_H - 2);
    for (unsigned i = 0; i < sizeof lately_h / sizeof *lately_h; i++) {
        int late_h = lately_h[i] < span ? lately_h[i] : span;
        struct slope late = series_slope(x + n - late_h, late_h, LEAST_H - 2);
        if (!(fabs(late.per) > fabs(best.per) + FASTER_SDS * (late.sd + best.sd)))
            continue;
        best = late;
        span = late_h;
    }
    s->slope_day = 24 * best.per;
    s->slope_sd = 24 * best.sd;
    s->span_days = span / 24.0;
}

static void learn_today(struct solids *s, const double *x, int n, utc_t now)
{
    const struct solids_step *last = solids_last_step(s);
    int since = last == NULL ? n : (int)((now.ms - last->t.ms) / MS_PER_HOUR);
    int today = since < TODAY_H ? since : TODAY_H;
    struct slope late = series_slope(x + n - today, today, LEAST_H - 2);
    s->today_day = 24 * late.per;
    s->today_sd = 24 * late.sd;
}

/* How sharply a step is known, as a share of it. */
#define STEP_LEAVES 0.2

static double slack_of(const struct solids *s, const struct creep *c, utc_t now, bool upward)
{
    double sum = 0;
    for (int k = 0; k < s->step_count; k++) {
        double jump = log(s->steps[k].after / s->steps[k].before);
        if ((jump > 0) == upward && utc_within(s->steps[k].t, now, (int64_t)(c->hours * (double)MS_PER_HOUR)))
            sum += STEP_LEAVES * fabs(jump);
    }
    return sum;
}

/* blocks upside down */
static bool rises_along(const double *blocks, int n, const struct creep *c)
{
    double down[SERIES_HOURS / BLOCK_H];
    int span = (int)(c->hours / BLOCK_H) + 1;
    for (int i = 0; i < span && i < n; i++)
        down[i] = -blocks[n - span + i];
    return span <= n && series_falls_along(down, span, 0);
}

/* What sinks once upward steps are taken out, while the readings stay where they are, is no creep. */
static bool readings_sink(const double *readings, int n, const struct creep *c)
{
    int begin = n - 1 - (int)(c->hours / BLOCK_H);
    return begin >= 0 && readings[begin] - readings[n - 1] > SEEN_SHARE * c->rise;
}

/* Rounds of climb and top-off before this creep. */
static int teeth_before(const struct creep *c, const double *blocks, int n, double least)
{
    return series_teeth(blocks, n - (int)(c->hours / BLOCK_H), fmax(least, TOOTH_SHARE * c->usual));
}

/* Top-offs that the conductivity showed. */
static int learn_creeps(struct solids *s, const struct solids_view *view, utc_t now)
{
    static double x[SERIES_HOURS], blocks[SERIES_HOURS / BLOCK_H], readings[SERIES_HOURS / BLOCK_H];
    double allowed = ALLOWED_DAY * BLOCK_H / 24;
    solids_row(s, view->ec_days, view->temp_days, now, x, SERIES_HOURS);
    for (int i = 0; i < SERIES_HOURS; i++)
        x[i] = x[i] > 0 ? log(x[i]) : NAN;
    s->hour_noise = series_noise(x + SERIES_HOURS - NOISE_H, NOISE_H);
    (void)series_blocks(x, SERIES_HOURS, BLOCK_H, readings);
    take_steps_out(s, x, SERIES_HOURS, MS_PER_HOUR, now, true);
    int n = series_blocks(x, SERIES_HOURS, BLOCK_H, blocks);
    s->climb = series_creep(blocks, n, REACH_BLOCKS, allowed, BLOCK_H);
    s->block_noise = series_noise(blocks, n);
    s->usual_day = usual_climb(blocks, n, s->climb.hours);
    int teeth = teeth_before(&s->climb, blocks, n, TOOTH_NOISES * s->block_noise);
    learn_today(s, x, SERIES_HOURS, now);
    take_steps_out(s, blocks, n, BLOCK_H * MS_PER_HOUR, now, false);
    for (int i = 0; i < n; i++)
        blocks[i] = -blocks[i];
    s->sink = series_creep(blocks, n, REACH_BLOCKS, allowed, BLOCK_H);
    s->climb.slack = slack_of(s, &s->climb, now, true);
    s->sink.slack = slack_of(s, &s->sink, now, false);
    s->sinks_along = rises_along(blocks, n, &s->sink) && readings_sink(readings, n, &s->sink);
    if (s->sink.rise > s->climb.rise)
        take_steps_out(s, x, SERIES_HOURS, MS_PER_HOUR, now, false);
    learn_slope(s, x, SERIES_HOURS);
    return teeth;
}

/* blocks upside down: the newest is no lower than what came before the creep. */
static bool was_as_low(const double *blocks, int n, const struct creep *c, double depth)
{
    int begin = n - 1 - (int)(c->hours / BLOCK_H);
    double lowest = -INFINITY, highest = INFINITY, most = isnan(depth) ? INFINITY : LOW_MOST * depth;
    for (int i = 0; i < begin; i++) {
        lowest = fmax(lowest, blocks[i]);
        highest = fmin(highest, blocks[i]);
    }
    return blocks[n - 1] <= fmin(lowest + LOWER_MM, highest + most);
}

/* Top-offs that the level showed. */
static int learn_level(struct solids *s, const struct solids_view *view, utc_t now)
{
    static double x[SERIES_HOURS], blocks[SERIES_HOURS / BLOCK_H];
    s->level_sink = (struct creep){ .usual = NAN };
    s->level_along = s->level_usual_low = false;
    if (view->level_days == NULL)
        return 0;
    series_take(view->level_days, now, x, SERIES_HOURS);
    for (int i = 0; i < SERIES_HOURS; i++)
        x[i] = -x[i];
    int n = series_blocks(x, SERIES_HOURS, BLOCK_H, blocks);
    s->level_sink = series_creep(blocks, n, REACH_BLOCKS, LEVEL_ALLOWED * BLOCK_H / 24, BLOCK_H);
    int span = (int)s->level_sink.hours + BLOCK_H;
    s->level_along = span <= SERIES_HOURS && series_slopes(x + SERIES_HOURS - span, span);
    s->level_usual_mm_day = usual_climb(blocks, n, s->level_sink.hours);
    s->level_usual_low = was_as_low(blocks, n, &s->level_sink, solids_depth_mm(view->volume_l));
    return teeth_before(&s->level_sink, blocks, n, LEVEL_TOOTH_MM);
}

/* --- evaporation --- */

/* Magnus formula as in WMO-No. 8; hPa over water. */
static double vapour_hpa(double temp_c)
{
    return 6.112 * exp(17.62 * temp_c / (243.12 + temp_c));
}

double solids_depth_mm(double volume_l)
{
    return 100 * cbrt(volume_l / 1.5);
}

/* Still water indoors loses 0.17 L a day, m2 and hPa of the vapour's pull (ASHRAE's figure for pools
 * that nobody uses: 0.5 x 4e-5 kg/(s m2 kPa)); the room's air is taken to be half saturated. A lid keeps two
 * thirds in. Good to half or double. */
#define VAPOUR_MM_DAY_HPA 0.17
#define LID_LETS_OUT      0.33
#define ROOM_USUAL_C      20.0
#define LEVEL_TELLS       0.3 /* of what is reckoned: less is a float at work */
#define RECKONED_MOST     1.5
#define SEEN_MOST         1.25

/* mm a day, for a room of ours: what the other tanks show of its air and draughts is taken in. */
static double reckoned_mm(const struct solids_view *view, double temp_c)
{
    double room = isnan(view->room_c) ? ROOM_USUAL_C : view->room_c;
    double pull = vapour_hpa(temp_c) - 0.5 * vapour_hpa(room);
    return fmax(pull, 1) * VAPOUR_MM_DAY_HPA * (view->lid ? LID_LETS_OUT : 1);
}

/* What this tank itself shows: how its level falls, or, where a hand tops off, how its solids climb between.
 * A level that a float holds tells nothing. NaN: neither. */
static double seen_mm(const struct solids *s, const struct solids_view *view, double reckoned, int teeth)
{
    double by_climb =
        view->by_hand && teeth >= TEETH_LEAST ? s->usual_day * solids_depth_mm(view->volume_l) : NAN;
    double seen = s->level_usual_mm_day > LEVEL_TELLS * reckoned ? s->level_usual_mm_day : by_climb;
    return seen > LEVEL_TELLS * reckoned ? seen : NAN;
}

static void learn_evaporation(struct solids *s, const struct solids_view *view, double temp_c, int teeth)
{
    double depth = solids_depth_mm(view->volume_l), reckoned = reckoned_mm(view, temp_c);
    double seen = seen_mm(s, view, reckoned, teeth);
    double best = isnan(seen) ? reckoned * (isnan(view->air) ? 1 : view->air) : seen;
    s->air = seen / reckoned;
    s->evaporation_day = view->topoff_share > 0 ? view->topoff_share : best / depth;
    s->evaporation_most = (isnan(seen) ? RECKONED_MOST : SEEN_MOST) * fmax(s->evaporation_day, best / depth);
}

bool solids_evaporation_is_reckoned(const struct solids *s)
{
    return isnan(s->air);
}

/* What a tank may climb that waits for its keeper, as a share; 0 once it has shown how long it waits. */
static double wait_of(const struct solids *s, const struct solids_view *view, const struct creep *c,
                      int teeth)
{
    return view->by_hand && (teeth < TEETH_LEAST || isnan(c->usual)) ? HAND_WAIT_DAYS * s->evaporation_day
                                                                     : 0;
}

void solids_learn(struct solids *s, const struct solids_view *view, utc_t now)
{
    double fine[288];
    double temp_c = view->temp_days == NULL ? NAN : window_mean_over(view->temp_days, now, 7 * MS_PER_DAY);
    int teeth = learn_level(s, view, now);
    if (!isnan(temp_c))
        s->temp_ref_c = temp_c;
    learn_evaporation(s, view, isnan(temp_c) ? 22 : temp_c, s->teeth);
    s->level_sink.wait = wait_of(s, view, &s->level_sink, teeth) * solids_depth_mm(view->volume_l);
    if (view->ec_day == NULL)
        return;
    learn_temp_share(s, view, now);
    solids_row(s, view->ec_day, view->temp_day, now, fine, 288);
    s->noise = series_noise(fine, 288);
    s->teeth = learn_creeps(s, view, now);
    s->climb.wait = wait_of(s, view, &s->climb, s->teeth);
}
