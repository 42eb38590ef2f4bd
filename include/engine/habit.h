/* A limit that is passed again and again is no news each time: a thermostat with a wide swing changes a small
 * tank "too fast" at every round. After HABIT_RAISES raises within HABIT_SPAN_MS (those within HABIT_APART_MS
 * are one) it is told every HABIT_TELL_MS at most, or when it is clearly worse than what was told. Only for
 * limits that are not of high priority, and of pH; pure, no allocation. */
#ifndef LENTIC_ENGINE_HABIT_H
#define LENTIC_ENGINE_HABIT_H

#include "base/pack.h"
#include "base/times.h"

#define HABIT_RAISES   5
#define HABIT_SPAN_MS  (7 * MS_PER_DAY)
#define HABIT_APART_MS (2 * MS_PER_HOUR)
#define HABIT_TELL_MS  (3 * MS_PER_DAY)
#define HABIT_WORSE    1.5 /* times as far beyond the limit as the worst that was told */

struct habit {
    mono_t raised[HABIT_RAISES]; /* newest first; MONO_NONE */
    mono_t told;                 /* the last raise that was told */
    double beyond;               /* the worst told within a span; 0: none */
    bool is_one, quiet;          /* quiet: the last raise was not told, nor is its end */
};

void habit_init(struct habit *h);

/* A raise so far beyond its limit, in the quantity's unit (NaN: not known). False: it is kept quiet. *began:
 * with this one it has become a habit. */
bool habit_admits(struct habit *h, double beyond, mono_t now, bool *began);

/* One of high priority was told: it never becomes a habit, but habit_told knows of it. */
void habit_note(struct habit *h, double beyond, mono_t now);

/* It was told within HABIT_TELL_MS, and is not clearly worse now: by more than the margin, too, for every
 * raise begins just beyond its limit. */
bool habit_told(const struct habit *h, double beyond, double margin, mono_t now);

void habit_visit(struct habit *h, struct pack *p, struct now now);

#endif
