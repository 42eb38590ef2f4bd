/* How much is asked of people: floods of alerts, alerts that chatter, raises of the day. Decides whether what
 * the life cycle would announce goes out by itself now. After EEMUA 191 and ANSI/ISA-18.2.
 *
 * Flood: more than TRAFFIC_FLOOD_OVER raises within TRAFFIC_FLOOD_MS, until fewer than TRAFFIC_FLOOD_UNDER;
 * only high priority is told by itself meanwhile. Chatter: TRAFFIC_CHATTER raises of one alert within
 * TRAFFIC_CALM_MS (the sharper mark of three in a minute lies within it); the last of them is told and
 * marked, then the alert is quiet until it was not raised for TRAFFIC_CALM_MS. What is kept quiet because of
 * chatter makes no flood. */
#ifndef LENTIC_ENGINE_TRAFFIC_H
#define LENTIC_ENGINE_TRAFFIC_H

#include "base/arena.h"
#include "base/pack.h"
#include "model/alert.h"

#define TRAFFIC_FLOOD_OVER  10
#define TRAFFIC_FLOOD_UNDER 5
#define TRAFFIC_FLOOD_MS    (10 * MS_PER_MIN)
#define TRAFFIC_CHATTER     3
#define TRAFFIC_CALM_MS     (30 * MS_PER_MIN)
#define TRAFFIC_HOURS       24

struct traffic_alert {
    mono_t raised[TRAFFIC_CHATTER]; /* the last raises, newest first; MONO_NONE */
    bool chattering;
};

struct traffic {
    struct traffic_alert *alerts; /* by slot */
    int alert_count;
    mono_t raised[TRAFFIC_FLOOD_OVER + 1]; /* the last raises of all, newest first; MONO_NONE */
    bool flood;
    mono_t flood_since;
    uint32_t flood_raises;         /* since the flood began, with those that made it */
    uint32_t hours[TRAFFIC_HOURS]; /* raises by hour, newest first */
    uint32_t high[TRAFFIC_HOURS];  /* of them high priority */
    mono_t hour_begin;             /* of hours[0]; MONO_NONE before the first raise */
};

struct traffic_verdict {
    bool announce;
    bool chatter_began, flood_began; /* by this very raise */
};

void traffic_init(struct traffic *t, int alert_count, struct arena *arena);
void traffic_forget(struct traffic *t, int slot);
void traffic_forget_all(struct traffic *t); /* what is not of one alert: flood and counts */

enum traffic_kind {
    TRAFFIC_RAISE,    /* the water raised it */
    TRAFFIC_UNMARKED, /* it stands when a suppression ends: told however it chattered */
    TRAFFIC_OTHER,    /* clear, reminder, ... */
};

/* The life cycle would announce this. */
struct traffic_verdict traffic_admit(struct traffic *t, int slot, enum traffic_kind kind,
                                     enum priority priority, mono_t now);

/* When the alert will have been calm for long enough, MONO_NEVER when it does not chatter. */
mono_t traffic_calm_at(const struct traffic *t, int slot);
void traffic_calm(struct traffic *t, int slot);

/* When the flood is over if nothing more is raised, MONO_NEVER when there is none. */
mono_t traffic_flood_end_at(const struct traffic *t);
void traffic_flood_end(struct traffic *t);

uint32_t traffic_raises_day(const struct traffic *t, mono_t now); /* over 23 to 24 h */
uint32_t traffic_high_day(const struct traffic *t, mono_t now);
int traffic_chattering(const struct traffic *t);

void traffic_visit(struct traffic *t, struct pack *p, struct now now);
void traffic_visit_alert(struct traffic *t, int slot, struct pack *p, struct now now);

#endif
