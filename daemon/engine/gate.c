#include "engine/gate.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include "base/checksum.h"

#define RUN_MIN       128
#define RUN_MAX       2048
#define WINDOW_MIN    64
#define WINDOW_MAX    16384
#define EVERY_GUESS_S 30.0
#define EVERY_LEAST_S 1.0 /* the window must hold all there is of it, also of a probe faster than told */

static int room_for(double span_s, double every_s, int least, int most)
{
    double n = span_s / (isnan(every_s) ? EVERY_GUESS_S : every_s) + 2;
    if (isnan(n) || n < least)
        return least;
    return n > most ? most : (int)n;
}

static void run_init(struct gate_run *run, int cap, struct arena *arena)
{
    run->far = arena_take(arena, (size_t)cap, sizeof *run->far);
    run->cap = cap;
}

void gate_init(struct gate *g, const struct gate_limits *limits, double every_s, struct arena *arena)
{
    memset(g, 0, sizeof *g);
    g->limits = limits;
    g->newest = UTC_NONE;
    int cap = room_for(fmax(limits->flat_fail_s, limits->flat_suspect_s), every_s, RUN_MIN, RUN_MAX);
    run_init(&g->highest, cap, arena);
    run_init(&g->lowest, cap, arena);
    if (!isnan(limits->attenuated_window_s)) {
        g->window_cap = room_for(limits->attenuated_window_s, EVERY_LEAST_S, WINDOW_MIN, WINDOW_MAX);
        g->window = arena_take(arena, (size_t)g->window_cap, sizeof *g->window);
    }
}

bool gate_usable(const struct reading *r)
{
    return !isnan(r->value) && verdict_get(r->tests, TEST_GROSS) != FLAG_FAIL;
}

/* A level that is off (NaN) compares false. */
static enum flag above(double x, double suspect, double fail)
{
    return x > fail ? FLAG_FAIL : x > suspect ? FLAG_SUSPECT : FLAG_GOOD;
}

static enum flag gross(const struct gate_limits *l, double v)
{
    if (v < l->fail_lo || v > l->fail_hi)
        return FLAG_FAIL;
    return v < l->suspect_lo || v > l->suspect_hi ? FLAG_SUSPECT : FLAG_GOOD;
}

static double seconds(int64_t ms)
{
    return (double)ms / 1000.0;
}

/* Spike of the pending record, now that its successor v came in the same segment. */
static enum flag spike(const struct gate *g, double v)
{
    if (g->segment_count < 2)
        return FLAG_NOT_EVALUATED;
    double rise = g->last.v - g->before.v;
    double fall = v - g->last.v;
    double d = (rise > 0) == (fall > 0) || rise == 0 || fall == 0 ? 0.0 : fmin(fabs(rise), fabs(fall));
    return above(d, g->limits->spike_suspect, g->limits->spike_fail);
}

/* --- flat line: the run of records whose extremes stay within tol --- */

static struct gate_extreme *run_at(struct gate_run *run, int i)
{
    return (run->is_far ? run->far : run->near) + run->first + i;
}

static void run_drop_first(struct gate_run *run)
{
    run->first++;
    run->count--;
}

static void run_move(struct gate_run *run, bool to_far)
{
    const struct gate_extreme *from = run_at(run, 0);
    memmove(to_far ? run->far : run->near, from, (size_t)run->count * sizeof *from);
    run->is_far = to_far;
    run->first = 0;
}

/* Makes room for one more. Items stay towards the front of their block, so that little of it is touched. */
static void run_settle(struct gate_run *run)
{
    bool to_far = run->count >= (run->is_far ? GATE_NEAR / 2 : GATE_NEAR);
    bool at_end = run->first + run->count == (run->is_far ? run->cap : GATE_NEAR);
    if (to_far != run->is_far || at_end || (run->first >= 32 && run->first >= run->count))
        run_move(run, to_far);
}

static void run_push(struct gate_run *run, int64_t t_ms, double v, double sign)
{
    while (run->count > 0 && sign * run_at(run, run->count - 1)->v <= sign * v)
        run->count--;
    run_settle(run);
    *run_at(run, run->count++) = (struct gate_extreme){ t_ms, t_ms, v };
}

