#include "wire/encode.h"

#include <math.h>

#include "base/number.h"
#include "wire/encode_week.h"

#define EXACT (-1)

/* For members where the empty text says something: a bare number has the unit "". */
static void put_word(struct text *out, const char *key, const char *s)
{
    json_key(out, key);
    json_string(out, s);
}

static void put_flag(struct text *out, const char *key, enum flag flag)
{
    json_key(out, key);
    json_int(out, flag);
}

static void put_place(const struct site *site, int place, struct text *out)
{
    json_put_text(out, "place", place < 0 ? NULL : site->places[place].text);
}

static void put_unit(struct text *out, enum quantity q)
{
    json_key(out, "unit");
    if (q == Q_COUNT)
        json_null(out);
    else
        json_string(out, quantity_info(q)->unit);
}

/* Events that belong to no quantity carry degrees, shares or counts. */
static int decimals_of(enum quantity q)
{
    return q == Q_COUNT ? 2 : quantity_info(q)->decimals;
}

/* --- one tank --- */

struct style {
    const char *unit;
    int decimals;
};

static void put_value_report(struct text *out, const struct value_report *v, struct style style, utc_t now)
{
    double age_s = utc_is_set(v->t) ? (double)(now.ms - v->t.ms) / 1000 : NAN;
    json_put_number(out, "value", v->value, style.decimals);
    put_word(out, "unit", style.unit);
    json_put_time(out, "t", v->t);
    json_put_number(out, "age_s", age_s, 0);
    put_flag(out, "flag", v->flag);
    json_put_bool(out, "stale", v->stale);
    json_put_text(out, "origin", value_origin_name(v->origin));
    json_put_number(out, "per_day", v->per_day, style.decimals + 1);
    json_put_number(out, "day_lo", v->day_lo, style.decimals);
    json_put_number(out, "day_hi", v->day_hi, style.decimals);
}

static void put_values(const struct tank_report *r, struct text *out)
{
    json_key(out, "values");
    json_open(out, '{');
    for (int i = 0; i < Q_COUNT; i++) {
        const struct quantity_info *q = quantity_info((enum quantity)i);
        if (r->values[i].origin == ORIGIN_NONE)
            continue;
        json_key(out, q->name);
        json_open(out, '{');
        put_value_report(out, &r->values[i], (struct style){ q->unit, q->decimals }, r->t);
        json_close(out, '}');
    }
    json_close(out, '}');
}

static void put_derived(const struct tank_report *r, struct text *out)
{
    json_key(out, "derived");
    json_open(out, '{');
    for (int i = 0; i < DERIVED_COUNT; i++) {
        enum derived d = (enum derived)i;
        int decimals = d == DERIVED_NH3 ? 4 : 2;
        if (r->derived[i].origin == ORIGIN_NONE)
            continue;
        json_key(out, derived_name(d));
        json_open(out, '{');
        put_value_report(out, &r->derived[i], (struct style){ derived_unit(d), decimals }, r->t);
        json_put_number(out, "sd", r->derived_sd[i], decimals);
        if (d == DERIVED_TDS) {
            json_put_number(out, "factor", r->tds_factor, 2);
            put_word(out, "factor_from", tds_factor_name(r->tds_factor_from));
        }
        json_close(out, '}');
    }
    json_close(out, '}');
}

static void put_bands(const struct tank *tank, struct text *out)
{
    json_key(out, "bands");
    json_open(out, '{');
    for (int i = 0; i < Q_COUNT; i++) {
        const struct quantity_info *q = quantity_info((enum quantity)i);
        if (isnan(tank->band[i].lo) && isnan(tank->band[i].hi) && isnan(tank->day_range[i]) &&
            isnan(tank->per_hour[i]))
            continue;
        json_key(out, q->name);
        json_open(out, '{');
        json_put_number(out, "lo", tank->band[i].lo, q->decimals);
        json_put_number(out, "hi", tank->band[i].hi, q->decimals);
        json_put_number(out, "day_range", tank->day_range[i], q->decimals);
        json_put_number(out, "per_hour", tank->per_hour[i], q->decimals + 1);
        json_close(out, '}');
    }
    json_close(out, '}');
}

