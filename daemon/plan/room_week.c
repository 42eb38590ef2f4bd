#include "plan/room_week.h"

#include <math.h>

#include "plan/mix.h"

/* A salt that is used up within so many days is worth an order now. */
#define ORDER_DAYS 30

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

static void mix_water(const struct room *r, struct week_water *sum)
{
    static const struct mix_source pure = { 0, 0, 0 };
    struct mix_plan mix;
    sum->mixed = mix_eval(r->site, sum->water, sum->litres, &pure, &mix, &sum->why) == STATUS_OK;
    if (!sum->mixed)
        return;
    for (int i = 0; i < mix.count && i < WEEK_PARTS_MAX; i++)
        sum->parts[sum->part_count++] = (struct week_part){ mix.parts[i].salt, mix.parts[i].grams };
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

int room_week_source(const struct site *site, int tank)
{
    int water = site->tanks[tank].water;
    int place = water < 0 ? -1 : site->waters[water].source;
    for (int i = 0; i < site->source_count; i++)
        if (site->sources[i].place == place)
            return i;
    return site->source_count == 1 ? 0 : -1;
}

/* Litres that the room takes from a source on that day. */
static double day_litres(const struct room *r, int source, int day, struct week_source *sum)
{
    utc_t from = { r->out->from.ms + day * MS_PER_DAY }, to = { from.ms + MS_PER_DAY };
    double litres = 0;
    for (int i = 0; i < r->site->tank_count; i++) {
        const struct week_tank *w = &r->tanks[i];
        if (room_week_source(r->site, i) != source)
            continue;
        for (int k = 0; k < w->stage_count; k++)
            if (w->stages[k].at.ms >= from.ms && w->stages[k].at.ms < to.ms) {
                sum->mix_l += w->stages[k].litres;
                litres += w->stages[k].litres;
            }
        if (w->topoff_l_day > 0) {
            sum->topoff_l += w->topoff_l_day;
            litres += w->topoff_l_day;
        }
    }
    return litres;
}

/* A full container in the morning of the first day; what does not fit is lost. */
static void look_at_source(const struct room *r, int source, struct week_source *sum)
{
    const struct source *s = &r->site->sources[source];
    double makes = isnan(s->makes_l_day) ? 0 : s->makes_l_day;
    double holds = isnan(s->store_l) ? makes : s->store_l, has = holds;
    *sum = (struct week_source){ .source = source, .short_at = UTC_NONE };
    sum->gives_l =
        isnan(s->makes_l_day) && isnan(s->store_l) ? (double)NAN : holds + makes * (r->out->days - 1);
    for (int i = 0; i < r->site->tank_count; i++)
        sum->unknown_topoffs += room_week_source(r->site, i) == source && isnan(r->tanks[i].topoff_l_day);
    for (int day = 0; day < (int)r->out->days; day++) {
        has -= day_litres(r, source, day, sum);
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
        if (sum->mix_l > 0 || sum->topoff_l > 0)
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

static void take_remarks(struct room *r)
{
    struct week_room *out = r->out;
    int unknown_sources = 0, unknown_stocks = 0, undated = 0;
    for (int i = 0; i < out->source_count; i++)
        unknown_sources += isnan(out->sources[i].gives_l);
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
    if (out->water_count > 0)
        week_remark(out->remarks, &out->remark_count, WEEK_ASSUMED,
                    "grams are for purified water without hardness of its own; lentic mix --source-gh "
                    "reckons others");
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
