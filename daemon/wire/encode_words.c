/* One alert in plain words, for a keeper who is woken by it: what and where first, then the numbers, the
 * cause, the time that is left and what to do. */
#include "wire/encode.h"

#include <math.h>
#include <string.h>

#include "base/number.h"

struct telling {
    const struct site *site;
    const struct alert *a;
    const struct alert_slot *slot;
    const struct kind_info *kind;
    utc_t t;
    encode_clock *clock;
    struct text *out;
};

/* "02:10 UTC", with the date when it is another day; or as the clock on the wall says it. */
static void put_clock(struct telling *w, utc_t when)
{
    char then_text[UTC_TEXT_MAX], now_text[UTC_TEXT_MAX], local[ENCODE_CLOCK_MAX];
    utc_format(when, then_text, sizeof then_text);
    utc_format(w->t, now_text, sizeof now_text);
    if (then_text[0] == '\0') {
        text_put(w->out, "an unknown time");
        return;
    }
    if (w->clock != NULL) {
        text_put(w->out, w->clock(when, local, sizeof local));
        return;
    }
    if (strncmp(then_text, now_text, 10) != 0)
        text_printf(w->out, "%.10s ", then_text);
    text_printf(w->out, "%.5s UTC", then_text + 11);
}

static void put_span(struct text *out, int64_t ms)
{
    char span[40];
    text_put(out, span_format(ms, span, sizeof span));
}

static void put_where(struct telling *w)
{
    const struct place *place = &w->site->places[w->slot->place];
    text_put(w->out, place->text);
    if (strcmp(place->name, place->id) != 0)
        text_printf(w->out, " (%s)", place->name);
    text_put(w->out, ": ");
    kind_title(w->slot->kind, w->slot->quantity, w->out);
}

static void put_value(struct text *out, const struct alert_slot *slot, double v)
{
    char number[352];
    const char *unit = kind_unit(slot->kind, slot->quantity);
    number_format(number, sizeof number, v, kind_decimals(slot->kind, slot->quantity));
    text_printf(out, "%s%s%s", number, unit != NULL && unit[0] != '\0' ? " " : "", unit != NULL ? unit : "");
}

static void say_heading(struct telling *w, enum alert_change change)
{
    const struct alert *a = w->a;
    bool is_new = change == CHANGE_RAISE;
    bool again = change == CHANGE_REMIND || change == CHANGE_REALARM;
    if (is_new)
        text_printf(w->out, "ALERT, %s priority - ", priority_name(w->slot->settings.priority));
    else if (change == CHANGE_REMIND)
        text_put(w->out, "REMINDER - ");
    else if (change == CHANGE_REALARM)
        text_put(w->out, "STILL NOT OVER - ");
    else if (change == CHANGE_UPDATE && a->base != ALERT_NORM)
        text_put(w->out, a->active ? "STANDS - " : "OVER FOR NOW - ");
    else if (change == CHANGE_CLEAR)
        text_put(w->out, "OVER - ");
    put_where(w);
    if (again && utc_is_set(a->raised_at)) {
        text_put(w->out, ", for ");
        put_span(w->out, w->t.ms - a->raised_at.ms);
        text_put(w->out, a->active ? " now" : ", gone again");
        text_put(w->out, change == CHANGE_REMIND ? ", not acknowledged" : ", though acknowledged");
    }
    text_put(w->out, ".\n");
}

/* What a person or a rule did to it: said in one sentence, nothing is asked. */
static void say_handling(struct telling *w, enum alert_change change)
{
    static const char *const done[CHANGE_COUNT] = {
        [CHANGE_ACK] = "Acknowledged",
        [CHANGE_RESET] = "Reset",
        [CHANGE_SHELVE] = "Put aside",
        [CHANGE_UNSHELVE] = "No longer put aside",
        [CHANGE_SUPPRESS] = "Kept quiet for now, because it means nothing at the moment",
        [CHANGE_UNSUPPRESS] = "No longer kept quiet",
        [CHANGE_OUT] = "Taken out of service",
        [CHANGE_BACK] = "Back in service",
        [CHANGE_STATE] = "Its state has moved",
        [CHANGE_UPDATE] = "More is known",
    };
    utc_t until = change == CHANGE_SHELVE ? w->a->shelved_until
                  : change == CHANGE_OUT  ? w->a->out_until
                                          : UTC_NONE;
    text_put(w->out, done[change]);
    if (utc_is_set(until)) {
        text_put(w->out, " until ");
        put_clock(w, until);
    }
    if (w->a->who[0] != '\0')
        text_printf(w->out, " by %s", w->a->who);
    if (w->a->why[0] != '\0')
        text_printf(w->out, " (%s)", w->a->why);
    text_put(w->out, ".\n");
}

static void say_numbers(struct telling *w, const char *lead)
{
    const struct alert *a = w->a;
    if (a->evidence[0] != '\0') {
        text_printf(w->out, "%s: %s.\n", lead, a->evidence);
    } else if (!isnan(a->value)) {
        text_printf(w->out, "%s: ", lead);
        put_value(w->out, w->slot, a->value);
        if (!isnan(a->limit)) {
            text_put(w->out, ", limit ");
            put_value(w->out, w->slot, a->limit);
        }
        text_put(w->out, ".\n");
    }
}

