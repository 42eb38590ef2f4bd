/* Hand tests: a value that a person measured stands in where no probe speaks. */
#include "engine/state.h"

#include <math.h>

#define OLD_MOST_MS   (366 * MS_PER_DAY)
#define STALE_MS      (30 * MS_PER_DAY) /* hardness and minerals move slowly */
#define STALE_FAST_MS MS_PER_DAY        /* everything else */

static int64_t stale_after_ms(enum quantity q)
{
    bool slow = q == Q_GH || q == Q_KH || q == Q_CA || q == Q_MG;
    return slow ? STALE_MS : STALE_FAST_MS;
}

static enum flag judge(enum quantity q, double v)
{
    const struct gate_limits *l = &quantity_info(q)->gate;
    return v < l->suspect_lo || v > l->suspect_hi ? FLAG_SUSPECT : FLAG_GOOD;
}

enum status hand_test(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                      struct why *why)
{
    int tank = c->place < 0 ? -1 : e->site->places[c->place].tank;
    utc_t t = utc_is_set(c->at) ? c->at : now.utc;
    if (t.ms > now.utc.ms + 2 * MS_PER_MIN)
        return why_say(why, STATUS_REFUSED, "a test cannot have been made in the future: look at \"at\"");
    if (tank < 0 || t.ms < now.utc.ms - OLD_MOST_MS)
        return STATUS_OK; /* kept in the journal all the same */
    struct hand_value *hand = &e->tanks[tank].hand[c->quantity];
    if (utc_is_set(hand->t) && t.ms < hand->t.ms)
        return STATUS_OK;
    *hand = (struct hand_value){ c->value, t };
    bool probe_speaks = !isnan(value_now(e, c->place, c->quantity));
    if (!probe_speaks && t.ms >= now.utc.ms - stale_after_ms(c->quantity))
        rules_hand(e, tank, c->quantity, c->value, now, fx);
    tank_changed(fx, now, tank);
    return STATUS_OK;
}

void hand_report(const struct engine *e, int tank, enum quantity q, struct now now, struct value_report *out)
{
    const struct hand_value *hand = &e->tanks[tank].hand[q];
    if (!utc_is_set(hand->t) || isnan(hand->value) ||
        (out->origin == ORIGIN_PROBE && hand->t.ms <= out->t.ms))
        return;
    *out = (struct value_report){ .origin = ORIGIN_HAND,
                                  .value = hand->value,
                                  .t = hand->t,
                                  .flag = judge(q, hand->value),
                                  .stale = now.utc.ms - hand->t.ms > stale_after_ms(q),
                                  .per_day = NAN,
                                  .day_lo = NAN,
                                  .day_hi = NAN };
}
