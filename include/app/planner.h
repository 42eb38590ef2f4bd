/* The keeper's week, kept up to date beside the engine: tanks as their documents are made, the room a little
 * after. Reads the journal once, then follows it entry by entry; a correction or withdrawal, and each new
 * day, make it read again. */
#ifndef LENTIC_APP_PLANNER_H
#define LENTIC_APP_PLANNER_H

#include "app/pump.h"
#include "plan/room_week.h"
#include "plan/tank_week.h"

struct planner {
    const struct site *site;
    struct diary diary;
    mono_t read_at;  /* the journal; MONO_NONE: it is to be read */
    mono_t heard_at; /* sources and containers; MONO_NONE */
    struct week_tank *weeks;
    bool *known; /* of weeks */
    struct room_probe *probes;
    struct week_room room;
    mono_t room_due; /* the room is reckoned and told anew; never before the first connection */
    bool noted;      /* something was, since the room was told */
};

void planner_init(struct planner *p, const struct site *site);
void planner_fini(struct planner *p);

/* An entry of the journal as it is written. */
void planner_note(struct planner *p, const struct journal_entry *e, utc_t t);

/* The week of the tank that the report is of. */
const struct week_tank *planner_tank(struct planner *p, const struct pump *pump,
                                     const struct tank_report *report, struct now now);

/* The water of a source; live: what its probe says. */
void planner_source(struct planner *p, const struct pump *pump, int source, struct now now,
                    struct source_live *live, struct source_water *out);

/* The room is due: some minutes after it was told, or soon after a note, when the tanks have followed. */
bool planner_room_is_due(struct planner *p, struct now now);

/* The room's, once every tank is known; NULL before. */
const struct week_room *planner_room(struct planner *p, const struct pump *pump, struct now now);

#endif