static void put_heat(const struct heat_report *h, struct text *out)
{
    json_key(out, "heat");
    json_open(out, '{');
    json_put_number(out, "tau_h", h->tau_h, 2);
    json_put_number(out, "band_lo_c", h->band_lo_c, 2);
    json_put_number(out, "band_hi_c", h->band_hi_c, 2);
    json_put_number(out, "heater_w", h->heater_w, 1);
    json_put_number(out, "duty", h->duty, 3);
    json_put_number(out, "learnt_h", h->learnt_h, 1);
    json_close(out, '}');
}

static void put_solids(const struct solids_report *s, struct text *out)
{
    json_key(out, "solids");
    json_open(out, '{');
    json_put_number(out, "ec_per_day", s->ec_per_day, 2);
    json_put_number(out, "ec_per_day_sd", s->ec_per_day_sd, 2);
    json_put_number(out, "span_days", s->span_days, 1);
    json_put_number(out, "evaporation_day", s->evaporation_day, 4);
    json_key(out, "evaporation_from");
    if (isnan(s->evaporation_day))
        json_null(out);
    else
        json_string(out, s->evaporation_reckoned ? "reckoned" : "level");
    json_close(out, '}');
}

static void put_forecast(const struct site *site, const struct forecast *f, int own_place, utc_t now,
                         struct text *out)
{
    char words[160];
    struct text said = text_over(words, sizeof words);
    json_key(out, "forecast");
    if (f->quantity == Q_COUNT || f->place < 0 || f->at.ms <= 0) {
        json_null(out);
        return;
    }
    forecast_put(f, f->place == own_place ? NULL : site->places[f->place].text, now, &said);
    json_open(out, '{');
    put_word(out, "quantity", quantity_info(f->quantity)->name);
    put_place(site, f->place, out);
    json_put_number(out, "limit", f->limit, quantity_info(f->quantity)->decimals);
    put_unit(out, f->quantity);
    json_put_time(out, "at", f->at);
    json_put_time(out, "at_early", f->at_early);
    json_put_time(out, "at_late", f->at_late);
    json_put_text(out, "text", said.len > 0 ? words : NULL);
    json_close(out, '}');
}

static void put_work(const struct tank_report *r, struct text *out)
{
    json_key(out, "service");
    if (r->in_service) {
        json_open(out, '{');
        json_put_time(out, "until", r->service_until);
        json_close(out, '}');
    } else {
        json_null(out);
    }
    json_key(out, "last_change");
    if (utc_is_set(r->last_change)) {
        json_open(out, '{');
        json_put_time(out, "t", r->last_change);
        json_put_number(out, "step_ec", r->last_step_ec, quantity_info(Q_EC)->decimals);
        json_close(out, '}');
    } else {
        json_null(out);
    }
}

static utc_t put_aside_until(const struct alert *a)
{
    if (a->marks & ALERT_OUT_OF_SERVICE)
        return a->out_until;
    return a->marks & ALERT_SHELVED ? a->shelved_until : UTC_NONE;
}

static void put_alert_body(const struct site *site, const struct alert *a, struct text *out)
{
    const struct alert_slot *slot = &site->alerts[a->index];
    int decimals = kind_decimals(slot->kind, slot->quantity);
    const char *unit = kind_unit(slot->kind, slot->quantity);
    put_word(out, "kind", slot->name);
    put_word(out, "id", slot->ref);
    put_word(out, "state", alert_state_name(a->base, a->marks));
    put_word(out, "priority", priority_name(slot->settings.priority));
    json_put_number(out, "value", a->value, decimals);
    json_put_number(out, "limit", a->limit, decimals);
    if (unit != NULL)
        put_word(out, "unit", unit);
    else
        json_put_text(out, "unit", NULL);
    json_put_text(out, "cause", a->cause);
    json_put_text(out, "evidence", a->evidence);
    json_put_text(out, "action", a->action[0] != '\0' ? a->action : kind_info(slot->kind)->action);
    json_put_text(out, "consequence", kind_info(slot->kind)->consequence);
    json_put_time(out, "since", a->since);
    json_put_time(out, "raised", a->raised_at);
    json_put_time(out, "due", a->due);
    json_put_time(out, "until", put_aside_until(a));
    json_put_bool(out, "chattering", a->chattering);
    json_put_text(out, "leader", a->leader < 0 ? NULL : site->alerts[a->leader].ref);
    json_put_text(out, "who", a->who);
    json_put_text(out, "why", a->why);
}

