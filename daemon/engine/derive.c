/* From what was sent to a calibrated value at a believed time, and the values that follow from others. */
#include "engine/state.h"

#include <math.h>

#include "water/conductivity.h"

/* Own times below this are those of a clock that was never set. */
#define OWN_TIME_FLOOR_MS INT64_C(1577836800000) /* 2020-01-01 */
#define AHEAD_MOST_MS     (120 * MS_PER_S)
#define TEMP_AGE_LEAST_MS (30 * MS_PER_MIN)
#define TEMP_AGE_MOST_MS  (2 * MS_PER_HOUR)

utc_t derive_time(const struct engine *e, const struct sample *s, struct now now, enum time_basis *basis)
{
    bool sure = e->clock.sure;
    utc_t newest = e->streams[s->stream].gate.newest;
    if (!utc_is_set(s->claimed)) {
        *basis = sure ? TIME_RECEIVED : TIME_UNTRUSTED;
        return now.utc;
    }
    if (!s->zoned)
        *basis = TIME_NOT_ZONED;
    else if (s->claimed.ms < OWN_TIME_FLOOR_MS)
        *basis = TIME_OLD;
    else if (sure && s->claimed.ms > now.utc.ms + AHEAD_MOST_MS)
        *basis = TIME_FUTURE;
    else if (!sure && utc_is_set(newest) && s->claimed.ms < newest.ms) /* the same again is a duplicate */
        *basis = TIME_UNTRUSTED;
    else
        *basis = TIME_OWN;
    return *basis == TIME_OWN ? s->claimed : now.utc;
}

bool derive_needs_temp(const struct engine *e, int stream)
{
    const struct probe_value *value = site_stream_value(e->site, stream);
    return (value->quantity == Q_EC && !value->compensated) || value->calib.kind == CALIB_ELECTRODE;
}

/* In the water of the same time: three cadences old, at least half an hour, two hours at the most. */
static int64_t temp_age_ms(const struct engine *e, int stream)
{
    double cadence_s = health_cadence_s(e, stream);
    double age_ms = isnan(cadence_s) ? 0 : 3e3 * cadence_s;
    return (int64_t)fmin(fmax(age_ms, (double)TEMP_AGE_LEAST_MS), (double)TEMP_AGE_MOST_MS);
}

static bool is_fresh(const struct engine *e, int temp_stream, utc_t t)
{
    const struct stream_state *s = &e->streams[temp_stream];
    if (!s->seen || s->silent)
        return false;
    return !e->clock.sure || !utc_is_set(t) || t.ms - s->gate.last.t_ms <= temp_age_ms(e, temp_stream);
}

/* Out of a probe that stands still or leaps comes a wrong compensation: its twin goes before. */
static bool is_good(const struct engine *e, int temp_stream)
{
    enum flag flag = e->streams[temp_stream].last.flag;
    return flag != FLAG_FAIL && flag != FLAG_SUSPECT;
}

/* For a late reading: of its own time. */
static double temp_then(const struct window *day, utc_t t)
{
    const struct window_bin *bin = window_at(day, t);
    return bin == NULL ? NAN : window_mean(bin);
}

double derive_temp(const struct engine *e, int stream, utc_t t)
{
    int first = e->site->streams[stream].temp_stream, s = first, best = -1;
    do {
        if (s >= 0 && is_fresh(e, s, t) && (best < 0 || (!is_good(e, best) && is_good(e, s))))
            best = s;
        s = s < 0 ? s : e->site->streams[s].twin;
    } while (s >= 0 && s != first);
    if (best < 0)
        return NAN;
    if (e->clock.sure && utc_is_set(t) && t.ms < e->streams[best].gate.last.t_ms - TEMP_AGE_MOST_MS)
        return temp_then(&e->streams[best].day, t);
    return e->clock.sure ? e->streams[best].gate.last.v : e->streams[best].last.value;
}

double derive_reckon(const struct probe_value *value, const struct calib *calib, double raw, double temp_c)
{
    double v = calib_apply(calib, raw, temp_c), ec25 = NAN, factor;
    if (value->quantity != Q_EC || value->compensated || isnan(v))
        return v;
    if (isnan(temp_c))
        return NAN;
    return conductivity_at_25(v, temp_c, value->alpha, &ec25, &factor, NULL) == STATUS_OK ? ec25 : NAN;
}

double derive_value(const struct engine *e, const struct sample *s, utc_t t)
{
    return derive_reckon(site_stream_value(e->site, s->stream), calibrate_at(e, s->stream, t), s->raw,
                         derive_temp(e, s->stream, t));
}
