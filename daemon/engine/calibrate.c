#include "engine/calibrate.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "engine/state.h"
#include "water/conductivity.h"
#include "water/electrode.h"

#define TEMPS_APART_MOST 5.0  /* buffers of different temperature are no series */
#define SLOPE_WORN       90.0 /* per cent, as water/electrode.h judges */
#define AGEING_TOLD      0.2  /* per cent a month; less is within what buffers allow */
#define BACK_MOST_MS     (31 * MS_PER_DAY)

/* How far a straight line may be from the probe's own. */
struct bounds {
    double gain_lo, gain_hi, shift_most; /* shift: of the value in the middle of the points */
    double apart_least;                  /* of two points */
};

static struct bounds bounds_of(enum quantity q)
{
    switch (q) {
    case Q_TEMP:
        return (struct bounds){ 0.9, 1.1, 5, 5 };
    case Q_EC:
        return (struct bounds){ 0.5, 2, INFINITY, 100 };
    case Q_PH:
        return (struct bounds){ 0.8, 1.25, 2, 1 };
    default:
        return (struct bounds){ 0.5, 2, INFINITY, 0 };
    }
}

/* --- which probe --- */

enum status calibrate_find(const struct engine *e, const struct command *c, int *stream, struct why *why)
{
    *stream = c->stream;
    if (*stream >= 0)
        return STATUS_OK;
    if (c->place < 0 || c->quantity >= Q_COUNT)
        return why_say(why, STATUS_INVALID, "%s needs \"place\" and \"quantity\", or the \"probe\" by name",
                       command_name(c->verb));
    *stream = site_stream_of(e->site, c->place, c->quantity);
    const char *place = e->site->places[c->place].text, *quantity = quantity_info(c->quantity)->name;
    if (*stream < 0)
        return why_say(why, STATUS_REFUSED, "%s has no probe of %s", place, quantity);
    int twin = e->site->streams[*stream].twin;
    if (twin >= 0)
        return why_say(why, STATUS_REFUSED, "%s has more than one probe of %s: name it, \"%s\" or \"%s\"",
                       place, quantity, e->site->streams[*stream].name, e->site->streams[twin].name);
    return STATUS_OK;
}

/* --- the points --- */

static double temp_at(const struct engine *e, int stream)
{
    return value_now(e, e->site->streams[stream].place, Q_TEMP);
}

static enum status fill_points(const struct engine *e, int stream, const struct command *c,
                               struct calib_point *points, struct why *why)
{
    const struct probe_value *value = site_stream_value(e->site, stream);
    const struct stream_state *s = &e->streams[stream];
    for (int i = 0; i < c->point_count; i++) {
        points[i] = c->points[i];
        if (isnan(points[i].temp_c))
            points[i].temp_c = temp_at(e, stream);
        if (!isnan(points[i].raw))
            continue;
        if (c->point_count > 1)
            return why_say(why, STATUS_INVALID,
                           "each of several points needs \"raw\": what the probe showed in it");
        if (!s->seen || s->silent || value->unit_per_message)
            return why_say(why, STATUS_REFUSED,
                           "the probe shows nothing now: say with \"raw\" what it showed, or wait for it");
        points[i].raw = unit_to_stored(value->unit, s->last.sent);
    }
    return STATUS_OK;
}

/* --- electrodes --- */

static enum status mean_temp(const struct calib_point *points, int count, double *temp_c, struct why *why)
{
    double lo = INFINITY, hi = -INFINITY, sum = 0;
    for (int i = 0; i < count; i++) {
        if (isnan(points[i].temp_c))
            return why_say(why, STATUS_REFUSED,
                           "the buffers' temperature is not known: say \"temp\" with each point");
        lo = fmin(lo, points[i].temp_c);
        hi = fmax(hi, points[i].temp_c);
        sum += points[i].temp_c;
    }
    if (hi - lo > TEMPS_APART_MOST)
        return why_say(why, STATUS_REFUSED,
                       "the buffers were %.1f °C apart: let all come to room temperature first", hi - lo);
    *temp_c = sum / count;
    return STATUS_OK;
}