void encode_tank(const struct site *site, const struct tank_report *r, const struct week_tank *plan,
                 const struct alert *alerts, int alert_count, struct text *out)
{
    const struct tank *tank = &site->tanks[r->tank];
    json_open(out, '{');
    json_key(out, "v");
    json_int(out, 1);
    put_word(out, "tank", tank->id);
    put_word(out, "name", tank->name);
    json_put_time(out, "t", r->t);
    put_values(r, out);
    put_derived(r, out);
    put_bands(tank, out);
    put_heat(&r->heat, out);
    put_solids(&r->solids, out);
    put_forecast(site, &r->forecast, tank->place, r->t, out);
    put_work(r, out);
    if (plan != NULL) {
        json_key(out, "plan");
        encode_week_tank(site, plan, out);
    }
    json_key(out, "alerts");
    json_open(out, '[');
    for (int i = 0; i < alert_count; i++) {
        json_open(out, '{');
        put_alert_body(site, &alerts[i], out);
        json_close(out, '}');
    }
    json_close(out, ']');
    json_close(out, '}');
}

/* --- one thing that happened --- */

static void put_version(struct text *out)
{
    json_key(out, "v");
    json_int(out, 1);
}

static void put_alert(const struct site *site, const struct alert *a, enum alert_change change,
                      bool announced, utc_t t, struct text *out)
{
    json_put_time(out, "t", t);
    put_place(site, site->alerts[a->index].place, out);
    put_word(out, "change", alert_change_name(change));
    json_put_bool(out, "announced", announced);
    const struct alert_slot *slot = &site->alerts[a->index];
    put_alert_body(site, a, out);
    json_put_text(out, "also", a->also);
    put_forecast(site, &a->forecast, slot->place, t, out);
    json_put_text(out, "meaning", kind_info(slot->kind)->meaning);
    json_put_text(out, "time", kind_info(slot->kind)->time);
}

void encode_alert(const struct site *site, const struct alert *a, enum alert_change change, bool announced,
                  utc_t t, struct text *out)
{
    json_open(out, '{');
    put_alert(site, a, change, announced, t, out);
    json_close(out, '}');
}

void encode_alert_document(const struct site *site, const struct alert *a, enum alert_change change,
                           bool announced, utc_t t, struct text *out)
{
    json_open(out, '{');
    put_version(out);
    put_alert(site, a, change, announced, t, out);
    json_close(out, '}');
}

static void put_tests(verdict_t tests, struct text *out)
{
    json_key(out, "tests");
    json_open(out, '{');
    for (int i = 0; i < TEST_COUNT; i++) {
        enum flag flag = verdict_get(tests, (enum gate_test)i);
        if (flag != FLAG_NONE)
            put_flag(out, gate_test_name((enum gate_test)i), flag);
    }
    json_close(out, '}');
}

void encode_reading(const struct site *site, const struct reading *r, struct text *out)
{
    const struct stream *stream = &site->streams[r->stream];
    json_open(out, '{');
    json_put_time(out, "t", r->t);
    put_place(site, stream->place, out);
    put_word(out, "quantity", quantity_info(stream->quantity)->name);
    json_put_number(out, "raw", r->sent, EXACT);
    json_put_number(out, "value", number_round(r->value, quantity_info(stream->quantity)->decimals + 3),
                    EXACT);
    put_unit(out, stream->quantity);
    put_flag(out, "flag", r->flag);
    put_tests(r->tests, out);
    put_word(out, "time", time_basis_name(r->basis));
    if (r->late)
        json_put_bool(out, "late", true);
    if (r->revised)
        json_put_bool(out, "revised", true);
    json_close(out, '}');
}

static void put_event(const struct site *site, const char *name, int place, enum quantity q, double value,
                      utc_t t, struct text *out)
{
    json_put_time(out, "t", t);
    put_word(out, "event", name);
    put_place(site, place, out);
    json_put_text(out, "quantity", q == Q_COUNT ? NULL : quantity_info(q)->name);
    json_put_number(out, "value", value, decimals_of(q));
}

void encode_event(const struct site *site, const struct event *e, utc_t t, struct text *out)
{
    json_open(out, '{');
    put_event(site, event_kind_name(e->kind), e->place, e->quantity, e->value, t, out);
    json_put_text(out, "text", e->text);
    json_close(out, '}');
}

void encode_event_document(const struct site *site, const struct event *e, utc_t t, struct text *out)
{
    json_open(out, '{');
    put_version(out);
    put_event(site, event_kind_name(e->kind), e->place, e->quantity, e->value, t, out);
    json_put_text(out, "text", e->text);
    json_close(out, '}');
}
