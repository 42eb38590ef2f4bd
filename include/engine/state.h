/* The engine's inside: shared by the files of this layer, by nobody else. */
#ifndef LENTIC_ENGINE_STATE_H
#define LENTIC_ENGINE_STATE_H

#include "engine/alarm.h"
#include "engine/calibrate.h"
#include "engine/derive.h"
#include "engine/doubt.h"
#include "engine/engine.h"
#include "engine/exchange.h"
#include "engine/fitting.h"
#include "engine/gate.h"
#include "engine/habit.h"
#include "engine/hand.h"
#include "engine/heater.h"
#include "engine/told.h"
#include "engine/noise.h"
#include "engine/timekeep.h"
#include "engine/solids.h"
#include "engine/timers.h"
#include "engine/traffic.h"
#include "engine/window.h"

enum stream_timer { STREAM_HELD, STREAM_SILENT, STREAM_TIMERS };
enum tank_timer {
    TANK_EVAL,
    TANK_SERVICE,
    TANK_STEP, /* what the work changed can be told */
    TANK_TIMERS
};

#define CADENCE_STEPS 15
#define DAY_BIN_MS    (5 * MS_PER_MIN)
#define LONG_BIN_MS   MS_PER_HOUR
#define LONG_SPAN_MS  (21 * MS_PER_DAY)

/* A usable value on its way to the limit rules: waits for its spike verdict or for gap_suspect_s. */
struct held {
    bool waiting;
    double v;
    utc_t t;
    mono_t fresh_before; /* freshness as it was, should this one turn out a spike */
};

#define SHARE_HOURS 24

/* What came in one hour of the wall clock, and how much of it was good. */
struct share_hour {
    int32_t hour;
    uint32_t total, good;
};

struct stream_state {
    struct gate gate;
    struct fitting fitting;
    bool seen; /* something usable ever came */
    bool silent;
    mono_t fresh_at;     /* last usable arrival, or the start */
    struct reading last; /* last usable */
    struct held held;
    struct waiting_room untimed;
    double value; /* last that reached the rules; NaN */
    utc_t value_t;
    float steps_s[CADENCE_STEPS]; /* last distances between records */
    int32_t step_count, step_at;
    int32_t bad_run; /* refused in a row */
    int64_t flat_begin_ms, flat_end_ms, flat_longest_ms,
        flat_known_ms;     /* runs of a flat line: how long they use to be */
    double flat_value;     /* of the newest reading in the run */
    int64_t flat_ended_ms; /* length of the run before it, while it is not known how that ended */
    double sent;           /* by the probe, before compensation, and since when unchanged; 0: nothing yet */
    int64_t sent_since_ms;
    double sent_step; /* the least that two numbers in a row differed by; 0: they never did */
    struct noise noise;
    int32_t doubts;            /* of the first stream of a place and quantity: bits of enum doubt_ground */
    int32_t odd_count, odd_of; /* spike or rate flags among the last usable ones, both halved now and then */
    struct window day;         /* 5 min bins over two days */
    struct window days;        /* 1 h bins over three weeks */
    struct share_hour hours[SHARE_HOURS];
    uint32_t received, missing, rejected, duplicates, conflicts, late, retained, absent;
    char last_reason[64], last_sample[40];
    double battery, link; /* last told, NaN */
};

#define SERVICE_SPANS 4

struct service_span {
    utc_t begin, end; /* end UTC_NONE: open */
};

/* Daily means of pH, how far they crept. */
struct ph_creep {
    struct creep up, down;
    double day; /* over the last day; NaN: not known */
};

struct tank_state {
    struct heater heater;
    struct solids solids;
    struct ph_creep ph;
    struct hand_tests hand[Q_COUNT];
    struct told_change told;
    bool in_service;
    bool service_ends; /* while its alerts are released; then service_until is that very moment */
    utc_t service_until;
    struct service_span spans[SERVICE_SPANS]; /* the last windows, newest last */
    int32_t span_count;
    utc_t last_change;
    double last_step_ec;
    char service_why[ALERT_WHY_MAX];
};

/* The forecast that people were told with an alert. */
struct forecast_told {
    struct forecast f;
    utc_t made;
    bool open; /* not scored yet */
    bool up;   /* towards a limit above */
};

