#include "plan/room_week.h"

#include <math.h>
#include <string.h>

#include "plan/mix.h"
#include "plan/source_facts.h"

/* A salt that is used up within so many days is worth an order now. */
#define ORDER_DAYS         30
#define BATCH_OLD_MS       (14 * MS_PER_DAY) /* used up, or stood too long */
#define OFF_SHARE          0.1
#define WEEK_STORED_WATERS 128 /* that a configuration can hold */

struct room {
    const struct site *site;
    const struct week_tank *tanks;
    const struct diary *diary;
    struct week_room *out;
};

static int64_t days_ms(double days)
{
    return (int64_t)(days * (double)MS_PER_DAY);
}

/* --- waters --- */

static void sum_water(const struct room *r, int water, struct week_water *sum)
{
    *sum = (struct week_water){ .water = water, .first = UTC_NONE };
    for (int i = 0; i < r->site->tank_count; i++) {
        const struct week_tank *w = &r->tanks[i];
        if (r->site->tanks[i].water != water || w->stage_count == 0)
            continue;
        sum->tanks++;
        for (int k = 0; k < w->stage_count; k++)
            sum->litres += w->stages[k].litres;
        if (!utc_is_set(sum->first) || w->stages[0].at.ms < sum->first.ms)
            sum->first = w->stages[0].at;
    }
}

/* One that missed its water is not used. */
static bool is_as_it_should(const struct room *r, const struct diary_water *batch, int water)
{
    double target = r->site->waters[water].target[Q_EC], drift = r->site->waters[water].drift[Q_EC];
    double most = isnan(drift) || drift <= 0 ? OFF_SHARE * target : drift;
    return isnan(batch->ec) || isnan(target) || fabs(batch->ec - target) <= most;
}

/* By the container's level, else what is left of the batch mixed last. */
static void take_stored(const struct room *r, struct week_water *sum)
{
    const struct diary_water *batch = &r->diary->waters[sum->water];
    double there = 0;
    sum->store = -1;
    for (int i = 0; i < r->site->store_count; i++) {
        const struct container *store = &r->site->stores[i];
        double litres = r->diary->stores[i].level_mm * store->l_per_mm;
        if (store->water != sum->water || isnan(litres))
            continue;
        there += isnan(store->holds_l) ? litres : fmin(litres, store->holds_l);
        sum->stored_from = WEEK_STORED_LEVEL;
        sum->store = i;
    }
    if (sum->stored_from == WEEK_STORED_NONE && batch->batch != 0 && batch->litres > batch->used_l &&
        r->out->from.ms - batch->t.ms <= BATCH_OLD_MS && is_as_it_should(r, batch, sum->water)) {
        there = batch->litres - batch->used_l;
        sum->stored_from = WEEK_STORED_BATCH;
        sum->batch = batch->batch;
    }
    sum->stored_l = fmin(there, sum->litres);
    sum->mix_l = sum->litres - sum->stored_l;
}

static void mix_water(const struct room *r, struct week_water *sum)
{
    static const struct mix_source pure = { 0, 0, 0, 0 };
    struct mix_source base;
    struct mix_plan mix, from_pure;
    double no3, litres = sum->mix_l > 0 ? sum->mix_l : sum->litres;
    bool mixes = source_facts_base(r->site, sum->water, r->diary, &base, &no3, &sum->why) == STATUS_OK &&
                 mix_eval(r->site, sum->water, litres, &base, &mix, &sum->why) == STATUS_OK;
    sum->base.ec = base.ec_us_cm;
    sum->base.gh = base.gh_dh;
    sum->base.kh = base.kh_dh;
    sum->mixed = mixes || !(sum->mix_l > 0);
    if (!mixes)
        return;
    bool known = mix_eval(r->site, sum->water, litres, &pure, &from_pure, NULL) == STATUS_OK;
    for (int i = 0; i < mix.count && i < WEEK_PARTS_MAX && sum->mix_l > 0; i++) {
        struct week_part *part = &sum->parts[sum->part_count++];
        *part = (struct week_part){ mix.parts[i].salt, mix.parts[i].grams, mix.parts[i].grams };
        for (int k = 0; known && k < from_pure.count; k++)
            if (from_pure.parts[k].salt == part->salt)
                part->pure_g = from_pure.parts[k].grams;
    }
    sum->ec = mix.ec_us_cm;
    sum->ec_sd = mix.ec_sd_us_cm;
    sum->gh = mix.gh_dh;
    sum->kh = mix.kh_dh;
}

