/* What makes an entry of the journal whole and possible: one judgement for the command line and BASE/do/note.
 */
#ifndef LENTIC_MODEL_JOURNAL_CHECK_H
#define LENTIC_MODEL_JOURNAL_CHECK_H

#include "model/journal.h"
#include "model/site.h"

/* One standard uncertainty of a hand test: the kit's of the configuration, else half a step of common drop
 * tests and colour cards. *kit_known (may be NULL): the configuration has that kit and says so for this
 * quantity. */
double journal_sd(const struct site *site, const char *kit, enum quantity q, double value, bool *kit_known);

/* Fills in what follows from the rest: uncertainties of tests, the water of a batch by its place. now:
 * UTC_NONE switches the look at the future off. STATUS_INVALID with one sentence that says what to do. */
enum status journal_check(const struct site *site, struct journal_entry *e, utc_t now,
                          struct why *why) LENTIC_CHECKED;

/* A correction says only what was wrong: everything else comes from the old entry. STATUS_REFUSED: of another
 * kind, or the old one counts no longer. */
enum status journal_amend(struct journal_entry *e, const struct journal_entry *old,
                          struct why *why) LENTIC_CHECKED;

#endif