struct engine {
    const struct site *site;
    struct arena arena;
    struct timers timers;
    int stream_timers, tank_timers, site_timer; /* first ids */
    struct alarms alarms;
    struct stream_state *streams;
    struct tank_state *tanks;
    bool brief;     /* while saving: without the probes, */
    bool daily;     /* or without their windows of two days */
    bool link_down; /* broker not reached: silence of probes means nothing */
    struct timekeep clock;
    struct engine_counts counts;
    struct traffic traffic;
    struct habit *habits;            /* by slot */
    struct forecast_told *forecasts; /* by slot */
    struct forecast_scores scores;
    int flood_timer; /* its id */
    int64_t notes;   /* number of the last entry of the journal */
    struct now started;
};

/* --- engine.c: for the stages --- */
enum section { SECTION_CLOCK, SECTION_STREAM, SECTION_ALERT, SECTION_TANK, SECTION_HABIT, SECTION_COUNTS };
void engine_forget(struct engine *e, enum section kind, int i, struct now now); /* starts it afresh */
struct effect *effect_add(struct effects *fx, enum effect_kind kind, struct now now);
void event_add(struct effects *fx, struct now now, enum event_kind kind, int place, enum quantity q,
               double value, const char *format, ...) __attribute__((format(printf, 7, 8)));
void tank_changed(struct effects *fx, struct now now, int tank);
void stream_timer_set(struct engine *e, int stream, enum stream_timer which, mono_t due);
void tank_timer_set(struct engine *e, int tank, enum tank_timer which, mono_t due);

/* Slot of that place, kind and quantity, -1 when it cannot happen here. */
int slot_find(const struct site *site, int place, enum alert_kind kind, enum quantity q);
/* False also when it cannot happen here, or place is -1. */
bool alert_is_active(const struct engine *e, int place, enum alert_kind kind, enum quantity q);
/* The stream that speaks for a place's quantity: the first that is not silent; the first when all are; -1
 * none. */
int speaking_stream(const struct engine *e, int place, enum quantity q);
/* The last usable record of its twin, NULL when there is none. */
const struct gate_point *twin_point(const struct engine *e, int stream);
/* Its last value for rules; NaN when there is none or it is silent. */
double value_now(const struct engine *e, int place, enum quantity q);

/* Latest value of a tank, of probe or hand, without trend and daily range. */
void engine_report_value(const struct engine *e, int tank, enum quantity q, struct now now,
                         struct value_report *out);

/* --- rules.c: limit rules of a tank --- */
void rules_input(struct engine *e, int stream, double v, utc_t t, struct now now, struct effects *fx);
/* A hand test: only what needs no history. */
void rules_hand(struct engine *e, int tank, enum quantity q, double v, struct now now, struct effects *fx);
/* The hand tests it was judged by count no longer: what rested on them ends. */
void rules_unfounded(struct engine *e, int place, enum quantity q, struct now now, struct effects *fx);
bool rules_wet(const struct engine *e, int place); /* a leak detector of that place is wet */
void rules_freeze(struct engine *e, int place, enum quantity q);

/* --- health.c: what the probes themselves show --- */
void health_arrived(struct engine *e, int stream, const struct reading *r, enum sample_kind kind,
                    struct now now, struct effects *fx);
void health_rejected(struct engine *e, const struct sample *s);
void health_device(struct engine *e, const struct sample *s, struct now now, struct effects *fx);
void health_silent(struct engine *e, int stream, struct now now, struct effects *fx);
void health_fresh(struct engine *e, int stream, struct now now, struct effects *fx);
void health_noise(struct engine *e, int stream, const struct reading *r, struct now now, struct effects *fx);
void health_verdict(struct engine *e, int stream, const struct reading *r, struct now now,
                    struct effects *fx);
void health_renew(struct stream_state *s); /* what was learnt of another device no longer holds */
void health_link(struct engine *e, bool down, struct now now);
double health_good_share(const struct engine *e, int stream, struct now now); /* of the last 24 h; NaN */
double health_cadence_s(const struct engine *e, int stream);
int64_t health_stale_ms(const struct engine *e, int stream);
int64_t health_flat_since_ms(const struct engine *e, int stream);