static const char *health_words(enum electrode_health health)
{
    static const char *const words[] = {
        [ELECTRODE_GOOD] = "good",
        [ELECTRODE_AGEING] = "ageing: clean it, plan a new one",
        [ELECTRODE_REPLACE] = "worn out: replace it",
        [ELECTRODE_SUSPECT] = "suspect: check buffers and cable, clean it and do it again",
    };
    return words[health];
}

static void tell_electrode(const struct calib *c, const struct electrode_quality *q, int count,
                           struct why *why)
{
    struct text out = text_over(why->text, sizeof why->text);
    if (count == 1)
        text_printf(&out, "offset %.1f mV at pH 7 (slope not measured: that takes two buffers)",
                    c->offset_mv);
    else
        text_printf(&out, "slope %.1f %%, offset %.1f mV at pH 7", q->slope_percent, c->offset_mv);
    if (count == 3)
        text_printf(&out, ", residual %.1f mV", q->residual_mv);
    text_printf(&out, "; the electrode is %s", health_words(q->health));
}

static enum status fit_electrode(const struct calib_point *points, int count, struct calib *out,
                                 struct why *why)
{
    struct electrode_point p[CALIB_POINTS_MAX];
    struct electrode e;
    struct electrode_quality quality;
    double temp_c = NAN;
    enum status st = mean_temp(points, count, &temp_c, why);
    for (int i = 0; i < count && st == STATUS_OK; i++) {
        p[i].mv = points[i].raw;
        /* Another maker's buffer counts as it is named. */
        if (electrode_buffer_ph(points[i].is, temp_c, &p[i].buffer_ph, NULL) != STATUS_OK)
            p[i].buffer_ph = points[i].is;
    }
    if (st == STATUS_OK)
        st = electrode_fit(p, count, temp_c, &e, &quality, why);
    if (st != STATUS_OK)
        return st;
    /* One buffer tells nothing of the slope: that of before stays. */
    if (count == 1 && out->kind == CALIB_ELECTRODE) {
        double slope_mv, lead = out->slope_fraction[out->pivot_ph > 7 ? 0 : 1];
        st = electrode_slope(temp_c, &slope_mv, why);
        e.offset_mv = p[0].mv + lead * slope_mv * (p[0].buffer_ph - 7);
        e.pivot_ph = out->pivot_ph;
        e.slope_fraction[0] = out->slope_fraction[0];
        e.slope_fraction[1] = out->slope_fraction[1];
    }
    *out = CALIB_IDENTITY;
    out->kind = CALIB_ELECTRODE;
    out->offset_mv = e.offset_mv;
    out->pivot_ph = e.pivot_ph;
    out->slope_fraction[0] = e.slope_fraction[0];
    out->slope_fraction[1] = e.slope_fraction[1];
    out->residual = quality.residual_mv;
    tell_electrode(out, &quality, count, why);
    return st;
}

/* --- straight lines --- */

/* A conductivity standard is named by its value at 25 degrees; a probe that does not compensate shows
 * another.
 */
static enum status true_raw(const struct probe_value *value, const struct calib_point *point, double *is,
                            struct why *why)
{
    double ec25, factor;
    *is = point->is;
    if (value->quantity != Q_EC || value->compensated)
        return STATUS_OK;
    if (isnan(point->temp_c))
        return why_say(why, STATUS_REFUSED, "the standard's temperature is not known: say \"temp\"");
    enum status st =
        conductivity_at_25(fmax(point->raw, 0), point->temp_c, value->alpha, &ec25, &factor, why);
    if (st == STATUS_OK)
        *is = point->is / factor;
    return st;
}

static void fit_one(enum quantity q, double raw, double is, struct calib *out)
{
    if (q == Q_EC) {
        out->gain = is / raw;
        out->offset = 0;
    } else {
        out->offset = is - out->gain * raw;
    }
}

static void fit_least_squares(const double *raw, const double *is, int count, struct calib *out)
{
    double x = 0, y = 0, sxx = 0, sxy = 0, squares = 0;
    for (int i = 0; i < count; i++) {
        x += raw[i] / count;
        y += is[i] / count;
    }
    for (int i = 0; i < count; i++) {
        sxx += (raw[i] - x) * (raw[i] - x);
        sxy += (raw[i] - x) * (is[i] - y);
    }
    out->gain = sxy / sxx;
    out->offset = y - out->gain * x;
    for (int i = 0; i < count; i++)
        squares += pow(is[i] - out->gain * raw[i] - out->offset, 2);
    out->residual = count > 2 ? sqrt(squares / count) : NAN;
}

