/* A colony on one time line with its water's moves: how many animals there should be, who died after what,
 * when eggs may hatch. What comes together in time is told as coincidence; it is no proof. */
#ifndef LENTIC_PLAN_COLONY_H
#define LENTIC_PLAN_COLONY_H

#include "base/text.h"
#include "model/journal.h"
#include "water/brood.h"

#define COLONY_AFTER_MS (3 * MS_PER_DAY) /* deaths so soon after a move are told with it */
#define COLONY_LEAST    2.0              /* deaths before they are told */
#define COLONY_MOVES    256
#define COLONY_BROODS   16

/* Something the water did. */
struct colony_move {
    utc_t t;
    char what[96]; /* "+62 µS/cm step" */
    bool aside;    /* on the line only: such as a usual change that made no step */
};

struct colony_coincidence {
    const struct colony_move *move;
    double deaths; /* within COLONY_AFTER_MS after it */
    double usual;  /* deaths in as long a time otherwise */
};

struct colony_brood {
    double females;
    utc_t seen;
    bool bounded; /* the count before showed fewer: they were laid after it */
    utc_t early, likely, late;
};

struct colony {
    bool counted;
    utc_t counted_at;           /* the last count of adults */
    double adults;              /* as counted, with what came and went since */
    double shrimplets, berried; /* at their last count; NaN */
    double born, dead, in, out; /* over the whole span */
    double days;                /* from the first entry to now */
    struct colony_coincidence coincidences[COLONY_MOVES];
    int coincidence_count;
    struct colony_brood broods[COLONY_BROODS]; /* those that may still hatch */
    int brood_count;
    struct why no_forecast; /* empty: broods are forecast */
};

/* entries: animals of one tank that count, oldest first. moves: of that tank, oldest first; must outlive
 * *out. stock: id of the kind of animals, empty: not known. temp_c: mean of the last weeks; NaN: not known.
 */
void colony_eval(const struct journal_entry *entries, int count, const struct colony_move *moves,
                 int move_count, const char *stock, double temp_c, utc_t now, struct colony *out);

#endif
