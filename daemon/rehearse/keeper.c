#include "rehearse/keeper.h"

#include <math.h>

#define DAY_S        86400.0
#define WEEK_S       (7 * DAY_S)
#define DRAIN_TANK_S 1800.0 /* a whole tank; a usual change takes a few minutes */
#define FILL_TANK_S  3600.0 /* gently */
#define BATCH_ERROR  0.008
#define TOPOFF_LEAST 0.003 /* of the full tank: less is left for the next round */

/* Some day from now on, at some time of the early evening. */
static double evening(struct chore *c, double midnight_s, double day)
{
    return midnight_s + day * DAY_S + dice_between(&c->dice, 16.5, 20) * 3600;
}

struct chore chore_init(uint64_t seed, int tank, double usual_l, bool by_hand, double midnight_s)
{
    struct chore c = { .phase = CHORE_REST,
                       .usual_l = usual_l,
                       .by_hand = by_hand,
                       .dice = dice_init(seed, "chore", (uint64_t)tank) };
    c.next_s = evening(&c, midnight_s, dice_below(&c.dice, 7));
    c.next_topoff_s = evening(&c, midnight_s, dice_below(&c.dice, 2));
    return c;
}

double keeper_batch_ec(uint64_t seed, int water, double target_ec, double t_s)
{
    struct dice d = dice_init(seed ^ (uint64_t)(int64_t)floor(t_s / WEEK_S), "batch", (uint64_t)water + 1);
    return target_ec * dice_normal(&d, 1, BATCH_ERROR);
}

static enum chore_event begin(struct chore *c, const struct basin *b, const struct chore_world *w)
{
    c->phase = CHORE_DRAIN;
    c->litres = c->usual_l * dice_between(&c->dice, 0.8, 1.2);
    c->litres = fmin(c->litres, 0.8 * b->water_l);
    c->left_l = c->litres;
    c->new_ec = w->batch_ec;
    c->new_temp_c = b->temp_c + fmin(fmax(dice_normal(&c->dice, -0.6, 0.9), -2.5), 2.5);
    return CHORE_BEGUN;
}

static void plan_next(struct chore *c)
{
    double days = dice_chance(&c->dice, 0.08) ? 14 : dice_chance(&c->dice, 0.05) ? 3 : 7;
    c->next_s += days * DAY_S + dice_between(&c->dice, -1, 1) * 3600;
}

static enum chore_event drain(struct chore *c, struct basin *b, double dt_s)
{
    double litres = fmin(c->left_l, b->full_l * dt_s / DRAIN_TANK_S);
    (void)basin_draw(b, litres);
    c->left_l -= litres;
    if (c->left_l <= 0) {
        c->phase = CHORE_FILL;
        c->left_l = fmax(b->full_l - b->water_l, c->litres); /* up to the mark */
    }
    return CHORE_NOTHING;
}

static enum chore_event fill(struct chore *c, struct basin *b, double dt_s)
{
    double litres = fmin(c->left_l, b->full_l * dt_s / FILL_TANK_S);
    basin_fill(b, litres, c->new_ec, c->new_temp_c);
    c->left_l -= litres;
    if (c->left_l > 0)
        return CHORE_NOTHING;
    c->phase = CHORE_REST;
    plan_next(c);
    return CHORE_DONE;
}

static void top_off(struct chore *c, struct basin *b, const struct chore_world *w)
{
    double lacking = b->full_l - b->water_l;
    if (!w->topoff_stopped && lacking > TOPOFF_LEAST * b->full_l)
        basin_fill(b, lacking, w->topoff_ec, w->room_c);
    c->next_topoff_s += (1 + dice_below(&c->dice, 3)) * DAY_S + dice_between(&c->dice, -1, 1) * 3600;
}

enum chore_event chore_advance(struct chore *c, struct basin *b, const struct chore_world *w, double dt_s)
{
    if (c->by_hand && c->phase == CHORE_REST && w->t_s >= c->next_topoff_s)
        top_off(c, b, w);
    switch (c->phase) {
    case CHORE_REST:
        return w->t_s >= c->next_s && c->usual_l > 0 ? begin(c, b, w) : CHORE_NOTHING;
    case CHORE_DRAIN:
        return drain(c, b, dt_s);
    case CHORE_FILL:
        return fill(c, b, dt_s);
    }
    return CHORE_NOTHING;
}
