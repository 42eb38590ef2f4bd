/* Once an hour: a pH probe that creeps day after day, against its own past and its neighbours. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>

#include "base/text.h"
#include "engine/series.h"

#define LEARN_EVERY_MIN  60
#define REACH_BLOCKS     36
#define ALLOWED_DAY      0.005
#define CREEP_LEAST      0.12 /* what a calibrated meter may err */
#define CREEP_UNKNOWN    0.2
#define CREEP_USUAL_MOST 0.3
#define CREEP_TIMES      1.5
#define GOES_ON_DAY      0.015

enum { BLOCK_H = 4, DAY_BLOCKS = 24 / BLOCK_H, BLOCKS = SERIES_HOURS / BLOCK_H };

/* Means over a whole day take plants and light out; one every four hours. */
static int daily_means(const struct window *w, utc_t now, double *out)
{
    double hours[SERIES_HOURS], blocks[BLOCKS];
    series_take(w, now, hours, SERIES_HOURS);
    int n = series_blocks(hours, SERIES_HOURS, BLOCK_H, blocks), count = 0;
    for (int i = DAY_BLOCKS; i <= n; i++) {
        double sum = 0;
        for (int k = i - DAY_BLOCKS; k < i; k++)
            sum += blocks[k];
        out[count++] = sum / DAY_BLOCKS;
    }
    return count;
}

static struct creep creep_of(const double *means, int n)
{
    return series_creep(means, n, REACH_BLOCKS, ALLOWED_DAY / DAY_BLOCKS, BLOCK_H);
}

static double limit_of(const struct creep *c)
{
    return isnan(c->usual) ? CREEP_UNKNOWN
                           : fmax(CREEP_LEAST, CREEP_TIMES * fmin(c->usual, CREEP_USUAL_MOST));
}

static struct ph_creep look(const struct window *w, utc_t now)
{
    struct ph_creep c = { .day = NAN };
    double means[BLOCKS];
    int n = daily_means(w, now, means);
    double day = n > DAY_BLOCKS ? means[n - 1] - means[n - 1 - DAY_BLOCKS] : NAN;
    c.up = creep_of(means, n);
    for (int i = 0; i < n; i++)
        means[i] = -means[i];
    c.down = creep_of(means, n);
    c.day = day;
    return c;
}

/* +1 up, -1 down, 0 neither: beyond what it used to, and still on its way. */
static int creeps(const struct ph_creep *c)
{
    if (c->up.rise > limit_of(&c->up) && c->day > GOES_ON_DAY)
        return 1;
    return c->down.rise > limit_of(&c->down) && c->day < -GOES_ON_DAY ? -1 : 0;
}

/* Probes of other tanks that go half of the way the same way: water and air do that to all. */
static int followers(const struct engine *e, int tank, int way, int *others)
{
    int same = 0;
    for (int i = 0; i < e->site->tank_count; i++) {
        const struct ph_creep *c = &e->tanks[i].ph;
        if (i == tank || !place_lives(e, e->site->tanks[i].place, Q_PH))
            continue;
        *others += 1;
        same += way > 0 ? c->up.rise > limit_of(&c->up) / 2 && c->day > 0
                        : c->down.rise > limit_of(&c->down) / 2 && c->day < 0;
    }
    return same;
}

bool ph_sours(const struct engine *e, int tank)
{
    const struct creep *down = &e->tanks[tank].ph.down;
    int others = 0, same = 0;
    if (!place_lives(e, e->site->tanks[tank].place, Q_PH) || !(down->rise > limit_of(down) / 2))
        return false;
    same = followers(e, tank, -1, &others);
    return same == 0 || 2 * same < others;
}

void ph_watch(struct engine *e, int tank, struct now now, struct effects *fx)
{
    struct tank_state *t = &e->tanks[tank];
    int place = e->site->tanks[tank].place, others = 0;
    const struct window *w = place_lives(e, place, Q_PH) ? days_window(e, place, Q_PH) : NULL;
    char evidence[ALERT_EVIDENCE_MAX], span[32];
    if (w == NULL || (now.utc.ms / MS_PER_MIN) % LEARN_EVERY_MIN != tank % LEARN_EVERY_MIN)
        return;
    t->ph = look(w, now.utc);
    int way = creeps(&t->ph), same = way == 0 ? 0 : followers(e, tank, way, &others);
    const struct creep *c = way < 0 ? &t->ph.down : &t->ph.up;
    bool common = same > 0 && 2 * same >= others;
    bool acid_of_waste =
        way < 0 && (solids_climbs(&t->solids) || alert_is_active(e, place, KIND_WASTE, Q_COUNT));
    struct text out = text_over(evidence, sizeof evidence);
    text_printf(&out, "the daily mean crept %s by %.2f in %s", way < 0 ? "down" : "up", c->rise,
                span_format((int64_t)(c->hours * (double)MS_PER_HOUR), span, sizeof span));
    if (!isnan(c->usual))
        text_printf(&out, ", usual here at most %.2f", c->usual);
    text_printf(&out, "; pH %.2f now", value_now(e, place, Q_PH));
    if (others > 0)
        text_printf(&out, "; %d of %d other tanks with it", same, others);
    bool over = t->ph.up.rise < limit_of(&t->ph.up) / 2 && t->ph.down.rise < limit_of(&t->ph.down) / 2;
    enum tri condition = way != 0 && !common && !acid_of_waste ? TRI_YES : over ? TRI_NO : TRI_KEEP;
    judge_named(e, place, KIND_DRIFTING, Q_PH, condition, value_now(e, place, Q_PH), NAN, evidence, now, fx);
}

static void visit_creep(struct creep *c, struct pack *p)
{
    pack_f64(p, &c->rise, -14, 14);
    pack_f64(p, &c->usual, -14, 14);
    pack_f64(p, &c->hours, 0, SERIES_HOURS);
    pack_f64(p, &c->past, 0, SERIES_HOURS);
}

void ph_visit(struct ph_creep *c, struct pack *p)
{
    visit_creep(&c->up, p);
    visit_creep(&c->down, p);
    pack_f64(p, &c->day, -14, 14);
}