static void run_follow(struct gate_run *run, int64_t t_ms)
{
    if (run->count > 0)
        run_at(run, run->count - 1)->next_ms = t_ms;
}

/* Drops the older of the two leading extremes: the run begins with the record after it. */
static void flat_shorten(struct gate *g)
{
    bool high_older = run_at(&g->highest, 0)->t_ms <= run_at(&g->lowest, 0)->t_ms;
    struct gate_run *older = high_older ? &g->highest : &g->lowest;
    g->flat_since_ms = run_at(older, 0)->next_ms;
    run_drop_first(older);
    struct gate_run *other = high_older ? &g->lowest : &g->highest;
    while (other->count > 0 && run_at(other, 0)->t_ms < g->flat_since_ms)
        run_drop_first(other);
}

static enum flag flat(struct gate *g, int64_t t_ms, double v, bool first)
{
    const struct gate_limits *l = g->limits;
    if (isnan(l->flat_tol))
        return FLAG_NOT_EVALUATED;
    if (first) {
        g->highest.count = g->lowest.count = 0;
        g->flat_since_ms = t_ms;
    }
    run_follow(&g->highest, t_ms);
    run_follow(&g->lowest, t_ms);
    run_push(&g->highest, t_ms, v, 1.0);
    run_push(&g->lowest, t_ms, v, -1.0);
    while (run_at(&g->highest, 0)->v - run_at(&g->lowest, 0)->v >= l->flat_tol && g->flat_since_ms < t_ms)
        flat_shorten(g);
    /* No room for a longer run: begin it later, which can only flag less. */
    while (g->highest.count == g->highest.cap || g->lowest.count == g->lowest.cap)
        flat_shorten(g);
    double r = seconds(t_ms - g->flat_since_ms);
    return r >= l->flat_fail_s ? FLAG_FAIL : r >= l->flat_suspect_s ? FLAG_SUSPECT : FLAG_GOOD;
}

/* --- attenuated signal: population deviation over the window --- */

static const struct gate_point *window_at(const struct gate *g, int i)
{
    return &g->window[(g->window_first + i) % g->window_cap];
}

static void window_push(struct gate *g, int64_t t_ms, double v)
{
    int64_t from = t_ms - (int64_t)llround(g->limits->attenuated_window_s * 1000.0);
    while (g->window_count > 0 && (window_at(g, 0)->t_ms <= from || g->window_count == g->window_cap)) {
        g->window_first = (g->window_first + 1) % g->window_cap;
        g->window_count--;
    }
    g->window[(g->window_first + g->window_count++) % g->window_cap] = (struct gate_point){ t_ms, v };
}

static enum flag attenuated(struct gate *g, int64_t t_ms, double v)
{
    if (g->window == NULL)
        return FLAG_NOT_EVALUATED;
    window_push(g, t_ms, v);
    if (g->window_count < g->limits->attenuated_min_obs)
        return FLAG_NOT_EVALUATED;
    double mean = 0, squares = 0;
    for (int i = 0; i < g->window_count; i++)
        mean += window_at(g, i)->v;
    mean /= g->window_count;
    for (int i = 0; i < g->window_count; i++)
        squares += (window_at(g, i)->v - mean) * (window_at(g, i)->v - mean);
    double sd = sqrt(squares / g->window_count);
    return sd < g->limits->attenuated_fail      ? FLAG_FAIL
           : sd < g->limits->attenuated_suspect ? FLAG_SUSPECT
                                                : FLAG_GOOD;
}

static enum flag twin_of(const struct gate_limits *l, int64_t t_ms, double v, const struct gate_point *twin)
{
    if (twin == NULL || !(seconds(t_ms - twin->t_ms) <= l->pair_age_s))
        return FLAG_NOT_EVALUATED;
    return above(fabs(v - twin->v), l->twin_suspect, l->twin_fail);
}

/* --- known records --- */

static uint32_t hash_sent(double sent)
{
    sent += 0.0; /* minus zero is zero */
    return (uint32_t)checksum_fnv(&sent, sizeof sent);
}

static bool is_newest(const struct gate *g, utc_t t)
{
    return !utc_is_set(g->newest) || t.ms > g->newest.ms;
}

