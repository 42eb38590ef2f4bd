/* The life of alerts, after ANSI/ISA-18.2: from a condition (NO, YES, cannot judge) through on-delay and
 * off-delay to the state machine, and what people do to it. Knows nothing of water. */
#ifndef LENTIC_ENGINE_ALARM_H
#define LENTIC_ENGINE_ALARM_H

#include "base/pack.h"
#include "base/status.h"
#include "engine/timers.h"
#include "model/command.h"
#include "model/effect.h"
#include "model/site.h"

enum tri { TRI_UNKNOWN, TRI_NO, TRI_YES, TRI_KEEP /* inside the deadband: as it was */ };

enum alarm_timer {
    ALARM_DELAY,
    ALARM_TELL,
    ALARM_SHELF,
    ALARM_OUT,
    ALARM_SHELF_SOON, /* a shelf ends ALARM_SOON_MS later */
    ALARM_CALM,       /* it chattered, and has been calm for long enough */
    ALARM_TIMERS
};

#define ALARM_SOON_MS (10 * MS_PER_MIN)

struct alarm {
    struct alert pub;   /* as others see it */
    enum tri condition; /* last judged; UNKNOWN after silence */
    bool told;          /* a raise was announced, its clear is still owed */
    bool hushed;        /* the last that would have been announced was not, because it chatters */
    char aside_who[ALERT_WHO_MAX], aside_why[ALERT_WHY_MAX]; /* who put it aside, while work overlays it */
};

struct alarms {
    const struct site *site;
    struct alarm *items; /* one per site->alerts */
    struct timers *timers;
    int first_timer; /* ids first_timer + slot * ALARM_TIMERS + enum alarm_timer */
    /* Fills value, limit, cause, evidence, action and due just before a change goes out. NULL: none. */
    void (*explain)(void *context, int slot, struct alert *pub, struct now now);
    /* Which alert leads this one's group, -1: it leads itself. NULL: every alert alone. */
    int (*leader)(void *context, int slot, struct now now);
    bool unmarking; /* while admit is asked about the raise that ends a suppression */
    /* Whether what would be announced is announced now; may mark the alert as chattering. NULL: always. */
    bool (*admit)(void *context, int slot, enum alert_change change, struct now now, struct effects *fx);
    /* One of the two timers that ask for no change of state: ALARM_SHELF_SOON of an active alert, ALARM_CALM.
     * NULL: nobody wants to know. */
    void (*remark)(void *context, int slot, enum alarm_timer which, struct now now, struct effects *fx);
    void *context;
};

void alarms_init(struct alarms *a, const struct site *site, struct timers *timers, int first_timer,
                 struct arena *arena);

/* Back to what it was before anything was judged. */
void alarm_forget(struct alarms *a, int slot);

/* Limit with deadband: high side sets above the limit and resets at or below limit - deadband, low side
 * mirrored. */
enum tri alarm_compare(double v, double limit, double deadband, bool high);

/* A new judgement. Delays run on the boot clock; TRI_KEEP cancels none. */
void alarm_judge(struct alarms *a, int slot, enum tri condition, double value, double limit, struct now now,
                 struct effects *fx);

/* Somebody has seen to it: it ends now, without its delay. */
void alarm_end(struct alarms *a, int slot, struct now now, struct effects *fx);

/* The input fell silent: pending delays end both ways, the alert is frozen. */
void alarm_freeze(struct alarms *a, int slot);

/* The text or number changed while the state stands: recorded, not announced. */
void alarm_update(struct alarms *a, int slot, struct now now, struct effects *fx);

/* A timer of this alarm came due. now is the deadline itself. */
void alarm_due(struct alarms *a, int slot, enum alarm_timer which, struct now now, struct effects *fx);

/* What people do. An acknowledged leader's followers are acknowledged with it. STATUS_REFUSED with a sentence
 * when the state does not allow it. minutes: 0 < m <= 1440 for shelving. */
enum status alarm_ack(struct alarms *a, int slot, const struct command *c, struct now now, struct effects *fx,
                      struct why *why) LENTIC_CHECKED;
enum status alarm_reset(struct alarms *a, int slot, const struct command *c, struct now now,
                        struct effects *fx, struct why *why) LENTIC_CHECKED;
enum status alarm_shelve(struct alarms *a, int slot, const struct command *c, struct now now,
                         struct effects *fx, struct why *why) LENTIC_CHECKED;
enum status alarm_unshelve(struct alarms *a, int slot, const struct command *c, struct now now,
                           struct effects *fx, struct why *why) LENTIC_CHECKED;
/* minutes NaN: until told otherwise. */
enum status alarm_out(struct alarms *a, int slot, const struct command *c, struct now now, struct effects *fx,
                      struct why *why) LENTIC_CHECKED;
enum status alarm_back(struct alarms *a, int slot, const struct command *c, struct now now,
                       struct effects *fx, struct why *why) LENTIC_CHECKED;

/* It chatters, and will have been calm for long enough at that time; later calls put the time off. At the end
 * it is told how the alert stands, if the last of it was kept quiet. */
void alarm_chatters(struct alarms *a, int slot, mono_t calm_at);

/* Suppressed by design, and its end. No-op when it already is as wanted. */
void alarm_suppress(struct alarms *a, int slot, bool on, const char *who, const char *why, struct now now,
                    struct effects *fx);

/* After alarm_visit: one that the configuration has switched off ends with the next timers, and says so. */
void alarm_restored(struct alarms *a, int slot, struct now now);

static inline bool alarm_stands(const struct alarm *a)
{
    return a->pub.base != ALERT_NORM;
}

void alarm_visit(struct alarms *a, int slot, struct pack *p, struct now now);

#endif
