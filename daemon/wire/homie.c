#include "wire/homie.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"

#define DERIVED_STEP_SD                                                                                      \
    0.25 /* a derived value is told anew when it has moved by that share of its uncertainty */

static const char *const kind_words[PLACE_KIND_COUNT] = {
    [PLACE_TANK] = "tank",     [PLACE_RACK] = "rack",   [PLACE_CIRCUIT] = "circuit",
    [PLACE_SOURCE] = "source", [PLACE_STORE] = "store",
};

const char *homie_kind_word(enum place_kind kind)
{
    return kind_words[kind];
}

static bool has_probes(const struct site *site, int place)
{
    for (int q = 0; q < Q_COUNT; q++)
        if (site_stream_of(site, place, (enum quantity)q) >= 0)
            return true;
    return false;
}

bool homie_has_device(const struct site *site, int place)
{
    enum place_kind kind = site->places[place].kind;
    return kind == PLACE_STORE ? has_probes(site, place) : kind_words[kind] != NULL;
}

void homie_device_id(const struct site *site, int place, char *id)
{
    struct text out = text_over(id, HOMIE_ID_MAX);
    text_put(&out, site->id);
    if (place != HOMIE_ROOT)
        text_printf(&out, "-%s-%s", kind_words[site->places[place].kind], site->places[place].id);
}

/* --- which properties --- */

static bool gain(bool *known, bool there)
{
    bool news = there && !*known;
    *known = *known || there;
    return news;
}

static bool is_measured(const struct value_report *v)
{
    return v->origin != ORIGIN_NONE && isfinite(v->value) && utc_is_set(v->t);
}

/* What cannot be true is told by its quality alone, once there is a value. */
static bool is_possible(double v, enum quantity q)
{
    const struct quantity_info *info = quantity_info(q);
    double told = number_round(v, info->decimals);
    return told >= info->hard_lo && told <= info->hard_hi;
}

bool homie_learn(const struct homie_view *view, struct homie_known *known)
{
    bool news = false;
    for (int q = 0; q < Q_COUNT; q++) {
        const struct value_report *v = &view->report.values[q];
        news |= gain(&known->value[q], is_measured(v) && is_possible(v->value, (enum quantity)q));
        news |= gain(&known->trend[q], known->value[q] && isfinite(v->per_day));
    }
    for (int d = 0; d < DERIVED_COUNT; d++)
        news |= gain(&known->derived[d], is_measured(&view->report.derived[d]));
    news |= gain(&known->forecast, view->report.forecast.quantity != Q_COUNT &&
                                       isfinite(view->report.forecast.limit) &&
                                       utc_is_set(view->report.forecast.at));
    return news;
}

struct properties {
    struct homie_property *items;
    int count;
};

static void add(struct properties *list, enum homie_part part, int of)
{
    list->items[list->count++] = (struct homie_property){ part, of };
}

static void add_quantity(struct properties *list, const struct tank *tank, const struct homie_known *known,
                         int q)
{
    if (!known->value[q])
        return;
    add(list, HOMIE_VALUE, q);
    add(list, HOMIE_QUALITY, q);
    add(list, HOMIE_TIME, q);
    if (known->trend[q])
        add(list, HOMIE_TREND, q);
    if (tank != NULL && isfinite(tank->band[q].lo))
        add(list, HOMIE_LOW, q);
    if (tank != NULL && isfinite(tank->band[q].hi))
        add(list, HOMIE_HIGH, q);
}

static void add_of_tank(struct properties *list, const struct homie_known *known)
{
    for (int d = 0; d < DERIVED_COUNT; d++)
        if (known->derived[d]) {
            add(list, HOMIE_DERIVED, d);
            add(list, HOMIE_DERIVED_QUALITY, d);
        }
    add(list, HOMIE_FORECAST_OF, 0);
    if (known->forecast) {
        add(list, HOMIE_FORECAST_LIMIT, 0);
        add(list, HOMIE_FORECAST_AT, 0);
    }
}

int homie_properties(const struct site *site, int place, const struct homie_known *known,
                     struct homie_property out[HOMIE_PROPERTIES_MAX])
{
    struct properties list = { out, 0 };
    int tank = place == HOMIE_ROOT ? -1 : site->places[place].tank;
    for (int q = 0; q < Q_COUNT; q++)
        add_quantity(&list, tank < 0 ? NULL : &site->tanks[tank], known, q);
    if (tank >= 0)
        add_of_tank(&list, known);
    add(&list, HOMIE_LEVEL, 0);
    add(&list, HOMIE_COUNT, 0);
    add(&list, HOMIE_URGENT, 0);
    add(&list, HOMIE_ACKNOWLEDGE, 0);
    if (place != HOMIE_ROOT)
        add(&list, HOMIE_SHELVE, 0);
    if (tank >= 0)
        add(&list, HOMIE_WINDOW, 0);
    return list.count;
}

bool homie_has_target(struct homie_property p)
{
    return p.part == HOMIE_ACKNOWLEDGE || p.part == HOMIE_SHELVE || p.part == HOMIE_WINDOW;
}

bool homie_is_settable(const struct site *site, struct homie_property p)
{
    return (p.part == HOMIE_ACKNOWLEDGE && !site->command_off[COMMAND_ACK]) ||
           (p.part == HOMIE_SHELVE && !site->command_off[COMMAND_SHELVE] &&
            !site->command_off[COMMAND_UNSHELVE]) ||
           (p.part == HOMIE_WINDOW && !site->command_off[COMMAND_SERVICE]);
}

/* --- values --- */