static bool is_known(const struct gate *g, const struct reading *r, enum gate_arrival *as)
{
    if (is_newest(g, r->t))
        return false;
    for (int i = 0; i < g->recent_count; i++)
        if (g->recent.t_ms[i] == r->t.ms) {
            *as = g->recent.sent_hash[i] == hash_sent(r->sent) ? GATE_DUPLICATE : GATE_CONFLICT;
            return true;
        }
    return false;
}

static void remember(struct gate *g, const struct reading *r)
{
    g->recent.t_ms[g->recent_at] = r->t.ms;
    g->recent.sent_hash[g->recent_at] = hash_sent(r->sent);
    g->recent_at = (g->recent_at + 1) % GATE_RECENT;
    if (g->recent_count < GATE_RECENT)
        g->recent_count++;
}

static void judge_late(const struct gate *g, struct reading *r, bool present)
{
    static const enum gate_test rest[] = { TEST_SPIKE, TEST_RATE, TEST_FLAT, TEST_ATTENUATED, TEST_TWIN };
    r->late = true;
    r->tests = verdict_set(r->tests, TEST_GAP, FLAG_NOT_EVALUATED);
    if (!present)
        return;
    r->tests = verdict_set(r->tests, TEST_GROSS, gross(g->limits, r->value));
    for (unsigned i = 0; i < sizeof rest / sizeof *rest; i++)
        r->tests = verdict_set(r->tests, rest[i], FLAG_NOT_EVALUATED);
}

static void settle_pending(struct gate *g, double v, struct reading *revised, bool *has_revised)
{
    enum flag flag = spike(g, v);
    g->pending.tests = verdict_set(g->pending.tests, TEST_SPIKE, flag);
    g->pending.flag = verdict_aggregate(g->pending.tests, false);
    g->pending.revised = true;
    *revised = g->pending;
    *has_revised = true;
}

static void judge_usable(struct gate *g, struct reading *r, const struct gate_point *twin,
                         struct reading *revised, bool *has_revised)
{
    const struct gate_limits *l = g->limits;
    bool first = g->segment_count == 0 || seconds(r->t.ms - g->last.t_ms) > l->gap_fail_s;
    if (first)
        g->segment_count = 0;
    else if (g->has_pending)
        settle_pending(g, r->value, revised, has_revised);
    double dt = seconds(r->t.ms - g->last.t_ms);
    enum flag rate =
        first ? FLAG_NOT_EVALUATED : above(fabs(r->value - g->last.v) / dt, l->rate_suspect, l->rate_fail);
    r->tests = verdict_set(r->tests, TEST_RATE, rate);
    r->tests = verdict_set(r->tests, TEST_SPIKE, FLAG_NOT_EVALUATED);
    r->tests = verdict_set(r->tests, TEST_FLAT, flat(g, r->t.ms, r->value, first));
    r->tests = verdict_set(r->tests, TEST_ATTENUATED, attenuated(g, r->t.ms, r->value));
    r->tests = verdict_set(r->tests, TEST_TWIN, twin_of(l, r->t.ms, r->value, twin));
    g->before = g->last;
    g->last = (struct gate_point){ r->t.ms, r->value };
    if (g->segment_count < 3)
        g->segment_count++;
}

static void judge_gross_fail(struct reading *r)
{
    static const enum gate_test rest[] = { TEST_SPIKE, TEST_RATE, TEST_FLAT, TEST_ATTENUATED, TEST_TWIN };
    for (unsigned i = 0; i < sizeof rest / sizeof *rest; i++)
        r->tests = verdict_set(r->tests, rest[i], FLAG_NOT_EVALUATED);
}

static enum flag gap(const struct gate *g, utc_t t)
{
    if (!utc_is_set(g->newest))
        return FLAG_NOT_EVALUATED;
    return above(seconds(t.ms - g->newest.ms), g->limits->gap_suspect_s, g->limits->gap_fail_s);
}

static enum flag syntax(enum sample_kind kind)
{
    return kind == SAMPLE_VALUE ? FLAG_GOOD : kind == SAMPLE_MISSING ? FLAG_MISSING : FLAG_FAIL;
}