static enum status check_apart(const struct bounds *b, const double *raw, const double *is, int count,
                               const char *unit, struct why *why)
{
    for (int i = 1; i < count; i++)
        for (int j = 0; j < i; j++)
            if (fabs(is[i] - is[j]) < b->apart_least || raw[i] == raw[j])
                return why_say(
                    why, STATUS_REFUSED,
                    "two points are the same or too near: at least %g %s apart, and the probe must "
                    "show a difference",
                    b->apart_least, unit);
    return STATUS_OK;
}

static enum status check_line(const struct calib *c, enum quantity q, double middle, struct why *why)
{
    struct bounds b = bounds_of(q);
    const struct quantity_info *info = quantity_info(q);
    if (!(c->gain >= b.gain_lo && c->gain <= b.gain_hi))
        return why_say(
            why, STATUS_REFUSED,
            "the probe would have to be multiplied by %.3f, and %.2f to %.2f is what a sound one needs: "
            "wrong %s, wrong unit, or a fouled probe",
            c->gain, b.gain_lo, b.gain_hi, q == Q_EC ? "standard" : "reference");
    double shift = c->gain * middle + c->offset - middle;
    if (!(fabs(shift) <= b.shift_most))
        return why_say(why, STATUS_REFUSED,
                       "the probe is off by %.2f %s, more than %.2f: wrong reference, or a broken probe",
                       shift, info->unit, b.shift_most);
    return STATUS_OK;
}

static void tell_line(const struct calib *c, enum quantity q, struct why *why)
{
    const struct quantity_info *info = quantity_info(q);
    struct text out = text_over(why->text, sizeof why->text);
    text_printf(&out, "value = %.4f x raw %s %.*f %s", c->gain, c->offset < 0 ? "-" : "+", info->decimals + 1,
                fabs(c->offset), info->unit);
    if (!isnan(c->residual))
        text_printf(&out, ", residual %.*f %s", info->decimals + 1, c->residual, info->unit);
    if (q == Q_EC)
        text_printf(&out, "; the cell constant is %.1f %% of the named one%s", 100 * c->gain,
                    c->gain > 1.15 || c->gain < 0.85 ? ": clean the cell and do it again" : ", good");
}

static enum status fit_line(const struct probe_value *value, const struct calib_point *points, int count,
                            struct calib *out, struct why *why)
{
    double raw[CALIB_POINTS_MAX], is[CALIB_POINTS_MAX], middle = 0;
    struct bounds b = bounds_of(value->quantity);
    const struct calib before = *out;
    *out = CALIB_IDENTITY;
    if (before.kind == CALIB_LINEAR && count == 1)
        out->gain = before.gain;
    for (int i = 0; i < count; i++) {
        enum status st = true_raw(value, &points[i], &is[i], why);
        if (st != STATUS_OK)
            return st;
        raw[i] = points[i].raw;
        middle += raw[i] / count;
        if (value->quantity == Q_EC && !(raw[i] > 0))
            return why_say(why, STATUS_REFUSED, "%.4g µS/cm is no reading of a standard: is the probe in it?",
                           raw[i]);
    }
    if (count == 1) {
        fit_one(value->quantity, raw[0], is[0], out);
    } else {
        enum status st = check_apart(&b, raw, is, count, quantity_info(value->quantity)->unit, why);
        if (st != STATUS_OK)
            return st;
        fit_least_squares(raw, is, count, out);
    }
    enum status st = check_line(out, value->quantity, middle, why);
    if (st == STATUS_OK)
        tell_line(out, value->quantity, why);
    return st;
}

/* Gain and offset as given. */
static enum status take_line(const struct engine *e, int stream, const struct command *c, struct calib *out,
                             struct why *why)
{
    enum quantity q = e->site->streams[stream].quantity;
    if (out->kind == CALIB_ELECTRODE)
        return why_say(why, STATUS_REFUSED, "an electrode in mV is calibrated in buffers: give \"points\"");
    *out = CALIB_IDENTITY;
    out->gain = isnan(c->gain) ? 1.0 : c->gain;
    out->offset = isnan(c->offset) ? 0.0 : c->offset;
    enum status st = check_line(out, q, isnan(e->streams[stream].value) ? 0 : e->streams[stream].value, why);
    if (st == STATUS_OK)
        tell_line(out, q, why);
    return st;
}

