#include "app/planner.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "app/daybook.h"
#include "plan/source_facts.h"

#define READ_EVERY_MS MS_PER_DAY
#define HEAR_EVERY_MS MS_PER_MIN
#define ROOM_EVERY_MS (15 * MS_PER_MIN)
#define ROOM_SOON_MS  (10 * MS_PER_S) /* a note first changes the tanks */

void planner_init(struct planner *p, const struct site *site)
{
    *p =
        (struct planner){ .site = site, .read_at = MONO_NONE, .heard_at = MONO_NONE, .room_due = MONO_NEVER };
    p->weeks = calloc((size_t)site->tank_count + 1, sizeof *p->weeks);
    p->known = calloc((size_t)site->tank_count + 1, sizeof *p->known);
    p->probes = calloc((size_t)site->stream_count + 1, sizeof *p->probes);
    if (!daybook_make(&p->diary, site, UTC_NONE) || p->weeks == NULL || p->known == NULL || p->probes == NULL)
        abort();
}

void planner_fini(struct planner *p)
{
    daybook_free(&p->diary);
    free(p->weeks);
    free(p->known);
    free(p->probes);
    memset(p, 0, sizeof *p);
}

void planner_note(struct planner *p, const struct journal_entry *e, utc_t t)
{
    p->noted = true;
    /* A batch told late takes the changes since with it. */
    if (e->corrects != 0 || e->withdraws != 0 || e->kind == JOURNAL_BATCH)
        p->read_at = MONO_NONE;
    if (!mono_is_set(p->read_at))
        return;
    p->diary.now = t;
    diary_take(&p->diary, e);
}

static void take(void *context, const struct journal_entry *e)
{
    struct planner *p = context;
    diary_take(&p->diary, e);
}

static void read_journal(struct planner *p, const struct pump *pump, struct now now)
{
    const struct notebook_source *journal = &pump->sinks.journal;
    p->diary.now = now.utc;
    if (mono_is_set(p->read_at) && now.mono.ms - p->read_at.ms < READ_EVERY_MS)
        return;
    p->read_at = now.mono;
    diary_init(&p->diary);
    for (int i = 0; i < DIARY_KINDS; i++)
        journal->each(journal->context, diary_kind(i), diary_from(&p->diary, diary_kind(i)), take, p);
}

/* Sources and containers: what their probes say now. */
static void hear_probes(struct planner *p, const struct pump *pump, struct now now)
{
    if (mono_is_set(p->heard_at) && now.mono.ms - p->heard_at.ms < HEAR_EVERY_MS)
        return;
    p->heard_at = now.mono;
    for (int i = 0; i < p->site->source_count; i++)
        engine_report_source(pump->engine, i, now, &p->diary.sources[i].live);
    for (int i = 0; i < p->site->store_count; i++) {
        struct probe_report report = { .seen = false };
        int stream = site_stream_of(p->site, p->site->stores[i].place, Q_LEVEL);
        if (stream >= 0)
            engine_report_probe(pump->engine, stream, now, &report);
        p->diary.stores[i].level_mm = report.seen && !report.stale ? report.last_value : (double)NAN;
    }
}

void planner_source(struct planner *p, const struct pump *pump, int source, struct now now,
                    struct source_live *live, struct source_water *out)
{
    read_journal(p, pump, now);
    hear_probes(p, pump, now);
    *live = p->diary.sources[source].live;
    source_facts_eval(p->site, source, &p->diary, out);
}

static double room_temperature(const struct planner *p, const struct pump *pump, struct now now)
{
    struct probe_report report;
    int stream = site_stream_of(p->site, p->site->room_place, Q_TEMP);
    if (stream < 0)
        return NAN;
    engine_report_probe(pump->engine, stream, now, &report);
    return report.seen && !report.stale ? report.last_value : (double)NAN;
}

const struct week_tank *planner_tank(struct planner *p, const struct pump *pump,
                                     const struct tank_report *report, struct now now)
{
    struct week_tank *week = &p->weeks[report->tank];
    read_journal(p, pump, now);
    hear_probes(p, pump, now);
    tank_week_eval(p->site, report, &p->diary, room_temperature(p, pump, now), (int)p->site->plan.days, week);
    p->known[report->tank] = true;
    return week;
}

bool planner_room_is_due(struct planner *p, struct now now)
{
    if (p->noted)
        p->room_due = mono_min(p->room_due, mono_add(now.mono, ROOM_SOON_MS));
    p->noted = false;
    return p->room_due.ms <= now.mono.ms;
}

const struct week_room *planner_room(struct planner *p, const struct pump *pump, struct now now)
{
    for (int i = 0; i < p->site->tank_count; i++)
        if (!p->known[i]) {
            p->room_due = mono_add(now.mono, ROOM_SOON_MS);
            return NULL;
        }
    p->room_due = mono_add(now.mono, ROOM_EVERY_MS);
    for (int i = 0; i < p->site->stream_count; i++) {
        struct probe_report report;
        engine_report_probe(pump->engine, i, now, &report);
        p->probes[i] = (struct room_probe){ report.calib.since, report.fresh };
    }
    room_week_eval(p->site, p->weeks, &p->diary, p->probes, &p->room);
    return &p->room;
}
