/* What the values of one device are made of now. */
#include "app/homie_tree.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "wire/encode.h"

#define SAME_END_MS 1500 /* the end of a shelf as reckoned by several alerts */

static void report_values(const struct homie_tree *t, const struct engine *engine, int place, struct now now,
                          struct tank_report *out)
{
    memset(out, 0, sizeof *out);
    out->tank = -1;
    out->forecast.quantity = Q_COUNT;
    for (int q = 0; q < Q_COUNT; q++) {
        int stream = site_stream_of(t->site, place, (enum quantity)q);
        struct probe_report probe = { .seen = false };
        if (stream >= 0)
            engine_report_probe(engine, stream, now, &probe);
        out->values[q] = (struct value_report){ .origin = probe.seen ? ORIGIN_PROBE : ORIGIN_NONE,
                                                .value = probe.last_value,
                                                .t = probe.last_t,
                                                .flag = probe.flag,
                                                .stale = probe.stale,
                                                .per_day = NAN };
    }
}

static int urgency(const struct site *site, const struct alert *a)
{
    return 2 * (int)site->alerts[a->index].settings.priority + (a->leader < 0);
}

/* Alerts of the device's place; the root speaks for the whole site. */
static void view_alerts(struct homie_tree *t, const struct homie_device *d, const struct engine *engine,
                        struct now now, utc_t *shelved_until)
{
    const struct alert *most = NULL;
    struct homie_view *view = &t->view;
    int from = d->place == HOMIE_ROOT ? 0 : t->site->first_alert[d->place];
    int to = d->place == HOMIE_ROOT ? t->site->alert_count : t->site->first_alert[d->place + 1];
    view->alert_level = -1;
    view->alert_count = 0;
    *shelved_until = UTC_NONE;
    for (int i = from; i < to; i++) {
        const struct alert *a = engine_alert(engine, i);
        int priority = (int)t->site->alerts[i].settings.priority;
        if ((a->marks & ALERT_SHELVED) && a->shelved_until.ms > shelved_until->ms)
            *shelved_until = a->shelved_until;
        if (!homie_alert_stands(a))
            continue;
        view->alert_count++;
        view->alert_level = priority > view->alert_level ? priority : view->alert_level;
        if (most == NULL || urgency(t->site, a) > urgency(t->site, most))
            most = a;
    }
    struct text out = text_over(view->urgent, sizeof view->urgent);
    if (most != NULL && d->place == HOMIE_ROOT)
        text_printf(&out, "%s: ", t->site->places[t->site->alerts[most->index].place].text);
    if (most != NULL)
        encode_alert_line(t->site, most, now.utc, &out);
}

/* Shelves and windows are also opened and ended elsewhere; each change has its target. */
static void follow(struct homie_setting *s, utc_t until, struct now now)
{
    bool same = utc_is_set(until) == utc_is_set(s->until) &&
                (!utc_is_set(until) || llabs(until.ms - s->until.ms) < SAME_END_MS);
    s->until = until;
    if (!same && !s->taken) {
        s->minutes = utc_is_set(until) ? (int)((until.ms - now.utc.ms + MS_PER_MIN - 1) / MS_PER_MIN) : 0;
        s->minutes = s->minutes < 0 ? 0 : s->minutes > 1440 ? 1440 : s->minutes;
        (void)snprintf(s->target, sizeof s->target, "%d", s->minutes);
    }
    s->taken = false;
}

void homie_look(struct homie_tree *t, struct homie_device *d, const struct engine *engine, struct now now)
{
    struct homie_view *view = &t->view;
    utc_t shelved_until;
    int tank = d->place == HOMIE_ROOT ? -1 : t->site->places[d->place].tank;
    if (tank >= 0)
        engine_report_tank(engine, tank, now, &view->report);
    else
        report_values(t, engine, d->place == HOMIE_ROOT ? t->site->room_place : d->place, now, &view->report);
    view_alerts(t, d, engine, now, &shelved_until);
    follow(&d->shelve, shelved_until, now);
    follow(&d->window, view->report.in_service ? view->report.service_until : UTC_NONE, now);
    if (mono_is_set(d->acknowledged_until) && now.mono.ms >= d->acknowledged_until.ms) {
        d->acknowledged_until = MONO_NONE;
        (void)snprintf(d->acknowledge.target, sizeof d->acknowledge.target, "false");
    }
    view->acknowledged = mono_is_set(d->acknowledged_until);
    view->shelve_min = d->shelve.minutes;
    view->window_min = d->window.minutes;
}
