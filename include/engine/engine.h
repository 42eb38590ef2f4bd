/* The judgement in the middle: pure, deterministic, on the times it is given. Nothing here knows of clocks,
 * files or the network. Live and replay call the same functions; what the outside shall do comes back as
 * effects. */
#ifndef LENTIC_ENGINE_ENGINE_H
#define LENTIC_ENGINE_ENGINE_H

#include "model/command.h"
#include "model/effect.h"
#include "model/report.h"
#include "model/sample.h"
#include "model/source_water.h"

struct engine;

/* Everything it will ever need is taken here, from the configuration's size. The site must outlive it. */
struct engine *engine_init(const struct site *site, struct now now);
void engine_fini(struct engine *e);

/* Runs timers due before now (inclusive: and those due at it). fx is cleared first. True while more is due:
 * deal with fx and call again. The order at one instant: engine_advance(now, false), inputs,
 * engine_advance(now, true). */
bool engine_advance(struct engine *e, struct now now, bool inclusive, struct effects *fx);
mono_t engine_next_deadline(const struct engine *e);

/* One value that came. retained: the broker's retain flag was set on it. fx is cleared first. Samples of one
 * message that measure temperature go in first: the others may be compensated with it. */
void engine_ingest(struct engine *e, const struct sample *s, bool retained, struct now now,
                   struct effects *fx);

/* What a person asked for. fx is cleared first. STATUS_REFUSED or STATUS_INVALID with one sentence. */
enum status engine_command(struct engine *e, const struct command *c, struct now now, struct effects *fx,
                           struct why *why) LENTIC_CHECKED;

/* The number that the next entry of the journal gets, unless the command brings a higher one. */
int64_t engine_note_next(const struct engine *e);

/* What the store knows of the journal, at the start: hand tests that count, and those that no longer do. */
void engine_recall(struct engine *e, const struct journal_entry *entry);

/* The service about itself: broker, store, ring, delivery. evidence in one sentence. */
void engine_service(struct engine *e, enum alert_kind kind, bool wrong, const char *evidence, struct now now,
                    struct effects *fx);

/* A calibration in force since c->since; those before it count for what was measured earlier, and can be gone
 * back to one by one. Of the same time again: replaced. */
void engine_calibrate(struct engine *e, int stream, const struct calib *c);
/* Only the configured ones hold: the store's follow. */
void engine_uncalibrate(struct engine *e);

/* The device that stands there since then, as stored. */
void engine_device(struct engine *e, int stream, const char *device, utc_t since);

/* The value by the present calibration of what a probe once sent, in its own unit; temp_c of the water then,
 * NaN: not known. NaN: cannot be said. */
double engine_recompute(const struct engine *e, int stream, double sent, double temp_c);

/* Reports are copies. */
void engine_report_tank(const struct engine *e, int tank, struct now now, struct tank_report *out);
/* What the probe of a source says: EC as a mean of its last hours, its trend since the last renewal. */
void engine_report_source(const struct engine *e, int source, struct now now, struct source_live *out);
void engine_report_probe(const struct engine *e, int stream, struct now now, struct probe_report *out);
/* Alerts of that place (-1: all) that are not plain NORM, most urgent first. Returns how many, at most cap.
 */
int engine_report_alerts(const struct engine *e, int place, struct alert *out, int cap);
const struct alert *engine_alert(const struct engine *e, int slot);

struct engine_counts {
    uint64_t readings, missing, rejected, duplicates, conflicts, late, retained;
    uint64_t absent;                 /* documents in which no member that was asked for appeared */
    uint64_t thinned;                /* readings that gave way while they waited for the clock */
    uint64_t unreadable, wrong_unit; /* of the rejected */
    uint64_t times;                  /* own times that were not believed: no zone, too far ahead, too old */
    uint64_t kept_out;               /* impossible values and spikes: stored, kept from limit alerts */
};
struct engine_counts engine_counts(const struct engine *e);

/* What is asked of people, measured. */
struct engine_load {
    int active, standing; /* alerts active now; of them for over 24 h */
    int shelved, out_of_service, chattering;
    unsigned raises_day; /* announced over the last day, or kept back by a flood */
    unsigned high_day;   /* of them high priority */
    bool flood;
};
#define ENGINE_STANDING_MS MS_PER_DAY
struct engine_load engine_load(const struct engine *e, struct now now);

/* The whole state as bytes; 0 when cap is too small. engine_save_room: a cap that always suffices. */
size_t engine_save(struct engine *e, uint8_t *bytes, size_t cap, struct now now);
size_t engine_save_room(const struct engine *e);
/* Without the probes, which are nearly all of it: they learn anew within minutes, and their windows can be
 * had from stored readings. */
size_t engine_save_brief(struct engine *e, uint8_t *bytes, size_t cap, struct now now);
/* With the probes, but without their windows of the last two days, which can be had from stored readings. */
size_t engine_save_daily(struct engine *e, uint8_t *bytes, size_t cap, struct now now);
/* A stored reading, oldest first: into the windows and nowhere else. Into those of weeks only from the time
 * on up to which they are known. */
void engine_recall_value(struct engine *e, const struct reading *r, utc_t weeks_known);

/* State of an earlier run, of this or another configuration: what is damaged or no longer configured is
 * stepped over. Returns the number of sections taken. A brief one may follow a whole one. */
int engine_restore(struct engine *e, const uint8_t *bytes, size_t n, struct now now);

/* How forecasts turned out since the state began. */
struct forecast_scores engine_scores(const struct engine *e);

#endif