static void say_cause(struct telling *w)
{
    if (w->a->cause[0] != '\0' && strcmp(w->a->cause, w->kind->title) != 0)
        text_printf(w->out, "Likely cause: %s.\n", w->a->cause);
}

static void say_time_left(struct telling *w)
{
    const struct forecast *f = &w->a->forecast;
    if (!utc_is_set(w->a->due)) {
        text_printf(w->out, "Time left: %s\n", w->kind->time);
        return;
    }
    if (w->a->due.ms <= w->t.ms) {
        text_put(w->out, "Time left: none, the limit is reached.\n");
        return;
    }
    text_put(w->out, "Time left: ");
    if (f->quantity != Q_COUNT && f->at.ms == w->a->due.ms) {
        forecast_put(f, f->place == w->slot->place ? NULL : w->site->places[f->place].text, w->t, w->out);
    } else {
        text_put(w->out, "about ");
        put_span(w->out, w->a->due.ms - w->t.ms);
    }
    text_put(w->out, ", until ");
    put_clock(w, w->a->due);
    text_put(w->out, ".\n");
}

static void say_also(struct telling *w)
{
    if (w->a->also[0] != '\0')
        text_printf(w->out, "Comes with it: %s.\n", w->a->also);
}

static void say_what_to_do(struct telling *w)
{
    const char *action = w->a->action[0] != '\0' ? w->a->action : w->kind->action;
    bool hurry = w->slot->settings.priority == PRIORITY_HIGH;
    text_printf(w->out, "%s: %s\n", hurry ? "Do now" : "Do", action);
    text_printf(w->out, "If nothing is done: %s\n", w->kind->consequence);
}

static void say_since(struct telling *w, const char *lead)
{
    if (!utc_is_set(w->a->raised_at))
        return;
    text_put(w->out, lead);
    put_clock(w, w->a->raised_at);
    if (w->t.ms > w->a->raised_at.ms) {
        text_put(w->out, ", ");
        put_span(w->out, w->t.ms - w->a->raised_at.ms);
        text_put(w->out, " ago");
    }
    text_put(w->out, ".\n");
}

static void say_what_is_owed(struct telling *w)
{
    enum alert_base base = w->a->base;
    if (base == ALERT_UNACK || base == ALERT_RTNUN || base == ALERT_LATUN)
        text_printf(w->out, "Not acknowledged yet: %s\n", w->slot->ref);
    else if (base == ALERT_LATAK)
        text_printf(w->out, "Waits to be reset: %s\n", w->slot->ref);
}

static void say_chatter(struct telling *w)
{
    if (w->a->chattering)
        text_put(w->out, "It comes and goes too often: you will hear of it again when it has been calm for "
                         "half an hour.\n");
}

static void say_habit(struct telling *w)
{
    if (w->a->habitual)
        text_put(w->out, "It has come again and again for days: you will hear of it every third day, or when "
                         "it is worse.\n");
}

static void tell_active(struct telling *w)
{
    say_numbers(w, "Seen");
    say_chatter(w);
    say_habit(w);
    if (w->a->unknown)
        text_put(w->out, "It cannot be judged at the moment: no fresh readings.\n");
    say_cause(w);
    say_also(w);
    if (w->a->active)
        say_time_left(w);
    say_what_to_do(w);
    say_since(w, "Began ");
    say_what_is_owed(w);
}

static void tell_over(struct telling *w)
{
    say_numbers(w, "Last seen");
    say_since(w, "It had begun ");
    say_what_is_owed(w);
}

void encode_alert_text(const struct site *site, const struct alert *a, enum alert_change change, utc_t t,
                       encode_clock *clock, struct text *out)
{
    const struct alert_slot *slot = &site->alerts[a->index];
    struct telling w = { site, a, slot, kind_info(slot->kind), t, clock, out };
    say_heading(&w, change);
    switch (change) {
    case CHANGE_RAISE:
    case CHANGE_REMIND:
    case CHANGE_REALARM:
        tell_active(&w);
        break;
    case CHANGE_CLEAR:
        tell_over(&w);
        break;
    case CHANGE_UPDATE:
        if (a->active)
            tell_active(&w);
        else
            tell_over(&w);
        break;
    default:
        say_handling(&w, change);
        break;
    }
}

void encode_alert_line(const struct site *site, const struct alert *a, utc_t t, struct text *out)
{
    const struct alert_slot *slot = &site->alerts[a->index];
    struct telling w = { site, a, slot, kind_info(slot->kind), t, NULL, out };
    kind_title(w.slot->kind, w.slot->quantity, w.out);
    if (a->evidence[0] != '\0') {
        text_printf(out, ": %s", a->evidence);
    } else if (!isnan(a->value)) {
        text_put(out, ": ");
        put_value(out, slot, a->value);
        if (!isnan(a->limit)) {
            text_put(out, ", limit ");
            put_value(out, slot, a->limit);
        }
    }
    if (a->cause[0] != '\0' && strcmp(a->cause, w.kind->title) != 0)
        text_printf(out, ". Likely cause: %s", a->cause);
    text_printf(out, ". Do: %s", a->action[0] != '\0' ? a->action : w.kind->action);
}