static void take_waters(struct room *r)
{
    for (int i = 0; i < r->site->water_count && r->out->water_count < WEEK_WATERS_MAX; i++) {
        struct week_water *sum = &r->out->waters[r->out->water_count];
        sum_water(r, i, sum);
        if (sum->tanks == 0)
            continue;
        take_stored(r, sum);
        mix_water(r, sum);
        r->out->water_count++;
    }
}

/* --- salts --- */

static double grams_of(const struct week_room *out, int salt)
{
    double grams = 0;
    for (int i = 0; i < out->water_count; i++)
        for (int k = 0; k < out->waters[i].part_count; k++)
            if (out->waters[i].parts[k].salt == salt)
                grams += out->waters[i].parts[k].grams;
    return grams;
}

static struct week_salt look_at_salt(const struct room *r, int salt)
{
    const struct salt *s = &r->site->salts[salt];
    double noted = diary_salt_g_day(r->diary, salt);
    struct week_salt w = { .salt = salt, .grams = grams_of(r->out, salt), .out = UTC_NONE };
    w.used_g = utc_is_set(s->stock_since) ? r->diary->salts[salt].since_stock_g : 0;
    w.left_g = fmax(s->stock_g, 0) - w.used_g;
    if (isnan(s->stock_g))
        w.left_g = NAN;
    else if (w.left_g < 0)
        w.left_g = 0;
    w.by_batches = !isnan(noted);
    w.per_day = w.by_batches ? noted : w.grams / r->out->days;
    w.short_now = w.grams > w.left_g;
    if (!isnan(w.left_g) && w.per_day > 0)
        w.out.ms = r->out->from.ms + days_ms(fmin(w.left_g / w.per_day, 36500));
    return w;
}

static void take_salts(struct room *r)
{
    for (int i = 0; i < r->site->salt_count && r->out->salt_count < WEEK_SALTS_MAX; i++) {
        struct week_salt w = look_at_salt(r, i);
        bool soon = utc_is_set(w.out) && w.out.ms < r->out->from.ms + days_ms(ORDER_DAYS);
        if (w.grams > 0 || soon)
            r->out->salts[r->out->salt_count++] = w;
    }
}

/* --- sources --- */

/* The only purifying unit is where water comes from when nothing is said. */
static int only_purified(const struct site *site)
{
    int only = -1, count = 0;
    for (int i = 0; i < site->source_count; i++)
        if (site->sources[i].kind == SOURCE_PURIFIED) {
            only = i;
            count++;
        }
    return count == 1 ? only : -1;
}

int room_week_source(const struct site *site, int tank)
{
    int water = site->tanks[tank].water;
    int source = water < 0 ? -1 : site_source_at(site, site->waters[water].source);
    return source >= 0 ? source : only_purified(site);
}

/* Of a water that is mixed, the share that comes from there. */
static double share_of(const struct room *r, int source, int water)
{
    const struct water *w = &r->site->waters[water];
    int blend = w->blend < 0 ? -1 : site_source_at(r->site, w->blend);
    int main = site_source_at(r->site, w->source);
    if (source == blend)
        return w->blend_share;
    if (source == (main >= 0 ? main : only_purified(r->site)))
        return blend < 0 ? 1 : 1 - w->blend_share;
    return 0;
}

