#include "engine/source_watch.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "engine/series.h"
#include "engine/state.h"
#include "model/journal.h"
#include "model/source_water.h"

#define NOW_MS       (12 * MS_PER_HOUR)
#define SKIP_H       24
#define LEAST_H      24
#define RISE         5.0 /* uS/cm */
#define TIMES        1.5
#define NOISES       4.0
#define BLOCK_H      6
#define BLOCKS       (SERIES_HOURS / BLOCK_H)
#define BLOCKS_LEAST 12 /* three days */
#define TOLD_OLD_MS  (30 * MS_PER_DAY)
#define TOLD_BACK    0.95
#define RENEWED      0.7 /* of what it was: another membrane, other resin */
#define BESIDE       4   /* blocks on each side that show a renewal */

/* Above what is usual, or above what the keeper lets pass. */
static double limit_of(const struct engine *e, int place, double usual, double noise)
{
    int source = site_source_at(e->site, place);
    double most = source < 0 ? 0 : e->site->sources[source].exhausted_ec;
    double limit = fmax(usual + fmax(RISE, isnan(noise) ? 0 : NOISES * noise), TIMES * usual);
    return most > 0 ? fmin(limit, most) : limit;
}

void source_watch(struct engine *e, int place, struct now now, struct effects *fx)
{
    const struct window *w = place_lives(e, place, Q_EC) ? days_window(e, place, Q_EC) : NULL;
    int source = site_source_at(e->site, place);
    char evidence[ALERT_EVIDENCE_MAX];
    static double hours[SERIES_HOURS];
    if (w == NULL || (source >= 0 && e->site->sources[source].kind != SOURCE_PURIFIED))
        return;
    series_take(w, now.utc, hours, SERIES_HOURS);
    double today = window_mean_over(w, now.utc, NOW_MS);
    double usual = series_median(hours, SERIES_HOURS - SKIP_H, LEAST_H);
    double noise = series_noise(hours, SERIES_HOURS - SKIP_H);
    if (isnan(today) || isnan(usual))
        return;
    double limit = limit_of(e, place, usual, noise), back = fmin((limit + usual) / 2, 0.95 * limit);
    struct text said = text_over(evidence, sizeof evidence);
    text_printf(&said, "purified water at %.0f µS/cm over the last 12 h, usual %.0f in the last weeks", today,
                usual);
    if (source >= 0 && limit >= e->site->sources[source].exhausted_ec)
        text_printf(&said, "; its limit is %.4g", e->site->sources[source].exhausted_ec);
    enum tri condition = today > limit ? TRI_YES : today < back ? TRI_NO : TRI_KEEP;
    judge_named(e, place, KIND_SOURCE_WORN, Q_COUNT, condition, today, limit, evidence, now, fx);
}

void source_told(struct engine *e, const struct journal_entry *entry, struct now now, struct effects *fx)
{
    int place = site_place_find(e->site, entry->place, strlen(entry->place));
    int source = place < 0 ? -1 : site_source_at(e->site, place);
    char evidence[ALERT_EVIDENCE_MAX];
    if (source < 0 || e->site->sources[source].kind != SOURCE_PURIFIED ||
        site_stream_of(e->site, place, Q_EC) >= 0 || now.utc.ms - entry->at.ms > TOLD_OLD_MS)
        return;
    double most = e->site->sources[source].exhausted_ec;
    most = most > 0 ? most : SOURCE_EXHAUSTED_EC;
    double ec = entry->kind == JOURNAL_TEST ? journal_amount(entry, JOURNAL_VALUE, "ec") : NAN;
    if (entry->kind != JOURNAL_CLEANING && isnan(ec))
        return;
    snprintf(evidence, sizeof evidence, "test by hand: purified water at %.4g µS/cm, its limit is %.4g", ec,
             most);
    enum tri condition = ec > most ? TRI_YES : ec > TOLD_BACK * most ? TRI_KEEP : TRI_NO;
    judge_named(e, place, KIND_SOURCE_WORN, Q_COUNT, condition, ec, most, evidence, now, fx);
}

/* --- trend --- */

/* Index of the first block after the last renewal, 0: none was. */
static int after_renewal(const double *blocks, int n)
{
    for (int i = n - 1; i > 0; i--) {
        int from = i < BESIDE ? 0 : i - BESIDE, to = i + BESIDE < n ? i + BESIDE : n;
        double before = series_median(blocks + from, i - from, 2);
        double after = series_median(blocks + i, to - i, 2);
        if (after < RENEWED * before && before - after > RISE)
            return i;
    }
    return 0;
}

static struct source_trend trend_of(const struct window *w, utc_t now)
{
    static double hours[SERIES_HOURS];
    double blocks[BLOCKS];
    int first;
    series_take(w, now, hours, SERIES_HOURS);
    int n = series_blocks(hours, SERIES_HOURS, BLOCK_H, blocks), from = after_renewal(blocks, n);
    struct slope s = series_slope(blocks + from, n - from, BLOCKS_LEAST);
    for (first = from; first < n && isnan(blocks[first]); first++) {
    }
    if (isnan(s.per))
        return (struct source_trend){ NAN, NAN, 0 };
    return (struct source_trend){ s.per * 24 / BLOCK_H, s.sd * 24 / BLOCK_H, (n - first) * BLOCK_H / 24.0 };
}

void engine_report_source(const struct engine *e, int source, struct now now, struct source_live *out)
{
    int place = e->site->sources[source].place, stream = speaking_stream(e, place, Q_EC);
    const struct window *w = days_window(e, place, Q_EC);
    *out = SOURCE_LIVE_NONE;
    if (stream < 0 || w == NULL)
        return;
    const struct stream_state *s = &e->streams[stream];
    double mean = window_mean_over(w, s->last.t, NOW_MS);
    out->ec.origin = ORIGIN_PROBE;
    out->ec.value = isnan(mean) ? s->last.value : mean;
    out->ec.t = s->last.t;
    out->ec.flag = s->last.flag;
    out->ec.stale = s->silent;
    out->trend = trend_of(w, now.utc);
}