/* --- in force --- */

const struct calib *calibrate_at(const struct engine *e, int stream, utc_t t)
{
    return fitting_calib_at(&e->streams[stream].fitting, t);
}

/* NULL when the stream is not the temperature that speaks for a tank. */
static struct heater *heater_behind(struct engine *e, int stream)
{
    const struct stream *s = &e->site->streams[stream];
    int tank = e->site->places[s->place].tank;
    bool speaks = tank >= 0 && s->quantity == Q_TEMP && speaking_stream(e, s->place, Q_TEMP) == stream;
    return speaks ? &e->tanks[tank].heater : NULL;
}

/* What the windows hold was reckoned with the old one: a straight line is carried over, so that neither a
 * swing nor a trend is seen that never was; a bent one is begun anew. */
static void carry_windows(struct engine *e, int stream, const struct calib *from, const struct calib *to)
{
    struct stream_state *s = &e->streams[stream];
    struct heater *heater = heater_behind(e, stream);
    if (from->kind != CALIB_LINEAR || to->kind != CALIB_LINEAR || from->gain == 0) {
        window_clear(&s->day);
        window_clear(&s->days);
        return;
    }
    double gain = to->gain / from->gain;
    window_map(&s->day, gain, to->offset - gain * from->offset);
    window_map(&s->days, gain, to->offset - gain * from->offset);
    if (heater != NULL)
        heater_shift(heater, gain, to->offset - gain * from->offset);
}

void engine_calibrate(struct engine *e, int stream, const struct calib *c)
{
    fitting_calibrate(&e->streams[stream].fitting, c);
}

void engine_uncalibrate(struct engine *e)
{
    for (int i = 0; i < e->site->stream_count; i++)
        fitting_forget(&e->streams[i].fitting, &site_stream_value(e->site, i)->calib);
}

static void take(struct engine *e, int stream, const struct calib *c)
{
    struct stream_state *s = &e->streams[stream];
    struct calib before = *fitting_calib(&s->fitting);
    engine_calibrate(e, stream, c);
    carry_windows(e, stream, &before, fitting_calib(&s->fitting));
}

static void announce(struct engine *e, int stream, const struct command *c, const struct calib *made,
                     struct now now, struct effects *fx, const char *text)
{
    bool undone = made == NULL;
    const struct stream *site = &e->site->streams[stream];
    struct effect *fact = effect_add(fx, EFFECT_CALIB, now);
    fact->u.calib.stream = stream;
    fact->u.calib.undone = undone;
    fact->u.calib.calib = undone ? *fitting_calib(&e->streams[stream].fitting) : *made;
    fact->u.calib.back_to = c->back_to;
    told_write(e, JOURNAL_CALIBRATION, site, c, text, now, fx);
    event_add(fx, now, EVENT_CALIBRATED, site->place, site->quantity, NAN, "%s: %s", site->name, text);
    calibrate_due(e, stream, now, fx);
    doubt_calibrated(e, stream, now, fx);
    tank_changed(fx, now, e->site->places[site->place].tank);
}

static enum status undo(struct engine *e, int stream, const struct command *c, struct now now,
                        struct effects *fx, struct why *why)
{
    struct stream_state *s = &e->streams[stream];
    struct calib last = *fitting_calib(&s->fitting);
    char when[UTC_TEXT_MAX], of[UTC_TEXT_MAX];
    if (!fitting_undo(&s->fitting))
        return why_say(why, STATUS_REFUSED, "%s: there is no calibration to take back",
                       e->site->streams[stream].name);
    const struct calib *holds = fitting_calib(&s->fitting);
    carry_windows(e, stream, &last, holds);
    utc_format(last.since, when, sizeof when);
    if (utc_is_set(holds->since))
        why_say(why, STATUS_OK, "the calibration of %.16sZ no longer counts; that of %.16sZ counts again",
                when, utc_format(holds->since, of, sizeof of));
    else
        why_say(why, STATUS_OK, "the calibration of %.16sZ no longer counts; the configured one counts again",
                when);
    announce(e, stream, c, NULL, now, fx, why->text);
    return STATUS_OK;
}

