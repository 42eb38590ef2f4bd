/* What the service says at this moment, and the local time of the axis. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "cli/reporting.h"
#include "cli/talk.h"
#include "wire/tank_document.h"

#define STEP_MS  50
#define WAIT_MS  2000 /* time for what the broker keeps */
#define QUIET_MS 300  /* all came, and nothing more for so long */

/* --- hearing --- */

static void take_tank(struct reporting *r, const struct message *m, size_t skip)
{
    int tank = site_tank_find(r->site, m->topic + skip, m->topic_len - skip);
    if (tank < 0 || m->payload_len == 0 ||
        tank_document_parse(tank, m->payload, m->payload_len, &r->reports[tank]) != STATUS_OK)
        return;
    r->documents++;
}

static void hear(void *context, const struct message *m)
{
    struct reporting *r = context;
    size_t n = strlen(r->site->publish.base);
    if (m->topic_len > n + 6 && memcmp(m->topic + n, "/tank/", 6) == 0)
        take_tank(r, m, n + 6);
    else
        alerts_heard_take(&r->heard, m);
}

static void listen_until_quiet(struct reporting *r, struct talk *talk)
{
    unsigned long seen = 0;
    int quiet = 0;
    for (int waited = 0; waited < WAIT_MS && talk_pass(talk, STEP_MS); waited += STEP_MS) {
        pthread_mutex_lock(&talk->lock);
        unsigned long count = r->heard.changes + (unsigned long)r->documents;
        quiet = count == seen ? quiet + STEP_MS : 0;
        seen = count;
        bool whole = r->heard.status_heard && quiet >= QUIET_MS;
        pthread_mutex_unlock(&talk->lock);
        if (whole)
            return;
    }
}

static bool listen_to_service(struct reporting *r)
{
    char status[TALK_TOPIC_MAX], alerts[TALK_TOPIC_MAX], tanks[TALK_TOPIC_MAX];
    const char *const filters[] = { status, alerts, tanks };
    struct talk talk;
    snprintf(status, sizeof status, "%s/status", r->site->publish.base);
    snprintf(alerts, sizeof alerts, "%s/alert/#", r->site->publish.base);
    snprintf(tanks, sizeof tanks, "%s/tank/+", r->site->publish.base);
    int code = talk_open(&talk, r->options, r->site, filters, 3, hear, r);
    if (code == OPTIONS_GO_ON)
        listen_until_quiet(r, &talk);
    talk_close(&talk);
    return code == OPTIONS_GO_ON;
}

/* --- into the page --- */

static void take_alerts(struct reporting *r)
{
    alerts_heard_sort(&r->heard);
    free(r->page.standing);
    r->page.standing = r->heard.notices;
    r->page.standing_live = true;
    r->page.standing_count = 0;
    for (int i = 0; i < r->heard.count; i++)
        if (reporting_is_asked(r, r->heard.notices[i].place))
            r->page.standing[r->page.standing_count++] = r->heard.notices[i];
}

static void take_values(struct reporting *r, struct report_place *p)
{
    int tank = r->site->places[p->place].tank;
    const struct tank_report *report = tank >= 0 ? &r->reports[tank] : NULL;
    struct text forecast = text_over(p->forecast, sizeof p->forecast);
    for (int i = 0; report != NULL && i < p->series_count; i++) {
        const struct value_report *v = &report->values[p->series[i].quantity];
        if (v->origin != ORIGIN_PROBE || (utc_is_set(p->series[i].now_t) && v->t.ms < p->series[i].now_t.ms))
            continue;
        p->series[i].now = v->value;
        p->series[i].now_t = v->t;
    }
    if (report != NULL && report->forecast.quantity != Q_COUNT) {
        text_printf(&forecast, "%s ", quantity_info(report->forecast.quantity)->title);
        forecast_put(&report->forecast, NULL, r->now, &forecast);
    }
}