/* What stands mixed goes first. */
static double take_out(double *stored, double litres)
{
    double there = fmin(*stored, litres);
    *stored -= there;
    return litres - there;
}

/* Litres that the room takes from a source on that day. stored: of each water, what still stands mixed. */
static double day_litres(const struct room *r, int source, int day, double *stored, struct week_source *sum)
{
    utc_t from = { r->out->from.ms + day * MS_PER_DAY }, to = { from.ms + MS_PER_DAY };
    double litres = 0;
    for (int i = 0; i < r->site->tank_count; i++) {
        const struct week_tank *w = &r->tanks[i];
        int water = r->site->tanks[i].water;
        for (int k = 0; k < w->stage_count && water >= 0; k++)
            if (w->stages[k].at.ms >= from.ms && w->stages[k].at.ms < to.ms) {
                double mixed = share_of(r, source, water) * take_out(&stored[water], w->stages[k].litres);
                sum->mix_l += mixed;
                litres += mixed;
            }
        if (w->topoff_l_day > 0 && room_week_source(r->site, i) == source) {
            sum->topoff_l += w->topoff_l_day;
            litres += w->topoff_l_day;
        }
    }
    return litres;
}

static void begin_stored(const struct room *r, double *stored)
{
    memset(stored, 0, WEEK_STORED_WATERS * sizeof *stored);
    for (int i = 0; i < r->out->water_count; i++)
        stored[r->out->waters[i].water] = r->out->waters[i].stored_l;
}

/* A full container in the morning of the first day; what does not fit is lost. */
static void look_at_source(const struct room *r, int source, struct week_source *sum)
{
    const struct source *s = &r->site->sources[source];
    double makes = isnan(s->makes_l_day) ? 0 : s->makes_l_day;
    double holds = isnan(s->store_l) ? makes : s->store_l, has = holds;
    double stored[WEEK_STORED_WATERS];
    *sum = (struct week_source){ .source = source, .short_at = UTC_NONE };
    begin_stored(r, stored);
    source_facts_eval(r->site, source, r->diary, &sum->water);
    sum->gives_l =
        isnan(s->makes_l_day) && isnan(s->store_l) ? (double)NAN : holds + makes * (r->out->days - 1);
    for (int i = 0; i < r->site->tank_count; i++)
        sum->unknown_topoffs += room_week_source(r->site, i) == source && isnan(r->tanks[i].topoff_l_day);
    for (int day = 0; day < (int)r->out->days; day++) {
        has -= day_litres(r, source, day, stored, sum);
        if (has < 0 && !isnan(sum->gives_l)) {
            if (!utc_is_set(sum->short_at))
                sum->short_at.ms = r->out->from.ms + day * MS_PER_DAY;
            sum->short_l = fmax(sum->short_l, -has);
        }
        has = fmin(has + makes, holds);
    }
}

static void take_sources(struct room *r)
{
    for (int i = 0; i < r->site->source_count && r->out->source_count < WEEK_SOURCES_MAX; i++) {
        struct week_source *sum = &r->out->sources[r->out->source_count];
        look_at_source(r, i, sum);
        if (sum->mix_l > 0 || sum->topoff_l > 0 || sum->water.values[Q_EC].origin != ORIGIN_NONE)
            r->out->source_count++;
    }
}

/* --- probes --- */

static void take_calibrations(struct room *r, const struct room_probe *probes)
{
    utc_t until = { r->out->from.ms + days_ms(r->out->days) };
    for (int i = 0; probes != NULL && i < r->site->stream_count; i++) {
        struct week_calibration c = { .stream = i,
                                      .last = probes[i].calibrated,
                                      .due = r->out->from,
                                      .every_d =
                                          r->site->plan.calibrate_every_d[r->site->streams[i].quantity],
                                      .fresh = probes[i].fresh };
        if (isnan(c.every_d))
            continue;
        /* It may be one that calibrates itself: no nagging. */
        if (!utc_is_set(c.last) && !c.fresh) {
            r->out->never_calibrated++;
            continue;
        }
        if (!c.fresh && c.last.ms + days_ms(c.every_d) > r->out->from.ms)
            c.due.ms = c.last.ms + days_ms(c.every_d);
        if (c.due.ms < until.ms && r->out->calibration_count < WEEK_CALIBRATIONS_MAX)
            r->out->calibrations[r->out->calibration_count++] = c;
    }
}

