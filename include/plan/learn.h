/* What logged batches teach: how much a salt really adds per g/L (a damp jar adds less, a stronger lot more),
 * and what a water's solids per conductivity really are.
 *
 * Each batch with litres, grams and a measured value gives one estimate where one salt makes nearly all of
 * that value; the median of them is the figure, their spread (robust, one standard deviation) and number the
 * evidence. Batches whose salts cannot be told apart are counted, never guessed at. Purified water is taken
 * to bring nothing; batches made from tap or well water teach nothing, for what that brought is not known. */
#ifndef LENTIC_PLAN_LEARN_H
#define LENTIC_PLAN_LEARN_H

#include "base/text.h"
#include "model/journal.h"
#include "model/site.h"

#define LEARN_MOST        64
#define LEARN_BATCHES_MAX 64 /* the last ones count */
#define LEARN_LEAST       3  /* batches before anything is proposed */

struct learn_proposal {
    int salt, water;    /* one of them; the other -1 */
    const char *figure; /* "ec", "gh", "kh"; of a water "tds" */
    double now, learnt; /* per g/L; of a water mg/L per uS/cm. now NaN: not known */
    double spread, sd;  /* of single batches; of the learnt figure, with what the tests may be off */
    int n;
    int64_t batches[LEARN_BATCHES_MAX]; /* entries it rests on */
    bool differs;                       /* from what counts now, beyond its uncertainty and 3 % */
};

struct learn_result {
    struct learn_proposal items[LEARN_MOST];
    int count;
    int mixed; /* measured batches in which no single salt makes the conductivity */
};

/* batches: entries that count, oldest first; others among them are stepped over. */
void learn_eval(const struct site *site, const struct journal_entry *batches, int count,
                struct learn_result *out);

/* "hard: 1 g/L adds 1180 µS/cm, not 1300 (9 % less): 5 batches, spread 2 %". */
void learn_words(const struct site *site, const struct learn_proposal *p, struct text *out);

/* The entry that accepts it. */
void learn_entry(const struct site *site, const struct learn_proposal *p, struct journal_entry *out);

#endif