static const char *quality_word(const struct value_report *v)
{
    if (v->origin == ORIGIN_NONE || v->stale)
        return "stale";
    switch (v->flag) {
    case FLAG_GOOD:
        return "good";
    case FLAG_SUSPECT:
        return "suspect";
    case FLAG_FAIL:
        return "fail";
    case FLAG_MISSING:
        return "missing";
    default:
        return "unchecked";
    }
}

struct value {
    char *buf;
    size_t cap;
    double number;
};

static size_t say(struct value *v, const char *word)
{
    int n = snprintf(v->buf, v->cap, "%s", word);
    return n < 0 || (size_t)n >= v->cap ? 0 : (size_t)n;
}

static size_t say_number(struct value *v, double number, int decimals)
{
    v->number = number_round(number, decimals);
    return number_format(v->buf, v->cap, number, decimals);
}

static size_t say_time(struct value *v, utc_t t)
{
    utc_format(t, v->buf, v->cap);
    return strlen(v->buf);
}

static size_t say_measured(struct value *v, const struct value_report *r, enum quantity q)
{
    if (!is_measured(r) || !is_possible(r->value, q))
        return 0;
    if (q == Q_LEAK)
        return say(v, r->value >= 0.5 ? "true" : "false");
    return say_number(v, r->value, quantity_info(q)->decimals);
}

static size_t of_quantity(struct value *v, const struct site *site, const struct homie_view *view,
                          struct homie_property p)
{
    const struct value_report *r = &view->report.values[p.of];
    int decimals = quantity_info((enum quantity)p.of)->decimals;
    const struct span *band = view->report.tank < 0 ? NULL : &site->tanks[view->report.tank].band[p.of];
    switch (p.part) {
    case HOMIE_VALUE:
        return say_measured(v, r, (enum quantity)p.of);
    case HOMIE_QUALITY:
        return say(v, quality_word(r));
    case HOMIE_TIME:
        return say_time(v, r->t);
    case HOMIE_TREND:
        return say_number(v, r->per_day, decimals + 1);
    case HOMIE_LOW:
        return band == NULL ? 0 : say_number(v, band->lo, decimals);
    default:
        return band == NULL ? 0 : say_number(v, band->hi, decimals);
    }
}

static size_t of_derived(struct value *v, const struct value_report *r, struct homie_property p)
{
    if (p.part == HOMIE_DERIVED_QUALITY)
        return say(v, quality_word(r));
    return is_measured(r) ? say_number(v, r->value, p.of == DERIVED_NH3 ? 4 : 2) : 0;
}

static size_t of_forecast(struct value *v, const struct forecast *f, struct homie_property p)
{
    bool any = f->quantity != Q_COUNT;
    if (p.part == HOMIE_FORECAST_OF)
        return say(v, any ? quantity_info(f->quantity)->name : "none");
    if (!any)
        return 0;
    return p.part == HOMIE_FORECAST_AT ? say_time(v, f->at) : say_number(v, f->limit, 3);
}

static size_t of_alerts(struct value *v, const struct homie_view *view, struct homie_property p)
{
    switch (p.part) {
    case HOMIE_LEVEL:
        return say(v, view->alert_level < 0 ? "none" : priority_name((enum priority)view->alert_level));
    case HOMIE_COUNT:
        return say_number(v, view->alert_count, 0);
    case HOMIE_URGENT:
        return say(v, view->urgent[0] != '\0' ? view->urgent : "nothing is wrong");
    case HOMIE_ACKNOWLEDGE:
        return say(v, view->acknowledged ? "true" : "false");
    case HOMIE_SHELVE:
        return say_number(v, view->shelve_min, 0);
    default:
        return say_number(v, view->window_min, 0);
    }
}

size_t homie_value(const struct site *site, const struct homie_view *view, struct homie_property p, char *buf,
                   size_t cap, double *number)
{
    struct value v = { buf, cap, NAN };
    size_t n;
    if (p.part <= HOMIE_HIGH)
        n = of_quantity(&v, site, view, p);
    else if (p.part <= HOMIE_DERIVED_QUALITY)
        n = of_derived(&v, &view->report.derived[p.of], p);
    else if (p.part <= HOMIE_FORECAST_AT)
        n = of_forecast(&v, &view->report.forecast, p);
    else
        n = of_alerts(&v, view, p);
    *number = v.number;
    return n;
}

double homie_dead_step(const struct site *site, const struct homie_view *view, struct homie_property p)
{
    double step = 0;
    if (p.part == HOMIE_VALUE) {
        step = site->publish.homie_step[p.of];
        return isnan(step) ? quantity_info((enum quantity)p.of)->reading_sd : step;
    }
    if (p.part == HOMIE_TREND)
        return HUGE_VAL; /* with the slowest refresh */
    if (p.part == HOMIE_DERIVED)
        step = DERIVED_STEP_SD * view->report.derived_sd[p.of];
    return isfinite(step) ? step : 0;
}

/* --- alerts --- */

bool homie_alert_stands(const struct alert *a)
{
    return a->marks == 0 && (a->active || a->base == ALERT_LATUN || a->base == ALERT_LATAK);
}

void homie_alert_id(const struct site *site, int slot, char *buf, size_t cap)
{
    const struct alert_slot *s = &site->alerts[slot];
    struct text out = text_over(buf, cap);
    if (!homie_has_device(site, s->place)) {
        text_put(&out, s->ref);
        for (char *c = buf; *c != '\0'; c++)
            *c = *c == '/' ? '-' : *c;
    } else {
        text_put(&out, s->name);
    }
}
