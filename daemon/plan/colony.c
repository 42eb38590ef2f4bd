#include "plan/colony.h"

#include <math.h>
#include <string.h>

#define LOST_MS (60 * MS_PER_DAY) /* eggs seen longer ago have hatched or were lost */

static double heads(const struct journal_entry *e, enum journal_head h)
{
    return journal_amount(e, JOURNAL_HEAD, journal_head_name(h));
}

static double or_none(double v)
{
    return isnan(v) ? 0 : v;
}

/* --- how many --- */

static void take_entry(const struct journal_entry *e, struct colony *c)
{
    double adults = heads(e, HEADS_ADULTS), in = or_none(heads(e, HEADS_IN)),
           out = or_none(heads(e, HEADS_OUT)), dead = or_none(heads(e, HEADS_DEAD));
    c->born += or_none(heads(e, HEADS_BORN));
    c->dead += dead;
    c->in += in;
    c->out += out;
    if (!isnan(adults)) { /* a count knows of what came before and with it */
        c->counted = true;
        c->counted_at = e->at;
        c->adults = adults;
    } else {
        c->adults += in - out - dead;
    }
    if (!isnan(heads(e, HEADS_SHRIMPLETS)))
        c->shrimplets = heads(e, HEADS_SHRIMPLETS);
    if (!isnan(heads(e, HEADS_BERRIED)))
        c->berried = heads(e, HEADS_BERRIED);
}

/* --- coincidences --- */

static double deaths_in(const struct journal_entry *entries, int count, int64_t after_ms, int64_t to_ms)
{
    double sum = 0;
    for (int i = 0; i < count; i++)
        if (entries[i].at.ms > after_ms && entries[i].at.ms <= to_ms)
            sum += or_none(heads(&entries[i], HEADS_DEAD));
    return sum;
}

/* Deaths that fall within the time after any move do not count as usual. */
static double usual_deaths(const struct journal_entry *entries, int count, const struct colony_move *moves,
                           int move_count, const struct colony *c)
{
    double sum = 0, busy_ms = 0;
    int64_t until = INT64_MIN;
    for (int i = 0; i < count; i++) {
        bool near = false;
        for (int k = 0; k < move_count && !near; k++)
            near = !moves[k].aside && entries[i].at.ms > moves[k].t.ms &&
                   entries[i].at.ms <= moves[k].t.ms + COLONY_AFTER_MS;
        if (!near)
            sum += or_none(heads(&entries[i], HEADS_DEAD));
    }
    for (int k = 0; k < move_count; k++) {
        if (moves[k].aside)
            continue;
        int64_t begin = moves[k].t.ms > until ? moves[k].t.ms : until;
        until = moves[k].t.ms + COLONY_AFTER_MS;
        busy_ms += (double)(until - begin);
    }
    double free_ms = c->days * (double)MS_PER_DAY - busy_ms;
    return free_ms < (double)COLONY_AFTER_MS ? (double)NAN : sum * (double)COLONY_AFTER_MS / free_ms;
}

static void find_coincidences(const struct journal_entry *entries, int count, const struct colony_move *moves,
                              int move_count, struct colony *c)
{
    double usual = usual_deaths(entries, count, moves, move_count, c);
    for (int k = 0; k < move_count && c->coincidence_count < COLONY_MOVES; k++) {
        if (moves[k].aside)
            continue;
        double deaths = deaths_in(entries, count, moves[k].t.ms, moves[k].t.ms + COLONY_AFTER_MS);
        if (deaths < COLONY_LEAST || deaths <= 2 * or_none(usual))
            continue;
        c->coincidences[c->coincidence_count++] = (struct colony_coincidence){ &moves[k], deaths, usual };
    }
}

/* --- eggs --- */

static utc_t plus_days(utc_t t, double days)
{
    return (utc_t){ t.ms + (int64_t)(days * (double)MS_PER_DAY) };
}

/* More females carry than before: their eggs were laid since the count before. Seen for the first time they
 * may have been carried for long already. */
static void add_brood(struct colony *c, double females, utc_t before, utc_t seen, const struct brood *b,
                      utc_t now)
{
    struct colony_brood brood = { .females = females, .seen = seen, .bounded = utc_is_set(before) };
    utc_t earliest = { seen.ms - (int64_t)((b->days + 2 * b->sd) * (double)MS_PER_DAY) };
    utc_t laid = brood.bounded && before.ms > earliest.ms ? before : earliest;
    brood.bounded = laid.ms == before.ms;
    brood.early = plus_days(laid, b->days - 2 * b->sd);
    brood.likely = plus_days((utc_t){ laid.ms + (seen.ms - laid.ms) / 2 }, b->days);
    brood.late = plus_days(seen, b->days + 2 * b->sd);
    if (brood.early.ms < seen.ms)
        brood.early = seen;
    if (brood.likely.ms < seen.ms)
        brood.likely = seen;
    if (brood.late.ms < now.ms || c->brood_count == COLONY_BROODS)
        return;
    c->broods[c->brood_count++] = brood;
}

/* Fewer carry than before: those that carried longest have hatched, or lost their eggs. */
static void drop_broods(struct colony *c, double females)
{
    while (c->brood_count > 0 && females > 0) {
        double gone = fmin(females, c->broods[0].females);
        c->broods[0].females -= gone;
        females -= gone;
        if (c->broods[0].females > 0)
            return;
        c->brood_count--;
        memmove(&c->broods[0], &c->broods[1], (size_t)c->brood_count * sizeof c->broods[0]);
    }
}

static void forecast(const struct journal_entry *entries, int count, const char *stock, double temp_c,
                     utc_t now, struct colony *c)
{
    struct brood b;
    double before = 0;
    utc_t before_at = UTC_NONE;
    if (isnan(temp_c)) {
        (void)why_say(&c->no_forecast, STATUS_NONE, "no forecast of hatching: the temperature is not known");
        return;
    }
    if (brood_eval(brood_kind_of(stock), temp_c, &b, &c->no_forecast) != STATUS_OK)
        return;
    for (int i = 0; i < count; i++) {
        double berried = heads(&entries[i], HEADS_BERRIED);
        if (isnan(berried))
            continue;
        if (berried > before && now.ms - entries[i].at.ms < LOST_MS)
            add_brood(c, berried - before, before_at, entries[i].at, &b, now);
        drop_broods(c, before - berried);
        before = berried;
        before_at = entries[i].at;
    }
}

void colony_eval(const struct journal_entry *entries, int count, const struct colony_move *moves,
                 int move_count, const char *stock, double temp_c, utc_t now, struct colony *out)
{
    memset(out, 0, sizeof *out);
    out->counted_at = UTC_NONE;
    out->shrimplets = out->berried = NAN;
    for (int i = 0; i < count; i++)
        take_entry(&entries[i], out);
    out->days = count == 0 ? 0 : (double)(now.ms - entries[0].at.ms) / (double)MS_PER_DAY;
    find_coincidences(entries, count, moves, move_count, out);
    forecast(entries, count, stock, temp_c, now, out);
}
