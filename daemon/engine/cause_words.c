/* What an alert says: its number, its cause, the time left and what to do. */
#include "engine/state.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "base/text.h"
#include "engine/forecast_watch.h"

static void put_value(struct text *out, enum quantity q, double v)
{
    const struct quantity_info *info = quantity_info(q);
    char number[32];
    if (number_format(number, sizeof number, v, info->decimals) > 0)
        text_printf(out, "%s%s%s", number, info->unit[0] != '\0' ? " " : "", info->unit);
    else
        text_put(out, "not known");
}

static void explain_heater(struct engine *e, int tank, struct alert *pub, struct now now)
{
    struct heater_view v;
    struct text out = text_over(pub->evidence, sizeof pub->evidence);
    if (!heater_view_of(e, tank, now.utc, &v))
        return;
    text_printf(&out, "%.2f °C, usual band %.1f to %.1f °C", v.temp_c, v.band_lo_c, v.band_hi_c);
    if (!isnan(v.slope_c_h))
        text_printf(&out, ", %s %.2f °C/h", v.slope_c_h < 0 ? "falling" : "rising", fabs(v.slope_c_h));
    if (!isnan(v.free_c_h))
        text_printf(&out, " (without heat: %s %.2f °C/h)", v.free_c_h < 0 ? "falling" : "rising",
                    fabs(v.free_c_h));
    if (!isnan(v.room_c))
        text_printf(&out, ", room %.1f °C", v.room_c);
}

static const struct heater *heater_of(const struct engine *e, int place)
{
    int tank = e->site->places[place].tank;
    return tank < 0 ? NULL : &e->tanks[tank].heater;
}

/* How far it went within a day. */
static void say_day(const struct engine *e, const struct alert_slot *slot, int stream, struct text *out)
{
    const struct stream_state *s = &e->streams[stream];
    int tank = e->site->places[slot->place].tank;
    struct window_range day = window_range(&s->day, s->value_t, MS_PER_DAY);
    if (day.bins == 0)
        return;
    bool worked = slot->kind == KIND_SWING && service_disturbs(e, tank, s->value_t, MS_PER_DAY);
    text_put(out, worked ? "; over the day, with the work in it, " : "; over the day ");
    put_value(out, slot->quantity, day.lo);
    text_put(out, " to ");
    put_value(out, slot->quantity, day.hi);
}

static void explain_limit(const struct engine *e, const struct alert_slot *slot, struct alert *pub,
                          struct now now)
{
    static const char *const said[] = { [KIND_LOW] = "lower limit",
                                        [KIND_HIGH] = "upper limit",
                                        [KIND_SWING] = "largest daily range",
                                        [KIND_FAST] = "largest change in an hour",
                                        [KIND_DRIFT] = "largest distance from the target" };
    char span[32];
    struct text out = text_over(pub->evidence, sizeof pub->evidence);
    int s = speaking_stream(e, slot->place, slot->quantity);
    put_value(&out, slot->quantity, pub->value);
    text_printf(&out, ", %s ", said[slot->kind]);
    put_value(&out, slot->quantity, pub->limit);
    if (s < 0 || !utc_is_set(e->streams[s].value_t))
        return;
    say_day(e, slot, s, &out);
    if (e->streams[s].silent)
        text_printf(&out, "; not heard for %s",
                    span_format(now.mono.ms - e->streams[s].fresh_at.ms, span, sizeof span));
}

static const char *solids_limit_cause(const struct engine *e, const struct alert_slot *slot)
{
    int tank = e->site->places[slot->place].tank;
    return tank >= 0 && batch_of(e, tank) >= 0 ? kind_info(KIND_BATCH)->title
                                               : solids_cause_title(solids_named(e, slot->place));
}

/* The heater's verdict names the cause of a temperature out of its band. */
static const char *limit_cause(const struct engine *e, const struct alert_slot *slot)
{
    const struct heater *h = slot->quantity == Q_TEMP ? heater_of(e, slot->place) : NULL;
    if (h != NULL && h->cause == HEATER_DEAD)
        return kind_info(KIND_HEATER_DEAD)->title;
    if (h != NULL && h->cause == HEATER_STUCK)
        return kind_info(KIND_HEATER_STUCK)->title;
    if (h != NULL && h->cause == HEATER_WEAK)
        return kind_info(KIND_HEATER_WEAK)->title;
    if (alert_is_active(e, slot->place, KIND_DRIFTING, slot->quantity))
        return kind_info(KIND_DRIFTING)->title;
    if (slot->quantity == Q_EC || slot->quantity == Q_TDS)
        return solids_limit_cause(e, slot);
    return alert_is_active(e, slot->place, KIND_WASTE, Q_COUNT) && cause_sours(e, slot)
               ? kind_info(KIND_WASTE)->title
               : NULL;
}

/* It needs a temperature, and values came later than the last usable one. */
static bool lacks_temperature(const struct engine *e, int stream)
{
    const struct stream_state *s = &e->streams[stream];
    return derive_needs_temp(e, stream) && isnan(derive_temp(e, stream, s->gate.newest)) &&
           utc_is_set(s->gate.newest) && (!s->seen || s->gate.newest.ms > s->gate.last.t_ms);
}