/* --- what to know besides --- */

static bool is_drunk(const struct room *r, int source)
{
    for (int i = 0; i < r->out->water_count; i++)
        if (share_of(r, source, r->out->waters[i].water) > 0)
            return true;
    return r->site->sources[source].kind == SOURCE_PURIFIED;
}

static void remark_sources(struct room *r)
{
    struct source_water water;
    for (int i = 0; i < r->site->source_count; i++) {
        source_facts_eval(r->site, i, r->diary, &water);
        if (is_drunk(r, i))
            source_facts_remarks(r->site, &water, r->out->remarks, &r->out->remark_count);
    }
}

static void remark_unsourced(struct room *r)
{
    for (int i = 0; i < r->out->water_count; i++) {
        const struct water *w = &r->site->waters[r->out->waters[i].water];
        if (site_source_at(r->site, w->source) >= 0)
            continue;
        week_remark(r->out->remarks, &r->out->remark_count, WEEK_ASSUMED,
                    "water %s names no source: its grams are for purified water", w->id);
        return;
    }
}

static bool is_limited(const struct room *r, const struct week_source *s)
{
    enum source_kind kind = r->site->sources[s->source].kind;
    return (kind == SOURCE_PURIFIED || kind == SOURCE_RAIN) && s->mix_l + s->topoff_l > 0;
}

static void take_remarks(struct room *r)
{
    struct week_room *out = r->out;
    int unknown_sources = 0, unknown_stocks = 0, undated = 0;
    for (int i = 0; i < out->source_count; i++)
        unknown_sources += isnan(out->sources[i].gives_l) && is_limited(r, &out->sources[i]);
    for (int i = 0; i < out->salt_count; i++) {
        const struct salt *s = &r->site->salts[out->salts[i].salt];
        unknown_stocks += isnan(s->stock_g);
        undated += !isnan(s->stock_g) && !utc_is_set(s->stock_since);
    }
    if (out->water_count > 0 && r->site->source_count == 0)
        week_remark(out->remarks, &out->remark_count, WEEK_MISSING,
                    "no source is named: sources = ( { id = \"ro\"; makes_l_day = 60.0; store_l = 50.0; } )");
    if (unknown_sources > 0)
        week_remark(out->remarks, &out->remark_count, WEEK_MISSING,
                    "what the source gives is not said: makes_l_day and store_l in sources");
    if (unknown_stocks > 0)
        week_remark(out->remarks, &out->remark_count, WEEK_MISSING,
                    "%d salt%s without stock_g and stock_since: nothing tells when to buy", unknown_stocks,
                    unknown_stocks == 1 ? "" : "s");
    if (undated > 0)
        week_remark(out->remarks, &out->remark_count, WEEK_ASSUMED,
                    "%d salt%s without stock_since: stock_g is taken for what is there today", undated,
                    undated == 1 ? "" : "s");
    remark_unsourced(r);
    remark_sources(r);
}

void room_week_eval(const struct site *site, const struct week_tank *tanks, const struct diary *diary,
                    const struct room_probe *probes, struct week_room *out)
{
    struct room r = { site, tanks, diary, out };
    *out = (struct week_room){ .from = tanks[0].from, .days = tanks[0].days };
    for (int i = 1; i < site->tank_count; i++)
        if (tanks[i].from.ms < out->from.ms)
            out->from = tanks[i].from;
    take_waters(&r);
    take_salts(&r);
    take_sources(&r);
    take_calibrations(&r, probes);
    take_remarks(&r);
}
