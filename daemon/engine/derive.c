/* From what was sent to a calibrated value at a believed time, and the values that follow from others. */
#include "engine/state.h"

#include <math.h>

#include "water/conductivity.h"

/* Own times below this are those of a clock that was never set. */
#define OWN_TIME_FLOOR_MS INT64_C(1577836800000) /* 2020-01-01 */
#define AHEAD_MOST_MS     (120 * MS_PER_S)
#define PARTNER_AGE_MS    (2 * MS_PER_HOUR)

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

/* Temperature of the same place for compensation; NaN when none is recent enough. */
static double partner_temp(const struct engine *e, const struct sample *s)
{
    int stream = e->site->streams[s->stream].temp_stream;
    if (stream < 0 || !e->streams[stream].seen)
        return NAN;
    const struct stream_state *t = &e->streams[stream];
    if (!e->clock.sure)
        return t->silent ? NAN : t->last.value;
    utc_t newest = e->streams[s->stream].gate.newest;
    if (utc_is_set(newest) && newest.ms - t->gate.last.t_ms > PARTNER_AGE_MS)
        return NAN;
    return t->gate.last.v;
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
                         partner_temp(e, s));
}