/* --- heater_watch.c --- */
const struct window *day_window(const struct engine *e, int place,
                                enum quantity q); /* NULL: nothing came yet */
bool tank_is_heated(const struct engine *e, int tank);
bool heater_view_of(struct engine *e, int tank, utc_t now,
                    struct heater_view *view); /* false: cannot be seen now */
void heater_watch(struct engine *e, int tank, struct now now, struct effects *fx);

/* --- power_watch.c: circuits and racks --- */
void power_watch(struct engine *e, struct now now, struct effects *fx);
/* A tank whose heater gives nothing is not told alone yet: the others of its circuit or rack are silent, too.
 * Once a minute, and true for a limited time. */
bool power_holds(struct engine *e, int tank, struct now now);

/* --- climate.c: the room --- */
void climate_watch(struct engine *e, struct now now, struct effects *fx);

/* --- solids_watch.c --- */
void solids_watch(struct engine *e, int tank, struct now now, struct effects *fx);
/* The cause of that family which is standing there; SOLIDS_UNKNOWN: none. */
enum solids_cause solids_named(const struct engine *e, int place);
const char *solids_cause_title(enum solids_cause cause); /* NULL: none */
/* It led to where the tank was not in the week before. */
bool solids_step_is_new(const struct engine *e, int tank, const struct solids_step *step);
const struct window *days_window(const struct engine *e, int place,
                                 enum quantity q);                    /* NULL: nothing came yet */
bool place_lives(const struct engine *e, int place, enum quantity q); /* a probe speaks there now */
/* Nothing happens where that alert cannot be. */
void judge_named(struct engine *e, int place, enum alert_kind kind, enum quantity q, enum tri condition,
                 double value, double limit, const char *evidence, struct now now, struct effects *fx);

/* --- air_watch.c, ph_watch.c, waters_watch.c --- */
void air_watch(struct engine *e, int tank, struct now now, struct effects *fx);
/* A value that leaps: the probe may be in the air before the minute is over. */
void air_look(struct engine *e, int stream, double before, double v, struct now now, struct effects *fx);
/* Its probe hangs in the water and can be lifted out; levels and leaks are seen from outside. */
bool is_immersed(enum quantity q);
void ph_watch(struct engine *e, int tank, struct now now, struct effects *fx);
/* pH goes down half as far as would be called a drift, and not in most of the other tanks. */
bool ph_sours(const struct engine *e, int tank);
void ph_visit(struct ph_creep *c, struct pack *p);
void waters_watch(struct engine *e, struct now now, struct effects *fx);
/* Slot of the bad batch of the tank's water, when it is told and reached this tank; -1. */
int batch_of(const struct engine *e, int tank);

/* --- traffic_watch.c: what floods or chatters is kept quiet --- */
bool traffic_watch_admit(void *engine, int slot, enum alert_change change, struct now now,
                         struct effects *fx);
void traffic_watch_remark(void *engine, int slot, enum alarm_timer which, struct now now, struct effects *fx);
void traffic_watch_flood_due(struct engine *e, struct now now, struct effects *fx);
void traffic_watch_restored(struct engine *e, struct now now);

/* --- cause.c --- */
void cause_explain(void *engine, int slot, struct alert *pub, struct now now);
int cause_leader(void *engine, int slot, struct now now);
/* A limit of a tank's pH that acid explains, for waste turns to acid as it rots: pH has crept down. */
bool cause_sours(const struct engine *e, const struct alert_slot *slot);

/* --- service.c: service windows --- */
void service_begin(struct engine *e, int tank, const struct command *c, struct now now, struct effects *fx);
void service_end(struct engine *e, int tank, struct now now, struct effects *fx);
/* A while after its end: what the work changed. */
void service_learn(struct engine *e, int tank, struct now now, struct effects *fx);
/* A window reaches into (t - span_ms, t]. tank -1: never. */
bool service_disturbs(const struct engine *e, int tank, utc_t t, int64_t span_ms);
/* Range of the 5 min means over (to - span_ms, to]: work, and the two hours after it, left out; what it moved
 * taken off. NaN: nothing there. */
double service_range(const struct engine *e, int tank, const struct window *w, utc_t to, int64_t span_ms);

#endif
