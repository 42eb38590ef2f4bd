#include "model/forecast.h"

#include "base/number.h"

static int64_t in_steps(int64_t ms, int64_t step)
{
    int64_t whole = (ms + step / 2) / step * step;
    return whole > 0 ? whole : step;
}

int64_t forecast_round(int64_t ms)
{
    if (ms < MS_PER_HOUR)
        return in_steps(ms, 5 * MS_PER_MIN);
    if (ms < 6 * MS_PER_HOUR)
        return in_steps(ms, 10 * MS_PER_MIN);
    if (ms < MS_PER_DAY)
        return in_steps(ms, 30 * MS_PER_MIN);
    return in_steps(ms, ms < 3 * MS_PER_DAY ? MS_PER_HOUR : 12 * MS_PER_HOUR);
}

static void put_span(int64_t ms, struct text *out)
{
    char span[40];
    text_put(out, span_format(forecast_round(ms), span, sizeof span));
}

void forecast_put(const struct forecast *f, const char *who, utc_t now, struct text *out)
{
    if (f->quantity == Q_COUNT || f->at.ms <= now.ms)
        return;
    const struct quantity_info *info = quantity_info(f->quantity);
    char limit[32];
    number_format(limit, sizeof limit, f->limit, info->decimals > 1 ? info->decimals - 1 : info->decimals);
    text_printf(out, "%s%sreaches %s%s%s in about ", who != NULL ? who : "", who != NULL ? " " : "", limit,
                info->unit[0] != '\0' ? " " : "", info->unit);
    put_span(f->at.ms - now.ms, out);
    text_put(out, " (");
    put_span(f->at_early.ms > now.ms ? f->at_early.ms - now.ms : 0, out);
    if (utc_is_set(f->at_late)) {
        text_put(out, " to ");
        put_span(f->at_late.ms - now.ms, out);
        text_put(out, ")");
    } else {
        text_put(out, " at the earliest, perhaps never)");
    }
}