enum gate_arrival gate_judge(struct gate *g, struct reading *r, enum sample_kind kind,
                             const struct gate_point *twin, struct reading *revised, bool *has_revised)
{
    bool present = kind == SAMPLE_VALUE && !isnan(r->value);
    enum gate_arrival as = GATE_TAKEN;
    *has_revised = false;
    r->late = r->revised = false;
    r->tests = verdict_set(0, TEST_SYNTAX, syntax(kind));
    if (is_known(g, r, &as))
        return as;
    remember(g, r);
    if (!is_newest(g, r->t)) {
        judge_late(g, r, present);
        r->flag = verdict_aggregate(r->tests, kind == SAMPLE_MISSING);
        return GATE_LATE;
    }
    r->tests = verdict_set(r->tests, TEST_GAP, gap(g, r->t));
    g->newest = r->t;
    if (present) {
        r->tests = verdict_set(r->tests, TEST_GROSS, gross(g->limits, r->value));
        if (gate_usable(r))
            judge_usable(g, r, twin, revised, has_revised);
        else
            judge_gross_fail(r);
    }
    r->flag = verdict_aggregate(r->tests, kind == SAMPLE_MISSING);
    if (present && gate_usable(r)) {
        g->pending = *r;
        g->has_pending = true;
    }
    return GATE_TAKEN;
}

/* --- state --- */

static void visit_point(struct gate_point *q, struct pack *p)
{
    pack_i64(p, &q->t_ms, INT64_MIN, INT64_MAX);
    pack_f64(p, &q->v, -1e12, 1e12);
}

static void visit_run(struct gate_run *run, struct pack *p)
{
    pack_i32(p, &run->count, 0, run->cap - 1);
    if (p->reading) {
        run->is_far = run->count > GATE_NEAR;
        run->first = 0;
    }
    for (int i = 0; i < run->count && !p->bad; i++) {
        struct gate_extreme *x = run_at(run, i);
        pack_i64(p, &x->t_ms, INT64_MIN, INT64_MAX);
        pack_i64(p, &x->next_ms, x->t_ms, INT64_MAX);
        pack_f64(p, &x->v, -1e12, 1e12);
    }
}

static void visit_window(struct gate *g, struct pack *p)
{
    int32_t count = g->window_count;
    pack_i32(p, &count, 0, g->window_cap);
    for (int i = 0; i < count && !p->bad; i++) {
        if (p->reading)
            visit_point(&g->window[i], p);
        else
            visit_point(&g->window[(g->window_first + i) % g->window_cap], p);
    }
    if (p->reading) {
        g->window_first = 0;
        g->window_count = count;
    }
}

void gate_visit_reading(struct reading *r, struct pack *p)
{
    int32_t flag = (int32_t)r->flag, basis = (int32_t)r->basis;
    pack_utc(p, &r->t);
    pack_f64(p, &r->sent, -1e300, 1e300);
    pack_f64(p, &r->value, -1e12, 1e12);
    pack_u32(p, &r->tests);
    pack_i32(p, &flag, 0, FLAG_MISSING);
    pack_i32(p, &basis, 0, TIME_BASIS_COUNT - 1);
    r->flag = (enum flag)flag;
    r->basis = (enum time_basis)basis;
}

void gate_visit(struct gate *g, struct pack *p)
{
    pack_utc(p, &g->newest);
    visit_point(&g->last, p);
    visit_point(&g->before, p);
    pack_i32(p, &g->segment_count, 0, 3);
    visit_run(&g->highest, p);
    visit_run(&g->lowest, p);
    pack_i64(p, &g->flat_since_ms, INT64_MIN, INT64_MAX);
    visit_window(g, p);
    pack_bool(p, &g->has_pending);
    gate_visit_reading(&g->pending, p);
    pack_i32(p, &g->recent_count, 0, GATE_RECENT);
    pack_i32(p, &g->recent_at, 0, GATE_RECENT - 1);
    for (int i = 0; i < g->recent_count && !p->bad; i++) {
        pack_i64(p, &g->recent.t_ms[i], INT64_MIN, INT64_MAX);
        pack_u32(p, &g->recent.sent_hash[i]);
    }
}