void reporting_service(struct reporting *r)
{
    const char *said = "Made from the store alone";
    r->reports = calloc((size_t)r->site->tank_count + 1, sizeof *r->reports);
    if (!r->live || r->reports == NULL || alerts_heard_init(&r->heard, r->site) != 0) {
        snprintf(r->sources, sizeof r->sources, "%s.", said);
        return;
    }
    for (int i = 0; i < r->site->tank_count; i++)
        tank_document_empty(i, &r->reports[i]);
    bool reached = listen_to_service(r);
    if (!reached)
        snprintf(r->sources, sizeof r->sources, "%s: the broker was not reached.", said);
    else if (!r->heard.online)
        snprintf(r->sources, sizeof r->sources, "%s: the service is not running.", said);
    else
        snprintf(r->sources, sizeof r->sources,
                 "Made from the store, with the values and alerts that the service told at that moment.");
    if (!reached || !r->heard.online)
        return;
    take_alerts(r);
    for (int i = 0; i < r->page.place_count; i++)
        take_values(r, &r->sheets[i]);
}

/* --- the axis of time --- */

static const struct tick_step {
    int minutes, days; /* one of them */
    const char *form;
} tick_steps[] = {
    { 5, 0, "%H:%M" },   { 15, 0, "%H:%M" },  { 60, 0, "%H:%M" },     { 120, 0, "%H:%M" },
    { 180, 0, "%H:%M" }, { 360, 0, "%H:%M" }, { 720, 0, "%a %H:%M" }, { 0, 1, "%a %-d" },
    { 0, 2, "%-d %b" },  { 0, 5, "%-d %b" },  { 0, 7, "%-d %b" },     { 0, 14, "%-d %b" },
    { 0, 30, "%-d %b" }, { 0, 61, "%b %Y" },  { 0, 91, "%b %Y" },     { 0, 182, "%b %Y" },
    { 0, 365, "%b %Y" }, { 0, 730, "%b %Y" }, { 0, 1826, "%b %Y" },   { 0, 3652, "%Y" },
};
#define TICKS_WANTED 9

static const struct tick_step *tick_step_for(int64_t span_ms)
{
    const struct tick_step *last = &tick_steps[sizeof tick_steps / sizeof *tick_steps - 1];
    for (const struct tick_step *step = tick_steps; step < last; step++)
        if (span_ms / (step->minutes * MS_PER_MIN + step->days * MS_PER_DAY) <= TICKS_WANTED)
            return step;
    return last;
}

/* The first tick at or before t, in local time. */
static bool first_tick(utc_t t, const struct tick_step *step, struct tm *first)
{
    time_t s = (time_t)(t.ms / MS_PER_S);
    if (localtime_r(&s, first) == NULL)
        return false;
    int minute = first->tm_hour * 60 + first->tm_min;
    first->tm_hour = first->tm_sec = 0;
    first->tm_min = step->minutes > 0 ? minute - minute % step->minutes : 0;
    first->tm_isdst = -1;
    return true;
}

/* Days are counted on the calendar, so that they begin at local midnight also when the clocks change. */
static time_t nth_tick(const struct tm *first, const struct tick_step *step, int n)
{
    struct tm tm = *first;
    tm.tm_mday += n * step->days;
    return mktime(&tm) + (time_t)n * step->minutes * 60;
}

int reporting_ticks(utc_t from, utc_t to, struct curve_tick *ticks)
{
    const struct tick_step *step = tick_step_for(to.ms - from.ms);
    struct tm first, tm;
    int count = 0;
    if (!first_tick(from, step, &first))
        return 0;
    for (int n = 0; n <= REPORT_TICKS_MAX && count < REPORT_TICKS_MAX; n++) {
        time_t t = nth_tick(&first, step, n);
        utc_t at = { (int64_t)t * MS_PER_S };
        if (at.ms < from.ms || at.ms > to.ms || localtime_r(&t, &tm) == NULL)
            continue;
        ticks[count].t = at;
        bool midnight = step->minutes > 0 && tm.tm_hour == 0 && tm.tm_min == 0;
        count += strftime(ticks[count].label, sizeof ticks->label, midnight ? "%a %-d" : step->form, &tm) > 0;
    }
    return count;
}
