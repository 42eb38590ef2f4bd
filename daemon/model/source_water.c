#include "model/source_water.h"

#include <math.h>

const char *source_wear_name(enum source_wear w)
{
    static const char *const names[] = { "unknown", "steady", "wearing", "exhausted" };
    return names[w];
}

static double days_to(const struct source_water *w, utc_t t)
{
    return (double)(t.ms - w->t.ms) / (double)MS_PER_DAY;
}

static void put_days(const struct source_water *w, struct text *out)
{
    text_printf(out, ": %.4g in about %.0f days (%.0f", w->exhausted_ec, days_to(w, w->exhausted),
                days_to(w, w->early));
    if (utc_is_set(w->late))
        text_printf(out, " to %.0f)", days_to(w, w->late));
    else
        text_put(out, " at the earliest, perhaps never)");
}

static void put_wear(const struct source_water *w, struct text *out)
{
    if (w->wear == SOURCE_EXHAUSTED)
        text_printf(out, "; WORN OUT: %.4g is the limit, see to membrane and resin", w->exhausted_ec);
    else if (w->wear == SOURCE_STEADY)
        text_put(out, "; steady");
    if (w->wear != SOURCE_WEARING)
        return;
    text_printf(out, "; rises by %.2f µS/cm a day", w->trend.per_day);
    put_days(w, out);
}

static void put_hardness(const struct source_water *w, struct text *out)
{
    static const enum quantity shown[] = { Q_GH, Q_KH, Q_NO3, Q_CL2 };
    for (size_t i = 0; i < sizeof shown / sizeof *shown; i++) {
        const struct source_value *v = &w->values[shown[i]];
        const struct quantity_info *q = quantity_info(shown[i]);
        if (v->origin != ORIGIN_NONE)
            text_printf(out, "%s%s %.*f %s", out->len > 0 ? ", " : "", q->name, q->decimals, v->value,
                        q->unit);
    }
}

void source_water_words(const struct source_water *w, struct text *out)
{
    char buf[320];
    struct text words = text_over(buf, sizeof buf);
    const struct source_value *ec = &w->values[Q_EC];
    if (ec->origin != ORIGIN_NONE)
        text_printf(&words, "%.*f µS/cm", ec->value < 20 ? 1 : 0, ec->value);
    put_hardness(w, &words);
    if (!isnan(w->rejection))
        text_printf(&words, "; holds back %.1f %% of %.0f µS/cm", 100 * w->rejection, w->feed_ec);
    if (words.len > 0)
        put_wear(w, &words);
    text_put(out, words.len > 0 ? buf : "");
}