static void say_last(const struct stream_state *s, enum quantity q, struct text *out)
{
    if (!s->seen)
        return;
    text_put(out, "the last value was ");
    put_value(out, q, s->last.value);
}

static void say_silence(const struct engine *e, int stream, enum quantity q, struct now now, struct text *out)
{
    const struct stream_state *s = &e->streams[stream];
    char span[32];
    if (s->seen) {
        text_printf(out, "no usable value for %s; the last was ",
                    span_format(now.mono.ms - s->fresh_at.ms, span, sizeof span));
        put_value(out, q, s->last.value);
    } else {
        text_printf(out, "no value ever came on %s", e->site->streams[stream].name);
    }
    if (s->absent > 0)
        text_printf(out, "; %u documents came in which nothing stood that is asked for", s->absent);
    else if (lacks_temperature(e, stream))
        text_put(out, "; it talks, but there is no fresh temperature to compensate it with");
}

/* What was sent: a compensated value moves with the temperature even when the probe does not. */
static void say_stuck(const struct engine *e, int stream, enum quantity q, struct text *out)
{
    const struct stream_state *s = &e->streams[stream];
    char span[32];
    text_put(out, "it does not move: ");
    if (derive_needs_temp(e, stream))
        text_printf(out, "it sends %.10g", s->last.sent);
    else
        put_value(out, q, s->last.value);
    text_printf(out, " for %s",
                span_format(s->last.t.ms - health_flat_since_ms(e, stream), span, sizeof span));
}

static void say_noise(const struct stream_state *s, enum quantity q, double sd, struct text *out)
{
    if (isnan(sd))
        return;
    text_put(out, "it jumps about by ");
    put_value(out, q, sd);
    text_printf(out, " from one reading to the next (usually %.2g), around ",
                noise_usual_sd(&s->noise, quantity_info(q)->reading_sd));
    put_value(out, q, s->value);
}

static void explain_stream(const struct engine *e, const struct alert_slot *slot, struct alert *pub,
                           struct now now)
{
    struct text out = text_over(pub->evidence, sizeof pub->evidence);
    int stream = site_stream_of(e->site, slot->place, slot->quantity);
    const struct stream_state *s = &e->streams[stream];
    if (slot->kind == KIND_NOISY)
        say_noise(s, slot->quantity, pub->value, &out);
    else if (!pub->active)
        say_last(s, slot->quantity, &out);
    else if (slot->kind == KIND_SILENT)
        say_silence(e, stream, slot->quantity, now, &out);
    else if (slot->kind == KIND_STUCK)
        say_stuck(e, stream, slot->quantity, &out);
    else
        text_printf(&out, "%d in a row: %s, last \"%s\" on %s", s->bad_run, s->last_reason, s->last_sample,
                    e->site->streams[stream].name);
}

/* Names of those that are listed under it: "temp-fast, a2 heater-dead". */
static void list_followers(const struct engine *e, int slot, struct alert *pub)
{
    struct text out = text_over(pub->also, sizeof pub->also);
    int mine = e->site->alerts[slot].place, left_out = 0;
    for (int i = 0; i < e->site->alert_count; i++) {
        const struct alert_slot *s = &e->site->alerts[i];
        if (e->alarms.items[i].pub.leader != slot || !e->alarms.items[i].pub.active)
            continue;
        const char *place = s->place == mine ? "" : e->site->places[s->place].id;
        if (out.len + strlen(place) + strlen(s->name) + sizeof ", and 999 more" + 1 > out.cap) {
            left_out++;
            continue;
        }
        text_printf(&out, "%s%s%s%s", out.len > 0 ? ", " : "", place, place[0] != '\0' ? " " : "", s->name);
    }
    if (left_out > 0)
        text_printf(&out, " and %d more", left_out);
}

void cause_explain(void *engine, int slot, struct alert *pub, struct now now)
{
    struct engine *e = engine;
    const struct alert_slot *s = &e->site->alerts[slot];
    const struct kind_info *info = kind_info(s->kind);
    const char *cause = info->title;
    switch (s->kind) {
    case KIND_LOW:
    case KIND_HIGH:
    case KIND_SWING:
    case KIND_FAST:
    case KIND_DRIFT:
        explain_limit(e, s, pub, now);
        if (limit_cause(e, s) != NULL)
            cause = limit_cause(e, s);
        break;
    case KIND_HEATER_DEAD:
    case KIND_HEATER_STUCK:
    case KIND_HEATER_WEAK:
        explain_heater(e, e->site->places[s->place].tank, pub, now);
        break;
    case KIND_SILENT:
    case KIND_REFUSED:
    case KIND_STUCK:
    case KIND_NOISY:
        explain_stream(e, s, pub, now);
        break;
    default:
        break;
    }
    snprintf(pub->cause, sizeof pub->cause, "%s", cause);
    snprintf(pub->action, sizeof pub->action, "%s", info->action);
    list_followers(e, slot, pub);
    pub->forecast = FORECAST_NONE;
    if (pub->active)
        (void)forecast_of_alert(e, slot, now, &pub->forecast);
    pub->due = pub->forecast.at;
}