/* May stored readings be reckoned anew from then on? */
static enum status check_back(const struct command *c, const struct probe_value *value, struct now now,
                              struct why *why)
{
    if (!utc_is_set(c->back_to))
        return STATUS_OK;
    if (value->unit_per_message)
        return why_say(
            why, STATUS_REFUSED,
            "this probe names its unit with every message, and what is stored does not tell which it "
            "was: it cannot be calibrated backwards. Leave \"from\" out");
    if (c->back_to.ms > now.utc.ms)
        return why_say(why, STATUS_REFUSED, "\"from\" lies in the future");
    if (c->back_to.ms < now.utc.ms - BACK_MOST_MS)
        return why_say(why, STATUS_REFUSED,
                       "stored readings are reckoned anew for 31 days at the most: say a later "
                       "\"from\"");
    return STATUS_OK;
}

/* How long the electrode has at the pace at which its slope fell. */
static void tell_ageing(const struct fitting *f, struct why *why)
{
    double slope, month = fitting_slope_month(f, &slope);
    if (isnan(month) || month > -AGEING_TOLD)
        return;
    struct text out = text_over(why->text, sizeof why->text);
    out.len = strlen(why->text);
    text_printf(&out, "; its slope falls by %.1f %% a month", -month);
    if (slope > SLOPE_WORN)
        text_printf(&out, ", at that pace it is worn out in about %.0f months",
                    fmax((slope - SLOPE_WORN) / -month, 1));
}

enum status calibrate(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                      struct why *why)
{
    struct calib_point points[CALIB_POINTS_MAX];
    int stream;
    enum status st = calibrate_find(e, c, &stream, why);
    if (st != STATUS_OK)
        return st;
    if (c->undo)
        return undo(e, stream, c, now, fx, why);
    const struct probe_value *value = site_stream_value(e->site, stream);
    if ((st = check_back(c, value, now, why)) != STATUS_OK)
        return st;
    struct calib calib = *fitting_calib(&e->streams[stream].fitting);
    if (c->point_count == 0) {
        st = take_line(e, stream, c, &calib, why);
    } else {
        st = fill_points(e, stream, c, points, why);
        if (st == STATUS_OK)
            st = value->millivolts && value->quantity == Q_PH
                     ? fit_electrode(points, c->point_count, &calib, why)
                     : fit_line(value, points, c->point_count, &calib, why);
    }
    if (st != STATUS_OK)
        return st;
    calib.since = utc_is_set(c->at) && c->at.ms < now.utc.ms ? c->at : now.utc;
    take(e, stream, &calib);
    tell_ageing(&e->streams[stream].fitting, why);
    announce(e, stream, c, &calib, now, fx, why->text);
    return STATUS_OK;
}

double engine_recompute(const struct engine *e, int stream, double sent, double temp_c)
{
    const struct probe_value *value = site_stream_value(e->site, stream);
    return derive_reckon(value, fitting_calib(&e->streams[stream].fitting), unit_to_stored(value->unit, sent),
                         temp_c);
}

/* --- due dates --- */

/* A probe that was never calibrated here may be one that calibrates itself: no nagging. */
void calibrate_due(struct engine *e, int stream, struct now now, struct effects *fx)
{
    const struct stream *site = &e->site->streams[stream];
    const struct fitting *fitting = &e->streams[stream].fitting;
    utc_t since = fitting_calib(fitting)->since;
    double most = e->site->plan.calibrate_every_d[site->quantity];
    int slot = slot_find(e->site, site->place, KIND_CALIBRATION_DUE, site->quantity);
    if (slot < 0 || isnan(most) || !utc_is_set(since))
        return;
    double days = (double)(now.utc.ms - since.ms) / (double)MS_PER_DAY;
    bool fresh = fitting_is_fresh(fitting);
    struct alert *pub = &e->alarms.items[slot].pub;
    if (fresh)
        snprintf(pub->evidence, sizeof pub->evidence, "device %s is new here and was not calibrated yet",
                 fitting->device);
    else
        snprintf(pub->evidence, sizeof pub->evidence, "last calibrated %.0f days ago, due every %.0f", days,
                 most);
    alarm_judge(&e->alarms, slot, fresh || days > most ? TRI_YES : TRI_NO, days, fresh ? NAN : most, now, fx);
}
