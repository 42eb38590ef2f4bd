/* The water that a source gives, from its tests and its probe: what it holds, how much a purifying unit holds
 * back, when it will be worn out; and what a water is made from. Pure.
 *
 * The date is a straight line through the last weeks, by the probe or by hand tests: four of five should come
 * within its spread, which is never less than a tenth of the time to either side. Membranes wear slowly, but
 * resin lets go all at once near its end: the early date is the one to order by. */
#ifndef LENTIC_PLAN_SOURCE_FACTS_H
#define LENTIC_PLAN_SOURCE_FACTS_H

#include "model/week.h"
#include "plan/diary.h"
#include "plan/mix.h"

void source_facts_eval(const struct site *site, int source, const struct diary *diary,
                       struct source_water *out);

/* Chlorine, an analysis of another season or none, a unit that is worn out. */
void source_facts_remarks(const struct site *site, const struct source_water *w, struct week_remark *remarks,
                          int *count);

/* Chlorine in what a water is made from, in one sentence; false: no tap water is in it. */
bool source_facts_caution(const struct site *site, int water, struct text *out);

/* What a water is made from: its source, or the blend of its two. Purified and rain water hold no hardness
 * unless a test says so; no3 NaN: not known. STATUS_NONE: of hard water nothing is known, why says what to
 * note; *out is purified water then. */
enum status source_facts_base(const struct site *site, int water, const struct diary *diary,
                              struct mix_source *out, double *no3, struct why *why) LENTIC_CHECKED;

#endif
